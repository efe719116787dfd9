import { lampA, lampFullA } from '../prop/kinds/lamp.ts';
import { rgbA, rgbFullA } from '../prop/kinds/rgb.ts';
import type { LampChannel, Requirement, RgbChannel } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { FIELD, FLAG, type Telemetry } from '../shared/telemetry.ts';
import { clamp } from '../shared/units.ts';
import type { Ease } from '../sums/ease.ts';
import { ColourFlashGuard, FlashGuard } from '../sums/flash.ts';
import {
  Colour,
  formatColour,
  lightnessToLuminance,
  OklabFade,
  packColour,
  parseColour,
  type Rgb,
  srgbToLinear,
} from '../sums/light.ts';
import type { Answers, Standing } from './actuator.ts';
import type { Board } from './boards.ts';

/** A lamp that is asked for a lightness. */
export interface Dimming {
  lamp: Lamp;
  to: number;
}

/** A light that is asked for a colour. */
export interface Colouring {
  light: RgbLight;
  to: Rgb;
}

/** What a light asks of the gate. */
interface LightGate {
  dim(lamp: Lamp, to: number, fadeS: number): void;
  colour(light: RgbLight, to: Readonly<Rgb>, fadeS: number): void;
}

/** A curve steeper than this counts as one with steps. */
const STEPPED = 50;

/** Cells of a curve that is read from a table. */
const CELLS = 1024;

/** A curve as a tick needs it: a function that returns fractions would allocate one each time. */
interface Curve {
  ease: Ease;
  /** The steepest slope, looked at in a hundred places; 1 at least. */
  slope: number;
  /** The curve at the ends of its cells, straight in between. */
  table: Float64Array;
}

const curves = new WeakMap<Ease, Curve>();

function curveOf(ease: Ease): Curve {
  let curve = curves.get(ease);
  if (!curve) {
    let slope = 1;
    for (let i = 1; i <= 100; i++)
      slope = Math.max(slope, 100 * Math.abs(ease(i / 100) - ease((i - 1) / 100)));
    const table = Float64Array.from({ length: CELLS + 1 }, (_, i) => ease(i / CELLS));
    curve = { ease, slope, table };
    curves.set(ease, curve);
  }
  return curve;
}

const DARK: Readonly<Rgb> = new Colour();
const WHITE: Readonly<Rgb> = { red: 1, green: 1, blue: 1 };

/** @throws Refusal `invalidParams` */
export function colourOf(text: string): Rgb {
  const colour = parseColour(text);
  if (colour) return colour;
  throw new Refusal(
    'colour.unreadable',
    `${JSON.stringify(text.slice(0, 40))} is not a CSS colour; try "#ffcc00", "orange" or "oklch(75% 0.15 80)"`,
    { to: text.slice(0, 80) },
  );
}

function copyColour(from: Readonly<Rgb>, into: Rgb): void {
  into.red = from.red;
  into.green = from.green;
  into.blue = from.blue;
}

/**
 * A lamp or rgb channel as the core drives it. A fade runs from what is shown to the target; the
 * flash guard stands between the fade and the pins.
 */
export abstract class Light implements Answers {
  abstract readonly spec: LampChannel | RgbChannel;
  readonly name: string;
  readonly index: number;
  readonly board: Board;
  readonly rail: number;
  /** A change is held back so that it does not flash faster than allowed. */
  flashHeld = false;
  /** It wants to show something new in this tick, and its own guard lets it. */
  asks = false;
  readonly #time: { readonly nowS: number };
  /** An interlock made it dark; cleared by the next fade. */
  interlocked = false;
  readonly #slewS: number;
  #fadeS = 0;
  #curve: Curve | undefined;
  #atS = 0;
  /** How far the fade has got: 1 at its end. */
  protected progress = 0;
  fading = false;
  /** Counts up with every new fade, so that a waiting caller sees that it was replaced. */
  fades = 0;
  #changed = true;

  constructor(
    name: string,
    index: number,
    spec: LampChannel | RgbChannel,
    board: Board,
    rail: number,
    time: { readonly nowS: number },
  ) {
    this.#time = time;
    this.name = name;
    this.index = index;
    this.board = board;
    this.rail = rail;
    this.#slewS = spec.fadeS;
  }

  /**
   * Starts a fade; `change` is its size, 1 for full scale, so that the slew limit holds at the
   * steepest place of the curve. A curve with steps is left out where there is such a limit.
   */
  protected startFade(fadeS: number, change: number, ease: Ease | undefined): void {
    const curve = ease && curveOf(ease);
    this.#curve = curve && this.#slewS > 0 && curve.slope > STEPPED ? undefined : curve;
    this.#fadeS = Math.max(fadeS, this.#slewS * change * (this.#curve?.slope ?? 1));
    this.#atS = 0;
    this.fading = true;
    this.interlocked = false;
    this.fades++;
  }

  /**
   * Moves the fade on and looks whether its own guard lets it through; what is held back is tried
   * again in the next tick. Nothing is shown before `admit`.
   */
  advance(dtS: number): void {
    if (!this.fading && !this.flashHeld) return;
    this.#atS += dtS;
    const done = this.#atS >= this.#fadeS;
    this.progress = done ? 1 : this.#atS / this.#fadeS;
    if (!done && this.#curve) this.#bend(this.#curve);
    this.mix(done);
    this.fading = !done;
    this.asks = this.allowed(this.#time);
    this.flashHeld = !this.asks;
  }

  /** Shows what it asks for. */
  admit(): void {
    this.asks = false;
    this.flashHeld = false;
    this.note(this.#time);
    this.show();
    this.#changed = true;
  }

  /** Goes on showing what it shows, so that the prop does not flash too often. */
  hold(): void {
    this.asks = false;
    this.flashHeld = true;
  }

  /** What is shown is put out again: its board has been opened. */
  touch(): void {
    this.#changed = true;
  }

  /** Dark at once, past the guard: for a stop, which must not wait. */
  cut(nowS: number): void {
    this.fading = false;
    this.flashHeld = false;
    this.asks = false;
    this.darken();
    this.#changed = true;
    this.fades++;
    this.noteDark(nowS);
  }

  /** Lets the progress follow a curve; the steps of one are where its function has them. */
  #bend({ ease, slope, table }: Curve): void {
    if (slope > STEPPED) {
      this.progress = ease(this.progress);
      return;
    }
    const at = this.progress * CELLS;
    const cell = Math.floor(at);
    const from = table[cell]!;
    this.progress = from + (at - cell) * (table[cell + 1]! - from);
  }

  /** Computes what the fade wants at its progress; `done` at its end. */
  protected abstract mix(done: boolean): void;
  /** Whether its own flash guard lets through what the fade wants. */
  protected abstract allowed(time: { readonly nowS: number }): boolean;
  /** Tells its own flash guard that what the fade wants is shown. */
  protected abstract note(time: { readonly nowS: number }): void;
  /** Writes linear red, green and blue as shown, and as the fade wants it, at a place. */
  abstract writeShown(into: Float64Array, at: number): void;
  abstract writeWanted(into: Float64Array, at: number): void;
  /** Whether its flashes are limited. */
  get isGuarded(): boolean {
    return !this.spec.flash;
  }

  /** Tells the flash guard of a dark that it could not hold back. */
  protected abstract noteDark(nowS: number): void;
  /** Takes what the fade wants as what is shown. */
  protected abstract show(): void;
  protected abstract darken(): void;
  /** Notes the duties of this tick at the board, if they have changed. */
  put(): void {
    if (!this.#changed) return;
    this.#changed = false;
    this.putDuties();
  }

  protected abstract putDuties(): void;
  /** Estimated draw (A) as shown, and when its fade has ended. */
  abstract amps(): number;
  abstract targetAmps(): number;
  /** It shows light, or is on its way there. */
  abstract get lit(): boolean;
  abstract fadeToPark(): void;
  abstract get atPark(): boolean;
  /** It rests dark when parked. */
  abstract get parksDark(): boolean;
  /** Full or dark at once, through the gate. @throws Refusal as the gate */
  abstract blink(gate: LightGate, bright: boolean): void;
  /** Returns a function that brings back what it shows now. */
  abstract keep(gate: LightGate): () => void;
  abstract want(to: number | string, into: never): void;
  abstract get sample(): number;
  abstract get records(): 'lightness' | 'colour';
  protected abstract publishLevels(telemetry: Telemetry): void;

  // --- what every actuator answers

  get moves(): false {
    return false;
  }

  get parksEarly(): false {
    return false;
  }

  get isLimp(): false {
    return false;
  }

  get awaitsNote(): false {
    return false;
  }

  get now(): null {
    return null;
  }

  get goesTo(): undefined {
    return undefined;
  }

  get home(): true {
    return true;
  }

  get startA(): number {
    return 0;
  }

  get rests(): boolean {
    return this.atPark && !this.fading && !this.flashHeld;
  }

  get isLost(): boolean {
    return this.board.unknown;
  }

  get isBusy(): boolean {
    return this.fading;
  }

  get isUnsettled(): boolean {
    return this.fading || this.flashHeld;
  }

  meets(requirement: Requirement): boolean {
    return 'is' in requirement && requirement.is === 'parked' && this.rests;
  }

  meetsAt(requirement: Requirement, to: Standing): boolean {
    return 'is' in requirement && requirement.is === 'parked' && to === true;
  }

  isInUse(): boolean {
    return this.lit;
  }

  get needsAtHome(): boolean {
    return !this.parksDark;
  }

  /** Sent again where an interlock made it dark on its way. */
  isHoming(sent: boolean): boolean {
    return sent && (this.fading || this.flashHeld);
  }

  goHome(): void {
    this.fadeToPark();
  }

  identify(by: { blink(light: Light): number }): number {
    return by.blink(this);
  }

  follow(): void {}

  succeed(was: Answers | undefined): void {
    if (was instanceof Light && was.records === this.records && was.atPark && !this.atPark)
      this.fadeToPark();
  }

  flags(): number {
    return (
      // A board that cannot be reached may not have darkened its lights.
      (this.board.unknown ? FLAG.unknown : 0) |
      (this.fading ? FLAG.moving : 0) |
      (this.flashHeld ? FLAG.flashHeld : 0) |
      (this.interlocked ? FLAG.interlocked : 0)
    );
  }

  publish(telemetry: Telemetry): void {
    telemetry.setChannel(this.index, FIELD.flags, this.flags());
    this.publishLevels(telemetry);
  }

  get awakeA(): number {
    return this.amps();
  }

  awayText(): string {
    return `${this.name} shows something else than when parked`;
  }

  useText(): string {
    return 'is lit';
  }

  remedy(): string {
    return `make ${this.name} dark`;
  }

  wayText(to: Standing): string {
    return to ? 'back to what it shows when parked' : 'away from what it shows when parked';
  }
}

/** A light of one colour on one output, set as perceived lightness 0 to 1. */
export class Lamp extends Light {
  readonly kind = 'lamp';
  readonly spec: LampChannel;
  readonly output: number;
  readonly #fullA: number;
  readonly #guard: FlashGuard | undefined;
  #from = 0;
  #wanted = 0;
  #luminance = 0;
  #wantedLuminance = 0;
  /** Perceived lightness 0..1. */
  value = 0;
  target = 0;

  constructor(
    name: string,
    index: number,
    spec: LampChannel,
    board: Board,
    rail: number,
    time: { readonly nowS: number },
  ) {
    super(name, index, spec, board, rail, time);
    this.spec = spec;
    this.#fullA = lampFullA(spec);
    this.#guard = spec.flash ? undefined : new FlashGuard();
    this.output = board.addOutput({
      name,
      kind: 'duty',
      pin: spec.output.pin,
      safe: this.#duty(0),
      plant: {
        kind: 'load',
        channel: name,
        onA: this.#fullA,
        activeLevel: spec.output.activeLow ? 0 : 1,
      },
    });
  }

  fade(to: number, fadeS: number, ease?: Ease): void {
    this.#from = this.value;
    this.target = to;
    this.startFade(fadeS, Math.abs(to - this.value), ease);
  }

  fadeToPark(): void {
    this.fade(this.spec.park.to, 0);
  }

  get atPark(): boolean {
    return this.value === this.spec.park.to;
  }

  protected mix(done: boolean): void {
    const mixed = this.#from + (this.target - this.#from) * this.progress;
    // A curve may overshoot; a lamp cannot.
    this.#wanted = done ? this.target : Math.min(Math.max(mixed, 0), 1);
    this.#wantedLuminance = lightnessToLuminance(this.#wanted);
  }

  protected allowed({ nowS }: { readonly nowS: number }): boolean {
    const guard = this.#guard;
    if (!guard) return true;
    guard.at[0] = nowS;
    guard.at[1] = this.#wantedLuminance;
    return guard.allowsAt();
  }

  protected note({ nowS }: { readonly nowS: number }): void {
    const guard = this.#guard;
    if (!guard) return;
    guard.at[0] = nowS;
    guard.at[1] = this.#wantedLuminance;
    guard.forceAt();
  }

  writeShown(into: Float64Array, at: number): void {
    into[at] = this.#luminance;
    into[at + 1] = this.#luminance;
    into[at + 2] = this.#luminance;
  }

  writeWanted(into: Float64Array, at: number): void {
    into[at] = this.#wantedLuminance;
    into[at + 1] = this.#wantedLuminance;
    into[at + 2] = this.#wantedLuminance;
  }

  protected noteDark(nowS: number): void {
    this.#guard?.force(nowS, 0);
  }

  protected show(): void {
    this.value = this.#wanted;
    this.#luminance = this.#wantedLuminance;
  }

  protected darken(): void {
    this.value = 0;
    this.#luminance = 0;
    this.target = 0;
  }

  protected putDuties(): void {
    this.board.put(this.output, this.#duty(this.#luminance));
  }

  amps(): number {
    return this.ampsAt(this.value);
  }

  targetAmps(): number {
    return this.ampsAt(this.target);
  }

  get lit(): boolean {
    return this.value > 0 || this.target > 0;
  }

  /** It rests dark when parked. */
  get parksDark(): boolean {
    return this.spec.park.to === 0;
  }

  blink(gate: LightGate, bright: boolean): void {
    gate.dim(this, bright ? 1 : 0, 0);
  }

  keep(gate: LightGate): () => void {
    const { value } = this;
    return () => gate.dim(this, value, 0);
  }

  want(to: number | string, { dims }: { dims: Dimming[] }): void {
    dims.push({ lamp: this, to: Number(to) });
  }

  get records(): 'lightness' {
    return 'lightness';
  }

  get sample(): number {
    return this.value;
  }

  protected publishLevels(telemetry: Telemetry): void {
    const { index } = this;
    telemetry.setChannel(index, FIELD.amps, this.amps());
    telemetry.setChannel(index, FIELD.value, this.value);
    telemetry.setChannel(index, FIELD.target, this.target);
  }

  /** Estimated draw (A) at a perceived lightness. */
  ampsAt(level: number): number {
    return lampA(this.#fullA, level);
  }

  #duty(luminance: number): number {
    const share = clamp(luminance, 0, 1);
    return this.spec.output.activeLow ? 1 - share : share;
  }
}

/** A light of three outputs, set as a CSS colour; fades run in Oklab. */
export class RgbLight extends Light {
  readonly kind = 'rgb';
  readonly spec: RgbChannel;
  /** Positions of red, green and blue among the board's outputs. */
  readonly outputs: readonly [number, number, number];
  readonly #fullA: readonly [number, number, number];
  readonly #balance: readonly [number, number, number];
  /**
   * Judges the colour asked for, not the balanced duties: balanced, the light looks like that
   * colour, and its own white is the full luminance that WCAG's shares are of.
   */
  readonly #guard: ColourFlashGuard | undefined;
  readonly park: Readonly<Rgb>;
  readonly #fade = new OklabFade();
  readonly #wanted = new Colour();
  readonly #wantedLight = new Colour();
  /** Linear light as shown. */
  readonly light = new Colour();
  /** sRGB, each 0..1. */
  readonly value = new Colour();
  readonly target = new Colour();

  constructor(
    name: string,
    index: number,
    spec: RgbChannel,
    board: Board,
    rail: number,
    time: { readonly nowS: number },
  ) {
    super(name, index, spec, board, rail, time);
    this.spec = spec;
    this.#fullA = rgbFullA(spec);
    this.#balance = spec.whiteBalance;
    this.#guard = spec.flash ? undefined : new ColourFlashGuard();
    this.park = parseColour(spec.park.to) ?? DARK;
    const [red, green, blue] = spec.output.pins;
    // The plant has the share of the duty in the level of its pin.
    const plantA = spec.draw?.fullA ?? [0, 0, 0];
    const add = (colour: string, pin: number, onA: number) =>
      board.addOutput({
        name: `${name}.${colour}`,
        kind: 'duty',
        pin,
        safe: this.#duty(0),
        plant: {
          kind: 'load',
          channel: name,
          onA,
          activeLevel: spec.output.common === 'anode' ? 0 : 1,
        },
      });
    this.outputs = [
      add('red', red, plantA[0]),
      add('green', green, plantA[1]),
      add('blue', blue, plantA[2]),
    ];
  }

  get lit(): boolean {
    const { value, target } = this;
    return value.red + value.green + value.blue + target.red + target.green + target.blue > 0;
  }

  /** It rests dark when parked. */
  get parksDark(): boolean {
    return this.park.red + this.park.green + this.park.blue === 0;
  }

  blink(gate: LightGate, bright: boolean): void {
    gate.colour(this, bright ? WHITE : DARK, 0);
  }

  keep(gate: LightGate): () => void {
    const value = { ...this.value };
    return () => gate.colour(this, value, 0);
  }

  want(to: number | string, { colours }: { colours: Colouring[] }): void {
    colours.push({ light: this, to: colourOf(String(to)) });
  }

  get records(): 'colour' {
    return 'colour';
  }

  get sample(): number {
    return packColour(this.value);
  }

  protected publishLevels(telemetry: Telemetry): void {
    const { index, value, target } = this;
    telemetry.setChannel(index, FIELD.amps, this.amps());
    telemetry.setChannel(index, FIELD.value, value.red);
    telemetry.setChannel(index, FIELD.value + 1, value.green);
    telemetry.setChannel(index, FIELD.value + 2, value.blue);
    telemetry.setChannel(index, FIELD.target, target.red);
    telemetry.setChannel(index, FIELD.target + 1, target.green);
    telemetry.setChannel(index, FIELD.target + 2, target.blue);
  }

  get hex(): string {
    return formatColour(this.value);
  }

  get targetHex(): string {
    return formatColour(this.target);
  }

  fade(to: Readonly<Rgb>, fadeS: number, ease?: Ease): void {
    const { value, target } = this;
    this.#fade.begin(value, to);
    Object.assign(target, to);
    this.startFade(
      fadeS,
      Math.max(
        Math.abs(to.red - value.red),
        Math.abs(to.green - value.green),
        Math.abs(to.blue - value.blue),
      ),
      ease,
    );
  }

  fadeToPark(): void {
    this.fade(this.park, 0);
  }

  get atPark(): boolean {
    const { value, park } = this;
    return value.red === park.red && value.green === park.green && value.blue === park.blue;
  }

  protected mix(): void {
    this.#fade.at(this.progress, this.#wanted, this.#wantedLight);
  }

  protected allowed({ nowS }: { readonly nowS: number }): boolean {
    const guard = this.#guard;
    if (!guard) return true;
    guard.at[0] = nowS;
    return guard.allowsLinearAt(this.#wantedLight);
  }

  protected note({ nowS }: { readonly nowS: number }): void {
    const guard = this.#guard;
    if (!guard) return;
    guard.at[0] = nowS;
    guard.forceLinearAt(this.#wantedLight);
  }

  writeShown(into: Float64Array, at: number): void {
    into[at] = this.light.red;
    into[at + 1] = this.light.green;
    into[at + 2] = this.light.blue;
  }

  writeWanted(into: Float64Array, at: number): void {
    into[at] = this.#wantedLight.red;
    into[at + 1] = this.#wantedLight.green;
    into[at + 2] = this.#wantedLight.blue;
  }

  protected noteDark(nowS: number): void {
    this.#guard?.force(nowS, DARK);
  }

  protected show(): void {
    copyColour(this.#wanted, this.value);
    copyColour(this.#wantedLight, this.light);
  }

  protected darken(): void {
    Object.assign(this.value, DARK);
    Object.assign(this.target, DARK);
    Object.assign(this.light, DARK);
  }

  protected putDuties(): void {
    const { board, outputs, light } = this;
    const [red, green, blue] = this.#balance;
    board.put(outputs[0], this.#duty(red * light.red));
    board.put(outputs[1], this.#duty(green * light.green));
    board.put(outputs[2], this.#duty(blue * light.blue));
  }

  amps(): number {
    const { red, green, blue } = this.light;
    return rgbA(this.#fullA, red, green, blue);
  }

  targetAmps(): number {
    return this.ampsAt(this.target);
  }

  /** Estimated draw (A) at a colour. */
  ampsAt({ red, green, blue }: Readonly<Rgb>): number {
    return rgbA(this.#fullA, srgbToLinear(red), srgbToLinear(green), srgbToLinear(blue));
  }

  #duty(share: number): number {
    const lit = clamp(share, 0, 1);
    return this.spec.output.common === 'anode' ? 1 - lit : lit;
  }
}
