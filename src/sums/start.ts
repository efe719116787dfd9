import { WAKE } from './supply.ts';

/**
 * Motors that start. A motor that starts draws its stall current, as its back-EMF is proportional to its
 * speed (equations of the direct-current motor, any handbook of electrical machines; from memory). How
 * long is common practice, as when a prop wakes.
 */

/** How long a servo that starts or reverses draws its stall current (s). */
export const START_S = WAKE.startS;

/** Rounding error in sums of currents (A) and times (s). */
const SLACK_A = 1e-9;
const SLACK_S = 1e-9;

/** The currents of a motor that starts (A). */
export interface Starter {
  idleA: number;
  busyA: number;
  stallA: number;
}

/**
 * The order of starts one after another with the lowest peak: first those that draw most above their
 * moving current. (Swapping two neighbours that are in this order never lowers the peak.)
 * @returns places in `starters`
 */
export function startOrder(starters: readonly Starter[]): number[] {
  const extraA = ({ busyA, stallA }: Starter) => stallA - busyA;
  return starters.map((_, i) => i).sort((a, b) => extraA(starters[b]!) - extraA(starters[a]!));
}

/** The lowest peak (A) of starts one after another, on top of the current while all idle. */
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

/** The known future current of a rail (A), in steps. */
export class RailAhead {
  /** Rising times (s), the first 0, and the current from each until the next; the last lasts for ever. */
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

  /** The index of the step that begins at a time (s), made where there is none; now is 0. */
  #at(atS: number): number {
    let i = this.#fromS.length - 1;
    while (i > 0 && this.#fromS[i]! > atS + SLACK_S) i--;
    if (Math.abs(this.#fromS[i]! - atS) <= SLACK_S || atS <= 0) return i;
    this.#fromS.splice(i + 1, 0, atS);
    this.#amps.splice(i + 1, 0, this.#amps[i]!);
    return i + 1;
  }

  /** Adds the start, at a time (s), of a motor that idles until then. */
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
      // A step that lasts longer than the start is judged by the start's current, which is larger.
    }
    return true;
  }

  /** The earliest time (s), from `fromS` on, at which this one may start; undefined if there is none. */
  #earliest(starter: Starter, fromS: number, limitA: number): number | undefined {
    if (this.#fits(starter, fromS, limitA)) return fromS;
    for (const atS of this.#fromS)
      if (atS > fromS + SLACK_S && this.#fits(starter, atS, limitA)) return atS;
    return undefined;
  }

  /**
   * Starts all of these as early as a limit (A) allows, one after another where necessary.
   * @returns when each starts (s), in the order of `starters`; undefined where one of them never can
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

  /** The largest current from now on (A). */
  get peakA(): number {
    return Math.max(...this.#amps);
  }
}
