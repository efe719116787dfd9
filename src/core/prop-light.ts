import { lightWeights, PropFlashGuard } from '../sums/flash.ts';
import type { Body } from './body.ts';
import type { Journal } from './journal.ts';
import type { Lamp, RgbLight } from './light.ts';
import type { Relay } from './relay.ts';

/** Held back again sooner than this (s), it is not reported again. */
const TOLD_EVERY_S = 1;

/**
 * All light of the prop together: lamps, colours, and relays that switch a light, each by its weight,
 * a lamp or a relay as white. Once a tick it lets through what they ask for, or so much of it that
 * the whole does not flash too often; the rest waits. A light whose file lifts the limit neither
 * waits nor counts. Nothing here is allocated while nothing is held.
 */
export class PropLight {
  readonly #body: Body;
  readonly #journal: Journal;
  /** Those that are judged, and those that are not. */
  readonly #lights: (Lamp | RgbLight)[] = [];
  readonly #free: (Lamp | RgbLight)[] = [];
  readonly #relays: Relay[] = [];
  readonly #judged: readonly (Lamp | RgbLight | Relay)[];
  /** Of the lights, then of the relays. */
  readonly #weights: Float64Array;
  /** Linear red, green and blue of each light, and of all together by weight. */
  readonly #shown: Float64Array;
  readonly #setpoints: Float64Array;
  readonly shown = new Float64Array(3);
  /** What the whole would be if nothing were held back, and if only each by itself were. */
  readonly setpoint = new Float64Array(3);
  readonly #asked = new Float64Array(3);
  readonly #trial = new Float64Array(3);
  readonly #guard = new PropFlashGuard();
  /** A relay that is lit, or is to be, may open at any time: then there must be room for that. */
  #mayGoOut = false;
  #heldAtS = Number.NEGATIVE_INFINITY;

  constructor(body: Body, journal: Journal) {
    this.#body = body;
    this.#journal = journal;
    for (const light of body.lights) (light.isGuarded ? this.#lights : this.#free).push(light);
    for (const relay of body.relays) if (relay.isGuardedLight) this.#relays.push(relay);
    this.#judged = [...this.#lights, ...this.#relays];
    this.#weights = lightWeights([
      ...this.#lights.map(({ spec }) => spec.light),
      ...this.#relays.map(({ spec }) => (spec.light === true ? undefined : spec.light)),
    ]);
    this.#shown = new Float64Array(3 * this.#lights.length);
    this.#setpoints = new Float64Array(3 * this.#lights.length);
  }

  /** Continues where another version of the prop stands. */
  resume(other: PropLight): void {
    this.#guard.resume(other.#guard);
  }

  /** Once a tick, when everybody has asked. */
  tick(): void {
    for (let i = 0; i < this.#free.length; i++) if (this.#free[i]!.asks) this.#free[i]!.admit();
    const asking = this.#look();
    const guard = this.#guard;
    guard.at[0] = this.#body.nowS;
    // What went dark without asking, such as by a stop.
    this.#putToGuard(this.shown);
    guard.force();
    if (!asking) return;
    this.#putToGuard(this.#asked);
    if (guard.allows(this.#mayGoOut)) {
      this.#admitAll();
      this.shown.set(this.#asked);
    } else this.#admitSome();
    this.#putToGuard(this.shown);
    guard.force();
    this.#report();
  }

  /** Sums up what is shown, asked for and wanted; whether anything is to change. */
  #look(): boolean {
    const { shown, setpoint } = this;
    const asked = this.#asked;
    const weights = this.#weights;
    shown.fill(0);
    setpoint.fill(0);
    asked.fill(0);
    let asking = false;
    this.#mayGoOut = false;
    const count = this.#lights.length;
    for (let i = 0; i < count; i++) {
      const light = this.#lights[i]!;
      const { asks, flashHeld } = light;
      light.writeShown(this.#shown, 3 * i);
      if (asks || flashHeld) {
        asking = true;
        light.writeSetpoint(this.#setpoints, 3 * i);
      }
      for (let k = 0; k < 3; k++) {
        const shows = weights[i]! * this.#shown[3 * i + k]!;
        const wants = weights[i]! * this.#setpoints[3 * i + k]!;
        shown[k]! += shows;
        asked[k]! += asks ? wants : shows;
        setpoint[k]! += asks || flashHeld ? wants : shows;
      }
    }
    for (let i = 0; i < this.#relays.length; i++) {
      const relay = this.#relays[i]!;
      const weight = weights[count + i]!;
      if (relay.on) this.#mayGoOut = true;
      if (!relay.on) relay.goOut();
      else if (!relay.closed) asking = true;
      for (let k = 0; k < 3; k++) {
        if (relay.closed) shown[k]! += weight;
        if (relay.closed || (relay.on && relay.mayLight())) asked[k]! += weight;
        if (relay.on) setpoint[k]! += weight;
      }
    }
    return asking;
  }

  #admitAll(): void {
    for (let i = 0; i < this.#lights.length; i++)
      if (this.#lights[i]!.asks) this.#lights[i]!.admit();
    for (let i = 0; i < this.#relays.length; i++) {
      const relay = this.#relays[i]!;
      if (relay.on && !relay.closed && relay.mayLight()) relay.admit();
    }
  }

  /** Lets through, one by one, what does not make the whole flash too often; the rest waits. */
  #admitSome(): void {
    const { shown } = this;
    const trial = this.#trial;
    const weights = this.#weights;
    const count = this.#lights.length;
    for (let i = 0; i < count; i++) {
      const light = this.#lights[i]!;
      if (!light.asks) continue;
      for (let k = 0; k < 3; k++)
        trial[k] =
          shown[k]! + weights[i]! * (this.#setpoints[3 * i + k]! - this.#shown[3 * i + k]!);
      this.#putToGuard(trial);
      if (this.#guard.allows(this.#mayGoOut)) {
        light.admit();
        shown.set(trial);
      } else light.hold();
    }
    for (let i = 0; i < this.#relays.length; i++) {
      const relay = this.#relays[i]!;
      if (!relay.on || relay.closed || !relay.mayLight()) continue;
      for (let k = 0; k < 3; k++) trial[k] = shown[k]! + weights[count + i]!;
      this.#putToGuard(trial);
      if (!this.#guard.allows(this.#mayGoOut)) continue;
      relay.admit();
      shown.set(trial);
    }
  }

  /** Says what is held back, when nothing was for a while. */
  #report(): void {
    let first: string | undefined;
    let held = 0;
    for (let i = 0; i < this.#judged.length; i++) {
      const one = this.#judged[i]!;
      if (!one.flashHeld) continue;
      first ??= one.name;
      held++;
    }
    if (first === undefined) return;
    const more = held - 1;
    const { nowS } = this.#body;
    const again = nowS - this.#heldAtS <= TOLD_EVERY_S;
    this.#heldAtS = nowS;
    if (again) return;
    const others =
      more === 0 ? '' : more === 1 ? ' and 1 other light' : ` and ${more} other lights`;
    this.#journal.add(
      'prop',
      'flash',
      `${first}${others} ${more === 0 ? 'waits' : 'wait'}, so that the prop does not flash more than three times in a second`,
      { channel: first, lights: held },
    );
  }

  #putToGuard(light: Float64Array): void {
    const { at } = this.#guard;
    at[1] = light[0]!;
    at[2] = light[1]!;
    at[3] = light[2]!;
  }
}
