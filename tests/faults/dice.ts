/** Random numbers that follow from a seed alone (mulberry32, public domain), so that a failure replays. */
export class Dice {
  #state: number;

  constructor(seed: number) {
    this.#state = seed >>> 0;
  }

  /** From 0 up to but not including 1. */
  next(): number {
    this.#state = (this.#state + 0x6d2b79f5) >>> 0;
    let mixed = this.#state;
    mixed = Math.imul(mixed ^ (mixed >>> 15), mixed | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  }

  between(low: number, high: number): number {
    return low + (high - low) * this.next();
  }

  /** Even over the orders of magnitude. */
  spread(low: number, high: number): number {
    return low * (high / low) ** this.next();
  }

  /** A whole number from `low` to `high`, both included. */
  whole(low: number, high: number): number {
    return low + Math.floor(this.next() * (high - low + 1));
  }

  chance(share: number): boolean {
    return this.next() < share;
  }

  pick<T>(from: readonly T[]): T {
    return from[Math.floor(this.next() * from.length)]!;
  }

  /** One of `from`, each as likely as its weight. */
  weighed<T>(from: readonly (readonly [weight: number, what: T])[]): T {
    let left = this.next() * from.reduce((sum, [weight]) => sum + weight, 0);
    for (const [weight, what] of from) {
      left -= weight;
      if (left < 0) return what;
    }
    return from.at(-1)![1];
  }
}

/** SINEW_SEED where it is set, so that a failure is run again; `otherwise` without it. */
export function seedOr(otherwise: number): number {
  const given = process.env.SINEW_SEED;
  return given === undefined ? otherwise : Number(given);
}
