import { createHash } from 'node:crypto';
import { SENSE_AT, type Sense, type Senses } from './senses.ts';
import type { Servo } from './servo.ts';
import { type KeptSlip, SlipRecord } from './slip-record.ts';

/** Readings count as steady while they stay within this (deg) for so long (ms). Chosen, no source. */
const STEADY_DEG = 2;
const STEADY_MS = 1000;
const STEADY_READINGS = 5;
/** A good converter's last digits change now and then: one that never does may be stuck (ms). Chosen. */
const LIVE_MS = 5000;
/** A reading that is older than this (ms) says nothing of now. */
const FRESH_MS = 500;
/** No hand and no hobby servo turns a flap faster than this (deg/s): another sensor answers. Chosen. */
const FASTEST_DEG_S = 1500;
/** It is astray, or behind, once it has been so for this long (ms). */
const ASTRAY_MS = 100;
const BEHIND_MS = 200;
/** A sense is proven once the servo has arrived at angles so far apart, in tolerances and in deg. Chosen. */
const PROVEN_TOLERANCES = 3;
const PROVEN_DEG = 10;
/** It is said to be back once it is within this share of the tolerance. */
const BACK_SHARE = 0.8;

/**
 * How the measured angle differs from the commanded one. `astray`: commanded to stand still, it has not
 * arrived. `displaced`: it had, and is elsewhere now.
 * `behind`: on its way it is further behind than servos are. `moved`: limp, and elsewhere than it was left.
 */
export type AngleTrouble = 'astray' | 'displaced' | 'behind' | 'moved';

/** What is kept of a measured angle across restarts, and into another version of the file. */
export interface KeptAngle {
  digest: string;
  proven: boolean;
  slip?: KeptSlip | undefined;
}

/** What the digest covers: a sense or a servo that has changed has to be proven again. */
function digestOf({ entry }: Sense, { digest }: Servo): string {
  const { board, input, calibration } = { input: undefined, calibration: undefined, ...entry };
  const text = JSON.stringify([digest, board, input, calibration]);
  return createHash('sha256').update(text).digest('hex').slice(0, 16);
}

/**
 * The measured angle of a servo, compared with the commanded one. It allocates nothing.
 *
 * A sense must be proven before anything is begun from what it says: the servo has arrived, as measured,
 * at angles that lie far enough apart. A sensor that sticks, answers for another or counts the wrong way
 * never proves itself, and a fault, a jump or an arrival elsewhere ends the proof.
 */
export class MeasuredAngle {
  readonly sense: Sense;
  readonly servo: Servo;
  readonly digest: string;
  readonly withinDeg: number;
  readonly slip: SlipRecord;
  /** A servo that it vouches for wakes without a question. */
  readonly unasked: boolean;
  readonly settleMs: number;
  readonly #lagS: number;
  /** What is wrong, and the angles (deg) when that was found. */
  trouble: AngleTrouble | undefined;
  troubleDeg = Number.NaN;
  commandedDeg = Number.NaN;
  /** Counts up with each judged arrival; then measured minus commanded angle (deg). */
  arrivals = 0;
  offsetDeg = Number.NaN;
  /** The arrivals that are in the record. */
  noted = 0;
  /** The last angle that was measured (deg), and when it was read (ms). */
  deg = Number.NaN;
  #atMs = Number.NEGATIVE_INFINITY;
  #raw = Number.NaN;
  #changedMs = Number.NEGATIVE_INFINITY;
  /** The readings of the second under way, and whether those of the one before it were steady. */
  #lowDeg = Number.NaN;
  #highDeg = Number.NaN;
  #sinceMs = Number.NaN;
  #readings = 0;
  #wasSteady = false;
  #proven = false;
  /** The angles (deg) at which it has arrived. */
  #provenLowDeg = Number.NaN;
  #provenHighDeg = Number.NaN;
  #restMs = Number.NaN;
  #astrayMs = Number.NaN;
  #behindMs = Number.NaN;
  /** How fast it was commanded of late (deg/s). */
  #fastDegS = 0;
  #lookedMs = Number.NaN;
  /** While it is limp: its readings have moved, the largest step from one to the next (deg). */
  #stirred = false;
  #stepDeg = 0;
  /** It was known to stand here (deg) when it was found to be moved. */
  #movedFromDeg = Number.NaN;
  #judgedPlan = Number.NaN;

  constructor(sense: Sense, servo: Servo) {
    this.sense = sense;
    this.servo = servo;
    this.digest = digestOf(sense, servo);
    const { entry } = sense;
    if (entry.kind !== 'position') throw new Error(`${sense.name} measures no angle`);
    this.withinDeg = entry.arriveWithinDeg;
    this.slip = new SlipRecord(entry.slipDeg);
    this.unasked = entry.wakeUnasked;
    // What is filtered comes late.
    const filterS = 4 * entry.filterS;
    this.settleMs = (entry.settleS + filterS) * 1000;
    this.#lagS = entry.lagS + filterS;
  }

  /** The servo has been seen to follow, as this sense measures it. */
  get proven(): boolean {
    return this.#proven;
  }

  /** What was seen of the same sense and servo before: in an earlier version of the file, or run. */
  takeOver({ digest, proven, slip }: KeptAngle): void {
    if (digest !== this.digest) return;
    this.#proven = proven;
    if (slip) this.slip.takeOver(slip);
  }

  /** What of it outlasts a restart. */
  get kept(): KeptAngle {
    return { digest: this.digest, proven: this.#proven, slip: this.slip.kept };
  }

  /** Nothing is begun from what it says until it has proven itself again. */
  disprove(): void {
    this.#proven = false;
    this.#provenLowDeg = Number.NaN;
    this.#provenHighDeg = Number.NaN;
  }

  /** Its readings have been steady for a second or more, and are not stuck at a digit. */
  get steady(): boolean {
    return this.#wasSteady && this.#atMs - this.#changedMs <= LIVE_MS;
  }

  get #isTrusted(): boolean {
    return this.#proven && this.steady && this.isFresh(this.#lookedMs);
  }

  /** Why it cannot be trusted at all, and what to do; undefined where it can. */
  get unfit(): string | undefined {
    const { sense, servo, settleMs } = this;
    if (sense.fault !== undefined) return `${sense.name} is not measured: ${sense.fault}`;
    if (!this.#proven)
      return `${sense.name} has not shown yet that it follows; move ${servo.name} to two or three angles, ${Math.max(PROVEN_DEG, PROVEN_TOLERANCES * this.withinDeg)} deg apart or more, and let it rest for ${settleMs / 1000 + 0.5} s at each`;
    return undefined;
  }

  /** Why it cannot be trusted now, and what to do; undefined where it can. */
  get doubt(): string | undefined {
    const { sense, servo, unfit } = this;
    if (unfit !== undefined || this.#isTrusted) return unfit;
    return `the readings of ${sense.name} are not steady; hold ${servo.name} still for two seconds, and look at the sensor if that does not help`;
  }

  /** The middle of its readings of the last second (deg). */
  get steadyDeg(): number {
    return (this.#lowDeg + this.#highDeg) / 2;
  }

  /**
   * Where its pulses may start (deg): where it is measured now, by a proven sense whose readings are fresh
   * and steady, within its limits; NaN otherwise. One that was known to stand elsewhere counts only if its
   * readings went there step by step, as with a hand: a sensor that jumps, or creeps, may lie.
   */
  get startDeg(): number {
    const { deg, withinDeg } = this;
    if (!this.#isTrusted) return Number.NaN;
    const [low, high] = this.servo.limitsDeg;
    if (!(deg >= low - withinDeg && deg <= high + withinDeg)) return Number.NaN;
    const movedDeg = Math.abs(deg - this.#movedFromDeg);
    if (movedDeg > withinDeg && !(this.#stirred && this.#stepDeg <= movedDeg / 2))
      return Number.NaN;
    return Math.min(Math.max(deg, low), high);
  }

  /** It has a reading that says something of now. */
  isFresh(nowMs: number): boolean {
    return this.sense.fault === undefined && nowMs - this.#atMs <= FRESH_MS;
  }

  /** Looks at the latest reading. @returns whether `trouble` has changed */
  look(senses: Senses, nowMs: number, nowS: number): boolean {
    const { sense, servo } = this;
    const { numbers } = senses;
    const from = senses.placeOf(sense.index);
    const before = this.trouble;
    const dtS = Number.isNaN(this.#lookedMs) ? 0 : (nowMs - this.#lookedMs) / 1000;
    this.#lookedMs = nowMs;
    this.#fastDegS = Math.max(
      Math.abs(servo.setpoint.vel),
      this.#lagS > 0 ? this.#fastDegS * Math.exp(-dtS / this.#lagS) : 0,
    );
    if (sense.fault !== undefined || Number.isNaN(numbers[from + SENSE_AT.value]!)) {
      if (sense.fault !== undefined) this.#lose();
      servo.vouched = false;
      return this.trouble !== before;
    }
    if (numbers[from + SENSE_AT.atMs]! > this.#atMs) this.#take(numbers, from);
    if (!servo.pulsing) this.#lookLimp(nowMs);
    else this.#wake();
    servo.vouched = !servo.pulsing && !servo.known && this.#agrees;
    if (!servo.pulsing) return this.trouble !== before;
    if (!servo.known || servo.beyond || servo.feeling || nowS < servo.jumpUntilS) this.#forget();
    else if (servo.moving) this.#lookOnTheWay(nowMs);
    else this.#lookAtRest(nowMs);
    return this.trouble !== before;
  }

  /** It is measured where it was commanded to when its pulses were stopped. */
  get #agrees(): boolean {
    return Math.abs(this.startDeg - this.servo.lastDeg) <= this.withinDeg;
  }

  /** It has its pulses. */
  #wake(): void {
    this.#stirred = false;
    this.#stepDeg = 0;
    this.#movedFromDeg = Number.NaN;
  }

  #take(numbers: Float64Array, from: number): void {
    const deg = numbers[from + SENSE_AT.value]!;
    const raw = numbers[from + SENSE_AT.raw]!;
    const atMs = numbers[from + SENSE_AT.atMs]!;
    const stepDeg = Math.abs(deg - this.deg);
    const mostDeg = this.withinDeg + (FASTEST_DEG_S * (atMs - this.#atMs)) / 1000;
    if (stepDeg > mostDeg) {
      this.disprove();
      this.#unsettle();
    }
    if (!Number.isNaN(stepDeg)) this.#stepDeg = Math.max(this.#stepDeg, stepDeg);
    // The first reading is no change: a sensor that has stuck before gives it again and again.
    if (!Number.isNaN(this.#raw) && raw !== this.#raw) this.#changedMs = atMs;
    this.#raw = raw;
    this.deg = deg;
    this.#atMs = atMs;
    if (
      Number.isNaN(this.#sinceMs) ||
      Math.max(this.#highDeg, deg) - Math.min(this.#lowDeg, deg) > STEADY_DEG
    ) {
      this.#unsettle();
      this.#begin(deg, atMs);
      return;
    }
    this.#lowDeg = Math.min(this.#lowDeg, deg);
    this.#highDeg = Math.max(this.#highDeg, deg);
    this.#readings++;
    if (atMs - this.#sinceMs < STEADY_MS) return;
    // Few readings in a second say less: they take longer.
    if (this.#readings < STEADY_READINGS) return;
    this.#wasSteady = true;
    this.#begin(deg, atMs);
  }

  #begin(deg: number, atMs: number): void {
    this.#sinceMs = atMs;
    this.#lowDeg = deg;
    this.#highDeg = deg;
    this.#readings = 1;
  }

  #unsettle(): void {
    this.#stirred = true;
    this.#wasSteady = false;
    this.#sinceMs = Number.NaN;
  }

  #lose(): void {
    this.disprove();
    this.#unsettle();
    this.deg = Number.NaN;
    this.#raw = Number.NaN;
    this.#changedMs = Number.NEGATIVE_INFINITY;
    this.#forget();
  }

  /** Nothing can be said of the way, or of an arrival. */
  #forget(): void {
    this.#restMs = Number.NaN;
    this.#astrayMs = Number.NaN;
    this.#behindMs = Number.NaN;
    this.trouble = undefined;
  }

  #lookOnTheWay(nowMs: number): void {
    this.#restMs = Number.NaN;
    this.#astrayMs = Number.NaN;
    if (this.trouble !== 'behind') this.trouble = undefined;
    const { pos } = this.servo.setpoint;
    const byDeg = Math.abs(pos - this.deg);
    const mostDeg = this.withinDeg + this.#fastDegS * this.#lagS;
    if (byDeg <= mostDeg) {
      this.#behindMs = Number.NaN;
      return;
    }
    if (Number.isNaN(this.#behindMs)) this.#behindMs = nowMs;
    if (nowMs - this.#behindMs >= BEHIND_MS && this.trouble === undefined) this.#find('behind');
  }

  #lookAtRest(nowMs: number): void {
    const { servo } = this;
    if (Number.isNaN(this.#restMs)) this.#restMs = nowMs;
    // What was read before it had time to settle says nothing.
    if (this.#atMs < this.#restMs + this.settleMs) return;
    const byDeg = Math.abs(this.deg - servo.setpoint.pos);
    const isSaid = this.trouble === 'astray' || this.trouble === 'displaced';
    const mostDeg = isSaid ? BACK_SHARE * this.withinDeg : this.withinDeg;
    if (byDeg <= mostDeg) {
      this.#astrayMs = Number.NaN;
      this.trouble = undefined;
      this.#judge(true);
      return;
    }
    if (Number.isNaN(this.#astrayMs)) this.#astrayMs = this.#atMs;
    if (this.#atMs - this.#astrayMs < ASTRAY_MS) return;
    this.disprove();
    if (!isSaid) this.#find(this.#judgedPlan === servo.plans ? 'displaced' : 'astray');
    this.#judge(false);
  }

  /** Notes once for each plan how it has arrived. */
  #judge(good: boolean): void {
    const { servo } = this;
    if (this.#judgedPlan === servo.plans) return;
    this.#judgedPlan = servo.plans;
    const { pos } = servo.setpoint;
    this.arrivals++;
    this.offsetDeg = this.deg - pos;
    if (!good) return;
    this.#provenLowDeg = Number.isNaN(this.#provenLowDeg) ? pos : Math.min(this.#provenLowDeg, pos);
    this.#provenHighDeg = Number.isNaN(this.#provenHighDeg)
      ? pos
      : Math.max(this.#provenHighDeg, pos);
    const leastDeg = Math.max(PROVEN_DEG, PROVEN_TOLERANCES * this.withinDeg);
    if (this.#provenHighDeg - this.#provenLowDeg >= leastDeg) this.#proven = true;
  }

  /** A limp servo that is known to stand somewhere, and is measured elsewhere, was moved. */
  #lookLimp(nowMs: number): void {
    const { servo } = this;
    this.#restMs = Number.NaN;
    this.#astrayMs = Number.NaN;
    this.#behindMs = Number.NaN;
    if (this.trouble !== 'moved') this.trouble = undefined;
    if (!this.#proven || !this.steady || !this.isFresh(nowMs)) return;
    const byDeg = Math.abs(this.deg - servo.setpoint.pos);
    if (byDeg <= BACK_SHARE * this.withinDeg) this.trouble = undefined;
    if (!servo.known || byDeg <= this.withinDeg || this.trouble === 'moved') return;
    this.#find('moved');
    this.#movedFromDeg = servo.setpoint.pos;
  }

  #find(trouble: AngleTrouble): void {
    this.trouble = trouble;
    this.troubleDeg = this.deg;
    this.commandedDeg = this.servo.setpoint.pos;
  }
}
