import type { BoardIo } from './board-io.ts';
import type { SafetyInput } from './body.ts';
import type { CoreContext } from './core-context.ts';
import type { Stops } from './stops.ts';

/** Lockouts and guards: what they stop, and what they keep from moving. */
export class SafetyWatch {
  readonly #context: CoreContext;
  readonly #io: BoardIo;
  readonly #stops: Stops;

  constructor(context: CoreContext, io: BoardIo, stops: Stops) {
    this.#context = context;
    this.#io = io;
    this.#stops = stops;
  }

  /** "Hands in the prop": stops what moves, and lets nothing wake or move until it is cleared. */
  setLockout(by: string, reason: string): void {
    this.#context.inhibits.lock(by, reason);
    this.#heedLockout();
    this.#context.state.save(true);
    this.#context.publishSafety();
  }

  /** Moves nothing. @throws Refusal `condition` unless `by` has set it, or forces it */
  clearLockout(by: string, force: string | undefined): void {
    if (!this.#context.inhibits.unlock(by, force)) return;
    this.#context.state.save(true);
    this.#context.publishSafety();
  }

  #heedLockout(): void {
    if (this.#context.inhibits.locked && this.#context.acting)
      this.#stops.stop(1, 'prop', 'hands in the prop');
  }

  /** Once a tick: the key switch and the guards. */
  heedGuards(): void {
    this.readGuards();
    this.#heedLockout();
    const { stopCategory: category, broken } = this.#context.inhibits;
    if (category !== undefined && this.#context.acting)
      this.#stops.stop(category, 'prop', `guard broken: ${broken}`);
    if (!this.#context.inhibits.active) {
      const { blockedBy, cues, idle } = this.#context;
      this.#context.gate.blocked = blockedBy;
      if (blockedBy && (cues.anyRunning || idle.running !== null))
        this.#context.beStill('servos are turned by hand');
      return;
    }
    const { gate, inhibits } = this.#context;
    // Blocked for another reason, as while a hand teaches, something may move all the same.
    const isNew = gate.blocked !== inhibits.refusal;
    gate.blocked = inhibits.refusal;
    if (this.#context.condition !== 'live' || this.#context.parker.active) return;
    // What would go on by itself is ended, and nothing that it began is finished.
    if (isNew || this.#context.cues.anyRunning || this.#context.idle.running !== null)
      this.#context.beStill(`guard broken: ${broken}`);
  }

  readonly #levelOfContact = ({ board, input }: SafetyInput): 0 | 1 | undefined =>
    this.#io.level(board, input);

  /** Reads the contacts of the guards and the key switch. */
  readGuards(): void {
    this.#context.inhibits.read(this.#context.body, this.#levelOfContact);
  }
}
