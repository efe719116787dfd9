import type { JournalEntry } from '../api/types.ts';
import type { JournalLine } from './lines.ts';

/** Which entries of the journal somebody wants. */
export interface JournalQuery {
  /** Only entries with a number above this. */
  since?: number | undefined;
  /** Only entries with a number below this. */
  before?: number | undefined;
  /** Only entries not older, and older, than this (ISO 8601). */
  from?: string | undefined;
  until?: string | undefined;
  refused?: boolean | undefined;
  /** Every word of it must be in the entry, in capitals or not. */
  search?: string | undefined;
  /** The newest so many; 100 without it. */
  limit?: number | undefined;
}

/** The answer, oldest first. */
export interface JournalAnswer {
  entries: JournalEntry[];
  /** How many entries among and after these could not be kept. */
  lost?: number;
  /** How many lines of the files that were read are damaged. */
  damaged?: number;
}

const DEFAULT_LIMIT = 100;

/** The newest entries that match, taken from lines that come newest first. */
export class Selection {
  readonly #query: JournalQuery;
  readonly #limit: number;
  readonly #matches: (entry: JournalEntry) => boolean;
  readonly #newestFirst: JournalEntry[] = [];
  readonly #seen = new Set<number>();
  /** Of entries that recur, by who and text: the count of the oldest one that was met. */
  readonly #recurring = new Map<string, number>();
  #lost = 0;
  #damaged = 0;
  #isPast = false;

  constructor(query: JournalQuery) {
    this.#query = query;
    this.#limit = query.limit ?? DEFAULT_LIMIT;
    this.#matches = matcher(query);
  }

  /** Whether older lines can add nothing. */
  get isFull(): boolean {
    return this.#isPast || this.#newestFirst.length >= this.#limit;
  }

  /** Takes the lines of one file, oldest first, all older than those taken before. */
  take(lines: readonly JournalLine[], damaged = 0): void {
    this.#damaged += damaged;
    for (let i = lines.length - 1; i >= 0 && !this.isFull; i--) {
      const line = lines[i]!;
      if ('entry' in line) this.#takeEntry(line.entry);
      else if ('lost' in line) this.#lost += line.lost;
    }
  }

  get answer(): JournalAnswer {
    return {
      entries: this.#newestFirst.toReversed(),
      ...(this.#lost > 0 && { lost: this.#lost }),
      ...(this.#damaged > 0 && { damaged: this.#damaged }),
    };
  }

  #takeEntry(entry: JournalEntry): void {
    const { since = 0, before = Number.POSITIVE_INFINITY } = this.#query;
    const { seq } = entry;
    if (seq <= since) {
      this.#isPast = true;
      return;
    }
    // An entry that took on others was written again: the newer line counts.
    if (seq >= before || this.#seen.has(seq)) return;
    this.#seen.add(seq);
    if (this.#isReplaced(entry) || !this.#matches(entry)) return;
    this.#newestFirst.push(entry);
  }

  /** Whether a later entry counts this one. */
  #isReplaced({ who, text, count = 1, ticks }: JournalEntry): boolean {
    if (ticks) return false;
    const key = `${who}\n${text}`;
    const newer = this.#recurring.get(key);
    if (count > 1) this.#recurring.set(key, count);
    else this.#recurring.delete(key);
    return newer !== undefined && count < newer;
  }
}

function matcher({ from, until, refused, search = '' }: JournalQuery) {
  const [fromMs, untilMs] = [Date.parse(from ?? ''), Date.parse(until ?? '')];
  const words = search.toLowerCase().split(/\s+/).filter(Boolean);
  return ({ time, who, what, text }: JournalEntry): boolean => {
    if (refused && what !== 'refused') return false;
    const timeMs = Date.parse(time);
    // Where no limit is given, it is not a number, and the comparison false.
    if (timeMs < fromMs || timeMs >= untilMs) return false;
    const searched = `${who} ${what} ${text}`.toLowerCase();
    return words.every((word) => searched.includes(word));
  };
}
