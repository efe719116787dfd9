import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';
import type { BoardIo } from './board-io.ts';
import type { Board } from './boards.ts';
import { next } from './condition.ts';
import type { CoreContext } from './core-context.ts';
import { atRest } from './park.ts';
import type { StopCategory } from './stop-latch.ts';
import type { Stopper } from './stoppers.ts';

const STOP_BUTTON: Stopper = { session: '', who: 'stop button' };

/** Stops, faults and their reset: what latches, and what drops the power. */
export class Stops {
  readonly #context: CoreContext;
  readonly #io: BoardIo;
  /** The stop button was pressed in the last tick. */
  #stopHeld = false;
  #resetting = false;
  /** Counts stops and faults, so that a reset under way sees one that comes in between. */
  #latchings = 0;
  /** The core's last failure, until the next reset. */
  #failure = '';

  constructor(context: CoreContext, io: BoardIo) {
    this.#context = context;
    this.#io = io;
  }

  /** Boards are being opened for a reset. */
  get resetting(): boolean {
    return this.#resetting;
  }

  /** Accepted in every condition; it latches. `by` is left out where the prop stops by itself. */
  stop(category: StopCategory, who: string, why = 'asked for', by?: Stopper): void {
    this.#latchings++;
    if (by) this.#context.stoppers.add(by, this.#context.clock.nowMs());
    this.#context.journal.add(who, 'stop', `stop category ${category}: ${why}`, { category });
    this.#context.enter(next(this.#context.condition, 'stop'), who);
    this.#context.stopLatch.latch(category);
    this.#context.waker.cancel();
    this.#context.parker.cancel();
    this.#context.gate.cancel();
    for (const relay of this.#context.body.relays) relay.makeSafe();
    for (const sound of this.#context.body.sounds) sound.cut();
    for (const servo of this.#context.body.servos) servo.halt();
    // What cannot be reached is tried again now.
    for (const { dead, driver } of this.#context.body.boards) if (dead) driver.retrySafe?.();
    // At once when nothing moves: later, after a reset and a wake, it would drop what has just woken.
    const { servos } = this.#context.body;
    const still = !servos.some((servo) => servo.moving);
    const holding = servos.some((servo) => servo.pulsing);
    if (this.#context.stopLatch.begin(still, holding, this.#context.nowS, this.#context.prop.stop))
      this.dropPower();
    this.#context.state.save(true);
  }

  /**
   * Lifts a stop or a fault; moves nothing.
   * @param session who asks
   * @param confirm the name of the session that stopped, where that was another one
   * @throws Refusal `condition`
   */
  async reset(who: string, session?: string, confirm?: string): Promise<void> {
    if (next(this.#context.condition, 'reset') === this.#context.condition) return;
    if (this.#resetting)
      this.#refuseReset('reset.under-way', 'a reset is under way already; wait for its answer');
    if (this.#context.parker.active || this.#context.body.servos.some((servo) => servo.moving))
      this.#refuseReset('reset.still-moving', 'something still moves; wait until it stands still');
    if (this.#stopPressed() && !this.#context.body.stopInput!.board.dead)
      this.#refuseReset('reset.stop-pressed', 'the stop button is pressed; release it, then reset');
    this.#context.stoppers.mayReset(
      session,
      confirm,
      this.#context.clock.nowMs(),
      this.#context.condition,
    );
    const latchings = this.#latchings;
    this.#resetting = true;
    try {
      for (const board of this.#context.body.boards) if (board.dead) await this.#reopen(board);
    } finally {
      this.#resetting = false;
    }
    // Ticks went on while the boards were opened: what was true before may not be now.
    if (this.#stopPressed())
      this.#refuseReset('reset.stop-pressed', 'the stop button is pressed; release it, then reset');
    if (latchings !== this.#latchings)
      this.#refuseReset(
        'reset.stopped-again',
        'the prop was stopped again meanwhile; see that it is safe, then reset',
      );
    const dead = this.#context.body.boards.find((board) => board.dead);
    if (dead)
      this.#refuseReset(
        'reset.board-fails',
        `board ${dead.name} has failed again; fix it, then reset`,
      );
    this.#context.enter(next(this.#context.condition, 'reset'), who);
    this.#failure = '';
    this.#context.stoppers.clear();
    this.#context.stopLatch.reset();
    // What is at its park position may stay there; anything held elsewhere is no longer held.
    if (atRest(this.#context.body)) this.#context.stopLatch.endHold();
    this.#context.state.save(true);
  }

  #refuseReset(code: RefusalCode, reason: string): never {
    throw new Refusal(code, reason, { condition: this.#context.condition });
  }

  async #reopen(board: Board): Promise<void> {
    try {
      await board.open(this.#context.clock);
    } catch (error) {
      throw new Refusal(
        'reset.board-fails',
        `board ${board.name} still fails: ${(error as Error).message}; fix it, then reset`,
        { condition: this.#context.condition, board: board.name },
      );
    }
  }

  /** Pressed while a stop or a fault is latched, it still stops what moves, and drops the power. */
  heedStopButton(): void {
    const pressed = this.#stopPressed();
    // One that cannot be read was pressed by nobody.
    const by = pressed && !this.#context.body.stopInput!.board.dead ? STOP_BUTTON : undefined;
    const latched = this.#context.condition === 'stopped' || this.#context.condition === 'faulted';
    if (pressed && !(latched && this.#stopHeld))
      this.stop(this.#context.prop.stopInput!.category, 'prop', 'stop button', by);
    else if (by) this.#context.stoppers.add(by, this.#context.clock.nowMs());
    this.#stopHeld = pressed;
  }

  /** A button that can no longer be read counts as pressed, as a wire break does. */
  #stopPressed(): boolean {
    const { stopInput } = this.#context.body;
    // While its board is being opened the prop is parked and nothing moves.
    if (!stopInput || stopInput.board.away) return false;
    const level = this.#io.level(stopInput.board, stopInput.input);
    return level === undefined || level === stopInput.pressedLevel;
  }

  /** Once a tick: a latched stop drops the power, or no longer holds, when its time has come. */
  tick(): void {
    const { stopLatch } = this.#context;
    if (stopLatch.dropsWhenStill) this.#dropInTime();
    if (this.#context.nowS >= stopLatch.holdUntilS) this.#endHold();
  }

  #dropInTime(): void {
    const moving = this.#context.body.servos.filter((servo) => servo.moving);
    if (moving.length > 0) {
      if (this.#context.nowS < this.#context.stopLatch.dropByS) return;
      const names = moving.map(({ name }) => name).join(', ');
      const { deadlineS } = this.#context.prop.stop;
      this.stop(0, 'prop', `not at rest within ${deadlineS} s of a stop of category 1: ${names}`);
      return;
    }
    this.dropPower();
    this.#context.state.save(true);
  }

  /** Held for long enough: held servos grow hot, and somebody may be caught. */
  #endHold(): void {
    this.#context.stopLatch.endHold();
    this.stop(0, 'prop', `held for ${this.#context.prop.stop.holdS} s after a stop of category 2`);
  }

  /** Lets everything go limp, off and dark. */
  dropPower(): void {
    this.#context.stopLatch.dropped();
    for (const servo of this.#context.body.servos) servo.release(this.#context.nowS);
    for (const relay of this.#context.body.relays) relay.makeSafe();
    for (const light of this.#context.body.lights) light.cut(this.#context.nowS);
    for (const sound of this.#context.body.sounds) sound.cut();
    // Nothing is sent to any servo: what is known of them now holds until the next wake.
    this.#context.state.unsettled = false;
  }

  // --- faults -------------------------------------------------------------------------------------

  /** The core itself failed: no rule can be trusted to hold, so the power goes. */
  fail(error: Error): void {
    this.#latchings++;
    this.#context.enter(next(this.#context.condition, 'fault'), 'prop', error.message);
    this.#context.waker.cancel();
    this.#context.parker.cancel();
    this.#context.gate.cancel();
    this.dropPower();
    this.#context.stopLatch.cut = true;
    // A cause that lasts comes back with every tick: reported and saved once.
    if (error.message === this.#failure) return;
    this.#failure = error.message;
    this.#context.journal.add('prop', 'fault', `the core failed: ${error.message}`, {
      stack: error.stack,
    });
    this.#context.state.save(true);
  }

  /**
   * One board is gone: what is left is parked. From rest nothing moves: a stop stays latched, and
   * somebody may be working on a parked prop.
   */
  boardFailed(board: Board, error: Error): void {
    board.dead = true;
    this.#context.journal.add('prop', 'fault', `board ${board.name}: ${error.message}`, {
      board: board.name,
    });
    this.#context.waker.cancel();
    this.#context.gate.cancel();
    const before = this.#context.condition;
    this.#context.enter(next(this.#context.condition, 'fault'), 'prop', `board ${board.name}`);
    for (const servo of this.#context.body.servos)
      if (servo.board === board) {
        servo.release(this.#context.nowS);
        servo.known = false;
        // What its outputs did last, nobody knows.
        servo.lastDeg = Number.NaN;
      }
    for (const light of this.#context.body.lights)
      if (light.board === board) light.cut(this.#context.nowS);
    for (const relay of this.#context.body.relays) relay.makeSafe();
    for (const sound of this.#context.body.sounds) sound.cut();
    if (before === 'live' || before === 'waking' || before === 'parking')
      this.#context.parker.begin(this.#context.nowS, 0, false);
    this.#context.state.save(true);
  }
}
