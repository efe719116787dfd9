import type { JournalEntry } from '../api/types.ts';

const KEPT = 5000;
/** How far back to look for the entry that a recurring one replaces. */
const RECURRING = 64;
const DEFAULT_LIMIT = 100;

/** The gateway's copy of the journal: reading it costs the core nothing. Each entry is text already. */
export class JournalCopy {
  #entries: { entry: JournalEntry; text: string }[] = [];

  /** A new entry, or with `again` one in the place of the entry with the same seq. */
  take(entry: JournalEntry, again = false): void {
    const made = { entry, text: JSON.stringify(entry) };
    const { seq, count = 1 } = entry;
    if (again) {
      const at = this.#entries.findLastIndex((one) => one.entry.seq === seq);
      if (at >= 0) {
        this.#entries[at] = made;
        return;
      }
    } else if (count > 1) {
      const from = this.#entries.length - RECURRING;
      const at = this.#entries.findLastIndex(
        (one, i) =>
          i >= from &&
          one.entry.who === entry.who &&
          one.entry.text === entry.text &&
          one.entry.count === (count > 2 ? count - 1 : undefined),
      );
      if (at >= 0) this.#entries.splice(at, 1);
    }
    this.#insert(made);
    // Trimmed in large steps: shifting an array of thousands for every entry is wasted work.
    if (this.#entries.length >= 2 * KEPT) this.#entries = this.#entries.slice(-KEPT);
  }

  /** An entry from before the daemon started, which is news to nobody. */
  takeOld(entry: JournalEntry): void {
    this.#insert({ entry, text: JSON.stringify(entry) });
  }

  /** In the order of seq: what is from before this gateway may come when there are newer ones already. */
  #insert(made: { entry: JournalEntry; text: string }): void {
    const { seq } = made.entry;
    const after = this.#entries.findLastIndex((one) => one.entry.seq <= seq);
    if (this.#entries[after]?.entry.seq === seq) this.#entries[after] = made;
    else this.#entries.splice(after + 1, 0, made);
  }

  /** The result of `journal.read` as JSON: entries above `since`, oldest first, the newest `limit`. */
  read({ since = 0, limit = DEFAULT_LIMIT }: { since?: number; limit?: number }): string {
    const kept = this.#entries;
    // They come in the order of seq, so the newest of them stand at the end.
    let from = Math.max(0, kept.length - Math.min(limit, KEPT));
    while (from < kept.length && kept[from]!.entry.seq <= since) from++;
    return `{"entries":[${kept
      .slice(from)
      .map(({ text }) => text)
      .join(',')}]}`;
  }
}
