/** Rests of a day that are kept, and the fewest that say something. Chosen, no source. */
const RESTS = 9;
const LEAST = 3;
/** Days that are kept. */
const DAYS = 30;
/** Before this no clock of a board was ever set (ms): it has not been told the time. */
const CLOCK_SET_MS = Date.UTC(2020, 0, 1);
const DAY_MS = 86_400_000;
/** A slip is no longer said once it is within this share of the tolerance. */
const BACK_SHARE = 0.8;

/** What is kept of it across restarts. */
export interface KeptSlip {
  /** Measured minus commanded angle at rest (deg) when the record began. */
  reference?: number | undefined;
  /** The same of each day since, by the day's number (since 1970, UTC). */
  days: readonly (readonly [day: number, deg: number])[];
  /** The day under way, and its last rests. */
  day: number;
  rests: readonly number[];
}

/**
 * How far the measured angle of a servo is from the commanded one at rest, day after day: a horn that slips
 * on its shaft changes it at once, a part that wears little by little. Medians, so that one rest against
 * an obstacle says nothing.
 */
export class SlipRecord {
  readonly #withinDeg: number;
  #reference: number | undefined;
  #days: (readonly [day: number, deg: number])[] = [];
  #day = Number.NEGATIVE_INFINITY;
  #rests: number[] = [];
  /** By how much it has slipped (deg), and since which day (ms); undefined where it has not. */
  slipped: { byDeg: number; sinceMs: number } | undefined;

  /** @param withinDeg a change by more than this is said */
  constructor(withinDeg: number) {
    this.#withinDeg = withinDeg;
  }

  get kept(): KeptSlip {
    const { length } = this.#rests;
    return {
      ...(this.#reference !== undefined && { reference: this.#reference }),
      days: this.#days,
      day: length > 0 ? this.#day : 0,
      rests: this.#rests,
    };
  }

  takeOver({ reference, days, day, rests }: KeptSlip): void {
    this.#reference = reference;
    this.#days = days.slice(-DAYS);
    this.#day = day;
    this.#rests = rests.slice(-RESTS);
    this.#judge();
  }

  /**
   * Notes a rest. @param offsetDeg measured minus commanded angle @returns whether what is said has changed:
   * a calendar that was put back, or was never set, changes nothing
   */
  note(offsetDeg: number, wallMs: number): boolean {
    const day = Math.floor(wallMs / DAY_MS);
    if (!Number.isFinite(offsetDeg) || wallMs < CLOCK_SET_MS || day < this.#day) return false;
    if (day > this.#day) this.#close(day);
    this.#rests.push(Math.round(offsetDeg * 100) / 100);
    if (this.#rests.length > RESTS) this.#rests.shift();
    if (this.#reference === undefined && this.#rests.length === RESTS)
      this.#reference = median(this.#rests);
    const before = this.slipped;
    this.#judge();
    return (before === undefined) !== (this.slipped === undefined);
  }

  #close(day: number): void {
    if (this.#rests.length >= LEAST) {
      const deg = median(this.#rests);
      this.#reference ??= deg;
      this.#days.push([this.#day, deg]);
      if (this.#days.length > DAYS) this.#days.shift();
    }
    this.#day = day;
    this.#rests = [];
  }

  #judge(): void {
    const reference = this.#reference;
    if (reference === undefined || this.#rests.length < LEAST) return;
    const byDeg = median(this.#rests) - reference;
    const mostDeg = this.slipped ? BACK_SHARE * this.#withinDeg : this.#withinDeg;
    if (Math.abs(byDeg) <= mostDeg) {
      this.slipped = undefined;
      return;
    }
    // Since the first of the days, up to now, on which it was off by more than half of that.
    let since = this.#day;
    for (let i = this.#days.length - 1; i >= 0; i--) {
      const [day, deg] = this.#days[i]!;
      if ((deg - reference) * Math.sign(byDeg) <= Math.abs(byDeg) / 2) break;
      since = day;
    }
    this.slipped = { byDeg, sinceMs: since * DAY_MS };
  }
}

/** How far a servo has drifted at rest since its record began. */
export interface Drift {
  /** Now, or on the last day with enough rests (deg): measured minus commanded, less that of the beginning. */
  byDeg: number;
  /** The same of each day that is kept, oldest first. */
  days: { day: string; byDeg: number }[];
}

/** What a record says of drift; undefined before there is enough to compare. */
export function driftOf({ reference, days, day, rests }: KeptSlip): Drift | undefined {
  if (reference === undefined) return undefined;
  const all = rests.length >= LEAST ? [...days, [day, median(rests)] as const] : days;
  const listed = all.map(([number, deg]) => ({
    day: new Date(number * DAY_MS).toISOString().slice(0, 10),
    byDeg: Math.round((deg - reference) * 100) / 100,
  }));
  const last = listed.at(-1);
  return last && { byDeg: last.byDeg, days: listed };
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}
