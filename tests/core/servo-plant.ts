import type { Frame, InputSpec, OutputSpec, Sense } from '../../src/boards/board.ts';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import { seeded } from '../../src/sums/random.ts';

/** How a servo of a bench differs from a good one. */
export interface PlantKind {
  /** Where it meets something (deg); between them it turns freely. */
  stopsDeg?: readonly [number, number];
  /** Play between gear and flap (deg). */
  playDeg?: number;
  /** Currents (A). */
  idleA?: number;
  movingA?: number;
  stallA?: number;
  /** Current of friction, as a share of `movingA`, at an angle (deg). */
  friction?: (deg: number) => number;
  /** Time constant with which it follows (s), and its own speed (deg/s). */
  lagS?: number;
  speedDegS?: number;
  /** It stays where it is until it is sent so much further (deg), and draws more meanwhile. */
  sticksDeg?: number;
  /** For so long after it starts it draws its stall current (s). */
  inrushS?: number;
  /** Time constant of the current sensor (s). */
  filterS?: number;
  /** Steps of the current sensor (A). */
  stepA?: number;
  /** Measured angles are off by this (deg). */
  offsetDeg?: number;
  /** Scatter of the measured angle (deg, standard deviation). */
  angleNoiseDeg?: number;
  /** It turns the other way. */
  reversed?: boolean;
}

const STEP_MS = 1;
const FRAME_MS = 20;
const DEAD_BAND_DEG = 0.4;
/** It stops once it is as near as this (deg). */
const STOPS_WITHIN_DEG = 0.15;
/** It pushes with all its force when it is sent this far past what it meets (deg). */
const FULL_PUSH_DEG = 6;
const FAINTEST_PUSH = 0.2;

/**
 * A simulated board with one servo, `beak`, on its first output; 10 us a degree, 1500 us is 0 deg. In steps
 * of 1 ms: frames, lag, dead band, gear play, friction, stops, and the current of a motor with friction and
 * back-EMF (chosen to be like small servos; no source).
 */
export class PlantDriver extends SimDriver {
  readonly kind: PlantKind;
  readonly stopsDeg_: readonly [number, number];
  /** When it pushed against a stop (ms): beginning and end of each contact. */
  readonly pushes: { fromMs: number; toMs: number }[] = [];
  /** The lowest and the highest pulse that were sent (us). */
  readonly sentUs: [number, number] = [Number.POSITIVE_INFINITY, 0];
  #hornDeg = 0;
  #targetDeg = Number.NaN;
  #nextUs = 0;
  #pulses = false;
  #nowMs = 0;
  #movingSinceMs = Number.NEGATIVE_INFINITY;
  #stillSinceMs = 0;
  #movedMs = Number.NEGATIVE_INFINITY;
  #startedMs = Number.NEGATIVE_INFINITY;
  #amps = 0;
  #shownA = 0;
  readonly #random = seeded(7);

  constructor(kind: PlantKind = {}) {
    super();
    this.kind = kind;
    this.stopsDeg_ = kind.stopsDeg ?? [-33, 37];
  }

  override async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    await super.open(outputs, inputs);
  }

  override write(frame: Frame, nowMs: number): void {
    super.write(frame, nowMs);
    for (let i = 0; i < frame.count; i++) {
      if (frame.output[i] !== 0) continue;
      this.#advance(nowMs);
      const us = frame.value[i]!;
      this.#nextUs = us;
      if (us === 0) continue;
      this.sentUs[0] = Math.min(this.sentUs[0], us);
      this.sentUs[1] = Math.max(this.sentUs[1], us);
    }
  }

  override sense(output: number, nowMs: number, into: Sense): void {
    super.sense(output, nowMs, into);
    if (output !== 0) return;
    this.#advance(nowMs);
    const { stepA = 0, offsetDeg = 0, angleNoiseDeg = 0 } = this.kind;
    const angle = this.#flapDeg + offsetDeg + angleNoiseDeg * this.#normal();
    into.positionDeg = angle;
    into.pushing = false;
    into.amps = stepA > 0 ? Math.round(this.#shownA / stepA) * stepA : this.#shownA;
  }

  get flapDeg(): number {
    return this.#flapDeg;
  }

  /** Beginning and end of each contact (ms); those that are less than 50 ms apart are one. */
  get contacts(): { fromMs: number; toMs: number }[] {
    const contacts: { fromMs: number; toMs: number }[] = [];
    for (const { fromMs, toMs } of this.pushes) {
      const last = contacts.at(-1);
      if (last && fromMs - last.toMs <= 50) last.toMs = toMs;
      else contacts.push({ fromMs, toMs });
    }
    return contacts;
  }

  /** The longest contact (ms). */
  get longestMs(): number {
    return Math.max(0, ...this.contacts.map(({ fromMs, toMs }) => toMs - fromMs));
  }

  get #flapDeg(): number {
    return Math.min(Math.max(this.#hornDeg, this.stopsDeg_[0]), this.stopsDeg_[1]);
  }

  #normal(): number {
    let sum = -6;
    for (let i = 0; i < 12; i++) sum += this.#random();
    return sum;
  }

  #advance(nowMs: number): void {
    while (this.#nowMs < nowMs - 1e-6) {
      this.#nowMs += STEP_MS;
      this.#step();
    }
  }

  #step(): void {
    const { playDeg = 0, idleA = 0.02, movingA = 0.3, stallA = 1.5 } = this.kind;
    const { lagS = 0.05, speedDegS = 400, sticksDeg = 0, inrushS = 0, filterS = 0 } = this.kind;
    const { friction = () => 0.5, reversed = false } = this.kind;
    if (this.#nowMs % FRAME_MS === 0) {
      const wasOn = this.#pulses;
      this.#pulses = this.#nextUs > 0;
      const deg = ((this.#nextUs - 1500) / 10) * (reversed ? -1 : 1);
      this.#targetDeg = this.#pulses ? deg : Number.NaN;
      if (this.#pulses && !wasOn) this.#hornDeg = deg;
    }
    const error = this.#targetDeg - this.#hornDeg;
    let amps = 0;
    let pushing = false;
    if (this.#pulses) {
      const way = Math.sign(error);
      const beyond = Math.abs(error) - DEAD_BAND_DEG;
      const [low, high] = this.stopsDeg_;
      const blocked =
        way > 0 ? this.#hornDeg >= high + playDeg / 2 : this.#hornDeg <= low - playDeg / 2;
      const runs = this.#movingSinceMs > this.#stillSinceMs;
      const needs = runs ? STOPS_WITHIN_DEG : Math.max(DEAD_BAND_DEG, sticksDeg);
      amps = idleA;
      if (Math.abs(error) > needs && !blocked) {
        if (!runs) this.#movingSinceMs = this.#nowMs;
        // After a moment without current the motor still turns.
        if (this.#nowMs - this.#movedMs > 50) this.#startedMs = this.#nowMs;
        this.#movedMs = this.#nowMs;
        const speed = Math.min(Math.abs(error) / lagS, speedDegS);
        this.#hornDeg += (way * speed * STEP_MS) / 1000;
        const fr = friction(this.#hornDeg);
        amps += (movingA - idleA) * (fr + 0.5 * (speed / speedDegS));
        if (this.#nowMs - this.#startedMs < inrushS * 1000) amps = stallA;
      } else {
        this.#stillSinceMs = this.#nowMs;
        // What sticks draws more and more, until it comes free.
        if (beyond > 0 && !blocked)
          amps +=
            (movingA - idleA) * friction(this.#hornDeg) * Math.min(1, Math.abs(error) / sticksDeg);
        if (beyond > 0 && blocked) {
          const push = Math.min(1, FAINTEST_PUSH + ((1 - FAINTEST_PUSH) * beyond) / FULL_PUSH_DEG);
          amps = movingA + (stallA - movingA) * push;
          pushing = true;
        }
      }
    }
    this.#amps = amps;
    this.#shownA +=
      filterS > 0
        ? ((this.#amps - this.#shownA) * STEP_MS) / 1000 / filterS
        : this.#amps - this.#shownA;
    if (!pushing) return;
    const last = this.pushes.at(-1);
    if (last && last.toMs === this.#nowMs - STEP_MS) last.toMs = this.#nowMs;
    else this.pushes.push({ fromMs: this.#nowMs - STEP_MS, toMs: this.#nowMs });
  }
}
