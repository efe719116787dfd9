import { WAKE } from './supply.ts';

/**
 * Motors that start. One that starts draws what it draws when stalled, as its back-EMF is proportional to
 * its speed (equations of the direct-current motor, any handbook of electrical machines; from memory); for
 * how long is common practice, as when a prop wakes.
 */

/** How long a servo that starts, or turns round, draws its stall current (s). */
export const START_S = WAKE.startS;

/** Rounding in sums of currents (A), and of times (s). */
const SLACK_A = 1e-9;
const SLACK_S = 1e-9;

/** The currents of one that starts (A). */
export interface Starter {
  idleA: number;
  busyA: number;
  stallA: number;
}

/**
 * The order in which starts one after another peak the least: those that draw most above their moving
 * current first. (Of two in a row, swapping those in the other order never lowers the peak.)
 * @returns places in `starters`
 */
export function startOrder(starters: readonly Starter[]): number[] {
  const extraA = ({ busyA, stallA }: Starter) => stallA - busyA;
  return starters.map((_, i) => i).sort((a, b) => extraA(starters[b]!) - extraA(starters[a]!));
}

/** The least peak (A) of starting one after another on top of what flows while all of them idle. */
export function staggeredPeakA(starters: readonly Starter[], idleSumA: number): number {
  let amps = idleSumA;
  let peakA = idleSumA;
  for (const i of startOrder(starters)) {
    const { idleA, busyA, stallA } = starters[i]!;
    peakA = Math.max(peakA, amps + stallA - idleA);
    amps += busyA - idleA;
    peakA = Math.max(peakA, amps);
  }
  return peakA;
}

/** What a rail carries from now on (A), in steps, as far as it is known. */
export class RailAhead {
  /** Rising times (s), the first 0, and what flows from each until the next; the last one for ever. */
  readonly #fromS: number[] = [0];
  readonly #amps: number[];

  constructor(amps: number) {
    this.#amps = [amps];
  }

  /** Adds a current (A) that flows from one time (s) until another. */
  add(amps: number, fromS: number, untilS = Number.POSITIVE_INFINITY): void {
    if (amps === 0 || untilS <= fromS + SLACK_S) return;
    const first = this.#at(fromS);
    const end = untilS === Number.POSITIVE_INFINITY ? this.#fromS.length : this.#at(untilS);
    for (let i = first; i < end; i++) this.#amps[i]! += amps;
  }

  /** The place of a step that begins at a time (s), made where there is none; now is 0. */
  #at(atS: number): number {
    let i = this.#fromS.length - 1;
    while (i > 0 && this.#fromS[i]! > atS + SLACK_S) i--;
    if (Math.abs(this.#fromS[i]! - atS) <= SLACK_S || atS <= 0) return i;
    this.#fromS.splice(i + 1, 0, atS);
    this.#amps.splice(i + 1, 0, this.#amps[i]!);
    return i + 1;
  }

  /** Starts one of those that idle at a time (s). */
  start({ idleA, busyA, stallA }: Starter, atS: number): void {
    this.add(stallA - idleA, atS, atS + START_S);
    this.add(busyA - idleA, atS + START_S);
  }

  /** Whether it stays within a limit (A) if this one starts at a time (s). */
  #fits({ idleA, busyA, stallA }: Starter, atS: number, limitA: number): boolean {
    const endS = atS + START_S;
    for (let i = this.#fromS.length - 1; i >= 0; i--) {
      const untilS = this.#fromS[i + 1] ?? Number.POSITIVE_INFINITY;
      if (untilS <= atS + SLACK_S) return true;
      const moreA = (this.#fromS[i]! >= endS - SLACK_S ? busyA : stallA) - idleA;
      if (this.#amps[i]! + Math.max(0, moreA) > limitA + SLACK_A) return false;
      // A step that reaches past the start is judged by the start, which is more.
    }
    return true;
  }

  /** The earliest time (s), no earlier than `fromS`, at which one may start; undefined without any. */
  #earliest(starter: Starter, fromS: number, limitA: number): number | undefined {
    if (this.#fits(starter, fromS, limitA)) return fromS;
    for (const atS of this.#fromS)
      if (atS > fromS + SLACK_S && this.#fits(starter, atS, limitA)) return atS;
    return undefined;
  }

  /**
   * Starts all of these as early as a limit (A) lets them, one after another where it must be.
   * @returns when each starts (s), in their order; undefined where one of them never can
   */
  stagger(starters: readonly Starter[], limitA: number): number[] | undefined {
    const startS = starters.map(() => 0);
    let atS = 0;
    for (const i of startOrder(starters)) {
      const foundS = this.#earliest(starters[i]!, atS, limitA);
      if (foundS === undefined) return undefined;
      atS = foundS;
      startS[i] = atS;
      this.start(starters[i]!, atS);
    }
    return startS;
  }

  /** The most that flows from now on (A). */
  get peakA(): number {
    return Math.max(...this.#amps);
  }
}
