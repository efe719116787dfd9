import { Refusal } from '../shared/errors.ts';
import type { Actuator, Body } from './body.ts';
import { Energiser } from './energise.ts';
import type { Gate } from './gate.ts';
import type { Journal } from './journal.ts';
import type { Servo } from './servo.ts';

/** Whether a channel already rests where parking would bring it. */
function rests(actuator: Actuator): boolean {
  if (actuator.kind === 'servo') return actuator.known && actuator.atPark && !actuator.delayed;
  if (actuator.kind === 'relay')
    return actuator.on === actuator.parkOn && !actuator.lingers && !actuator.flashHeld;
  return actuator.atPark && !actuator.fading && !actuator.flashHeld;
}

/** Whether everything rests at its park position already. */
export function atRest(body: Body): boolean {
  return body.channels.every(rests);
}

/**
 * Brings every actuator to its safe resting state, stage by stage, through the gate. Relays that
 * no stage names open before the first stage; other channels that no stage names go last, together.
 */
export class Parker {
  readonly #body: Body;
  readonly #gate: Gate;
  readonly #stages: Actuator[][];
  readonly #energiser: Energiser;
  #active = false;
  #stage = 0;
  #sent = new Set<Actuator>();
  #holdUntilS = 0;
  #deadlineS = 0;

  constructor(body: Body, gate: Gate, journal: Journal) {
    this.#body = body;
    this.#gate = gate;
    this.#energiser = new Energiser(body, gate, journal);
    const named = body.prop.park.stages.map((stage) => stage.map((name) => body.channel(name)));
    const rest = body.channels.filter((channel) => !named.flat().includes(channel));
    this.#stages = [
      rest.filter((channel) => channel.kind === 'relay'),
      ...named,
      rest.filter((channel) => channel.kind !== 'relay'),
    ].filter((stage) => stage.length > 0);
  }

  get active(): boolean {
    return this.#active;
  }

  /**
   * Everything decelerates and holds until its stage comes; with `holdS` the first stage begins
   * that much later (s), relays that park open being opened at once. `energise` also starts limp
   * servos, which only somebody who asks for it may want; those that stand nobody knows where stay limp.
   */
  begin(nowS: number, holdS: number, energise: boolean): void {
    this.#active = true;
    this.#gate.parking = true;
    this.#gate.cancel();
    this.#stage = 0;
    this.#sent.clear();
    this.#holdUntilS = nowS + holdS;
    for (const servo of this.#body.servos) {
      servo.halt();
      // What is captured from now on is for the next park.
      servo.parkingToDeg = servo.parkDeg;
    }
    if (holdS > 0) for (const relay of this.#body.relays) if (!relay.parkOn) relay.set(false);
    const limp = energise
      ? this.#body.servos.filter((one) => one.known && !rests(one) && !one.board.dead)
      : [];
    const addedS = this.#energiser.begin(limp, nowS);
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
    for (const servo of this.#body.servos) servo.parkingToDeg = undefined;
    this.#energiser.cancel();
  }

  /** Once a tick while active. `late`: the deadline has passed with something not at rest. */
  tick(nowS: number): 'parking' | 'done' | 'late' {
    if (nowS > this.#deadlineS) return 'late';
    if (nowS < this.#holdUntilS || !this.#energiser.tick(nowS)) return 'parking';
    for (;;) {
      const stage = this.#stages[this.#stage];
      if (!stage) break;
      if (!this.#runStage(stage, nowS)) return 'parking';
      this.#stage++;
    }
    // Sent there from an unknown position at its own speed, a servo may still be on its way.
    if (this.#body.servos.some((servo) => servo.energised && nowS < servo.jumpUntilS))
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
    let finished = true;
    for (const actuator of stage) {
      if (this.#finished(actuator)) continue;
      finished = false;
      if (actuator.kind === 'servo') this.#sendHome(actuator, stage, nowS);
      else if (actuator.kind === 'relay') this.#switchHome(actuator.name, nowS);
      else if (!this.#sent.has(actuator)) {
        actuator.fadeToPark();
        this.#sent.add(actuator);
      }
    }
    return finished;
  }

  #finished(actuator: Actuator): boolean {
    if (actuator.board.dead) return true;
    // A limp servo that nobody asked to energise stays as it is.
    if (actuator.kind === 'servo' && !actuator.energised) return true;
    return rests(actuator);
  }

  #sendHome(servo: Servo, stage: readonly Actuator[], nowS: number): void {
    const parkDeg = servo.homeDeg;
    if (servo.delayed || (servo.moving && servo.target === parkDeg)) return;
    if (this.#isNeeded(servo, parkDeg, stage)) return;
    try {
      this.#gate.move([{ servo, toDeg: parkDeg }], 0, 'prop', nowS);
    } catch (error) {
      // Not yet: something still decelerates. Tried again each tick, until the deadline.
      if (!(error instanceof Refusal)) throw error;
    }
  }

  #switchHome(name: string, nowS: number): void {
    const relay = this.#body.relay(name);
    try {
      this.#gate.switch(relay, relay.parkOn, Number.POSITIVE_INFINITY, nowS);
    } catch (error) {
      // Not yet, as for a servo.
      if (!(error instanceof Refusal)) throw error;
    }
  }

  /**
   * Whether another channel of the stage still needs this servo where it is: within a stage, what
   * depends on an interlock goes home before what it depends on.
   */
  #isNeeded(servo: Servo, parkDeg: number, stage: readonly Actuator[]): boolean {
    return stage.some(
      (other) =>
        other !== servo &&
        !this.#finished(other) &&
        other.spec.requires?.some(
          (requirement) =>
            requirement.channel === servo.name &&
            this.#body.met(requirement) &&
            (('above' in requirement && parkDeg <= requirement.above) ||
              ('below' in requirement && parkDeg >= requirement.below)),
        ),
    );
  }
}
