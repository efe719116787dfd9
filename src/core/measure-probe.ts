import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';
import { tidy } from '../shared/units.ts';
import { interpolate } from '../sums/calibration.ts';
import type { Gate } from './gate.ts';
import { SENSE_AT, type Sense, type Senses } from './senses.ts';
import type { Servo } from './servo.ts';

/**
 * Without a new reading for so many ticks it is as good as lost, in the middle of a search: 0.1 s. Ticks are
 * counted, since readings are taken in ticks: one that comes late says nothing of the sensor.
 */
const LOST_TICKS = 20;
/** What a servo draws follows what it is sent after about this (ms). Common practice, no source. */
const FOLLOWS_MS = 60;
/** It stands still this long after it was sent no further (ms). */
const RESTS_MS = 140;

/** Why a measurement ends without a result. */
export const SENSOR = 'measure.sensor' satisfies RefusalCode;
export const PUSHES = 'measure.pushes' satisfies RefusalCode;
export const UNSTEADY = 'measure.unsteady' satisfies RefusalCode;
export const TAKEN = 'measure.taken' satisfies RefusalCode;

/** One reading of the servo's current. */
export interface Amps {
  amps: number;
  atMs: number;
}

/** What a measurement needs of the core. */
export interface ProbeHost {
  readonly gate: Gate;
  readonly nowS: number;
  readonly nowMs: number;
  readonly body: { readonly senses: Senses };
}

/** What a script waits for: once a tick, it goes on. */
export type Script<Result> = Generator<void, Result, void>;

/**
 * A servo under measurement, and what is measured of it. Scripts ask it to move, through the gate, and wait
 * for that; each new reading of the current is put where it belongs. Readings are taken unfiltered.
 */
export class Probe {
  readonly servo: Servo;
  readonly #host: ProbeHost;
  readonly #current: Sense;
  readonly #angle: Sense | undefined;
  readonly #who: string;
  /** Its own plan: with another, somebody else has sent it elsewhere. */
  #plans: number;
  #takenMs = Number.NEGATIVE_INFINITY;
  /** When the last reading of the angle was taken (ms), and for how many ticks there has been none of either. */
  #angleMs = Number.NEGATIVE_INFINITY;
  #missing = { current: 0, angle: 0 };
  /** When the move in hand, or the last one, began and ended (ms). */
  #fromMs: number;
  #toMs = Number.NEGATIVE_INFINITY;
  #way = 0;
  /** Readings since `clear`: while it moved, while it stood, and all. */
  moving: number[] = [];
  standing: number[] = [];
  all: number[] = [];
  /** So far it goes back from where it pushes (deg). */
  backDeg = 2;
  /** Called with each new reading. */
  onAmps: ((reading: Amps) => void) | undefined;

  constructor(
    host: ProbeHost,
    servo: Servo,
    current: Sense,
    angle: Sense | undefined,
    who: string,
  ) {
    this.#host = host;
    this.servo = servo;
    this.#current = current;
    this.#angle = angle;
    this.#who = who;
    this.#plans = servo.plans;
    this.#fromMs = host.nowMs;
  }

  get nowMs(): number {
    return this.#host.nowMs;
  }

  /** Where it is sent now (deg). */
  get pos(): number {
    return this.servo.setpoint.pos;
  }

  /** Its measured angle (deg); NaN where none is. */
  get angleDeg(): number {
    return this.#angle ? this.#read(this.#angle) : Number.NaN;
  }

  /** The way that it was sent last: 1, -1, or 0. */
  get way(): number {
    return this.#way;
  }

  get measuresAngle(): boolean {
    return this.#angle !== undefined;
  }

  clear(): void {
    this.moving = [];
    this.standing = [];
    this.all = [];
  }

  /**
   * Once a tick: takes what is new.
   * @throws Refusal `measure.taken`, `measure.sensor` where nothing can go on
   */
  look(): void {
    const { servo, nowMs } = this;
    if (servo.plans !== this.#plans)
      refuse(TAKEN, `${servo.name} was sent elsewhere by another command`, servo);
    if (servo.moving) this.#toMs = nowMs;
    const { senses } = this.#host.body;
    if (this.#angle) {
      const angleMs = senses.takenMsOf(this.#angle);
      this.#missing.angle = angleMs > this.#angleMs ? 0 : this.#missing.angle + 1;
      this.#angleMs = angleMs;
      this.#mustBeMeasured(this.#angle, this.#missing.angle);
    }
    const atMs = senses.takenMsOf(this.#current);
    this.#missing.current = atMs > this.#takenMs ? 0 : this.#missing.current + 1;
    this.#mustBeMeasured(this.#current, this.#missing.current);
    if (atMs <= this.#takenMs) return;
    this.#takenMs = atMs;
    const amps = this.#read(this.#current);
    this.all.push(amps);
    if (atMs >= this.#fromMs + FOLLOWS_MS && atMs <= this.#toMs + FOLLOWS_MS / 3)
      this.moving.push(amps);
    else if (!servo.moving && atMs >= this.#toMs + RESTS_MS) this.standing.push(amps);
    this.onAmps?.({ amps, atMs });
  }

  /** Sends it to an angle (deg) past its soft limits, if need be; false where the pulse envelope ends. */
  send(toDeg: number): boolean {
    const { gate, nowS } = this.#host;
    const { servo } = this;
    const { limited } = gate.jog(servo, toDeg - gate.jogsFrom(servo), true, this.#who, nowS);
    this.#sent();
    return !limited;
  }

  /** Sends it to an angle (deg) within its limits, at its own speed. */
  move(targetDeg: number, overS: number): void {
    this.#host.gate.move([{ servo: this.servo, targetDeg }], overS, this.#who, this.#host.nowS);
    this.#sent();
  }

  #sent(): void {
    this.#plans = this.servo.plans;
    this.#way = Math.sign(this.servo.targetDeg - this.pos) || this.#way;
    this.#fromMs = this.nowMs;
    this.#toMs = this.nowMs;
  }

  /** Until it has arrived. */
  *arrive(): Script<void> {
    while (this.servo.moving || this.servo.delayed) yield;
  }

  /** For a time (ms). */
  *wait(ms: number): Script<void> {
    const untilMs = this.nowMs + ms;
    while (this.nowMs < untilMs) yield;
  }

  /** Goes there in steps of 5 deg at most, as the limits are left no faster. */
  *creep(toDeg: number): Script<void> {
    while (Math.abs(toDeg - this.pos) > 1e-6) {
      const by = Math.max(-STEP_DEG, Math.min(STEP_DEG, toDeg - this.pos));
      const inside = this.send(this.pos + by);
      yield* this.arrive();
      if (!inside) return;
    }
  }

  #mustBeMeasured({ name, fault }: Sense, missing: number): void {
    if (fault === undefined && missing <= LOST_TICKS) return;
    const why = fault ?? 'there are no new readings';
    refuse(SENSOR, `${name} is not measured: ${why}`, this.servo);
  }

  #read(sense: Sense): number {
    const { senses } = this.#host.body;
    const raw = senses.numbers[senses.placeOf(sense.index) + SENSE_AT.raw]!;
    return interpolate(sense.points, 0, raw);
  }
}

/** The largest step beyond the limits (deg). */
const STEP_DEG = 5;

/** @throws Refusal always */
export function refuse(code: RefusalCode, why: string, { name, setpoint }: Servo): never {
  throw new Refusal(code, why, { channel: name, value: tidy(setpoint.pos) });
}
