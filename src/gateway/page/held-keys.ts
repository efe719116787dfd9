/** What a key leads while it is held: servos, towards low (-1) or high (1). */
interface Way {
  channels: readonly string[];
  way: -1 | 1;
}

interface HeldKeysParts {
  /** Leads a servo that way. */
  lead(channel: string, way: -1 | 1): void;
  letGo(channel: string): void;
  /** A key leads it now: nothing else has ended that meanwhile. */
  isLed(channel: string): boolean;
}

/**
 * Keys in pairs that lead servos while they are held. Both of a pair at once hold the servo; with one of
 * them released, the other leads again. What something else has ended stays ended until a key is pressed.
 */
export class HeldKeys {
  readonly #parts: HeldKeysParts;
  /** By `KeyboardEvent.code`: `key` is another one on release where Shift has gone down meanwhile. */
  readonly #down = new Map<string, Way>();
  /** Servos that hold because both keys of a pair are down. */
  readonly #both = new Set<string>();

  constructor(parts: HeldKeysParts) {
    this.#parts = parts;
  }

  press(code: string, way: Way): void {
    if (this.#down.has(code)) return;
    this.#down.set(code, way);
    for (const channel of way.channels) this.#lead(channel);
  }

  release(code: string): void {
    const gone = this.#down.get(code);
    if (!gone) return;
    this.#down.delete(code);
    for (const channel of gone.channels)
      if (this.#both.has(channel) || this.#parts.isLed(channel)) this.#lead(channel);
  }

  /** Everything is let go. */
  releaseAll(): void {
    this.#both.clear();
    const all = new Set([...this.#down.values()].flatMap(({ channels }) => channels));
    this.#down.clear();
    for (const channel of all) this.#parts.letGo(channel);
  }

  #lead(channel: string): void {
    const ways = [...this.#down.values()].filter(({ channels }) => channels.includes(channel));
    const sum = ways.reduce((all, { way }) => all + way, 0);
    this.#both.delete(channel);
    if (sum !== 0) {
      this.#parts.lead(channel, sum < 0 ? -1 : 1);
      return;
    }
    if (ways.length > 0) this.#both.add(channel);
    this.#parts.letGo(channel);
  }
}
