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
 */
export class Waker {
  readonly #body: Body;
  readonly #gate: Gate;
  readonly #journal: Journal;
  #queue: Servo[] = [];
  #nextS = 0;
  #settledS = 0;

  constructor(body: Body, gate: Gate, journal: Journal) {
    this.#body = body;
    this.#gate = gate;
    this.#journal = journal;
  }

  /** Takes on every limp servo of `servos`; returns how long unknown ones add (s). */
  begin(servos: readonly Servo[], nowS: number): number {
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
  }

  /** Once a tick. True when every servo that was taken on has its pulses and has settled. */
  tick(nowS: number): boolean {
    const { 0: servo } = this.#queue;
    if (!servo) return nowS >= this.#settledS;
    const ready = servo.known ? nowS >= this.#nextS : nowS >= this.#settledS;
    const room = ready ? this.#gate.roomToStart(servo) : 'none';
    if (room === 'none') return false;
    const counts = room === 'counted';
    this.#queue.shift();
    this.#nextS = nowS + STAGGER_S;
    if (servo.known) {
      servo.startPulses(servo.setpoint.pos, nowS + SETTLE_S, counts);
      this.#settledS = Math.max(this.#settledS, nowS + SETTLE_S);
    } else {
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
