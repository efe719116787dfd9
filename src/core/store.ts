import { mkdir, open, readFile, rename, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import * as z from 'zod';
import type { DutyRecord } from './duty.ts';

const duty = z.object({ usedS: z.number(), on: z.boolean(), changedS: z.number() });
const file = z.object({
  version: z.literal(1),
  /** Changes with every start of the machine: monotonic times of another boot mean nothing. */
  bootId: z.string(),
  /** Everything stood still when this was written. */
  settled: z.boolean(),
  /** Servo positions (deg). */
  positions: z.record(z.string(), z.number()),
  duty: z.record(z.string(), duty),
});

/** What outlives the daemon. Times are in s since the machine started. */
export interface Saved {
  settled: boolean;
  positions: Record<string, number>;
  duty: Record<string, DutyRecord>;
}

export interface Restored extends Saved {
  /** Written since the machine was last switched on, so that monotonic times still count. */
  sameBoot: boolean;
}

/** Why nothing could be restored. */
export type Nothing = 'none' | 'damaged';

/** Where the core keeps what must outlive it. */
export interface Store {
  restored: Restored | Nothing;
  /** Monotonic time since the machine started (s). */
  bootNowS(): number;
  /** Never waits and never throws; `durable` asks for it to survive a power cut as well. */
  save(state: Saved, durable: boolean): void;
}

async function bootId(): Promise<string> {
  try {
    return (await readFile('/proc/sys/kernel/random/boot_id', 'utf8')).trim();
  } catch {
    // Another system than Linux: nothing is trusted across restarts there.
    return `unknown-${process.pid}-${Date.now()}`;
  }
}

/** Keeps the state in `DIR/state.json`, written whole and renamed into place. */
export class FileStore implements Store {
  readonly restored: Restored | Nothing;
  readonly #path: string;
  readonly #bootId: string;
  readonly #onError: (error: Error) => void;
  #next: { text: string; durable: boolean } | undefined;
  #writing: Promise<void> | undefined;

  private constructor(
    path: string,
    boot: string,
    restored: Restored | Nothing,
    onError: (error: Error) => void,
  ) {
    this.#path = path;
    this.#bootId = boot;
    this.restored = restored;
    this.#onError = onError;
  }

  /**
   * @param onError told when a write fails; the prop goes on without it
   * @throws when the folder cannot be made or read
   */
  static async open(folder: string, onError: (error: Error) => void): Promise<FileStore> {
    await mkdir(folder, { recursive: true, mode: 0o700 });
    const path = join(folder, 'state.json');
    const boot = await bootId();
    return new FileStore(path, boot, await read(path, boot), onError);
  }

  bootNowS(): number {
    return Number(process.hrtime.bigint()) / 1e9;
  }

  save(state: Saved, durable: boolean): void {
    const text = JSON.stringify({ version: 1, bootId: this.#bootId, ...state });
    this.#next = { text, durable: durable || this.#next?.durable === true };
    this.#writing ??= this.#writeAll();
  }

  /** Resolves when everything saved so far is in the file. */
  async flush(): Promise<void> {
    await this.#writing;
  }

  async #writeAll(): Promise<void> {
    while (this.#next) {
      const { text, durable } = this.#next;
      this.#next = undefined;
      try {
        await replace(this.#path, text, durable);
      } catch (error) {
        this.#onError(error as Error);
      }
    }
    this.#writing = undefined;
  }
}

async function read(path: string, boot: string): Promise<Restored | Nothing> {
  let text: string;
  try {
    text = await readFile(path, 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return 'none';
    throw error;
  }
  try {
    const { bootId: writtenIn, settled, positions, duty } = file.parse(JSON.parse(text));
    return { settled, positions, duty, sameBoot: writtenIn === boot };
  } catch {
    return 'damaged';
  }
}

async function replace(path: string, text: string, durable: boolean): Promise<void> {
  const temporary = `${path}.new`;
  const handle = await open(temporary, 'w', 0o600);
  try {
    await handle.writeFile(text);
    if (durable) await handle.sync();
  } catch (error) {
    await rm(temporary, { force: true });
    throw error;
  } finally {
    await handle.close();
  }
  await rename(temporary, path);
  if (!durable) return;
  const folder = await open(dirname(path), 'r');
  try {
    await folder.sync();
  } finally {
    await folder.close();
  }
}
