import fs from 'node:fs/promises';
import { join } from 'node:path';
import * as z from 'zod';
import type { Nothing, Restored, Saved, Store } from '../core/store.ts';
import { type ReplacingFs, replaceFile } from '../shared/replace-file.ts';

/** What keeping the state needs from the file system; tests put faults in. */
export type StoreFs = ReplacingFs & Pick<typeof fs, 'mkdir' | 'readFile'>;

const duty = z.object({
  usedS: z.number(),
  on: z.boolean(),
  changedS: z.number(),
  /** The pin that it is about; a record without one is ignored. */
  output: z.string().optional(),
});
/** How a servo arrived, day by day. */
const slip = z.object({
  reference: z.number().optional(),
  days: z.array(z.tuple([z.number(), z.number()])),
  day: z.number(),
  rests: z.array(z.number()),
});
const VERSION = 1;

/**
 * Strict: a member of another name may be a lockout whose name is damaged. What a release adds is optional
 * here, so that the states of all earlier ones are read; a change that they would take for something else
 * needs the next version. `lacksOf` says what an earlier state does not have. Examples of each are kept in
 * tests/formats.
 */
const file = z.strictObject({
  version: z.literal(VERSION),
  /** Changes with every start of the machine: monotonic times of another boot mean nothing. */
  bootId: z.string(),
  /** Everything stood still when this was written. */
  settled: z.boolean(),
  /** Servo positions (deg). */
  positions: z.record(z.string(), z.number()),
  /** What each position depends on; files of earlier releases have none, and their positions are not known. */
  digests: z.record(z.string(), z.string()).optional(),
  /** What is known of the measured angles of servos. */
  angles: z
    .record(
      z.string(),
      z.object({ digest: z.string(), proven: z.boolean(), slip: slip.optional() }),
    )
    .optional(),
  /** Wires that were found to be weak. It is no reason to lock a prop that this is damaged. */
  drops: z
    .array(z.object({ digest: z.string(), classes: z.array(z.array(z.number())) }))
    .optional()
    .catch(undefined),
  duty: z.record(z.string(), duty),
  /** Locks on the prop ("hands in the prop"). */
  lockout: z.array(z.object({ by: z.string(), reason: z.string(), time: z.string() })).optional(),
  /** A stop or a fault that nobody has reset, and who stopped. */
  latched: z
    .object({ condition: z.enum(['stopped', 'faulted']), stoppedBy: z.array(z.string()) })
    .optional(),
  /** Written by a daemon that ended as it should. */
  clean: z.boolean().optional(),
});

async function bootId(): Promise<string> {
  try {
    return (await fs.readFile('/proc/sys/kernel/random/boot_id', 'utf8')).trim();
  } catch {
    // Another system than Linux: nothing is trusted across restarts there.
    return `unknown-${process.pid}-${Date.now()}`;
  }
}

/**
 * `yes`: the disk has what was saved, or something newer. An error: the next run may read positions
 * that are long out of date.
 */
export type Noted = 'yes' | Error;

/** Keeps the state in `DIR/state.json`, written whole and renamed into place. */
export class FileStore implements Store {
  readonly restored: Restored | Nothing;
  readonly #path: string;
  readonly #bootId: string;
  readonly #onError: (error: Error) => void;
  readonly #fs: StoreFs;
  #next: { text: string; durable: boolean; waiting: ((noted: Noted) => void)[] } | undefined;
  #writing: Promise<void> | undefined;
  #noted: Store['noted'] = 'yes';

  private constructor(
    path: string,
    boot: string,
    restored: Restored | Nothing,
    onError: (error: Error) => void,
    fileSystem: StoreFs,
  ) {
    this.#fs = fileSystem;
    this.#path = path;
    this.#bootId = boot;
    this.restored = restored;
    this.#onError = onError;
  }

  /**
   * @param onError called when a write fails; the prop goes on without it
   * @throws when the folder cannot be made or read
   */
  static async open(
    folder: string,
    onError: (error: Error) => void,
    fileSystem: StoreFs = fs,
  ): Promise<FileStore> {
    await fileSystem.mkdir(folder, { recursive: true, mode: 0o700 });
    const path = join(folder, 'state.json');
    const boot = await bootId();
    const restored = await read(path, boot, fileSystem);
    return new FileStore(path, boot, restored, onError, fileSystem);
  }

  get noted(): Store['noted'] {
    return this.#noted;
  }

  bootNowS(): number {
    return Number(process.hrtime.bigint()) / 1e9;
  }

  /** Never rejects. A save that comes while one is being written replaces those that wait. */
  save(state: Saved, durable: boolean): Promise<Noted> {
    const text = JSON.stringify({ version: VERSION, bootId: this.#bootId, ...state });
    const waiting = this.#next;
    if (durable) this.#noted = 'not yet';
    return new Promise((resolve) => {
      this.#next = {
        text,
        durable: durable || waiting?.durable === true,
        waiting: [...(waiting?.waiting ?? []), resolve],
      };
      this.#writing ??= this.#writeAll();
    });
  }

  /** Resolves when everything saved so far is in the file. */
  async flush(): Promise<void> {
    await this.#writing;
  }

  async #writeAll(): Promise<void> {
    while (this.#next) {
      const { text, durable, waiting } = this.#next;
      this.#next = undefined;
      const noted = await this.#write(text, durable);
      // A later one that is on its way decides.
      if (durable && !this.#isDue()) this.#noted = noted;
      for (const resolve of waiting) resolve(noted);
    }
    this.#writing = undefined;
  }

  #isDue(): boolean {
    return this.#next?.durable === true;
  }

  async #write(text: string, durable: boolean): Promise<'yes' | Error> {
    try {
      await replaceFile(this.#path, text, durable, this.#fs);
      return 'yes';
    } catch (error) {
      this.#onError(error as Error);
    }
    try {
      await this.#damage();
      return 'yes';
    } catch (error) {
      return error as Error;
    }
  }

  /**
   * What cannot be brought up to date must not be trusted: emptied, the file counts as damaged,
   * which works on a full disk as well.
   */
  async #damage(): Promise<void> {
    let handle: fs.FileHandle;
    try {
      handle = await this.#fs.open(this.#path, 'r+');
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'ENOENT') return;
      throw error;
    }
    try {
      await handle.truncate();
      await handle.sync();
    } finally {
      await handle.close();
    }
  }
}

async function read(path: string, boot: string, fileSystem: StoreFs): Promise<Restored | Nothing> {
  let text: string;
  try {
    text = await fileSystem.readFile(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return 'none';
    // A sector that cannot be read: removing the file by hand would remove its lockouts as well.
    if (code === 'EIO') return 'damaged';
    throw error;
  }
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    return 'damaged';
  }
  const parsed = file.safeParse(value);
  if (!parsed.success) return isNewer(value) ? 'newer' : 'damaged';
  const { version: _, bootId: writtenIn, ...saved } = parsed.data;
  const lacks = lacksOf(saved);
  return { ...saved, sameBoot: writtenIn === boot, ...(lacks.length > 0 && { lacks }) };
}

function isNewer(value: unknown): boolean {
  const { version } = (value ?? {}) as { version?: unknown };
  return Number.isInteger(version) && (version as number) > VERSION;
}

/** What the state of an earlier release does not say, and what that means. */
function lacksOf({ positions, digests, duty, clean }: Saved): string[] {
  const lacks: string[] = [];
  if (digests === undefined && Object.keys(positions).length > 0)
    lacks.push(
      'it does not say which output and calibration its positions are about, so none is trusted',
    );
  if (Object.values(duty).some(({ output }) => output === undefined))
    lacks.push('its duty guards do not name their pins, so those relays rest first');
  if (clean === undefined)
    lacks.push('it does not say whether the daemon ended as it should, so nothing runs unattended');
  return lacks;
}

/**
 * The text of the state of a prop that comes from a backup, for another board perhaps. Nothing is known of
 * where it stands and of how long its relays have rested; locks and a latched stop stay, those of the state
 * that is replaced as well. Where one of the two is damaged, the result is empty, which counts as damaged:
 * the daemon starts locked.
 * @param archived the state in the backup; undefined where there was none
 * @param present the state that is replaced; undefined where there is none
 */
export function stateAfterRestore(
  archived: string | undefined,
  present: string | undefined,
): string {
  let sources: z.output<typeof file>[];
  try {
    sources = [present, archived]
      .filter((text) => text !== undefined)
      .map((text) => file.parse(JSON.parse(text)));
  } catch {
    return '';
  }
  const lockout = sources.flatMap((one) => one.lockout ?? []);
  const latched = sources.flatMap((one) => (one.latched ? [one.latched] : []));
  return JSON.stringify({
    ...{ version: VERSION, bootId: '', settled: false, positions: {}, digests: {}, duty: {} },
    ...(lockout.length > 0 && { lockout }),
    ...(latched.length > 0 && {
      latched: {
        condition: latched.some(({ condition }) => condition === 'faulted') ? 'faulted' : 'stopped',
        stoppedBy: [...new Set(latched.flatMap(({ stoppedBy }) => stoppedBy))],
      },
    }),
    clean: false,
  });
}
