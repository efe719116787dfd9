import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import type { Lockable } from '../boards/facts.ts';
import { locksOf } from '../boards/registry.ts';
import { type Life, lifeOf, stillLives } from '../safe/life.ts';
import type { PlannedBoard } from '../safe/plan.ts';
import { Refusal } from '../shared/errors.ts';

/**
 * One daemon for each state folder, board and OSC port. A lock is a file that names the run of the
 * process that has it, so that one left behind by a crash or a power cut is recognised.
 */

/** Where locks of hardware are looked for, and kept in the first that can be written. */
const LOCK_FOLDERS: readonly string[] = ['/run/sinew', '/run/lock', tmpdir()];
/** Of a lock that others take and leave at the same time. */
const ATTEMPTS = 200;
const PAUSE_MS = 5;

/** Who this process is; another system than Linux knows no start times. */
function thisLife(): Life {
  return lifeOf(process.pid) ?? { pid: process.pid, startTicks: 0, bootId: '' };
}

/** Whether the process that left a lock still runs. */
export function holds(life: Life): boolean {
  if (stillLives(life)) return true;
  const here = lifeOf(process.pid);
  // Its id belongs to another process, or it was written before the machine was last started.
  if (here && (lifeOf(life.pid) || life.bootId !== here.bootId)) return false;
  try {
    process.kill(life.pid, 0);
    // Of what the system shows, only a dead one that nobody has waited for has no life.
    return here === undefined;
  } catch (error) {
    // Another user's, which a hardened service cannot look at.
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}

/** What a lock file says; undefined when it is none, as after a power cut. */
function parseLife(text: string): Life | undefined {
  try {
    const { pid, startTicks, bootId } = JSON.parse(text);
    const sound = Number.isInteger(pid) && pid > 0 && typeof startTicks === 'number';
    return sound && typeof bootId === 'string' ? { pid, startTicks, bootId } : undefined;
  } catch {
    return undefined;
  }
}

async function readText(path: string): Promise<string | undefined> {
  try {
    return await fs.readFile(path, 'utf8');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return undefined;
    throw error;
  }
}

const isSame = (a: Life, b: Life) =>
  a.pid === b.pid && a.startTicks === b.startTicks && a.bootId === b.bootId;

/**
 * Takes a lock file for `me`. Where it is held already, its holder is returned and nothing changes.
 * @throws Error of the file system
 */
export async function takeLock(path: string, me: Life): Promise<Life | undefined> {
  const own = `${path}.${me.pid}.new`;
  // Written whole before it has its name: nobody reads half a lock.
  await fs.writeFile(own, JSON.stringify(me), { mode: 0o644 });
  try {
    for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
      try {
        await linkOrCopy(own, path);
        return undefined;
      } catch (error) {
        if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
      }
      const text = await readText(path);
      if (text === undefined) continue;
      const other = parseLife(text);
      if (other && isSame(other, me)) return undefined;
      if (other && holds(other)) return other;
      await replaceStale(path, text, me);
    }
  } finally {
    await fs.rm(own, { force: true });
  }
  throw new Error(`${path} is taken and left again and again`);
}

/** Some file systems have no hard links. */
async function linkOrCopy(from: string, to: string): Promise<void> {
  try {
    await fs.link(from, to);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') throw error;
    await fs.writeFile(to, await fs.readFile(from), { flag: 'wx', mode: 0o644 });
  }
}

/**
 * Takes the place of a stale lock that says `seen`, unless somebody else does so. There is a lock at
 * every moment, and who replaces it holds a lock for that.
 */
async function replaceStale(path: string, seen: string, me: Life): Promise<void> {
  const right = `${path}.stale`;
  if (await takeLock(right, me)) {
    await sleep(PAUSE_MS);
    return;
  }
  try {
    if ((await readText(path)) !== seen) return;
    const own = `${path}.${me.pid}.next`;
    await fs.writeFile(own, JSON.stringify(me), { mode: 0o644 });
    await fs.rename(own, path);
  } finally {
    await fs.rm(right, { force: true });
  }
}

/** What of these boards no other daemon may drive; nothing of a simulated one. */
export function lockablesOf(boards: readonly PlannedBoard[]): Lockable[] {
  return boards.flatMap(locksOf);
}

/** The lock of a port for OSC: one daemon listens on it. */
export function lockableOsc(port: number): Lockable {
  return { key: `osc-${port}`, what: `OSC port ${port}` };
}

function refusal(what: string, { pid }: Life, path: string, remedy: string): Refusal {
  return new Refusal(
    'daemon.second',
    `another sinewd (process ${pid}) has ${what}; ${remedy} (if there is no such program, remove ${path})`,
    { pid, lock: path },
  );
}

/** The locks of this process. */
export class Locks {
  readonly #me: Life;
  readonly #folders: readonly string[];
  /** Key to path, of hardware and ports. */
  readonly #held = new Map<string, string>();

  constructor(folders: readonly string[] = LOCK_FOLDERS, me = thisLife()) {
    this.#folders = folders;
    this.#me = me;
  }

  /**
   * Takes the state folder, which must exist. On a disk that is full or read-only, the lock is kept
   * where those of hardware are.
   * @throws Refusal when another daemon has it
   */
  async takeFolder(folder: string): Promise<void> {
    const path = join(folder, 'daemon.lock');
    const remedy = 'end it, or give another folder with --state-dir';
    const what = `the state folder ${folder}`;
    const there = parseLife((await readText(path).catch(() => undefined)) ?? '');
    if (there && !isSame(there, this.#me) && holds(there)) throw refusal(what, there, path, remedy);
    let other: Life | undefined;
    try {
      other = await takeLock(path, this.#me);
    } catch {
      const { dev, ino } = await fs.stat(folder);
      await this.hold([{ key: `state-${dev}-${ino}`, what }]);
      return;
    }
    if (other) throw refusal(what, other, path, remedy);
  }

  /** Takes these as well as what is held. @throws Refusal when another daemon has one of them */
  async hold(wanted: readonly Lockable[]): Promise<void> {
    const taken: string[] = [];
    try {
      for (const one of wanted) {
        if (this.#held.has(one.key)) continue;
        const path = await this.#take(one);
        if (path === undefined) continue;
        this.#held.set(one.key, path);
        taken.push(one.key);
      }
    } catch (error) {
      for (const key of taken) await this.#release(key);
      throw error;
    }
  }

  /** Lets go of everything else. */
  async keepOnly(wanted: readonly Lockable[]): Promise<void> {
    const keys = new Set(wanted.map(({ key }) => key));
    for (const key of [...this.#held.keys()])
      if (!keys.has(key) && !key.startsWith('state-')) await this.#release(key);
  }

  /** Undefined when no folder can be written: then there is nowhere to say who has it. */
  async #take({ key, what }: Lockable): Promise<string | undefined> {
    let path: string | undefined;
    for (const folder of this.#folders) {
      const here = join(folder, `sinew-${key}.lock`);
      const there = parseLife((await readText(here).catch(() => undefined)) ?? '');
      if (there && !isSame(there, this.#me) && holds(there)) {
        if (path !== undefined) await fs.rm(path, { force: true });
        throw refusal(what, there, here, 'end it first');
      }
      if (path !== undefined) continue;
      let other: Life | undefined;
      try {
        other = await takeLock(here, this.#me);
      } catch {
        // Not this user's, or not there: the next one may be.
        continue;
      }
      if (other) throw refusal(what, other, here, 'end it first');
      path = here;
    }
    return path;
  }

  async #release(key: string): Promise<void> {
    const path = this.#held.get(key);
    this.#held.delete(key);
    if (path !== undefined) await fs.rm(path, { force: true }).catch(() => {});
  }
}
