import fs from 'node:fs/promises';
import { join } from 'node:path';
import type { Incident, IncidentHead, JournalEntry } from '../api/types.ts';
import {
  incidentFolder,
  readIncident,
  readIncidents,
  textOfIncident,
  whyLine,
} from '../record/incident.ts';
import { fileName } from '../record/lines.ts';
import { numbersIn } from '../record/read.ts';
import type { Clock } from '../shared/clock.ts';
import { INCIDENTS } from '../shared/journal.ts';
import { type ReplacingFs, replaceFile } from '../shared/replace-file.ts';
import type { JournalFs } from './journal-log.ts';
import type { PropView } from './protocol.ts';
import type { TelemetryRing } from './telemetry-ring.ts';

/** Kept before it, and after the last that belongs to it (s); how long one may grow (s). */
const BEFORE_S = 10;
const AFTER_MS = 3000;
const LONGEST_MS = 8000;
/** How many are kept on the disk. */
const MOST = 50;
/** Entries of the journal that are kept with one. */
const ENTRIES_BEFORE = 20;
const ENTRIES_IN_ALL = 60;
/** Entries that say little of why. */
const UNTOLD: readonly JournalEntry['what'][] = ['condition', 'lease', 'clock', 'journal'];

interface Open {
  head: IncidentHead;
  zeroS: number;
  atMs: number;
  cancel(): void;
}

export type IncidentFs = JournalFs & ReplacingFs;

/**
 * Records what came before each stop, fault and lost link: at once, for the power may be cut next, and
 * again with what followed. Nobody waits for it, and where it cannot be written, that is all.
 */
export class Incidents {
  readonly #folder: string;
  readonly #clock: Clock;
  readonly #names: () => PropView;
  readonly #trouble: (error: unknown) => void;
  readonly #fs: IncidentFs;
  #ring: TelemetryRing | undefined;
  #last: JournalEntry[] = [];
  #open: Open | undefined;
  #writing: Promise<void> = Promise.resolve();
  #waiting = 0;
  #isFailing = false;

  constructor(
    stateDir: string,
    clock: Clock,
    names: () => PropView,
    trouble: (error: unknown) => void,
    fileSystem: IncidentFs = fs,
  ) {
    this.#folder = incidentFolder(stateDir);
    this.#clock = clock;
    this.#names = names;
    this.#trouble = trouble;
    this.#fs = fileSystem;
  }

  /** What is looked at from now on; what is open is brought to its end first. */
  use(ring: TelemetryRing): void {
    this.#end();
    this.#ring?.close();
    this.#ring = ring;
  }

  note(entry: JournalEntry): void {
    const open = this.#open;
    const isKind = INCIDENTS.includes(entry.what);
    if (open && open.head.entries.length < ENTRIES_IN_ALL) open.head.entries.push(entry);
    if (open && isKind) this.#endLater(open);
    else if (isKind) this.#begin(entry);
    this.#last = [...this.#last.slice(1 - ENTRIES_BEFORE), entry];
  }

  /** Oldest first. */
  list(): Promise<IncidentHead[]> {
    return readIncidents(this.#folder, this.#fs);
  }

  read(seq: number): Promise<Incident | undefined> {
    return readIncident(this.#folder, seq, this.#fs);
  }

  async flush(): Promise<void> {
    this.#end();
    await this.#writing;
  }

  close(): void {
    this.#open?.cancel();
    this.#ring?.close();
  }

  #begin(entry: JournalEntry): void {
    const ring = this.#ring;
    if (!ring) return;
    // Somebody presses Stop on a prop that has stood still for long: the journal has that.
    if (ring.isLatched) return;
    ring.sample();
    const zeroS = ring.timeOf(entry.tick);
    const { seq, time, who, what, text } = entry;
    const stood = ring.stood(zeroS, this.#names());
    const before = this.#last.findLast((one) => !UNTOLD.includes(one.what));
    const head: IncidentHead = {
      ...{ seq, time, who, what, text },
      line: whyLine(entry, stood?.condition ?? 'starting', before, stood?.stood ?? []),
      entries: [...this.#last, entry],
    };
    const open: Open = { head, zeroS, atMs: this.#clock.nowMs(), cancel: () => {} };
    this.#open = open;
    this.#write(open);
    this.#endLater(open);
  }

  #endLater(open: Open): void {
    open.cancel();
    const leftMs = open.atMs + LONGEST_MS - this.#clock.nowMs();
    open.cancel = this.#clock.after(Math.min(AFTER_MS, Math.max(0, leftMs)), () => this.#end());
  }

  #end(): void {
    const open = this.#open;
    if (!open) return;
    open.cancel();
    this.#open = undefined;
    this.#write(open);
  }

  #write({ head, zeroS }: Open): void {
    // A disk that hangs must not gather them in memory.
    if (!this.#ring || this.#waiting >= 4) return;
    this.#waiting++;
    const body = this.#ring.curves(zeroS - BEFORE_S, zeroS, this.#names());
    const text = textOfIncident({ ...head, body });
    this.#writing = this.#writing.then(async () => {
      try {
        await this.#fs.mkdir(this.#folder, { recursive: true, mode: 0o700 });
        await replaceFile(join(this.#folder, fileName(head.seq)), text, true, this.#fs);
        const numbers = await numbersIn(this.#folder, this.#fs);
        for (const seq of numbers.slice(0, -MOST))
          await this.#fs.rm(join(this.#folder, fileName(seq)), { force: true });
        this.#isFailing = false;
      } catch (error) {
        if (!this.#isFailing) this.#trouble(error);
        this.#isFailing = true;
      }
      this.#waiting--;
    });
  }
}
