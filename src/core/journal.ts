import type { Clock } from '../shared/clock.ts';
import type { JournalEntry } from './requests.ts';

const KEPT = 5000;

/** The last events of this run: who asked, what moved, what was refused and why. */
export class Journal {
  readonly #clock: Clock;
  readonly #sink: (entry: JournalEntry) => void;
  #entries: JournalEntry[] = [];
  #seq = 0;

  /** `sink` receives every entry as it is made (the log, and clients that follow). */
  constructor(clock: Clock, sink: (entry: JournalEntry) => void = () => {}) {
    this.#clock = clock;
    this.#sink = sink;
  }

  add(who: string, what: string, text: string, values?: Record<string, unknown>): void {
    const time = new Date(this.#clock.wallMs()).toISOString();
    const entry: JournalEntry = { seq: ++this.#seq, time, who, what, text };
    if (values) entry.values = values;
    this.#entries.push(entry);
    // Trimmed in large steps: shifting an array of thousands for every entry is work for nothing.
    if (this.#entries.length >= 2 * KEPT) this.#entries = this.#entries.slice(-KEPT);
    this.#sink(entry);
  }

  /** Entries above `since`, oldest first; the newest `limit` of them. */
  read(since = 0, limit = 100): JournalEntry[] {
    return this.#entries.filter((entry) => entry.seq > since).slice(-limit);
  }
}
