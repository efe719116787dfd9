import type { DimmedChannel, LightChannel } from '../prop/kinds/channel.ts';
import { lampA, lampFullA } from '../prop/kinds/lamp.ts';
import { activeLow } from '../prop/kinds/polarity.ts';
import { rgbA, rgbFullA } from '../prop/kinds/rgb.ts';
import type { Requirement, RgbChannel } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { FIELD, FLAG, type Telemetry } from '../shared/telemetry.ts';
import type { Ease } from '../sums/ease.ts';
import { ColourFlashGuard, FlashGuard } from '../sums/flash.ts';
import {
  Colour,
  formatColour,
  Lightness,
  OklabFade,
  packColour,
  parseColour,
  type Rgb,
  srgbToLinear,
} from '../sums/light.ts';
import type { ActuatorContract, Standing, Time } from './actuator.ts';
import type { Board } from './boards.ts';

/** A lamp that is asked for a lightness. */
export interface Dimming {
  lamp: Lamp;
  target: number;
}

/** A light that is asked for a colour. */
export interface Colouring {
  light: RgbLight;
  target: Rgb;
}

/** What a light asks of the gate. */
interface LightGate {
  dim(lamp: Lamp, target: number, fadeS: number): void;
  colour(light: RgbLight, target: Readonly<Rgb>, fadeS: number): void;
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
export abstract class Light implements ActuatorContract {
  abstract readonly spec: LightChannel;
  readonly name: string;
  readonly index: number;
  readonly board: Board;
  readonly rail: number;
  /** A change is held back so that it does not flash faster than allowed. */
  flashHeld = false;
  /** It wants to show something new in this tick, and its own guard lets it. */
  asks = false;
  readonly #time: Time;
  /** An interlock made it dark; cleared by the next fade. */
  interlocked = false;
  /** Positions among the board's outputs: of a lamp one, else of red, green and blue. */
  protected abstract readonly outputs: readonly number[];
  /** What an output is when it is dark; where that is 1, it counts down from there. */
  protected readonly darkDuty: 0 | 1;
  readonly #duties = new Float64Array(3);
  readonly #slewS: number;
  #fadeS = 0;
  #curve: Curve | undefined;
  #atS = 0;
  /** Estimated draw (A) as shown, worked out when that changes. */
  protected shownA = 0;
  /** How far the fade has got: 1 at its end. */
  protected progress = 0;
  fading = false;
  /** Counts up with every new fade, so that a waiting caller sees that it was replaced. */
  fades = 0;
  #changed = true;

  constructor(
    name: string,
    index: number,
    spec: LightChannel,
    board: Board,
    rail: number,
    time: Time,
  ) {
    this.#time = time;
    this.name = name;
    this.index = index;
    this.board = board;
    this.rail = rail;
    this.#slewS = spec.fadeS;
    this.darkDuty = activeLow(spec) ? 1 : 0;
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

  /** The fade that has just been started begins later by this (s): motors start on its rail. */
  wait(delayS: number): void {
    this.#atS = -delayS;
    this.asks = false;
    this.flashHeld = false;
  }

  /**
   * Moves the fade on and looks whether its own guard lets it through; what is held back is tried
   * again in the next tick. Nothing is shown before `admit`.
   */
  advance(): void {
    if (!this.fading && !this.flashHeld) return;
    this.#atS += this.#time.dtS;
    if (this.#atS < 0) return;
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

  /** The pins of its board that it uses, in the order of its outputs. */
  get pins(): number[] {
    return this.outputs.map((at) => this.board.outputs[at]!.pin);
  }

  /** Computes what the fade wants at its progress; `done` at its end. */
  protected abstract mix(done: boolean): void;
  /** Whether its own flash guard lets through what the fade wants. */
  protected abstract allowed(time: Time): boolean;
  /** Tells its own flash guard that what the fade wants is shown. */
  protected abstract note(time: Time): void;
  /** Writes linear red, green and blue as shown, and as the fade wants it, at a place. */
  abstract writeShown(into: Float64Array, at: number): void;
  abstract writeSetpoint(into: Float64Array, at: number): void;
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
    const { board, outputs, darkDuty } = this;
    const duties = this.#duties;
    this.writeShares(duties);
    for (let i = 0; i < outputs.length; i++) {
      duties[i] = Math.abs(darkDuty - Math.min(Math.max(duties[i]!, 0), 1));
      board.putAt(outputs[i]!, duties, i);
    }
  }

  /** Writes how much of its full light each output shows. */
  protected abstract writeShares(into: Float64Array): void;
  /** Estimated draw (A) as shown, and when its fade has ended. */
  amps(): number {
    return this.shownA;
  }

  abstract targetAmps(): number;
  /** It shows light, or is on its way there. */
  abstract get lit(): boolean;
  abstract fadeToPark(): void;
  abstract get atPark(): boolean;
  /** It rests dark when parked. */
  abstract get parksDark(): boolean;
  /** Shows the levels that a lighting desk gives, 0 to 1, in `fadeS`. @throws Refusal as the gate */
  abstract lead(gate: LightGate, levels: readonly number[], fadeS: number): void;
  /** Fades to what it shows when parked, in `fadeS`. @throws Refusal as the gate */
  abstract leadHome(gate: LightGate, fadeS: number): void;
  /** Full or dark at once, through the gate. @throws Refusal as the gate */
  abstract blink(gate: LightGate, bright: boolean): void;
  /** Returns a function that brings back what it shows now. */
  abstract keep(gate: LightGate): () => void;
  abstract collectTarget(target: number | string, into: never): void;
  abstract get recordedValue(): number;
  abstract get valueType(): 'lightness' | 'colour';
  /** Writes into the telemetry, from `at` on, what it shows and where its fade ends. */
  protected abstract writeLevels(into: Float64Array, at: number): void;

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

  get moveTargetDeg(): undefined {
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

  get isUnknown(): boolean {
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

  meetsAt(requirement: Requirement, standing: Standing): boolean {
    return 'is' in requirement && requirement.is === 'parked' && standing === true;
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

  continueFrom(was: ActuatorContract | undefined): void {
    if (was instanceof Light && was.valueType === this.valueType && was.atPark && !this.atPark)
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
    const { numbers } = telemetry;
    const at = telemetry.channelAt(this.index);
    numbers[at + FIELD.flags] = this.flags();
    this.writeLevels(numbers, at);
    this.writeAmps(numbers, at + FIELD.amps);
  }

  writeAmps(into: Float64Array, at: number): void {
    into[at] = this.shownA;
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

  targetText(standing: Standing): string {
    return standing ? 'back to what it shows when parked' : 'away from what it shows when parked';
  }
}

/** A light that is dimmed: one output, set as perceived lightness 0 to 1. */
export class Lamp extends Light {
  readonly kind: DimmedChannel['kind'];
  readonly spec: DimmedChannel;
  protected readonly outputs: readonly [number];
  readonly #fullA: number;
  readonly #guard: FlashGuard | undefined;
  #from = 0;
  readonly #setpoint = new Lightness();
  readonly #shown = new Lightness();
  target = 0;

  constructor(
    name: string,
    index: number,
    spec: DimmedChannel,
    board: Board,
    rail: number,
    time: Time,
  ) {
    super(name, index, spec, board, rail, time);
    this.kind = spec.kind;
    this.spec = spec;
    this.#fullA = lampFullA(spec);
    this.#guard = spec.flash ? undefined : new FlashGuard();
    this.outputs = [
      board.addOutput({
        name,
        kind: 'duty',
        pin: spec.output.pin,
        safe: this.darkDuty,
        plant: {
          kind: 'load',
          channel: name,
          onA: this.#fullA,
          activeLevel: activeLow(spec) ? 0 : 1,
        },
      }),
    ];
  }

  /** Perceived lightness 0..1. */
  get value(): number {
    return this.#shown.lightness;
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
    this.#setpoint.lightness = done ? this.target : Math.min(Math.max(mixed, 0), 1);
    this.#setpoint.work();
  }

  protected allowed({ nowS }: Time): boolean {
    const guard = this.#guard;
    if (!guard) return true;
    guard.at[0] = nowS;
    guard.at[1] = this.#setpoint.luminance;
    return guard.allowsAt();
  }

  protected note({ nowS }: Time): void {
    const guard = this.#guard;
    if (!guard) return;
    guard.at[0] = nowS;
    guard.at[1] = this.#setpoint.luminance;
    guard.forceAt();
  }

  writeShown(into: Float64Array, at: number): void {
    const { luminance } = this.#shown;
    into[at] = luminance;
    into[at + 1] = luminance;
    into[at + 2] = luminance;
  }

  writeSetpoint(into: Float64Array, at: number): void {
    const { luminance } = this.#setpoint;
    into[at] = luminance;
    into[at + 1] = luminance;
    into[at + 2] = luminance;
  }

  protected noteDark(nowS: number): void {
    this.#guard?.force(nowS, 0);
  }

  protected show(): void {
    const { lightness, luminance } = this.#setpoint;
    this.#shown.lightness = lightness;
    this.#shown.luminance = luminance;
    // As `lampA`, with the luminance at hand.
    this.shownA = this.#fullA * luminance;
  }

  protected darken(): void {
    this.#shown.lightness = 0;
    this.#shown.luminance = 0;
    this.target = 0;
    this.shownA = 0;
  }

  protected writeShares(into: Float64Array): void {
    into[0] = this.#shown.luminance;
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

  lead(gate: LightGate, [level = 0]: readonly number[], fadeS: number): void {
    gate.dim(this, level, fadeS);
  }

  leadHome(gate: LightGate, fadeS: number): void {
    gate.dim(this, this.spec.park.to, fadeS);
  }

  blink(gate: LightGate, bright: boolean): void {
    gate.dim(this, bright ? 1 : 0, 0);
  }

  keep(gate: LightGate): () => void {
    const { value } = this;
    return () => gate.dim(this, value, 0);
  }

  collectTarget(target: number | string, { dims }: { dims: Dimming[] }): void {
    dims.push({ lamp: this, target: Number(target) });
  }

  get valueType(): 'lightness' {
    return 'lightness';
  }

  get recordedValue(): number {
    return this.value;
  }

  protected writeLevels(into: Float64Array, at: number): void {
    into[at + FIELD.value] = this.#shown.lightness;
    into[at + FIELD.target] = this.target;
  }

  /** Estimated draw (A) at a perceived lightness. */
  ampsAt(level: number): number {
    return lampA(this.#fullA, level);
  }
}

/** A light of three outputs, set as a CSS colour; fades run in Oklab. */
export class RgbLight extends Light {
  readonly kind = 'rgb';
  readonly spec: RgbChannel;
  protected readonly outputs: readonly [number, number, number];
  /** Draw (A) of each colour in the light's own full white. */
  readonly #fullA: readonly [number, number, number];
  readonly #balance: readonly [number, number, number];
  /**
   * Judges the colour asked for, not the balanced duties: balanced, the light looks like that
   * colour, and its own white is the full luminance that WCAG's shares are of.
   */
  readonly #guard: ColourFlashGuard | undefined;
  readonly park: Readonly<Rgb>;
  readonly #fade = new OklabFade();
  readonly #setpoint = new Colour();
  readonly #setpointLight = new Colour();
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
    time: Time,
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
        safe: this.darkDuty,
        plant: {
          kind: 'load',
          channel: name,
          onA,
          activeLevel: activeLow(spec) ? 0 : 1,
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

  lead(gate: LightGate, [red = 0, green = 0, blue = 0]: readonly number[], fadeS: number): void {
    gate.colour(this, { red, green, blue }, fadeS);
  }

  leadHome(gate: LightGate, fadeS: number): void {
    gate.colour(this, this.park, fadeS);
  }

  blink(gate: LightGate, bright: boolean): void {
    gate.colour(this, bright ? WHITE : DARK, 0);
  }

  keep(gate: LightGate): () => void {
    const value = { ...this.value };
    return () => gate.colour(this, value, 0);
  }

  collectTarget(target: number | string, { colours }: { colours: Colouring[] }): void {
    colours.push({ light: this, target: colourOf(String(target)) });
  }

  get valueType(): 'colour' {
    return 'colour';
  }

  get recordedValue(): number {
    return packColour(this.value);
  }

  protected writeLevels(into: Float64Array, at: number): void {
    const { value, target } = this;
    into[at + FIELD.value] = value.red;
    into[at + FIELD.value + 1] = value.green;
    into[at + FIELD.value + 2] = value.blue;
    into[at + FIELD.target] = target.red;
    into[at + FIELD.target + 1] = target.green;
    into[at + FIELD.target + 2] = target.blue;
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
    this.#fade.progress = this.progress;
    this.#fade.write(this.#setpoint, this.#setpointLight);
  }

  protected allowed({ nowS }: Time): boolean {
    const guard = this.#guard;
    if (!guard) return true;
    guard.at[0] = nowS;
    return guard.allowsLinearAt(this.#setpointLight);
  }

  protected note({ nowS }: Time): void {
    const guard = this.#guard;
    if (!guard) return;
    guard.at[0] = nowS;
    guard.forceLinearAt(this.#setpointLight);
  }

  writeShown(into: Float64Array, at: number): void {
    into[at] = this.light.red;
    into[at + 1] = this.light.green;
    into[at + 2] = this.light.blue;
  }

  writeSetpoint(into: Float64Array, at: number): void {
    into[at] = this.#setpointLight.red;
    into[at + 1] = this.#setpointLight.green;
    into[at + 2] = this.#setpointLight.blue;
  }

  protected noteDark(nowS: number): void {
    this.#guard?.force(nowS, DARK);
  }

  protected show(): void {
    copyColour(this.#setpoint, this.value);
    const { light } = this;
    copyColour(this.#setpointLight, light);
    // As `rgbA`, but by places: passed, or destructured as a list, fractions would be allocated.
    const fullA = this.#fullA;
    this.shownA = fullA[0] * light.red + fullA[1] * light.green + fullA[2] * light.blue;
  }

  protected darken(): void {
    Object.assign(this.value, DARK);
    Object.assign(this.target, DARK);
    Object.assign(this.light, DARK);
    this.shownA = 0;
  }

  protected writeShares(into: Float64Array): void {
    const { light } = this;
    const balance = this.#balance;
    into[0] = balance[0] * light.red;
    into[1] = balance[1] * light.green;
    into[2] = balance[2] * light.blue;
  }

  targetAmps(): number {
    return this.ampsAt(this.target);
  }

  /** Estimated draw (A) at a colour. */
  ampsAt({ red, green, blue }: Readonly<Rgb>): number {
    return rgbA(this.#fullA, srgbToLinear(red), srgbToLinear(green), srgbToLinear(blue));
  }
}
