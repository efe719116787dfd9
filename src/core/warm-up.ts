import { parseEase } from '../sums/ease.ts';
import type { Body } from './body.ts';
import type { Gate } from './gate.ts';
import { Motion } from './motion.ts';

/** Of so many ticks all are used, then half of them: after the last the code of a move is compiled. */
const ALL_OF = 600;
const TICKS = 3000;
/** A way is followed for so long each time (s). */
const STEP = { dtS: 0.01 };
const EASE = parseEase('ease-in-out')!;

/**
 * The first move takes several times as long to plan as later ones, until V8 has compiled the code: with
 * many servos longer than a slow board has time for in a tick. So moves are computed without output, a part
 * of one servo's in each of the first ticks.
 */
export class WarmUp {
  #done = 0;
  /** Of no servo. */
  readonly #motion = Motion.make(1)[0]!;

  get over(): boolean {
    return this.#done >= TICKS;
  }

  /** Once a tick, while nothing else goes on. */
  tick({ servos }: Body, gate: Gate): void {
    const at = this.#done++;
    if (servos.length === 0 || (at >= ALL_OF && at & 16)) return;
    const servo = servos[(at >> 2) % servos.length]!;
    const [low, high] = servo.limitsDeg;
    const moves = [{ servo, targetDeg: at & 8 ? low : high }];
    const [plan] = gate.consider(moves, at & 1 ? EASE : undefined, (at & 2) === 2);
    if (plan) this.#motion.follow(plan);
    this.#motion.advance(STEP);
  }
}
