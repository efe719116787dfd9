import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { type ConditionEvent, next } from './condition.ts';
import type { CoreContext } from './core-context.ts';
import { atRest } from './park.ts';
import type { SafetyWatch } from './safety-watch.ts';
import type { SenseWatch } from './sense-watch.ts';
import type { Servo } from './servo.ts';
import type { Stops } from './stops.ts';
import { mustBeAbleToWake } from './waker.ts';

/** From rest to live and back: what must be true and on the disk before, and what ends it. */
export class WakePark {
  readonly #context: CoreContext;
  readonly #stops: Stops;
  readonly #safety: SafetyWatch;
  readonly #senses: SenseWatch;
  /** Whether the boards are closed and opened for another version of the prop file. */
  readonly #isExchanging: () => boolean;
  /** The park under way began at rest: limp servos start once that is on disk. */
  #fromRest = false;

  constructor(
    context: CoreContext,
    stops: Stops,
    safety: SafetyWatch,
    senses: SenseWatch,
    isExchanging: () => boolean,
  ) {
    this.#context = context;
    this.#stops = stops;
    this.#safety = safety;
    this.#senses = senses;
    this.#isExchanging = isExchanging;
  }

  /**
   * @param confirmed a person has said that servos may start from positions that nobody knows
   * @param attended a person asks: then `wakeUnasked` counts
   * @throws Refusal `condition`, `railLimit`
   */
  wake(who: string, confirmed = false, attended = false): void {
    const after = next(this.#context.condition, 'wake');
    if (after === this.#context.condition) return;
    if (this.#isExchanging())
      throw new Refusal(
        'file.taking-effect',
        'the prop takes over its changed file; try again in a moment',
        { condition: this.#context.condition },
      );
    this.#safety.readGuards();
    this.#context.inhibits.mustBeFree();
    this.#senses.mustAllowWake();
    const unknown = this.#unknownServos(attended);
    if (unknown.length > 0 && !confirmed)
      throw new Refusal(
        'wake.unknown-servos',
        `${unknownText(unknown)}. Keep hands clear, then wake with confirm: "unknown"`,
        {
          condition: this.#context.condition,
          servos: unknown.map(({ name }) => name),
          words: unknownText(unknown),
        },
      );
    mustBeAbleToWake(this.#context.body);
    const names = unknown.map(({ name }) => name);
    if (names.length > 0)
      this.#context.journal.add(
        who,
        'wake',
        `${who} confirmed that ${names.join(', ')} may move from where nobody knows`,
        { servos: names },
      );
    this.#context.enter(after, who);
    this.#context.stopLatch.endHold();
    // Before the first pulse: if the power fails from here on, nobody knows where things stand.
    this.#context.state.unsettled = true;
    this.#context.state.save(true);
    this.#context.waker.begin(this.#context.body.servos, this.#context.nowS, confirmed);
  }

  /** The servos that only a person may let start: nobody knows their positions, or a sensor alone does. */
  #unknownServos(attended: boolean): Servo[] {
    return this.#context.body.servos.filter(
      ({ known, vouched, angle }) => !(known || (attended && vouched && angle?.unasked)),
    );
  }

  /** @throws Refusal `condition` */
  park(who: string): void {
    const event: ConditionEvent = atRest(this.#context.body) ? 'park at rest' : 'park away';
    const before = this.#context.condition;
    const after = next(before, event);
    // Its boards are closed for a moment; it is parked.
    if (this.#isExchanging()) return;
    if (this.#context.inhibits.locked && event === 'park away')
      throw this.#context.inhibits.lockoutRefusal();
    // Asked for while a lost link is being held for, it parks now.
    if (this.#context.parker.active) this.#context.parker.endHold(this.#context.nowS);
    if (after === before) return;
    this.#context.waker.cancel();
    this.#context.stopLatch.endHold();
    this.#context.enter(after, who);
    this.#context.state.unsettled = true;
    this.#fromRest = before === 'parked';
    if (this.#fromRest) this.#context.state.save(true);
    this.#context.parker.begin(this.#context.nowS, 0, before === 'parked');
  }

  /** Whether parking, or the end of a stop, is under way: it will be at rest in a moment. */
  get comingToRest(): boolean {
    return (
      this.#context.parker.active ||
      this.#context.stopLatch.dropsWhenStill ||
      this.#context.body.servos.some((servo) => servo.moving)
    );
  }

  /** Once a tick. @param free nothing keeps the prop from moving */
  tick(free: boolean): void {
    const { condition, parker, waker } = this.#context;
    const mayWake = condition === 'waking' && free && this.#mayStartPulses();
    const woken = mayWake && waker.tick(this.#context.nowS);
    if (waker.doubt !== undefined) this.#context.parkAway(waker.doubt, 0);
    else if (woken) {
      this.#context.enter('live', 'prop');
      this.#context.state.save(true);
    }
    if (parker.active && this.#mayPark()) this.#runPark();
  }

  /** Before the first pulse it must be on disk that things are not at rest any more. */
  #mayStartPulses(): boolean {
    const { noted } = this.#context.state;
    if (noted === 'yes') return true;
    if (noted === 'not yet') return false;
    this.#context.journal.add(
      'prop',
      'state',
      `the prop stays parked, as the state cannot be saved: ${noted.message}; let the daemon write to its state folder, then wake`,
    );
    this.park('prop');
    return false;
  }

  /** As `#mayStartPulses`, for a park that starts limp servos. */
  #mayPark(): boolean {
    if (!this.#fromRest) return true;
    const { noted } = this.#context.state;
    if (noted === 'not yet') return false;
    this.#fromRest = false;
    if (noted === 'yes') return true;
    this.#context.parker.cancel();
    this.#context.journal.add(
      'prop',
      'state',
      `nothing moves, as the state cannot be saved: ${noted.message}; let the daemon write to its state folder, then park`,
    );
    this.#context.enter(next(this.#context.condition, 'at rest'), 'prop');
    return false;
  }

  #runPark(): void {
    const outcome = this.#context.parker.tick(this.#context.nowS);
    if (outcome === 'parking') return;
    if (outcome === 'late') {
      const names = this.#context.parker.unfinished().join(', ');
      this.#stops.stop(
        0,
        'prop',
        `not parked within ${this.#context.prop.park.deadlineS} s: ${names}`,
      );
      return;
    }
    this.#context.enter(next(this.#context.condition, 'at rest'), 'prop');
    this.#context.state.unsettled = false;
    this.#context.state.save(true);
  }
}

/** What happens to such servos at a wake, in words. */
function unknownText(servos: readonly Servo[]): string {
  const startOf = ({ angle }: Servo) => angle?.startDeg ?? Number.NaN;
  const lost = servos.filter((servo) => Number.isNaN(startOf(servo))).map(({ name }) => name);
  const measured = servos
    .filter((servo) => !Number.isNaN(startOf(servo)))
    .map((servo) => `${servo.name} at ${tidy(startOf(servo), 1)} deg`);
  const texts: string[] = [];
  if (lost.length > 0)
    texts.push(
      `nobody knows where these servos stand: ${lost.join(', ')}; they move one at a time, at their own speed, to their park position`,
    );
  if (measured.length > 0)
    texts.push(
      `these servos start where they are measured, one at a time, and jump if a sensor is wrong: ${measured.join(', ')}`,
    );
  return texts.join('; ');
}
