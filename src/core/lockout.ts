import type { LockInfo, LockoutInfo } from '../api/types.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';

/** More locks than this would say nothing new. */
const MOST = 32;
/** Who the key switch is, beside the names of clients. */
const SWITCH = 'the key switch';
/** The holder of a lockout that a state which cannot be read may have lost; no client clears it as its own. */
const LOST = 'nobody knows who';

/**
 * "Hands in the prop": locks that keep it from waking and moving, as padlocks on a switch do. Everybody
 * sets their own and clears their own; the prop is free when the last is gone.
 */
export class Lockout {
  #locks: LockInfo[] = [];
  #switch: LockInfo | undefined;

  get active(): boolean {
    return this.#switch !== undefined || this.#locks.length > 0;
  }

  /** What clients are told; null when nothing is locked. */
  get info(): LockoutInfo | null {
    const [first, ...also] = [...(this.#switch ? [this.#switch] : []), ...this.#locks];
    return first ? { ...first, ...(also.length > 0 && { also }) } : null;
  }

  /** What must outlive the daemon; the key switch is read again. */
  get kept(): readonly LockInfo[] {
    return this.#locks;
  }

  restore(locks: readonly LockInfo[]): void {
    this.#locks = [...locks];
  }

  /** Any lock may have been lost with the state that kept it: it counts as set until somebody forces it. */
  suspect(why: string, time: string): void {
    this.set(LOST, `${why}: a lockout or a stop may be lost with it`, time);
  }

  /** A second lock of the same client replaces its first. @throws Refusal `tooMany` */
  set(by: string, reason: string, time: string): void {
    const others = this.#locks.filter((lock) => lock.by !== by);
    if (others.length >= MOST)
      throw new Refusal('lockout.too-many', `${MOST} locks are set already; the prop is locked`, {
        limit: MOST,
      });
    this.#locks = [...others, { by, reason, time }];
  }

  /** Returns those that were cleared. @throws Refusal `condition` when none is this client's own */
  clear(by: string): LockInfo[] {
    const own = this.#locks.filter((lock) => lock.by === by && by !== LOST);
    if (own.length === 0 && this.active) throw this.refusal('this client has not set it');
    this.#locks = this.#locks.filter((lock) => !own.includes(lock));
    return own;
  }

  /** Clears what anybody has set. @throws Refusal `condition` while the key switch is on */
  force(): LockInfo[] {
    if (this.#switch) throw this.refusal('the key switch is on, and only its key clears it');
    const all = this.#locks;
    this.#locks = [];
    return all;
  }

  /** Reads the key switch; true when it has changed. */
  turn(on: boolean, clock: Pick<Clock, 'wallMs'>): boolean {
    if (on === (this.#switch !== undefined)) return false;
    const time = new Date(clock.wallMs()).toISOString();
    const reason = 'it is turned, or its wire is broken';
    this.#switch = on ? { by: SWITCH, reason, time } : undefined;
    return true;
  }

  /** Why nothing wakes or moves, and what to do. */
  refusal(why = 'nothing wakes or moves'): Refusal {
    const { by, reason } = this.info!;
    const forced = '"sinew unlock --force REASON"';
    const how =
      by === SWITCH
        ? 'turn the key back'
        : by === LOST
          ? `make sure that nobody is in reach; then ${forced} clears it`
          : `make sure that nobody is in reach; ${by} clears it, or ${forced} does`;
    return new Refusal('lockout.set', `hands are in the prop (${by}: ${reason}): ${why}; ${how}`, {
      lockout: this.info,
    });
  }
}
