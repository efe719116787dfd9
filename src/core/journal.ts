import type { CoreMethod } from '../api/methods.ts';
import type { JournalEntry } from '../api/types.ts';
import type { Clock } from '../shared/clock.ts';
import type { EventName } from '../shared/journal.ts';

/** What is recorded: an event, or the command that was carried out. */
type What = EventName | CoreMethod;

const KEPT = 5000;
const FOLD_MS = 1000;
/** How many commands are recorded in one entry. */
const FOLDED = 50;

/** The last events of this run: who asked, what moved, what was refused and why. */
export class Journal {
  readonly #clock: Clock;
  readonly #sink: (entry: JournalEntry, again: boolean) => void;
  #entries: JournalEntry[] = [];
  /** The entries of `recur` at the end of all, as long as nothing else has come after them. */
  #recurring: JournalEntry[] = [];
  #seq = 0;
  /** An entry that has taken on commands which the sink has not been told of. */
  #grown: JournalEntry | undefined;

  /** The tick that carries out what is told now. */
  tick: () => number = () => 0;

  /**
   * `sink` receives every entry as it is made (the log, and clients that follow), and with `again` when
   * it has taken on another command.
   * @param after the number of the last entry of the daemon before this one
   */
  constructor(
    clock: Clock,
    sink: (entry: JournalEntry, again: boolean) => void = () => {},
    after = 0,
  ) {
    this.#clock = clock;
    this.#sink = sink;
    this.#seq = after;
  }

  add(who: string, what: What, text: string, values?: Record<string, unknown>): void {
    this.#recurring = [];
    this.#append({ ...this.#stamp(), who, what, text, ...(values && { values }) });
  }

  /**
   * As `add`, but while nothing else comes in between, an entry takes the place of the one before it
   * with the same who and text: what a prop does by itself all day must not flush the rest.
   */
  recur(who: string, what: What, text: string, values: Record<string, unknown>): void {
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

  /** The number of the last entry. */
  get seq(): number {
    return this.#seq;
  }

  #stamp(): Pick<JournalEntry, 'seq' | 'time' | 'tick'> {
    const time = new Date(this.#clock.wallMs()).toISOString();
    return { seq: ++this.#seq, time, tick: this.tick() };
  }

  #append(entry: JournalEntry): void {
    this.settle();
    this.#entries.push(entry);
    // Trimmed in large steps: shifting an array of thousands for every entry is wasted work.
    if (this.#entries.length >= 2 * KEPT) this.#entries = this.#entries.slice(-KEPT);
    this.#sink(entry, false);
  }

  /**
   * As `add`, but an entry that follows one of the same who and what about the same channel or group
   * within a second takes its place: a slider that is dragged must not flush the journal.
   */
  fold(who: string, what: What, text: string, values: Record<string, unknown>): void {
    const last = this.#entries.at(-1);
    const nowMs = this.#clock.wallMs();
    const same =
      last?.who === who &&
      last.what === what &&
      last.values?.channel === values.channel &&
      last.values?.group === values.group;
    const full = (last?.count ?? 1) >= FOLDED;
    if (!same || full || nowMs - Date.parse(last.time) > FOLD_MS) {
      this.add(who, what, text, values);
      return;
    }
    const { count = 1, ticks = [last.tick] } = last;
    const time = new Date(nowMs).toISOString();
    const tick = this.tick();
    ticks.push(tick);
    Object.assign(last, { text, values, time, tick, count: count + 1, ticks });
    this.#grown = last;
  }

  /** Once a tick: tells the entry that has taken on commands since. */
  settle(): void {
    const grown = this.#grown;
    if (!grown) return;
    this.#grown = undefined;
    this.#sink(grown, true);
  }

  /** Entries above `since`, oldest first; the newest `limit` of them. */
  read(since = 0, limit = 100): JournalEntry[] {
    return this.#entries.filter((entry) => entry.seq > since).slice(-limit);
  }
}
