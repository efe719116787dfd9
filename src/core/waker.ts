import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { WAKE } from '../sums/supply.ts';
import { type Body, NO_RAIL } from './body.ts';
import type { Gate } from './gate.ts';
import type { Journal } from './journal.ts';
import type { Servo } from './servo.ts';

/** Between one servo and the next, so that their inrush does not add up (s). */
const STAGGER_S = WAKE.everyS;
/** How long a servo draws more than when idle, after its pulses start where it stands (s). */
const SETTLE_S = WAKE.startS + WAKE.settleS;
/** How fast a hobby servo swings by itself (deg/s), for a jump of unknown length. Common practice, no source. */
const FREE_SPEED_DEG_S = 300;

/** How far, and how fast, a servo goes to show that its sense follows (deg, deg/s). Chosen, no source. */
const CHECK_DEG = 5;
const CHECK_SPEED_DEG_S = 10;
/** With less room than this (deg) nothing is shown. */
const CHECK_LEAST_DEG = 2;

/** A servo that has started where it is measured, and whether its sense follows it. */
interface Check {
  servo: Servo;
  /** Where its pulses started (deg), and until when it may still jump (s). */
  startDeg: number;
  settledS: number;
  /** Its small move: how far (deg), measured from where (deg). */
  byDeg: number;
  fromDeg: number;
  /** When its measured angle counts (s); NaN while it moves. */
  judgeS: number;
}

/** How long a servo may take to come to rest when nobody knows where it stands (s). */
function jumpS(servo: Servo): number {
  return SETTLE_S + servo.mapping.hornSpanDeg / FREE_SPEED_DEG_S;
}

/**
 * The servos of a stage along their interlocks: what needs another one away from its park position goes
 * before it, what needs it parked goes after it. If the interlocks are circular: as in the file.
 */
function alongInterlocks(body: Body, stage: readonly Servo[]): Servo[] {
  const first = new Map<Servo, Servo[]>();
  const goesBefore = (one: Servo, other: Servo) =>
    first.set(other, [...(first.get(other) ?? []), one]);
  for (const servo of stage)
    for (const requirement of servo.spec.requires ?? []) {
      const other = stage.find(({ name }) => name === requirement.channel);
      if (!other || other === servo) continue;
      if (body.metAtPark(requirement)) goesBefore(other, servo);
      else goesBefore(servo, other);
    }
  const order = new Set<Servo>();
  const left = new Set(stage);
  while (left.size > 0) {
    let next: Servo | undefined;
    for (const servo of left) {
      next ??= servo;
      if (first.get(servo)?.some((one) => left.has(one))) continue;
      next = servo;
      break;
    }
    order.add(next!);
    left.delete(next!);
  }
  return [...order];
}

/** Every servo in the order in which the prop parks. */
function inParkOrder(body: Body): Servo[] {
  const named = body.prop.park.stages.map((stage) =>
    body.servos.filter(({ name }) => stage.includes(name)),
  );
  const rest = body.servos.filter((servo) => !named.some((stage) => stage.includes(servo)));
  return [...named, rest].flatMap((stage) => alongInterlocks(body, stage));
}

/**
 * Starts the pulses of limp servos, one after the other, so that the rails hold. A servo whose
 * position is known starts there and does not move. Those whose positions are not known jump to their
 * park positions, at their own speed; they go last, one at a time, in the order of parking, and the
 * journal says so.
 *
 * One whose position is not known but measured starts there instead, alone as well, as the sensor may be
 * wrong. It counts as unknown until a small slow move has shown that its sense follows; if that does not,
 * there is a `doubt`, and the waking ends.
 */
export class Waker {
  readonly #body: Body;
  readonly #gate: Gate;
  readonly #journal: Journal;
  #queue: Servo[] = [];
  #nextS = 0;
  #settledS = 0;
  /** A person has said that servos may jump from where nobody knows. */
  #confirmed = false;
  #check: Check | undefined;
  /** Why the waking cannot go on. */
  doubt: string | undefined;

  constructor(body: Body, gate: Gate, journal: Journal) {
    this.#body = body;
    this.#gate = gate;
    this.#journal = journal;
  }

  /**
   * Takes on every limp servo of `servos`; returns how long unknown ones add (s).
   * @param confirmed whether any may jump from where nobody knows
   */
  begin(servos: readonly Servo[], nowS: number, confirmed = false): number {
    this.cancel();
    this.#confirmed = confirmed;
    const limp = servos.filter((servo) => !servo.pulsing);
    const lost = new Set(limp.filter((servo) => !servo.known));
    const unknown = lost.size > 0 ? inParkOrder(this.#body).filter((one) => lost.has(one)) : [];
    this.#queue = [...limp.filter((servo) => servo.known), ...unknown];
    this.#nextS = nowS;
    this.#settledS = nowS;
    let addedS = 0;
    for (const servo of unknown) addedS += jumpS(servo);
    return addedS;
  }

  cancel(): void {
    this.#queue = [];
    this.doubt = undefined;
    this.#endCheck();
  }

  /** Once a tick. True when every servo that was taken on has its pulses and has settled. */
  tick(nowS: number): boolean {
    if (this.#check && !this.#lookAt(this.#check, nowS)) return false;
    const { 0: servo } = this.#queue;
    if (!servo) return nowS >= this.#settledS;
    const ready = servo.known ? nowS >= this.#nextS : nowS >= this.#settledS;
    const room = ready ? this.#gate.roomToStart(servo) : 'none';
    if (room === 'none') return false;
    const counts = room === 'counted';
    const measuredDeg = servo.known ? Number.NaN : (servo.angle?.startDeg ?? Number.NaN);
    if (!servo.known && !this.#confirmed && !servo.vouched) {
      this.doubt = `nobody knows any more where ${servo.name} stands: its sense no longer shows it where it was commanded to last`;
      return false;
    }
    this.#queue.shift();
    this.#nextS = nowS + STAGGER_S;
    if (servo.known) {
      servo.startPulses(servo.setpoint.pos, nowS + SETTLE_S, counts);
      this.#settledS = Math.max(this.#settledS, nowS + SETTLE_S);
    } else if (!Number.isNaN(measuredDeg)) this.#startMeasured(servo, measuredDeg, nowS, counts);
    else {
      const parkDeg = servo.homeDeg;
      this.#settledS = nowS + jumpS(servo);
      this.#nextS = this.#settledS;
      servo.startPulses(parkDeg, this.#settledS, counts);
      this.#journal.add(
        'prop',
        'position unknown',
        `${servo.name} goes to ${tidy(parkDeg)} deg from a position nobody knows, alone and at its own speed`,
        { channel: servo.name, toDeg: tidy(parkDeg) },
      );
    }
    return false;
  }

  #startMeasured(servo: Servo, startDeg: number, nowS: number, counts: boolean): void {
    const settledS = nowS + jumpS(servo);
    servo.startPulses(startDeg, settledS, counts);
    // Until it is shown that its sense follows, nothing relies on where it is.
    servo.jumpUntilS = Number.POSITIVE_INFINITY;
    this.#settledS = settledS;
    this.#nextS = settledS;
    const at = { byDeg: 0, fromDeg: Number.NaN, judgeS: settledS };
    this.#check = { servo, startDeg, settledS, ...at };
    this.#journal.add(
      'prop',
      'position unknown',
      `${servo.name} starts at ${tidy(startDeg, 1)} deg, where it is measured, alone; if that is wrong it jumps`,
      { channel: servo.name, measuredDeg: tidy(startDeg) },
    );
  }

  #endCheck(): void {
    const check = this.#check;
    if (check) check.servo.jumpUntilS = check.settledS;
    this.#check = undefined;
  }

  /** Whether the check is over: a small slow move, then a look at how far the sense has followed. */
  #lookAt(check: Check, nowS: number): boolean {
    const { servo } = check;
    const { angle } = servo;
    if (!angle || servo.moving || servo.delayed) {
      check.judgeS = Number.NaN;
      return false;
    }
    if (Number.isNaN(check.judgeS)) check.judgeS = nowS + angle.settleMs / 1000;
    if (nowS < check.judgeS) return false;
    if (check.byDeg === 0) {
      const awayDeg = angle.deg - check.startDeg;
      if (!(Math.abs(awayDeg) <= 2 * angle.withinDeg))
        return this.#fail(
          check,
          `it has its pulses at ${tidy(check.startDeg, 1)} deg, and its sense shows ${degText(angle.deg)}`,
        );
      return this.#sendOut(check, nowS);
    }
    const seenDeg = angle.deg - check.fromDeg;
    if (!(Math.abs(seenDeg - check.byDeg) <= Math.abs(check.byDeg) / 2))
      return this.#fail(
        check,
        `it was moved by ${tidy(check.byDeg, 1)} deg, and its sense shows ${degText(seenDeg)}`,
      );
    this.#endCheck();
    this.#settledS = nowS;
    this.#nextS = nowS;
    return true;
  }

  /** Sends it a little towards its park position, or from there towards the middle of its limits. */
  #sendOut(check: Check, nowS: number): boolean {
    const { servo } = check;
    const { pos } = servo.setpoint;
    const [low, high] = servo.limitsDeg;
    const toHomeDeg = servo.homeDeg - pos;
    const wantedDeg = Math.abs(toHomeDeg) >= CHECK_DEG ? toHomeDeg : (low + high) / 2 - pos;
    const byDeg = Math.sign(wantedDeg) * Math.min(CHECK_DEG, Math.abs(wantedDeg));
    if (Math.abs(byDeg) < CHECK_LEAST_DEG)
      return this.#leave(check, nowS, 'it has no room to move');
    check.byDeg = byDeg;
    check.fromDeg = servo.angle!.deg;
    try {
      const moves = [{ servo, targetDeg: pos + byDeg }];
      // Nothing wakes while a guard is broken; while a hand teaches, this alone moves.
      this.#gate.checking = true;
      this.#gate.move(moves, Math.abs(byDeg) / CHECK_SPEED_DEG_S, 'prop', nowS);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      return this.#leave(check, nowS, error.message);
    } finally {
      this.#gate.checking = false;
    }
    return false;
  }

  /** It stands where its pulses put it, but nothing shows whether its sense follows. */
  #leave({ servo }: Check, nowS: number, why: string): boolean {
    servo.angle?.disprove();
    this.#journal.add('prop', 'sense', `the sense of ${servo.name} could not be checked: ${why}`, {
      channel: servo.name,
    });
    this.#endCheck();
    this.#settledS = nowS;
    return true;
  }

  #fail({ servo }: Check, why: string): boolean {
    servo.angle?.disprove();
    this.doubt = `the measured angle of ${servo.name} is not to be trusted: ${why}; look at its sensor and its wires`;
    this.#journal.add('prop', 'sense', this.doubt, { channel: servo.name });
    this.#queue = [];
    this.#endCheck();
    return false;
  }
}

function degText(deg: number): string {
  return Number.isNaN(deg) ? 'nothing' : `${tidy(deg, 1)} deg`;
}

/**
 * Whether the rails can hold the waking of every limp servo.
 * @throws Refusal `railLimit` naming the rail that never could
 */
export function mustBeAbleToWake(body: Body): void {
  for (const rail of body.rails) {
    let amps = 0;
    let startA = 0;
    for (const channel of body.channels) {
      if (channel.rail !== rail.index || channel.rail === NO_RAIL) continue;
      amps += channel.awakeA;
      startA = Math.max(startA, channel.startA);
    }
    if (amps + startA > rail.limitA + 1e-9)
      throw new Refusal(
        'rail.limit',
        `waking would bring rail ${rail.name} to ${tidy(amps + startA, 2)} A; its limit is ${rail.limitA} A`,
        { rail: rail.name, amps: tidy(amps + startA), limitA: rail.limitA },
      );
  }
}
