import type { GuardInfo } from '../api/types.ts';
import type { GuardAction } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import type { Body, SafetyInput } from './body.ts';

/** A contact must be steady this long before a guard counts as whole again (ms): it may bounce. */
const WHOLE_AFTER_MS = 500;

/** One contact that is read in every tick. Broken at once, whole only after a while. */
class Contact {
  readonly #input: SafetyInput;
  #whole = false;
  /** Since when the contact has been as it should (ms). */
  #wholeSinceMs: number | undefined;
  #read = false;

  constructor(input: SafetyInput) {
    this.#input = input;
  }

  get broken(): boolean {
    return !this.#whole;
  }

  /** @param levelOf undefined where the board has failed: that counts as broken */
  read(nowMs: number, levelOf: (input: SafetyInput) => 0 | 1 | undefined): void {
    // Its board is being opened for another version of the file: the prop is parked meanwhile.
    if (this.#input.board.away) return;
    const level = levelOf(this.#input);
    const whole = level !== undefined && level !== this.#input.brokenLevel;
    if (!whole) {
      this.#whole = false;
      this.#wholeSinceMs = undefined;
    } else {
      this.#wholeSinceMs ??= nowMs;
      if (!this.#read || nowMs - this.#wholeSinceMs >= WHOLE_AFTER_MS) this.#whole = true;
    }
    this.#read = true;
  }
}

interface Guard {
  name: string;
  action: GuardAction;
  category: 0 | 1;
  contact: Contact;
  info: GuardInfo;
}

/**
 * Mats, beams and doors: while one is broken nothing wakes and nothing is moved by command, and one with
 * the action `stop` stops what moves. None of them ever starts anything.
 */
export class Guards {
  #body: Body | undefined;
  #guards: Guard[] = [];
  #key: Contact | undefined;
  #broken = '';
  /** Those that are broken, for clients. */
  info: readonly GuardInfo[] = [];

  /** Whether the key switch of the lockout is on. */
  get locked(): boolean {
    return this.#key?.broken ?? false;
  }

  /** The names of the broken guards, `` when all are whole. */
  get broken(): string {
    return this.#broken;
  }

  /** The category to stop with: the lowest of the broken guards that stop. */
  get stops(): 0 | 1 | undefined {
    let category: 0 | 1 | undefined;
    for (const guard of this.#guards)
      if (guard.action === 'stop' && guard.contact.broken)
        category = category === 0 ? 0 : guard.category;
    return category;
  }

  /** Reads every contact; true when a guard breaks or is whole again. */
  read(body: Body, nowMs: number, levelOf: (input: SafetyInput) => 0 | 1 | undefined): boolean {
    if (body !== this.#body) this.#follow(body);
    this.#key?.read(nowMs, levelOf);
    let broken = '';
    for (const guard of this.#guards) {
      guard.contact.read(nowMs, levelOf);
      if (guard.contact.broken) broken += broken === '' ? guard.name : `, ${guard.name}`;
    }
    if (broken === this.#broken) return false;
    this.#broken = broken;
    this.info = this.#guards.filter(({ contact }) => contact.broken).map(({ info }) => info);
    return true;
  }

  #follow(body: Body): void {
    this.#body = body;
    this.#key = body.lockoutInput && new Contact(body.lockoutInput);
    this.#guards = [...body.guardInputs].map(([name, input]) => {
      const { action, category } = body.prop.guards[name]!;
      return { name, action, category, contact: new Contact(input), info: { name, action } };
    });
  }

  /** Why nothing wakes or moves, and what to do. */
  refusal(): Refusal {
    return new Refusal(
      'guard.broken',
      `a guard is broken: ${this.#broken}; clear the mat, the beam or the door (a broken wire counts as well), then ask again`,
      { guards: this.info.map(({ name }) => name) },
    );
  }
}
