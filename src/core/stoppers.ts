import type { Condition } from '../shared/condition.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';

/** How long somebody else's stop stays at least (ms). */
const STANDS_MS = 2000;
/** How many stops are remembered. */
const KEPT = 32;

/** Who stopped the prop: a session, or something without one, such as the stop button. */
export interface Stopper {
  /** Of its session; empty for the stop button, and after a restart. */
  session: string;
  who: string;
}

/** Who has stopped the prop since the last reset, the last one last. */
export class Stoppers {
  #all: (Stopper & { atMs: number })[] = [];

  get names(): string[] {
    return this.#all.map(({ who }) => who);
  }

  /** @param atMs on the core's clock */
  add({ session, who }: Stopper, atMs: number): void {
    const last = this.#all.at(-1);
    if (last && last.session === session && last.who === who) {
      last.atMs = atMs;
      return;
    }
    const others = this.#all.filter((one) => one.session !== session || one.who !== who);
    this.#all = [...others, { session, who, atMs }].slice(-KEPT);
  }

  clear(): void {
    this.#all = [];
  }

  /**
   * Others may not see the reason for a stop: only the one who stopped, or somebody who gives their name,
   * may lift it, and not at once.
   * @param session who asks for the reset
   * @param confirm the name of the one who stopped, where that was somebody else
   * @throws Refusal `condition` unless the stop may be lifted
   */
  mayReset(
    session: string | undefined,
    confirm: string | undefined,
    nowMs: number,
    condition: Condition,
  ): void {
    const other = this.#all.findLast((one) => one.session !== session || session === '');
    if (!other) return;
    const { who } = other;
    if (confirm !== who)
      throw new Refusal(
        'reset.confirm',
        `${who} stopped the prop; see that it is safe, then reset with confirm: ${JSON.stringify(who)}`,
        { condition, stoppedBy: who },
      );
    const leftMs = other.atMs + STANDS_MS - nowMs;
    if (leftMs > 0)
      throw new Refusal(
        'reset.too-soon',
        `${who} has only just stopped the prop; reset in ${tidy(leftMs / 1000, 1)} s`,
        {
          condition,
          stoppedBy: who,
          waitS: Math.ceil(leftMs / 100) / 10,
        },
      );
  }
}
