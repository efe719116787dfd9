import type { Clock } from '../shared/clock.ts';
import type { JournalEntry } from './requests.ts';

const KEPT = 5000;
const FOLD_MS = 1000;

/** The last events of this run: who asked, what moved, what was refused and why. */
export class Journal {
  readonly #clock: Clock;
  readonly #sink: (entry: JournalEntry) => void;
  #entries: JournalEntry[] = [];
  /** The entries of `recur` at the end of all, as long as nothing else has come after them. */
  #recurring: JournalEntry[] = [];
  #seq = 0;

  /** `sink` receives every entry as it is made (the log, and clients that follow). */
  constructor(clock: Clock, sink: (entry: JournalEntry) => void = () => {}) {
    this.#clock = clock;
    this.#sink = sink;
  }

  add(who: string, what: string, text: string, values?: Record<string, unknown>): void {
    this.#recurring = [];
    this.#append({ ...this.#stamp(), who, what, text, ...(values && { values }) });
  }

  /**
   * As `add`, but while nothing else comes in between, an entry takes the place of the one before it
   * with the same who and text: what a prop does by itself all day must not wash away the rest.
   */
  recur(who: string, what: string, text: string, values: Record<string, unknown>): void {
    const entry: JournalEntry = { ...this.#stamp(), who, what, text, values };
    const at = this.#recurring.findIndex((one) => one.who === who && one.text === text);
    if (at >= 0) {
      entry.count = 1 + (this.#recurring[at]!.count ?? 1);
      this.#entries.splice(at - this.#recurring.length, 1);
      this.#recurring.splice(at, 1);
    }
    this.#recurring.push(entry);
    this.#append(entry);
  }

  #stamp(): { seq: number; time: string } {
    return { seq: ++this.#seq, time: new Date(this.#clock.wallMs()).toISOString() };
  }

  #append(entry: JournalEntry): void {
    this.#entries.push(entry);
    // Trimmed in large steps: shifting an array of thousands for every entry is work for nothing.
    if (this.#entries.length >= 2 * KEPT) this.#entries = this.#entries.slice(-KEPT);
    this.#sink(entry);
  }

  /**
   * As `add`, but an entry that follows one of the same who and what about the same channel or group
   * within a second takes its place: a slider that is drawn must not wash the journal away.
   */
  fold(who: string, what: string, text: string, values: Record<string, unknown>): void {
    const last = this.#entries.at(-1);
    const nowMs = this.#clock.wallMs();
    const same =
      last?.who === who &&
      last.what === what &&
      last.values?.channel === values.channel &&
      last.values?.group === values.group;
    if (!same || nowMs - Date.parse(last.time) > FOLD_MS) {
      this.add(who, what, text, values);
      return;
    }
    const { count = 1 } = last;
    Object.assign(last, { text, values, time: new Date(nowMs).toISOString(), count: count + 1 });
  }

  /** Entries above `since`, oldest first; the newest `limit` of them. */
  read(since = 0, limit = 100): JournalEntry[] {
    return this.#entries.filter((entry) => entry.seq > since).slice(-limit);
  }
}
