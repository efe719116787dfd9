import type { LockInfo } from '../api/types.ts';
import type { Clock } from '../shared/clock.ts';
import type { Refusal } from '../shared/errors.ts';
import type { Body, SafetyInput } from './body.ts';
import { Guards } from './guards.ts';
import type { Journal } from './journal.ts';
import { Lockout } from './lockout.ts';
import type { SafetyInfo } from './requests.ts';

/** What keeps the prop from waking and moving: lockouts by sessions, the key switch, broken guards. */
export class Inhibits {
  readonly #lockout = new Lockout();
  readonly #guards = new Guards();
  readonly #journal: Journal;
  readonly #clock: Clock;
  /** Called when any of these has changed. */
  readonly #onNews: () => void;

  constructor(journal: Journal, clock: Clock, onNews: () => void) {
    this.#journal = journal;
    this.#clock = clock;
    this.#onNews = onNews;
  }

  /** Whether nothing may wake or move. */
  get active(): boolean {
    return this.locked || this.broken !== '';
  }

  /** Hands are in the prop. */
  get locked(): boolean {
    return this.#lockout.active;
  }

  /** The names of the broken guards; empty when all are whole. */
  get broken(): string {
    return this.#guards.broken;
  }

  /** The stop category that broken guards ask for. */
  get stopCategory(): 0 | 1 | undefined {
    return this.#guards.stops;
  }

  get info(): Pick<SafetyInfo, 'lockout' | 'guards'> {
    return { lockout: this.#lockout.info, guards: this.#guards.info };
  }

  /** Lockouts that must outlive the daemon. */
  get kept(): readonly LockInfo[] {
    return this.#lockout.kept;
  }

  restore(locks: readonly LockInfo[]): void {
    this.#lockout.restore(locks);
  }

  /** The state that kept the locks cannot be read: `why`. */
  suspect(why: string): void {
    this.#lockout.suspect(why, new Date(this.#clock.wallMs()).toISOString());
  }

  /** Why nothing wakes or moves, and what to do. */
  readonly refusal = (): Refusal =>
    this.locked ? this.#lockout.refusal() : this.#guards.refusal();

  /** Why nothing moves from rest: a lockout, not a guard. */
  lockoutRefusal(): Refusal {
    return this.#lockout.refusal();
  }

  /** @throws Refusal `condition` unless things may wake and move */
  mustBeFree(): void {
    if (this.active) throw this.refusal();
  }

  /** Locks the prop in the name of `by`. @throws Refusal `tooMany` */
  lock(by: string, reason: string): void {
    this.#lockout.set(by, reason, new Date(this.#clock.wallMs()).toISOString());
    this.#journal.add(by, 'lockout', `hands in the prop: ${reason}`, { reason });
  }

  /**
   * Moves nothing.
   * @param force why locks of others are cleared as well
   * @returns whether there was anything to clear
   * @throws Refusal `condition` unless `by` has set it, or forces it
   */
  unlock(by: string, force: string | undefined): boolean {
    const cleared = force === undefined ? this.#lockout.clear(by) : this.#lockout.force();
    if (cleared.length === 0) return false;
    const whose = cleared.map((lock) => `${lock.by} (${lock.reason})`).join(', ');
    const text =
      force === undefined ? 'no hands in the prop' : `the lockout of ${whose} is forced: ${force}`;
    this.#journal.add(by, 'lockout', text, { cleared, ...(force !== undefined && { force }) });
    return true;
  }

  /** Reads the contacts of the guards and the key switch, once a tick. */
  read(body: Body, levelOf: (input: SafetyInput) => 0 | 1 | undefined): void {
    const guards = this.#guards;
    const news = guards.read(body, this.#clock.nowMs(), levelOf);
    if (news)
      this.#journal.add(
        'prop',
        'guard',
        guards.broken === '' ? 'all guards are whole' : `guard broken: ${guards.broken}`,
        { guards: guards.info },
      );
    const turned = this.#lockout.turn(guards.locked, this.#clock);
    if (turned)
      this.#journal.add(
        'prop',
        'lockout',
        guards.locked ? 'hands in the prop: the key switch is on' : 'the key switch is off',
      );
    if (news || turned) this.#onNews();
  }
}
