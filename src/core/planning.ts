import type { Ease } from '../sums/ease.ts';
import { later, type Trajectory } from '../sums/profile.ts';
import type { Move } from './servo.ts';

/** Times that differ by less than this share are the same but for rounding. */
const SAME = 1e-9;
/** A slice of planning ends after so much time (ms) on the core's clock, or so many plans, fewer eased ones. */
const SLICE_MS = 1;
const SLICE_PLANS = 60;
const SLICE_EASED = 12;

export interface Planned {
  plans: Trajectory[];
  /** All of them take as long (s). */
  durationS: number;
}

/**
 * Ways that all take as long as the slowest member does, and no less than was asked for. Which one that
 * is can be guessed: it goes first, so that hardly any is planned twice.
 *
 * Moves of many servos take longer to plan than a tick has time for: they are planned in slices, one a
 * tick, while everything stands still.
 */
export class Planning {
  readonly #moves: readonly Move[];
  readonly #ease: Ease | undefined;
  readonly #delaysS: readonly number[] | undefined;
  readonly #plans: (Trajectory | undefined)[];
  readonly #order: number[];
  #durationS: number;
  #stretch: number;
  #next = 0;

  /**
   * @param delaysS how much later each of them starts (s); they still arrive together
   * @param stretch how many times longer they take than they otherwise would
   */
  constructor(
    moves: readonly Move[],
    overS: number,
    ease: Ease | undefined,
    delaysS?: readonly number[],
    stretch = 1,
  ) {
    this.#moves = moves;
    this.#delaysS = delaysS;
    this.#ease = ease;
    this.#stretch = stretch;
    this.#durationS = overS;
    this.#plans = new Array(moves.length);
    const rough = moves.map((move, i) => roughTimeS(move) + (delaysS?.[i] ?? 0));
    this.#order = moves.map((_, i) => i).sort((a, b) => rough[b]! - rough[a]!);
  }

  /** Plans the rest. */
  whole(): Planned {
    while (!this.#step()) {}
    return this.#done();
  }

  /** Plans some more; undefined while there is more to do. */
  slice(nowMs: () => number): Planned | undefined {
    const startMs = nowMs();
    const most = this.#ease ? SLICE_EASED : SLICE_PLANS;
    let plans = 0;
    do {
      if (this.#step()) return this.#done();
      plans++;
    } while (plans < most && nowMs() - startMs < SLICE_MS);
    return undefined;
  }

  /** Plans the next one that is not as long as all; whether there is none. */
  #step(): boolean {
    for (; this.#next < 2 * this.#order.length; this.#next++) {
      const i = this.#order[this.#next % this.#order.length]!;
      const before = this.#plans[i];
      if (before && before.durationS >= this.#durationS * (1 - SAME)) continue;
      const { servo, targetDeg } = this.#moves[i]!;
      const delayS = this.#delaysS?.[i] ?? 0;
      const ownS = Math.max(0, this.#durationS - delayS);
      const plan = later(servo.planEased(targetDeg, ownS, this.#ease), delayS, servo.setpoint.pos);
      this.#plans[i] = plan;
      // Longer than asked by more than rounding.
      const first = this.#next < this.#order.length;
      if (first && plan.durationS > this.#durationS * (1 + SAME)) this.#durationS = plan.durationS;
      this.#next++;
      return this.#isLast();
    }
    return this.#isLast();
  }

  /** Whether nothing is left to plan: how long all take is known then, and may have to be stretched. */
  #isLast(): boolean {
    if (this.#next < 2 * this.#order.length) return false;
    if (this.#stretch <= 1) return true;
    this.#durationS *= this.#stretch;
    this.#stretch = 1;
    this.#next = 0;
    return false;
  }

  #done(): Planned {
    return { plans: this.#plans as Trajectory[], durationS: this.#durationS };
  }
}

/** About how long a move takes from rest, without a curve (s): good enough to tell which takes longest. */
function roughTimeS({ servo: { setpoint: state, limits }, targetDeg }: Move): number {
  const distance = Math.abs(targetDeg - state.pos);
  const { speed, accel, jerk } = limits;
  const ramps = Math.min(speed / accel, Math.sqrt(distance / accel));
  return distance / speed + ramps + (jerk === undefined ? 0 : accel / jerk);
}
