import { CHIRP, CHIRP_S, SOUND_NUMBERS, type SoundFile } from '../boards/board.ts';
import type { Requirement, SoundChannel } from '../prop/schema.ts';
import type { WithSounds } from '../prop/sound-file.ts';
import { FIELD, FLAG, type Telemetry } from '../shared/telemetry.ts';
import { clamp } from '../shared/units.ts';
import type { ActuatorContract, Standing, Time } from './actuator.ts';
import type { Board } from './boards.ts';

/** A sound that is asked for, on a channel; undefined for silence. */
export interface Sounding {
  sound: Sound;
  play: string | undefined;
}

/** How much longer than the device is ahead a fade is waited for (s). */
const MARGIN_S = 0.05;

/** The prop in use: a sound file that is replaced has another length, and the sounds stay the same ones. */
interface Heard {
  readonly prop: WithSounds;
}

/**
 * A channel that plays sounds, as the core drives it: it says what is to play, from when on, and how loud;
 * the board has the sounds. How far a sound has got follows from its length.
 */
export class Sound implements ActuatorContract {
  readonly kind = 'sound';
  readonly name: string;
  readonly index: number;
  readonly spec: SoundChannel;
  readonly board: Board;
  readonly rail: number;
  interlocked = false;
  /** Counts the starts, so that a waiting caller sees that another one has come. */
  starts = 0;
  /** What plays or is about to. */
  playing: string | undefined;
  readonly #time: Time;
  readonly #heard: Heard;
  readonly #numbers: ReadonlyMap<string, number>;
  readonly #gain: number;
  readonly #play: number;
  readonly #delay: number;
  /** Volume, 0 to 1 of the ceiling; here, so that a tick allocates nothing: now, target, amplitude, number, delay (ms). */
  readonly #values = new Float64Array(5);
  #fadeS = 0;
  #fadeFrom = 0;
  #fadedS = 0;
  #fading = false;
  /** When what plays is heard first, and is over (s). */
  #startS = 0;
  #endS = 0;
  /** A fade has ended; the board is told to be silent at this time (s), once the end of it has been heard. */
  #silentS = Number.POSITIVE_INFINITY;

  constructor(
    name: string,
    index: number,
    spec: SoundChannel,
    board: Board,
    rail: number,
    time: Time,
    heard: Heard,
  ) {
    this.name = name;
    this.index = index;
    this.spec = spec;
    this.board = board;
    this.rail = rail;
    this.#time = time;
    this.#heard = heard;
    const sounds = Object.entries(heard.prop.soundFiles ?? {}).map(
      ([one, { file, path }]): SoundFile => ({ name: one, file, path }),
    );
    this.#numbers = new Map(sounds.map((one, i) => [one.name, i + 1]));
    this.#gain = board.addOutput({ name: `${name}.gain`, kind: 'duty', pin: 0, safe: 0 });
    this.#delay = board.addOutput({ name: `${name}.delay`, kind: 'duty', pin: 0, safe: 0 });
    this.#play = board.addOutput({
      name: `${name}.play`,
      kind: 'level',
      pin: 0,
      safe: 0,
      plant: { kind: 'sounds', channel: name, gain: this.#gain, delay: this.#delay, files: sounds },
    });
  }

  /** How long before its time a sound is asked for (s). */
  get leadS(): number {
    return this.board.driver?.leadS ?? 0;
  }

  /** Whether there is such a sound. */
  has(play: string): boolean {
    return this.#numbers.has(play);
  }

  get soundNames(): Iterable<string> {
    return this.#numbers.keys();
  }

  /** How long a sound takes (s); 0 where its file is missing. */
  lengthS(play: string): number {
    return this.#heard.prop.soundFiles?.[play]?.durationS ?? 0;
  }

  /**
   * Plays a sound from its beginning. @param volume 0 to 1 of the ceiling
   * @param startS when it is to be heard; @param fadeInS from silence to that volume
   */
  start(play: string, volume: number, startS: number, fadeInS: number): void {
    this.#begin(this.#numbers.get(play)!, volume, startS, this.lengthS(play));
    this.playing = play;
    if (fadeInS > 0) {
      this.#values[0] = 0;
      // It is silent when it begins to be heard, however long before that it is asked for.
      const effectS = this.board.driver?.effectS ?? 0;
      this.#fadeTo(volume, fadeInS, Math.max(0, startS - effectS - this.#time.nowS));
    }
  }

  #begin(number: number, volume: number, startS: number, lengthS: number): void {
    this.starts++;
    this.interlocked = false;
    this.#fading = false;
    this.#values[0] = volume;
    this.#values[1] = volume;
    this.#values[3] = number + SOUND_NUMBERS * this.starts;
    this.#values[4] = Math.max(0, startS - this.#time.nowS) * 1000;
    this.#startS = startS;
    this.#endS = startS + lengthS;
    this.#silentS = Number.POSITIVE_INFINITY;
  }

  /** Fades to another volume, at least as slowly as the channel's own time; 0 ends what plays. */
  fade(volume: number, fadeS: number): void {
    if (this.playing === undefined) return;
    this.#fadeTo(volume, Math.max(fadeS, this.spec.fadeOutS * Math.abs(volume - this.#values[0]!)));
  }

  /** @param inS when it begins (s) */
  #fadeTo(volume: number, fadeS: number, inS = 0): void {
    this.#values[1] = volume;
    this.#fadeFrom = this.#values[0]!;
    this.#fadeS = fadeS;
    this.#fadedS = -inS;
    this.#fading = true;
  }

  fadeOut(): void {
    this.fade(0, 0);
  }

  /** Silent at once: for a stop. */
  cut(): void {
    this.playing = undefined;
    this.starts++;
    this.#fading = false;
    this.#silentS = Number.POSITIVE_INFINITY;
    this.#values.fill(0);
  }

  /** Once a tick. */
  advance(): void {
    const { nowS, dtS } = this.#time;
    if (nowS >= this.#silentS) {
      this.cut();
      return;
    }
    if (this.playing === undefined) return;
    if (this.#fading) {
      this.#fadedS += dtS;
      const share = this.#fadedS >= this.#fadeS ? 1 : Math.max(0, this.#fadedS / this.#fadeS);
      const to = this.#values[1]!;
      this.#values[0] = share === 1 ? to : this.#fadeFrom + (to - this.#fadeFrom) * share;
      this.#fading = share < 1;
      if (share === 1 && to === 0) this.#silentS = nowS + this.leadS + MARGIN_S;
    }
    if (nowS >= this.#endS) {
      // The board finds the end by itself, to the sample.
      this.playing = undefined;
      this.#fading = false;
      this.#values[0] = 0;
      this.#values[1] = 0;
      this.#silentS = nowS + 1;
    }
  }

  put(): void {
    this.#values[2] = clamp(this.#values[0]!, 0, 1) * this.spec.ceiling;
    this.board.putAt(this.#gain, this.#values, 2);
    this.board.putAt(this.#delay, this.#values, 4);
    this.board.putAt(this.#play, this.#values, 3);
  }

  get value(): number {
    return this.playing === undefined || this.#time.nowS < this.#startS ? 0 : this.#values[0]!;
  }

  collectTarget(target: number | string, { sounds }: { sounds: Sounding[] }): void {
    const play = this.has(String(target)) ? String(target) : undefined;
    sounds.push({ sound: this, play });
  }

  /** Plays a tone. */
  identify(by: { chirp(sound: Sound): void }): number {
    by.chirp(this);
    return CHIRP_S;
  }

  chirp(): void {
    this.#begin(CHIRP, 1, this.#time.nowS + this.leadS, CHIRP_S);
    this.playing = 'the tone';
  }

  // --- what every actuator answers

  get moves(): false {
    return false;
  }

  get valueType(): 'volume' {
    return 'volume';
  }

  /** It fades while the rest begins to park. */
  get parksEarly(): true {
    return true;
  }

  get rests(): boolean {
    return this.playing === undefined;
  }

  get isUnknown(): false {
    return false;
  }

  get isLimp(): false {
    return false;
  }

  get isBusy(): boolean {
    return this.playing !== undefined;
  }

  get isUnsettled(): boolean {
    return this.playing !== undefined;
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

  get recordedValue(): number {
    return this.value;
  }

  meets(requirement: Requirement): boolean {
    return 'is' in requirement && requirement.is === 'parked' && this.rests;
  }

  meetsAt(requirement: Requirement, standing: Standing): boolean {
    return 'is' in requirement && requirement.is === 'parked' && standing === true;
  }

  isInUse(): boolean {
    return this.playing !== undefined;
  }

  get needsAtHome(): false {
    return false;
  }

  isHoming(sent: boolean): boolean {
    return sent && this.#values[1] === 0;
  }

  goHome(): void {
    this.fadeOut();
  }

  follow(): void {}

  continueFrom(): void {}

  flags(): number {
    return (this.#fading ? FLAG.moving : 0) | (this.interlocked ? FLAG.interlocked : 0);
  }

  publish(telemetry: Telemetry): void {
    const { numbers } = telemetry;
    const at = telemetry.channelAt(this.index);
    numbers[at + FIELD.flags] = this.flags();
    numbers[at + FIELD.value] = this.value;
    numbers[at + FIELD.target] = this.#values[1]!;
    this.writeAmps(numbers, at + FIELD.amps);
  }

  writeAmps(into: Float64Array, at: number): void {
    into[at] = this.amps;
  }

  /** Its amplifier (A), whether it plays or not. */
  get amps(): number {
    return this.spec.draw?.maxA ?? 0;
  }

  get awakeA(): number {
    return this.amps;
  }

  get startA(): number {
    return 0;
  }

  awayText(): string {
    return `${this.name} plays ${this.playing}`;
  }

  useText(): string {
    return 'plays a sound';
  }

  remedy(): string {
    return `silence ${this.name}`;
  }

  targetText(standing: Standing): string {
    return standing ? 'silent' : 'on';
  }
}
