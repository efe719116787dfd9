import type { LockInfo } from '../api/types.ts';
import type { Condition } from '../shared/condition.ts';
import type { Body } from './body.ts';
import type { Journal } from './journal.ts';
import type { Relay } from './relay.ts';
import { oldNames, type Places, placesIn, relaysAt, servosAt } from './renamed.ts';
import type { KeptDrop, NotedDuty, Restored, Saved, Store } from './store.ts';

/** Positions are saved this often while something moves (s). */
const NOTE_EVERY_S = 0.25;
/** Before the place of a relay, where a servo has its digest. */
const RELAY_AT = 'at ';
/** What must be on the disk first is given up after this (s). */
export const NOTE_WITHIN_S = 2;

/** What is saved beside positions and duty guards; the core has it. */
export interface Kept {
  /** In force now; another one after a change of the prop file. */
  body(): Body;
  condition(): Condition;
  /** Who stopped the prop, by name, the last one last. */
  stoppedBy(): string[];
  lockouts(): readonly LockInfo[];
  /** The daemon ends as it should, and somebody has looked at the prop. */
  endsWell(): boolean;
  /** Wires that are found to be weak. */
  drops(): readonly KeptDrop[];
}

/** Saves what is kept across restarts: positions, duty guards, a latched stop, lockouts. */
export class StateKeeper {
  /** Something moves, or may: positions are not trusted after a crash. */
  unsettled = false;
  /** A servo has moved since positions were saved last. */
  moved = false;
  readonly #store: Store;
  readonly #journal: Journal;
  readonly #kept: Kept;
  /** Seconds between the machine's start and the core's own zero. */
  readonly #bootOffsetS: number;
  #savedS = 0;
  #relayChanges = 0;

  constructor(store: Store, journal: Journal, kept: Kept) {
    this.#store = store;
    this.#journal = journal;
    this.#kept = kept;
    this.#bootOffsetS = store.bootNowS();
  }

  /** Whether what was last asked to be saved is on the disk. */
  get noted(): Store['noted'] {
    return this.#store.noted;
  }

  /** Another body is in use: its relays count from the start. */
  follow(): void {
    this.#relayChanges = Number.NaN;
  }

  /** Once a tick: saves in passing what has changed. */
  tick(): void {
    const body = this.#kept.body();
    const { relays } = body;
    let relayChanges = 0;
    for (let i = 0; i < relays.length; i++)
      relayChanges += relays[i]!.changes + relays[i]!.contacts;
    const positionsDue = this.moved && body.nowS - this.#savedS >= NOTE_EVERY_S;
    if (positionsDue || relayChanges !== this.#relayChanges) this.save(false);
    this.#relayChanges = relayChanges;
  }

  /** Saves positions and duty guards; `durable` when a power cut must not lose it. */
  save(durable: boolean): void {
    const body = this.#kept.body();
    const condition = this.#kept.condition();
    const lockouts = this.#kept.lockouts();
    const drops = this.#kept.drops();
    this.#savedS = body.nowS;
    this.moved = false;
    const positions: Record<string, number> = {};
    const digests: Record<string, string> = {};
    for (const servo of body.servos) if (servo.known) positions[servo.name] = servo.setpoint.pos;
    // Of all, so that the next run can tell what has another name from what is new.
    for (const { name, place } of servosAt(body)) digests[name] = place;
    for (const { name, place } of relaysAt(body)) digests[name] = RELAY_AT + place;
    const latched = condition === 'stopped' || condition === 'faulted';
    const saved: Saved = {
      settled: !this.unsettled,
      ...{ positions, digests, duty: this.#duty(body) },
      ...(body.angles.length > 0 && { angles: anglesOf(body) }),
      ...(drops.length > 0 && { drops }),
      ...(lockouts.length > 0 && { lockout: lockouts }),
      ...(latched && { latched: { condition, stoppedBy: this.#kept.stoppedBy() } }),
      // An end in a fault, or before anybody has looked at the prop after a crash, counts as a crash.
      clean: this.#kept.endsWell() && condition !== 'faulted',
    };
    this.#store.save(saved, durable);
  }

  #duty(body: Body): Record<string, NotedDuty> {
    const duty: Record<string, NotedDuty> = {};
    const placeIn = placesIn(body);
    for (const relay of body.relays) {
      if (!relay.duty) continue;
      const { usedS, on, changedS } = relay.duty.record(body.nowS);
      duty[relay.name] = {
        usedS,
        // Saved in advance: the contact closes when this is on the disk.
        on: on || relay.on,
        // Never closed in this run, it has no time; JSON knows no infinity.
        changedS: Number.isFinite(changedS) ? changedS + this.#bootOffsetS : 0,
        output: placeIn(relay.spec.output),
      };
    }
    return duty;
  }

  /**
   * A relay with a duty guard closes when it is on the disk that it does: after a power cut in the
   * middle of a closure the next run must know of it. A disk that fails or hangs leaves it open.
   */
  noteClosures(): void {
    const { relays, nowS } = this.#kept.body();
    let due = false;
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      if (!relay.on || relay.closed) continue;
      relay.held = this.#mustFollow(relay);
      if (!relay.duty || relay.noted === 'yes') continue;
      due ||= relay.noted === 'no';
      if (relay.noted === 'asked') this.#lookAtNote(relay);
      if (relay.on && nowS - relay.notedFromS > NOTE_WITHIN_S)
        this.#giveUp(relay, `the disk does not answer within ${NOTE_WITHIN_S} s`);
    }
    // One at a time: another one meanwhile would keep the first waiting.
    if (!due || this.#store.noted === 'not yet') return;
    for (const relay of relays)
      if (relay.on && !relay.closed && relay.duty && relay.noted === 'no') relay.noted = 'asked';
    this.save(true);
    for (const relay of relays) if (relay.noted === 'asked') this.#lookAtNote(relay);
  }

  /** Whether a relay that must be closed before this one still waits. */
  #mustFollow({ spec }: Relay): boolean {
    if (!spec.requires) return false;
    for (const requirement of spec.requires) {
      if (!('is' in requirement) || requirement.is !== 'on') continue;
      const other = this.#kept.body().find(requirement.channel);
      if (other?.awaitsNote) return true;
    }
    return false;
  }

  #lookAtNote(relay: Relay): void {
    const { noted } = this.#store;
    if (noted === 'yes') relay.noted = 'yes';
    else if (noted !== 'not yet') this.#giveUp(relay, noted.message);
  }

  #giveUp(relay: Relay, why: string): void {
    relay.set(false);
    relay.refusal = `${relay.name} stays open: its closure cannot be saved, and a power cut would make its duty guard forget it (${why}); let the daemon write to its state folder, then try again`;
    this.#journal.add('prop', 'duty', relay.refusal, { channel: relay.name });
  }

  /** Restores positions and duty guards. @returns what was saved */
  restore(): Store['restored'] {
    const { restored } = this.#store;
    const sound = typeof restored === 'string' ? undefined : restored;
    const names = oldNames(placesBefore(sound ?? { duty: {} }), this.#kept.body());
    this.#restoreDuty(sound, names);
    if (sound) {
      this.#restorePositions(sound, names);
      const { angles = {} } = sound;
      for (const angle of this.#kept.body().angles) {
        const name = names.get(angle.servo.name) ?? angle.servo.name;
        if (Object.hasOwn(angles, name)) angle.takeOver(angles[name]!);
      }
    }
    return restored;
  }

  /** Positions saved while something moves are up to a quarter of a second old, and limbs may have fallen since. */
  #restorePositions(
    { settled, positions, digests = {} }: Restored,
    names: ReadonlyMap<string, string>,
  ): void {
    for (const servo of this.#kept.body().servos) {
      const name = names.get(servo.name) ?? servo.name;
      if (!Object.hasOwn(positions, name)) continue;
      if (!Object.hasOwn(digests, name) || digests[name] !== servo.digest) continue;
      const deg = positions[name]!;
      const [low, high] = servo.envelopeDeg;
      if (!(deg >= low && deg <= high)) continue;
      servo.standAt(deg);
      if (settled) servo.known = true;
      // Alone it says too little; a measured angle may agree with it.
      else servo.lastDeg = deg;
    }
  }

  /**
   * A relay that is not known to have rested rests first: a new channel, another pin. One that only has
   * another name goes on.
   */
  #restoreDuty(restored: Restored | undefined, names: ReadonlyMap<string, string>): void {
    const body = this.#kept.body();
    const { nowS } = body;
    const placeIn = placesIn(body);
    const resting: string[] = [];
    for (const relay of body.relays) {
      if (!relay.duty) continue;
      const name = names.get(relay.name) ?? relay.name;
      const record = restored?.duty[name];
      const mine = restored && Object.hasOwn(restored.duty, name);
      if (record && mine && record.output === placeIn(relay.spec.output)) {
        const changedS = record.changedS - this.#bootOffsetS;
        relay.duty.restore({ ...record, changedS }, restored.sameBoot, nowS);
      } else {
        relay.duty.demandRest(nowS);
        resting.push(`${relay.name} (${relay.spec.duty!.restS} s)`);
      }
    }
    if (resting.length > 0)
      this.#journal.add(
        'prop',
        'duty',
        `nobody knows how long these were closed before, so they rest first: ${resting.join(', ')}`,
      );
  }
}

function anglesOf({ angles }: Body): Saved['angles'] {
  return Object.fromEntries(angles.map(({ servo, kept }) => [servo.name, kept]));
}

/** The channels of the last run. Of relays none, where not all are listed: earlier releases listed none. */
function placesBefore({ digests = {}, duty }: Pick<Restored, 'digests' | 'duty'>): Places {
  const servos: Places['servos'] = [];
  const relays: Places['relays'] = [];
  for (const [name, place] of Object.entries(digests))
    if (place.startsWith(RELAY_AT)) relays.push({ name, place: place.slice(RELAY_AT.length) });
    else servos.push({ name, place });
  const listed = new Set(relays.map(({ name }) => name));
  const all = Object.keys(duty).every((name) => listed.has(name));
  return { servos, relays: all ? relays : [], lights: [] };
}
