import fs from 'node:fs/promises';
import { join } from 'node:path';
import type { JournalEntry } from '../api/types.ts';
import {
  fileName,
  JOURNAL_FORMAT,
  type JournalLine,
  readEnd,
  textOfLine,
} from '../record/lines.ts';
import type { JournalAnswer, JournalQuery } from '../record/query.ts';
import { journalFolder, numbersIn, type ReadingFs, readJournal, textOf } from '../record/read.ts';
import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import { isUrgent, levelOf } from '../shared/journal.ts';
import { syncFolder } from '../shared/replace-file.ts';

/** What keeping the journal needs from the file system; tests put faults in. */
export type JournalFs = ReadingFs & Pick<typeof fs, 'mkdir' | 'open' | 'rm' | 'stat'>;

/** Entries are written together, no more often than this (ms): each write wears an SD card. */
const BATCH_MS = 30_000;
/** What must outlive a power cut waits only for the rest of its tick (ms). */
const URGENT_MS = 20;
/** What waits is written before it is larger than this (bytes). */
const BATCH_BYTES = 64 * 1024;
/** What may wait while nothing can be written (lines, bytes); the oldest are dropped and counted. */
const MAX_WAITING = 2000;
const MAX_WAITING_BYTES = 1024 * 1024;
/** Before another try, doubled with each (ms). */
const RETRY_MS = 5000;
const LONGEST_RETRY_MS = 60_000;
/** A file that is larger gets no more (bytes), and what all of them may be together. */
const FILE_BYTES = 256 * 1024;
const ALL_BYTES = 8 * 1024 * 1024;
/** What a client asks for, and is refused, is kept at this rate: it must not push everything else out. */
const ASKED_BURST = 1000;
const ASKED_PER_S = 1;
/** Entries of earlier runs that the gateway has at hand. */
const RECENT = 500;
/** After a crash, entries that are looked through for the highest number: an older one may be written last. */
const LOOKED_THROUGH = 500;
/** After a crash the numbers go on at the next multiple: none is used twice. */
const NUMBERS_SKIPPED = 1000;

interface WaitingLine {
  line: JournalLine;
  text: string;
}

/**
 * The journal on the disk, which survives restarts and power cuts. Nobody waits for it: where the disk is
 * full or hangs, entries wait here within bounds, then the oldest are dropped and counted.
 */
export class JournalLog {
  readonly #folder: string;
  readonly #clock: Clock;
  readonly #fs: JournalFs;
  readonly #say: (text: string, values: Record<string, unknown>) => void;
  /** The files, oldest first, with their sizes (bytes). */
  #files: { number: number; bytes: number }[] = [];
  /** The highest number of any file, one of a newer program included. */
  #highest = 0;
  /** The newest file does not end with a whole line, or may not. */
  #isTorn = false;
  #waiting: WaitingLine[] = [];
  #bytes = 0;
  /** Lines that a write under way has. */
  #beingWritten: readonly WaitingLine[] = [];
  #lost = 0;
  #lostWhy = '';
  #writing: Promise<void> | undefined;
  #timer: { atMs: number; cancel(): void } | undefined;
  #retryMs = 0;
  readonly #asked: Bucket;
  /** The highest number so far, that after which this run began, and that which the disk had then. */
  #seq = 0;
  #first = 0;
  #onDisk = 0;
  #lastTimeMs: number | undefined;
  /** Up to here nothing is missing on the disk. */
  #wholeSeq = 0;
  /** The entry that was not kept last. */
  #leftOut = 0;

  private constructor(
    stateDir: string,
    clock: Clock,
    say: (text: string, values: Record<string, unknown>) => void,
    fileSystem: JournalFs,
  ) {
    this.#folder = journalFolder(stateDir);
    this.#clock = clock;
    this.#say = say;
    this.#fs = fileSystem;
    this.#asked = new Bucket(ASKED_PER_S, ASKED_BURST, clock.nowMs());
  }

  /**
   * Never fails: where nothing can be read or written, that is said, and the prop does without.
   * @param say what the journal says about itself
   */
  static async open(
    stateDir: string,
    clock: Clock,
    say: (text: string, values: Record<string, unknown>) => void,
    fileSystem: JournalFs = fs,
  ): Promise<JournalLog> {
    const log = new JournalLog(stateDir, clock, say, fileSystem);
    await log.#readFiles().catch((error: Error) => {
      log.#isTorn = true;
      say(`the kept journal cannot be read: ${error.message}`, {});
    });
    return log;
  }

  /** The number that the first entry of this run comes after. */
  get startsAfter(): number {
    return this.#first;
  }

  /** The number of the newest entry that was on the disk when this was opened; 0 where there is none. */
  get lastSeq(): number {
    return this.#onDisk;
  }

  /** When the newest entry of the runs before was made (ms since the epoch). */
  get lastTimeMs(): number | undefined {
    return this.#lastTimeMs;
  }

  /** The newest entries of earlier runs, oldest first; none where they cannot be read. Never rejects. */
  async recent(): Promise<readonly JournalEntry[]> {
    const query = { before: this.#first + 1, limit: RECENT };
    const read = readJournal(this.#folder, query, [], this.#fs);
    return read.then(
      ({ entries }) => entries,
      () => [],
    );
  }

  /** @param again it takes the place of the one with its number */
  take(entry: JournalEntry, again: boolean): void {
    if (entry.seq > this.#seq) this.#seq = entry.seq;
    if (again ? entry.seq === this.#leftOut : !this.#admit(entry)) {
      this.#leftOut = entry.seq;
      if (!again) this.#lose(1, 'more was asked for than is kept');
      return;
    }
    const line: JournalLine = { entry };
    const made = { line, text: textOfLine(line) };
    const at = again ? this.#placeOf(entry.seq) : this.#placeOfCounted(entry);
    if (at >= 0) {
      this.#bytes -= this.#waiting[at]!.text.length;
      this.#waiting.splice(at, 1);
    }
    this.#put(made);
    if (isUrgent(entry.what)) this.#writeIn(URGENT_MS);
    else if (this.#bytes >= BATCH_BYTES) this.#writeIn(0);
    else this.#writeIn(BATCH_MS);
  }

  /** Resolves when all that was taken is on the disk, or could not be written. */
  async flush(): Promise<void> {
    await this.#writing;
    if (this.#waiting.length === 0 && this.#lost === 0 && this.#seq === this.#wholeSeq) return;
    this.#wholeSeq = this.#seq;
    const line: JournalLine = { whole: this.#seq };
    this.#put({ line, text: textOfLine(line) });
    await this.#write();
  }

  /** As `readJournal`, with what is not written yet. */
  read(query: JournalQuery): Promise<JournalAnswer> {
    const waiting = [...this.#beingWritten, ...this.#waiting].map(({ line }) => line);
    if (this.#lost > 0) waiting.push({ lost: this.#lost, why: this.#lostWhy });
    return readJournal(this.#folder, query, waiting, this.#fs);
  }

  // --- what is there ------------------------------------------------------------------------------

  /** A start must not take long: of the newest file no more is read than it needs, of others the size. */
  async #readFiles(): Promise<void> {
    const numbers = await numbersIn(this.#folder, this.#fs);
    this.#highest = numbers.at(-1) ?? 0;
    let torn = 0;
    let newerFiles = 0;
    let isWhole = true;
    let entries = 0;
    for (const number of numbers.reverse()) {
      const path = join(this.#folder, fileName(number));
      if (isWhole ? this.#lastTimeMs !== undefined : entries >= LOOKED_THROUGH) {
        this.#files.unshift({ number, bytes: (await this.#fs.stat(path)).size });
        continue;
      }
      const text = await textOf(path, this.#fs);
      const { lines, damaged, ends, newer } = readEnd(text);
      if (newer) {
        newerFiles++;
        continue;
      }
      if (this.#files.length === 0) {
        this.#isTorn = !ends;
        torn = damaged;
        const last = lines.at(-1);
        isWhole = last !== undefined && 'whole' in last;
      }
      this.#files.unshift({ number, bytes: Buffer.byteLength(text) });
      const own = lines.flatMap((line) => ('entry' in line ? [line.entry] : []));
      for (const line of lines) {
        if ('entry' in line) this.#onDisk = Math.max(this.#onDisk, line.entry.seq);
        else if ('whole' in line) this.#onDisk = Math.max(this.#onDisk, line.whole);
      }
      const last = own.at(-1);
      if (last) this.#lastTimeMs ??= Date.parse(last.time);
      entries += own.length;
    }
    this.#first = isWhole
      ? this.#onDisk
      : NUMBERS_SKIPPED * Math.ceil((this.#onDisk + 1) / NUMBERS_SKIPPED);
    this.#seq = this.#first;
    this.#wholeSeq = this.#first;
    // Damage that was there when a daemon ended as it should has been said before.
    if (torn > 0 && !isWhole)
      this.#say(
        `${counted(torn, 'line', 'lines')} of the kept journal cut off or damaged: left out`,
        {
          damaged: torn,
        },
      );
    if (newerFiles > 0)
      this.#say(
        `${counted(newerFiles, 'file', 'files')} of the kept journal from a newer version of Sinew: not shown, and left as it is`,
        { newer: newerFiles },
      );
  }

  // --- what waits ---------------------------------------------------------------------------------

  /** What clients ask for has a rate; what the prop does and says is always kept. */
  #admit({ what }: JournalEntry): boolean {
    const isAsked = what === 'refused' || levelOf(what) === 'debug';
    return !isAsked || this.#asked.take(1, this.#clock.nowMs());
  }

  #placeOf(seq: number): number {
    return this.#waiting.findLastIndex(({ line }) => 'entry' in line && line.entry.seq === seq);
  }

  /** The entry that `entry` counts, if it still waits. */
  #placeOfCounted({ who, text, count = 1, ticks }: JournalEntry): number {
    if (count === 1 || ticks) return -1;
    return this.#waiting.findLastIndex(
      ({ line }) =>
        'entry' in line &&
        line.entry.who === who &&
        line.entry.text === text &&
        (line.entry.count ?? 1) === count - 1,
    );
  }

  #put(made: WaitingLine): void {
    this.#waiting.push(made);
    this.#bytes += made.text.length;
    let dropped = 0;
    while (
      (this.#waiting.length > MAX_WAITING || this.#bytes > MAX_WAITING_BYTES) &&
      this.#waiting.length > 1
    ) {
      const { line, text } = this.#waiting.shift()!;
      this.#bytes -= text.length;
      if ('entry' in line) dropped++;
    }
    if (dropped > 0) this.#lose(dropped, 'the disk took nothing');
  }

  #lose(count: number, why: string): void {
    this.#lost += count;
    this.#lostWhy = why;
  }

  // --- writing ------------------------------------------------------------------------------------

  #writeIn(delayMs: number): void {
    if (this.#retryMs > 0 && this.#timer) return;
    const atMs = this.#clock.nowMs() + delayMs;
    if (!this.#timer || this.#timer.atMs > atMs) this.#arm(delayMs);
  }

  #arm(delayMs: number): void {
    this.#timer?.cancel();
    const cancel = this.#clock.after(delayMs, () => {
      this.#timer = undefined;
      void this.#write();
    });
    this.#timer = { atMs: this.#clock.nowMs() + delayMs, cancel };
  }

  /** One write at a time; never rejects. */
  async #write(): Promise<void> {
    if (this.#writing) {
      await this.#writing;
      if (this.#waiting.length > 0 && !this.#timer) this.#writeIn(URGENT_MS);
      return;
    }
    this.#timer?.cancel();
    this.#timer = undefined;
    this.#writing = this.#writeWaiting();
    await this.#writing;
    this.#writing = undefined;
  }

  async #writeWaiting(): Promise<void> {
    const lines = this.#waiting;
    const [bytes, lost, lostWhy] = [this.#bytes, this.#lost, this.#lostWhy];
    this.#waiting = [];
    this.#bytes = 0;
    this.#lost = 0;
    this.#lostWhy = '';
    this.#beingWritten = lines;
    const note = lost > 0 ? textOfLine({ lost, why: lostWhy }) : '';
    try {
      await this.#append(note + lines.map(({ text }) => text).join(''));
      this.#beingWritten = [];
    } catch (error) {
      this.#beingWritten = [];
      // They are tried again, with what has come meanwhile.
      const since = this.#waiting;
      this.#waiting = lines;
      this.#bytes = bytes;
      this.#lost += lost;
      this.#lostWhy ||= lostWhy;
      for (const made of since) this.#put(made);
      this.#failed(error as Error);
      return;
    }
    if (this.#retryMs > 0) {
      this.#retryMs = 0;
      this.#say(
        lost > 0
          ? `the journal is written again; ${counted(lost, 'entry is', 'entries are')} lost`
          : 'the journal is written again; nothing is lost',
        { lost },
      );
    }
    // What is too large is removed once the new is there, and what cannot be removed, the next time.
    await this.#trim().catch(() => undefined);
  }

  #failed(error: Error): void {
    // A part of it may be there.
    this.#isTorn = true;
    if (this.#retryMs === 0)
      this.#say(
        `the journal cannot be written to the disk: ${error.message}; the newest entries wait, and what is too much is lost`,
        {},
      );
    this.#retryMs = Math.min(Math.max(RETRY_MS, 2 * this.#retryMs), LONGEST_RETRY_MS);
    this.#arm(this.#retryMs);
  }

  /** Adds to the newest file, or to a new one, and makes it last. @throws Error */
  async #append(text: string): Promise<void> {
    let file = this.#files.at(-1);
    const isNew = !file || file.bytes >= FILE_BYTES || file.number < this.#highest;
    if (isNew) {
      await this.#fs.mkdir(this.#folder, { recursive: true, mode: 0o700 });
      // A file that a failed write has begun is gone on with.
      file = { number: this.#highest + 1, bytes: 0 };
    }
    const head = isNew ? textOfLine({ format: JOURNAL_FORMAT }) : '';
    const whole = `${this.#isTorn ? '\n' : ''}${head}${text}`;
    const handle = await this.#fs.open(join(this.#folder, fileName(file!.number)), 'a', 0o600);
    try {
      await handle.writeFile(whole);
      await handle.sync();
    } finally {
      await handle.close();
    }
    if (isNew) {
      await syncFolder(this.#folder, this.#fs);
      this.#files.push(file!);
      this.#highest = file!.number;
    }
    this.#isTorn = false;
    file!.bytes += Buffer.byteLength(whole);
  }

  /** Removes the oldest files, one after the other, until all are small enough together. */
  async #trim(): Promise<void> {
    let bytes = this.#files.reduce((sum, file) => sum + file.bytes, 0);
    while (bytes > ALL_BYTES && this.#files.length > 1) {
      await this.#fs.rm(join(this.#folder, fileName(this.#files[0]!.number)), { force: true });
      bytes -= this.#files.shift()!.bytes;
    }
  }
}

/** `1 entry`, `3 entries`. */
function counted(count: number, one: string, more: string): string {
  return `${count} ${count === 1 ? one : more}`;
}
