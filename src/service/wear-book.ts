import fs from 'node:fs/promises';
import { join } from 'node:path';
import { isDue, limitsOf, maintainText } from '../api/maintain.ts';
import type { WearCounts, WearDone, WearInfo, WearLimit } from '../api/types.ts';
import type { MaintainEvery } from '../prop/schema-parts.ts';
import type { Clock } from '../shared/clock.ts';
import { replaceFile } from '../shared/replace-file.ts';
import { readSealed, type SealedFs, sealedText } from '../shared/sealed-file.ts';
import {
  type Snapshot,
  Telemetry,
  type TelemetryBuffers,
  WEAR_FIELD,
} from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';

const MAGIC = 'sinew-wear';
const FORMAT = 1;
const MAX_BYTES = 4 * 1024 * 1024;
/** It is written no more often than this (ms), so that an SD card is spared. */
const SAVE_EVERY_MS = 600_000;
/** How many removed channels are remembered, and how many times of maintenance of each channel. */
const GONE_KEPT = 100;
const DONE_KEPT = 20;

/** A channel as the core has it. */
export interface WornChannel {
  name: string;
  kind: string;
  /** Its board and pins: by it, a channel with another name is known again. */
  place: string;
}

interface Worn extends WornChannel {
  counts: WearCounts;
  /** What it had when it was maintained, newest last. */
  done: WearDone[];
  /** Since when it is in the file no more (ISO 8601). */
  gone?: string;
  /** The journal says that it is due. */
  isSaid?: true;
}

/** What the book asks the prop file, and what it says. */
export interface Upkeep {
  /** When to maintain a channel, as the prop file in use has it. */
  every(channel: string): MaintainEvery | undefined;
  /** It has become due: once, until it is maintained. */
  due(channel: string, text: string): void;
  /** How far a servo whose angle is measured has drifted at rest. */
  drift(channel: string): WearInfo['drift'];
}

const NO_UPKEEP: Upkeep = { every: () => undefined, due: () => {}, drift: () => undefined };

interface Kept {
  format: number;
  /** When counting began (ISO 8601). */
  since: string;
  channels: Worn[];
  /** The body that was counted last, and how much of what it has counted is in `channels`. */
  body?: { id: string; taken: WearCounts[] };
}

const NOTHING: WearCounts = {
  ...{ cycles: 0, travelDeg: 0, starts: 0, onS: 0, pushingS: 0, closures: 0, lightS: 0 },
};
const FIELDS = Object.keys(NOTHING) as (keyof WearCounts)[];

/**
 * What has worn each channel since the prop was built: counted by the core in shared memory, added up and
 * kept here, across restarts and versions of the prop file. A daemon that is killed loses ten minutes at most.
 */
export class WearBook {
  readonly #path: string;
  readonly #clock: Clock;
  readonly #trouble: (error: unknown, text: string) => void;
  readonly #fs: SealedFs;
  readonly #upkeep: Upkeep;
  #kept: Kept;
  /** A newer program wrote the file: nothing is written over it. */
  #isForeign = false;
  #telemetry: Telemetry | undefined;
  #snapshot: Snapshot | undefined;
  /** The channels of the body that is looked at, and what was taken from it so far. */
  #now: { record: Worn; taken: WearCounts }[] = [];
  #text = '';
  #writing: Promise<void> = Promise.resolve();
  #isWriting = false;
  #stop: () => void = () => {};

  private constructor(
    stateDir: string,
    clock: Clock,
    trouble: (error: unknown, text: string) => void,
    fileSystem: SealedFs,
    upkeep: Upkeep,
  ) {
    this.#path = join(stateDir, 'wear.json');
    this.#clock = clock;
    this.#trouble = trouble;
    this.#fs = fileSystem;
    this.#upkeep = upkeep;
    this.#kept = { format: FORMAT, since: this.#today(), channels: [] };
  }

  /** Never fails: what cannot be read is said, and counting begins at nothing. */
  static async open(
    stateDir: string,
    clock: Clock,
    trouble: (error: unknown, text: string) => void,
    fileSystem: SealedFs = fs,
    upkeep: Upkeep = NO_UPKEEP,
  ): Promise<WearBook> {
    const book = new WearBook(stateDir, clock, trouble, fileSystem, upkeep);
    await book.#read();
    return book;
  }

  async #read(): Promise<void> {
    let kept: Kept | undefined;
    try {
      kept = (await readSealed(this.#path, MAGIC, MAX_BYTES, this.#fs)) as Kept | undefined;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'ENOENT') return;
      this.#trouble(error, 'the wear that was counted cannot be read: it begins at nothing');
      return;
    }
    if (kept && kept.format > FORMAT) {
      this.#isForeign = true;
      const text =
        'the wear was kept by a newer version of Sinew: it is left as it is, and not counted on';
      this.#trouble(new Error(`format ${kept.format}`), text);
      return;
    }
    if (kept) {
      this.#kept = kept;
      return;
    }
    const aside = `${this.#path}.damaged`;
    await this.#fs.rename(this.#path, aside).catch(() => undefined);
    this.#trouble(new Error(aside), 'the wear that was counted is damaged: it begins at nothing');
  }

  /** What is counted from now on: that of these channels. */
  use(buffers: TelemetryBuffers, channels: readonly WornChannel[]): void {
    this.#harvest();
    this.#telemetry = new Telemetry(buffers);
    this.#snapshot = this.#telemetry.snapshot();
    this.#follow(channels);
    // A service that starts again while the daemon goes on finds a body that it has counted before.
    const { id } = this.#telemetry.buffers;
    const before = this.#kept.body?.id === id ? this.#kept.body.taken : [];
    this.#now = channels.map(({ name }, i) => ({
      record: this.#kept.channels.find((one) => one.name === name && !one.gone)!,
      taken: { ...(before[i] ?? NOTHING) },
    }));
    this.#kept.body = { id, taken: this.#now.map(({ taken }) => taken) };
    this.#stop();
    this.#arm();
  }

  #follow(channels: readonly WornChannel[]): void {
    const { channels: records } = this.#kept;
    const names = new Set(channels.map(({ name }) => name));
    const known = records.filter((one) => !one.gone);
    const left = known.filter(({ name }) => !names.has(name));
    for (const { name, kind, place } of channels) {
      const own = records.find((one) => one.name === name && one.kind === kind);
      // Removed, and there again.
      if (own && own.gone !== undefined && !known.some((one) => one.name === name)) delete own.gone;
      const other = known.find((one) => one.name === name);
      if (other && other.kind !== kind) other.gone = this.#today();
      if (own && !own.gone) {
        own.place = place;
        continue;
      }
      // The only one that is gone from the same place has another name now.
      const same = left.filter((one) => one.kind === kind && one.place === place && !one.gone);
      if (same.length === 1) same[0]!.name = name;
      else records.push({ name, kind, place, counts: { ...NOTHING }, done: [] });
    }
    for (const one of left) if (!names.has(one.name)) one.gone = this.#today();
    const gone = records.filter((one) => one.gone !== undefined);
    const tooMany = new Set(gone.slice(0, Math.max(0, gone.length - GONE_KEPT)));
    this.#kept.channels = records.filter((one) => !tooMany.has(one));
  }

  #arm(): void {
    this.#stop = this.#clock.after(SAVE_EVERY_MS, () => {
      void this.#save();
      this.#arm();
    });
  }

  /** Adds what was counted since the last time. */
  #harvest(): void {
    const snapshot = this.#snapshot;
    if (!snapshot || !this.#telemetry?.read(snapshot)) return;
    this.#now.forEach(({ record, taken }, channel) => {
      for (const field of FIELDS) {
        const counted = snapshot.channel(channel, WEAR_FIELD[field]);
        record.counts[field] += counted - taken[field];
        taken[field] = counted;
      }
      this.#judge(record);
    });
  }

  /** Says once that it is due; what is no longer due may become so again. */
  #judge(record: Worn): void {
    const due = this.#maintain(record).filter(isDue);
    if (due.length === 0) delete record.isSaid;
    else if (!record.isSaid) {
      record.isSaid = true;
      const { name } = record;
      this.#upkeep.due(name, `maintenance of ${name} is due: ${maintainText(due)}`);
    }
  }

  #maintain({ name, counts, done, gone }: Worn): WearLimit[] {
    const every = gone === undefined ? this.#upkeep.every(name) : undefined;
    const last = done.at(-1);
    return every ? limitsOf(last ? less(counts, last.counts) : counts, every) : [];
  }

  /** Every channel, those that are gone at the end. */
  list(): { since: string; channels: WearInfo[] } {
    this.#harvest();
    const { since, channels } = this.#kept;
    const infos = channels.map((record): WearInfo => {
      const { name, kind, counts, done, gone } = record;
      const last = done.at(-1);
      const maintain = this.#maintain(record);
      const drift = gone === undefined ? this.#upkeep.drift(name) : undefined;
      return {
        ...{ name, kind, counts: rounded(counts) },
        ...(last && { done: last, sinceDone: rounded(less(counts, last.counts)) }),
        ...(maintain.length > 0 && { maintain, due: maintain.some(isDue) }),
        ...(drift && { drift }),
        ...(gone !== undefined && { gone }),
      };
    });
    const isGone = ({ gone }: WearInfo) => (gone === undefined ? 0 : 1);
    return { since, channels: infos.sort((a, b) => isGone(a) - isGone(b)) };
  }

  /**
   * The channel was maintained: what it has now is noted, and saved at once.
   * @returns undefined where there is no such channel
   */
  async done(channel: string, who: string, note: string): Promise<WearDone | undefined> {
    this.#harvest();
    const record = this.#kept.channels.find(({ name, gone }) => name === channel && !gone);
    if (!record) return undefined;
    const done: WearDone = {
      ...{ time: new Date(this.#clock.wallMs()).toISOString(), who, note },
      counts: rounded(record.counts),
    };
    record.done = [...record.done, done].slice(-DONE_KEPT);
    this.#judge(record);
    await this.#save();
    return done;
  }

  async flush(): Promise<void> {
    await this.#writing;
    await this.#save();
  }

  close(): void {
    this.#stop();
  }

  /** Where something has changed. A disk that hangs keeps one write at a time. */
  async #save(): Promise<void> {
    this.#harvest();
    const text = JSON.stringify(this.#kept);
    if (this.#isForeign || this.#isWriting || text === this.#text || this.#now.length === 0) return;
    this.#isWriting = true;
    this.#writing = replaceFile(this.#path, sealedText(MAGIC, text), true, this.#fs).then(
      () => {
        this.#text = text;
        this.#isWriting = false;
      },
      (error) => {
        this.#isWriting = false;
        this.#trouble(error, 'the wear that was counted could not be saved');
      },
    );
    await this.#writing;
  }

  #today(): string {
    return new Date(this.#clock.wallMs()).toISOString();
  }
}

function less(counts: WearCounts, other: WearCounts): WearCounts {
  const result = { ...NOTHING };
  for (const field of FIELDS) result[field] = counts[field] - other[field];
  return result;
}

function rounded(counts: WearCounts): WearCounts {
  const result = { ...NOTHING };
  for (const field of FIELDS) result[field] = tidy(counts[field], 1);
  return result;
}
