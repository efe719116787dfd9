import { Refusal } from '../shared/errors.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import type { Gate } from './gate.ts';
import type { Journal } from './journal.ts';
import { Waker } from './waker.ts';

/**
 * How many servos are sent home in one tick. Each looks at all that share its rail, which for many is more than
 * a slow board has time for in a tick; and nobody sees whether one sets off some ms after another.
 */
const SENT_AT_ONCE = 8;

/** Whether everything rests at its park position already. */
export function atRest(body: Body): boolean {
  return body.channels.every((channel) => channel.rests);
}

/**
 * Brings every actuator to its safe resting state, stage by stage, through the gate. Relays that
 * no stage names open before the first stage; other channels that no stage names go last, together.
 * Interlocks go before stages: what another channel still needs where it is waits until that one is
 * home, and that one goes first, whatever its stage.
 */
export class Parker {
  readonly #body: Body;
  readonly #gate: Gate;
  readonly #stages: Actuator[][];
  readonly #waker: Waker;
  #active = false;
  #stage = 0;
  /** Sent home before. */
  readonly #sent = new Set<Actuator>();
  /** Looked at in this tick. */
  readonly #looked = new Set<Actuator>();
  /** Those among them that may go, or are on their way. */
  #going = 0;
  /** The servos among them that were sent off in this tick. */
  #setOff = 0;
  /** Goes home alone, as no order keeps the interlocks. */
  #forced: Actuator | undefined;
  /** Went home without what they need: told once. */
  readonly #reported = new Set<Actuator>();
  readonly #journal: Journal;
  #holdUntilS = 0;
  #deadlineS = 0;

  constructor(body: Body, gate: Gate, journal: Journal) {
    this.#body = body;
    this.#gate = gate;
    this.#journal = journal;
    this.#waker = new Waker(body, gate, journal);
    const named = body.prop.park.stages.map((stage) => stage.map((name) => body.channel(name)));
    const rest = body.channels.filter((channel) => !named.flat().includes(channel));
    this.#stages = [
      rest.filter((channel) => channel.parksEarly),
      ...named,
      rest.filter((channel) => !channel.parksEarly),
    ].filter((stage) => stage.length > 0);
  }

  get active(): boolean {
    return this.#active;
  }

  /**
   * Everything decelerates and holds until its stage comes; with `holdS` the first stage begins
   * that much later (s), relays that park open being opened at once. `startPulses` also starts limp
   * servos, which only somebody who asks for it may want; those in an unknown position stay limp.
   */
  begin(nowS: number, holdS: number, startPulses: boolean): void {
    this.#active = true;
    this.#gate.parking = true;
    this.#gate.cancel();
    this.#stage = 0;
    this.#forced = undefined;
    this.#sent.clear();
    this.#reported.clear();
    this.#holdUntilS = nowS + holdS;
    for (const servo of this.#body.servos) {
      servo.halt();
      // What is captured from now on is for the next park.
      servo.parkingTargetDeg = servo.parkDeg;
    }
    if (holdS > 0) this.#gate.openParkedOpen();
    const limp = startPulses
      ? this.#body.servos.filter((one) => one.known && !one.rests && !one.board.dead)
      : [];
    const addedS = this.#waker.begin(limp, nowS);
    this.#deadlineS = this.#holdUntilS + addedS + this.#body.prop.park.deadlineS;
  }

  /** Begins the first stage now, when it still waits for the end of a hold. */
  endHold(nowS: number): void {
    const earlierS = this.#holdUntilS - nowS;
    if (earlierS <= 0) return;
    this.#holdUntilS = nowS;
    this.#deadlineS -= earlierS;
  }

  cancel(): void {
    this.#active = false;
    this.#gate.parking = false;
    for (const servo of this.#body.servos) servo.parkingTargetDeg = undefined;
    this.#waker.cancel();
  }

  /** Once a tick while active. `late`: the deadline has passed with something not at rest. */
  tick(nowS: number): 'parking' | 'done' | 'late' {
    if (nowS > this.#deadlineS) return 'late';
    if (nowS < this.#holdUntilS || !this.#waker.tick(nowS)) return 'parking';
    for (;;) {
      const stage = this.#stages[this.#stage];
      if (!stage) break;
      if (!this.#runStage(stage, nowS)) return 'parking';
      this.#stage++;
    }
    // Sent there from an unknown position at its own speed, a servo may still be on its way.
    if (this.#body.servos.some((servo) => servo.pulsing && nowS < servo.jumpUntilS))
      return 'parking';
    for (const servo of this.#body.servos) if (servo.parkThen === 'release') servo.release(nowS);
    this.cancel();
    return 'done';
  }

  /** The channels that are not at rest yet, for the message when the deadline has passed. */
  unfinished(): string[] {
    return this.#body.channels.filter((one) => !this.#finished(one)).map((one) => one.name);
  }

  #runStage(stage: readonly Actuator[], nowS: number): boolean {
    this.#looked.clear();
    this.#going = 0;
    this.#setOff = 0;
    if (this.#forced && this.#finished(this.#forced)) this.#forced = undefined;
    let finished = true;
    for (const actuator of stage) {
      if (this.#finished(actuator)) continue;
      finished = false;
      this.#bringHome(actuator, nowS);
    }
    if (!finished && this.#going === 0 && !this.#body.servos.some(({ moving }) => moving))
      this.#force();
    return finished;
  }

  #finished(actuator: Actuator): boolean {
    if (actuator.board.dead) return true;
    // A limp servo that nobody asked to start stays as it is.
    return actuator.isLimp || actuator.rests;
  }

  /** Sends a channel home, or those that must be home before it. */
  #bringHome(actuator: Actuator, nowS: number): void {
    if (this.#looked.has(actuator)) return;
    this.#looked.add(actuator);
    const before = actuator === this.#forced ? [] : this.#before(actuator);
    for (const other of before) this.#bringHome(other, nowS);
    // What was looked at just now may have come home at once.
    if (before.some((other) => !this.#finished(other))) return;
    this.#going++;
    this.#sendHome(actuator, nowS);
  }

  /** The channels that must be home before this one goes. */
  #before(actuator: Actuator): Actuator[] {
    const before: Actuator[] = [];
    // Those that need it where it is.
    for (const { actuator: other, requirement } of this.#gate.dependentsOf(actuator))
      if (!this.#finished(other) && !this.#body.metAtPark(requirement)) before.push(other);
    // Those that it needs home, for its own way.
    if (!actuator.moves && !actuator.needsAtHome) return before;
    for (const requirement of actuator.spec.requires ?? []) {
      const other = this.#body.channel(requirement.channel);
      if (this.#finished(other) || this.#body.met(requirement)) continue;
      if (this.#body.metAtPark(requirement)) before.push(other);
    }
    return before;
  }

  /** Each waits for another one: they go home one at a time, and the journal says so. */
  #force(): void {
    const stuck = [...this.#looked].filter((one) => !this.#finished(one));
    const first = stuck.find(({ moves }) => moves) ?? stuck[0];
    if (!first) return;
    this.#forced = first;
    const names = stuck.map(({ name }) => name).join(', ');
    this.#journal.add(
      'prop',
      'park',
      `no order of parking keeps the interlocks of ${names}: ${first.name} goes first, alone`,
      { channel: first.name, channels: stuck.map(({ name }) => name) },
    );
  }

  #sendHome(actuator: Actuator, nowS: number): void {
    if (actuator.isHoming(this.#sent.has(actuator))) return;
    if (actuator.moves && this.#setOff >= SENT_AT_ONCE) return;
    this.#sent.add(actuator);
    if (actuator.moves) this.#reportUnmet(actuator);
    try {
      actuator.goHome(this.#gate, nowS);
      if (actuator.moves) this.#setOff++;
    } catch (error) {
      // Not yet: something still decelerates. Tried again each tick, until the deadline.
      if (!(error instanceof Refusal)) throw error;
    }
  }

  /** No order gives it what it needs for its way home: it goes anyway. */
  #reportUnmet(servo: Actuator): void {
    if (servo === this.#forced || this.#reported.has(servo)) return;
    const unmet = servo.spec.requires?.find((one) => !this.#body.met(one));
    if (!unmet) return;
    this.#reported.add(servo);
    this.#journal.add(
      'prop',
      'park',
      `${servo.name} goes home though it needs ${this.#body.describe(unmet)}: no order of parking gives it that`,
      { channel: servo.name, requires: unmet },
    );
  }
}
