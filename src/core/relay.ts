import { isFedAtRest } from '../prop/kinds/contact.ts';
import { activeLow } from '../prop/kinds/polarity.ts';
import { relayA } from '../prop/kinds/relay.ts';
import { pulseS } from '../prop/pulse.ts';
import type { RelayChannel, Requirement } from '../prop/schema.ts';
import { FIELD, FLAG, RELAY_FIELD, type Telemetry } from '../shared/telemetry.ts';
import { FlashGuard } from '../sums/flash.ts';
import type { ActuatorContract, PlaceOf, Standing } from './actuator.ts';
import type { Board } from './boards.ts';
import { DutyGuard } from './duty.ts';
import type { Session } from './lease.ts';

/** A contact stays open or closed at least this long (s), unless the prop file says otherwise. */
const MIN_S = 0.1;
const ROUNDING_S = 1e-9;

/** What a power cut must not make forgotten: that a relay with a duty guard is about to close. */
export type Noted = 'no' | 'asked' | 'yes';

/** A relay that is asked to close or open. */
export interface Switching {
  relay: Relay;
  on: boolean;
}

/** What a relay asks of the gate. */
interface RelayGate {
  switch(relay: Relay, on: boolean, forS: number, nowS: number): void;
}

/** A relay as the core drives it. */
export class Relay implements ActuatorContract {
  readonly kind = 'relay';
  readonly name: string;
  readonly index: number;
  readonly spec: RelayChannel;
  readonly board: Board;
  readonly output: number;
  readonly rail: number;
  readonly duty: DutyGuard | undefined;
  readonly onA: number;
  /** What its coil draws (A) while it is on, and the rail of that, where the contact has its own. */
  coilFullA = 0;
  coilRail = -1;
  /** The shortest closure (s); a momentary contact may be made for shorter ones. */
  readonly minOnS: number;
  /** The shortest time open between two closures (s). */
  readonly minOffS: number;
  /** It is to be closed: the contact may wait for what must be so before. */
  on = false;
  /** The contact, as the last tick left it. */
  closed = false;
  /** To be open, but closed so short a time ago that the contact waits. */
  lingers = false;
  /** Whether it is on the disk that this closure begins. */
  noted: Noted = 'no';
  /** Since when the closure waits to be saved (s). */
  notedFromS = 0;
  /** Why the last closure did not happen. */
  refusal: string | undefined;
  /** Another relay must close before this one. */
  held = false;
  /** Its rail has no room until motors have started. */
  railFull = false;
  /** Opens by itself then (s). */
  offAtS = Number.POSITIVE_INFINITY;
  /** An interlock opened it; cleared when it closes again. */
  interlocked = false;
  /** Counts up with every change of its target. */
  changes = 0;
  /** Counts up whenever the contact closes or opens. */
  contacts = 0;
  /** Of a light whose flashes are limited: a flash too many waits here. */
  readonly #guard: FlashGuard | undefined;
  /** All light of the prop together lets this closure through. */
  #admitted = false;
  /** Since when it is to be closed and may not (s). */
  #waitsFromS: number | undefined;
  /** When the contact last changed (s). */
  #changedS = Number.NEGATIVE_INFINITY;
  #unknown = false;
  /** Its load is connected to the normally closed contact. */
  readonly #fedAtRest: boolean;
  readonly #time: { readonly nowS: number };

  /** @param time of the last tick (s) */
  constructor(
    name: string,
    index: number,
    spec: RelayChannel,
    board: Board,
    rail: number,
    time: { readonly nowS: number },
  ) {
    this.#time = time;
    this.name = name;
    this.index = index;
    this.spec = spec;
    this.board = board;
    this.rail = rail;
    this.duty = spec.duty && new DutyGuard(spec.duty.maxOnS, spec.duty.restS);
    this.onA = relayA(spec);
    this.#fedAtRest = isFedAtRest(spec);
    this.minOnS = spec.minOnS ?? Math.min(MIN_S, this.pulseS ?? MIN_S);
    this.minOffS = spec.minOffS ?? MIN_S;
    this.#guard = spec.light && !spec.flash ? new FlashGuard() : undefined;
    // As its board puts it when it is opened.
    this.on = this.safeOn;
    this.closed = this.safeOn;
    this.output = board.addOutput({
      name,
      kind: 'level',
      pin: spec.output.pin,
      safe: this.levelOf(this.safeOn),
      plant: { kind: 'load', channel: name, onA: this.onA, activeLevel: this.levelOf(true) },
    });
  }

  /** Its coil, or module, has a rail of its own. */
  feedCoil(rail: number, amps: number): void {
    this.coilRail = rail;
    this.coilFullA = amps;
  }

  get parkOn(): boolean {
    return this.spec.park.to === 'on';
  }

  /** It must stay closed: what drops the power leaves it as it is. */
  get safeOn(): boolean {
    return this.spec.safe === 'on';
  }

  /** For a stop or a fault: opens, unless closed is the safe state. */
  makeSafe(): void {
    if (!this.safeOn) this.set(false);
  }

  /** Length of a momentary closure (s), or undefined for a held contact. */
  get pulseS(): number | undefined {
    return pulseS(this.spec);
  }

  /** To be closed, but something must be so before. */
  get waiting(): boolean {
    return this.on && !this.closed && this.#waitsFromS !== undefined;
  }

  /** Nobody can tell whether the contact is open: its board cannot be reached. */
  get unknown(): boolean {
    return this.board.unknown;
  }

  /** The electrical level that closes or opens it. */
  levelOf(on: boolean): 0 | 1 {
    return on !== activeLow(this.spec) ? 1 : 0;
  }

  /** Opens as soon as it has been closed for as long as its contact needs. */
  openInTime(): void {
    const { closed } = this;
    this.set(false);
    this.lingers = closed && !this.#wasClosedLong;
  }

  /** Closes or opens; the gate has asked every guard before. Opening waits for nothing. */
  set(on: boolean, offAtS = Number.POSITIVE_INFINITY): void {
    this.offAtS = on ? offAtS : Number.POSITIVE_INFINITY;
    this.lingers = false;
    if (on) this.interlocked = false;
    if (on !== this.on) {
      this.changes++;
      this.noted = 'no';
      this.notedFromS = this.#time.nowS;
      this.refusal = undefined;
      this.#waitsFromS = undefined;
      this.held = false;
      this.railFull = false;
      this.#admitted = false;
    }
    this.on = on;
  }

  /** Whether it is a light whose flashes are limited. */
  get isGuardedLight(): boolean {
    return this.#guard !== undefined;
  }

  /** A light's closing is held back so that it does not flash faster than allowed. */
  get flashHeld(): boolean {
    if (this.#guard === undefined || !this.on || this.closed || this.#admitted) return false;
    return this.#isReady;
  }

  /** Whether nothing but the light of all others keeps a light that is to be on from going on now. */
  mayLight(): boolean {
    const { nowS } = this.#time;
    return this.#isReady && (this.#guard?.allows(nowS, 1) ?? true);
  }

  /** The light of all others lets it go on. */
  admit(): void {
    this.#admitted = true;
  }

  /** A light that is to be off goes out, once its contact has been closed long enough. */
  goOut(): void {
    if (this.#wasClosedLong) this.lingers = false;
    if (!this.on && !this.lingers) this.#settle(false);
  }

  /** The contact is so from now on. */
  #settle(closed: boolean): void {
    if (closed === this.closed) return;
    const { nowS } = this.#time;
    // It is closed for as long as was asked for, however long it waited.
    if (closed && this.#waitsFromS !== undefined) this.offAtS += nowS - this.#waitsFromS;
    this.#waitsFromS = undefined;
    this.#changedS = nowS;
    this.closed = closed;
    this.contacts++;
    this.#guard?.force(nowS, closed ? 1 : 0);
  }

  put(): void {
    const { nowS } = this.#time;
    if (this.#wasClosedLong) this.lingers = false;
    const closed = this.lingers || (this.on && (this.closed || this.#mayClose));
    if (this.on && !closed) this.#waitsFromS ??= nowS;
    this.#settle(closed);
    const { unknown } = this;
    if (unknown !== this.#unknown) {
      this.#unknown = unknown;
      this.changes++;
    }
    // Only now, as the pin changes: a tick may come long after the request that it carries out.
    this.duty?.change(closed || unknown, nowS);
    this.board.put(this.output, this.levelOf(closed));
  }

  get #wasClosedLong(): boolean {
    return this.#time.nowS - this.#changedS >= this.minOnS - ROUNDING_S;
  }

  get #mayClose(): boolean {
    return this.#isReady && (this.#guard === undefined || this.#admitted);
  }

  /** Whether its own conditions for closing are met. */
  get #isReady(): boolean {
    if (this.held || this.railFull || (this.duty && this.noted !== 'yes')) return false;
    return this.#time.nowS - this.#changedS >= this.minOffS - ROUNDING_S;
  }

  /**
   * Continues where the same relay, maybe under another name, stands.
   * @param goesOn its board is not opened again, so that the contact is as it was
   */
  resume(was: Relay, goesOn: boolean): void {
    if (this.duty) {
      if (was.duty) this.duty.resume(was.duty);
      else this.duty.demandRest(this.#time.nowS);
    }
    this.#changedS = was.#changedS;
    if (!(was.on && was.parkOn && this.parkOn)) return;
    this.set(true);
    if (!goesOn) return;
    this.closed = was.closed;
    this.#admitted = was.closed;
    this.noted = was.noted;
  }

  // --- what every actuator answers

  get valueType(): 'on' {
    return 'on';
  }

  get moves(): false {
    return false;
  }

  get parksEarly(): true {
    return true;
  }

  get isLimp(): false {
    return false;
  }

  get moveTargetDeg(): undefined {
    return undefined;
  }

  get startA(): number {
    return 0;
  }

  get rests(): boolean {
    return this.on === this.parkOn && !this.lingers && !this.flashHeld;
  }

  get isUnknown(): boolean {
    return this.unknown;
  }

  get isBusy(): boolean {
    return Number.isFinite(this.offAtS);
  }

  get isUnsettled(): boolean {
    return Number.isFinite(this.offAtS) || this.waiting || this.lingers || this.flashHeld;
  }

  get now(): boolean {
    return this.on;
  }

  get home(): boolean {
    return this.parkOn;
  }

  get recordedValue(): number {
    return this.closed ? 1 : 0;
  }

  meets(requirement: Requirement): boolean {
    if (!('is' in requirement)) return false;
    if (requirement.is === 'parked') return this.rests;
    const wanted = requirement.is === 'on';
    return !this.unknown && !this.lingers && !this.flashHeld && this.on === wanted;
  }

  meetsAt(requirement: Requirement, standing: Standing): boolean {
    if (!('is' in requirement)) return false;
    return standing === (requirement.is === 'parked' ? this.parkOn : requirement.is === 'on');
  }

  isInUse(): boolean {
    return this.on;
  }

  get needsAtHome(): boolean {
    return this.parkOn;
  }

  get awaitsNote(): boolean {
    return !this.closed && this.duty !== undefined && this.noted !== 'yes';
  }

  collectTarget(target: number | string, { switches }: { switches: Switching[] }): void {
    switches.push({ relay: this, on: target === 'on' });
  }

  isHoming(): boolean {
    return false;
  }

  goHome(gate: RelayGate, nowS: number): void {
    gate.switch(this, this.parkOn, Number.POSITIVE_INFINITY, nowS);
  }

  identify(by: { click(relay: Relay, session: Session): number }, session: Session): number {
    return by.click(this, session);
  }

  follow(): void {}

  continueFrom(
    was: ActuatorContract | undefined,
    pulsesGoOn: boolean,
    places: { was: PlaceOf; is: PlaceOf },
    nowS: number,
  ): void {
    if (was instanceof Relay && places.was(was.spec.output) === places.is(this.spec.output))
      this.resume(was, pulsesGoOn);
    else this.duty?.demandRest(nowS);
  }

  flags(): number {
    return (
      // A board that cannot be reached may not have opened its relays.
      (this.unknown ? FLAG.unknown : 0) |
      (this.waiting ? FLAG.delayed : 0) |
      (this.interlocked ? FLAG.interlocked : 0) |
      (this.flashHeld ? FLAG.flashHeld : 0) |
      (this.duty && this.duty.restLeftS(this.#time.nowS) > 0 ? FLAG.resting : 0)
    );
  }

  publish(telemetry: Telemetry): void {
    const { numbers } = telemetry;
    const at = telemetry.channelAt(this.index);
    numbers[at + FIELD.flags] = this.flags();
    numbers[at + FIELD.value] = this.closed ? 1 : 0;
    numbers[at + FIELD.target] = this.on ? 1 : 0;
    this.#publishTimes(numbers, at);
    this.writeAmps(numbers, at + FIELD.amps);
  }

  writeAmps(into: Float64Array, at: number): void {
    into[at] = this.amps();
  }

  #publishTimes(numbers: Float64Array, at: number): void {
    const { duty } = this;
    const { nowS } = this.#time;
    let offAtS = this.closed ? this.offAtS : Number.POSITIVE_INFINITY;
    if (duty && this.closed) offAtS = Math.min(offAtS, nowS + duty.leftS(nowS));
    const restS = duty ? duty.restLeftS(nowS) : 0;
    numbers[at + RELAY_FIELD.offAtS] = offAtS === Number.POSITIVE_INFINITY ? 0 : offAtS;
    numbers[at + RELAY_FIELD.readyAtS] = restS > 0 ? nowS + restS : 0;
  }

  get awakeA(): number {
    return this.amps();
  }

  awayText(): string {
    return `${this.name} is ${this.on ? 'on' : 'off'}`;
  }

  useText(): string {
    return 'is on';
  }

  remedy(): string {
    return `switch ${this.name} off`;
  }

  targetText(standing: Standing): string {
    return standing ? 'on' : 'off';
  }

  /** Estimated draw (A). @param asked once the contact is as was asked for */
  amps(asked = false): number {
    const closed = asked ? this.on || this.lingers : this.closed;
    return closed !== this.#fedAtRest || this.unknown ? this.onA : 0;
  }

  /** What its load takes more when it is switched on (A): one on the closed contact takes less. */
  get closingA(): number {
    return this.#fedAtRest ? 0 : this.onA;
  }

  /** As `amps`, of the coil alone. */
  coilAmps(asked = false): number {
    const energised = asked ? this.on || this.lingers : this.closed;
    return energised || this.unknown ? this.coilFullA : 0;
  }
}
