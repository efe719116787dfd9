import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  closeSync,
  existsSync,
  ftruncateSync,
  openSync,
  readFileSync,
  readSync,
  rmSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { cp, mkdtemp, readFile, rename, rm, statfs, writeFile } from 'node:fs/promises';
import { get } from 'node:http';
import { availableParallelism, constants, loadavg, setPriority, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as machineSleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { LATENESS_MS } from '../../src/shared/telemetry.ts';
import { DAEMON, Daemon, leaveParked, OWL } from '../system/daemon.ts';
import { needTools } from '../tools.ts';
import { MemoryGroup } from './memory-group.ts';

const SOURCE = fileURLToPath(new URL('board.c', import.meta.url));
const TOOLS = ['gcc', 'taskset', 'setsid'];
const UNIT = fileURLToPath(new URL('../../systemd/sinewd.service', import.meta.url));
export const SLOW = 4;
export const MEMORY_MIB = 120;
export const TICK_MS = 5;

/** Places in the shared memory of board.c (bytes). */
const AT = { head: 0, control: 128, slots: 256, stalls: 2304, turns: 67_840, calls: 133_376 };
const SIZE = 1_181_952;
const RING = { stalls: 4096, turns: 4096, calls: 8192 };
const HEAD = {
  ready: 0,
  pid: 1,
  bornNs: 2,
  dayOffsetNs: 3,
  goesFirst: 4,
  stalls: 5,
  turns: 6,
  calls: 7,
};
const EPOCH = 4;
/** Shorter turns (ms) are not noted. */
const SHORT_TURN_MS = 1;

/**
 * How the disk under the prop file and the state behaves, in the board's own time: it is memory, or every
 * file made, write, fsync, rename, link and unlink takes 300 ms, or hangs for 10 s (or until the disk is
 * set to something else).
 */
export type Disk = 'fast' | '300 ms each' | 'hung';
const DISK_MS: Record<Disk, number> = { fast: 0, '300 ms each': 300, hung: 10_000 };

/** One call into the file system. */
export interface Call {
  /** When it began and how long it took, in the board's time (ms). */
  atMs: number;
  ms: number;
  /** By the main thread, which is the core. */
  onMain: boolean;
  /** It touched what is below the daemon's folder. */
  onDisk: boolean;
  what: string;
  /** The path, or its end where it is long. */
  path: string;
}

/** The event loop of one thread, in the board's time. */
export interface Loop {
  thread: number;
  turns: number;
  busyMs: number;
  longestTurnMs: number;
}
const LOOPS = 32;

interface Span {
  atMs: number;
  endMs: number;
}

/** What the daemon is started with, and started again with. */
interface Given {
  args?: string[];
  env?: NodeJS.ProcessEnv;
  memoryMiB?: number;
  nodeArgs?: string[];
}

interface Options extends Given {
  prop?: string;
  folder?: string;
  known?: boolean;
  prepared?: boolean;
  disk?: Disk;
  terminal?: string;
}

/** Where a measurement began. */
export interface Mark {
  readonly atMs: number;
  readonly late: readonly number[];
}

/** What was seen since a mark, all in the board's time. */
export interface Seen {
  /**
   * The longest gap between two ticks, in ticks: 1 is on time. By the daemon's own histogram of
   * lateness, whose classes are 10 % wide: it was at least this long. Beyond the last class (93 ms) it is
   * the longest turn of the main thread. What this machine itself has added is taken off where the
   * referee saw it.
   */
  gapTicks: number;
  /** How many ticks passed. */
  ticks: number;
  /** The longest turn of the main thread's event loop (ms). */
  longestTurnMs: number;
  /** The longest that the machine itself did not run the board, at once or within one turn (ms): `referee` in board.c. */
  awayMs: number;
}

/**
 * A real daemon on a slow board: four times slower than one core of this machine, with 120 MB of memory
 * and a disk whose speed the test chooses. Clients are outside.
 *
 * **Time.** board.c makes the daemon's clocks run four times as fast as this machine's. So its 5 ms tick
 * comes every 1.25 ms of ours, its time-out of 500 ms is over after 125 ms of ours, and everything that it
 * computes takes it four times as long. Everything here is in *the board's* ms, and a test uses only
 * `nowMs`, `wallMs` and `sleep` of this object, and the times that the daemon tells: this machine's own
 * clock would give a quarter of the truth (tests/board/clock.test.ts refuses tests that look at it). A
 * client program with time-outs of its own is started with `clientEnv`, which lets it live in the same
 * time; nothing of it is measured, and it has neither the memory limit nor the disk.
 *
 * **Why not a quota?** A cgroup can give the daemon a quarter of a core: 1 ms in 4, the shortest that the
 * kernel takes. All threads share that quota, so that a busy gateway halts the core for 3 ms and, once it
 * has overdrawn, for several times that. These gaps are as long as what is to be measured, and no board
 * has them. Nor can a thread be under a quota and go before other programs, and without that
 * the other work of this machine is measured. Stretched time has no gaps of its own. Its price: a pause of
 * the machine counts four times. Hence the order of threads below, and the referee.
 *
 * **One core.** All threads of the daemon share one processor of this machine, the last; the clients have
 * the others. Its main thread counts most, then its other threads, then all ordinary programs, so that a
 * busy machine changes little. What is left, such as a pause of a virtual machine, is noted (`awayMs`):
 * `excused` says whether that could be the cause of a gap; then
 * a test measures once more.
 *
 * A core that blocks keeps the gateway from running as well, which on a board with several cores it would not:
 * whatever is too long here is a little less so there. A core that keeps its promise is not concerned.
 *
 * **Memory**: see MemoryGroup for what counts. Node reads the limit and makes its heaps smaller to fit.
 *
 * Root, two processors, gcc and a memory cgroup are needed; without one of them `start` fails and says so.
 */
export class SlowBoard {
  readonly daemon: Daemon;
  readonly memory: MemoryGroup;
  /** From the program's first instruction until it said where it listens (ms). */
  readonly startMs: number;
  /** When that was, by `nowMs`. */
  readonly startedAtMs: number;
  /** For a client's process that shall live in the board's time. */
  readonly clientEnv: NodeJS.ProcessEnv;
  readonly #shared: number;
  readonly #given: Given;
  readonly #dayOffsetMs: number;

  private constructor(
    daemon: Daemon,
    memory: MemoryGroup,
    shared: number,
    clientEnv: NodeJS.ProcessEnv,
    startedAtMs: number,
    given: Given,
  ) {
    this.daemon = daemon;
    this.#given = given;
    this.memory = memory;
    this.#shared = shared;
    this.clientEnv = clientEnv;
    this.startedAtMs = startedAtMs;
    this.startMs = startedAtMs - this.#number(AT.head, HEAD.bornNs) / 1e6;
    this.#dayOffsetMs = this.#number(AT.head, HEAD.dayOffsetNs) / 1e6;
  }

  /**
   * @param prop a prop file to copy
   * @param folder an earlier board's, to start again on its state
   * @param known the prop was parked before, so that waking it is quick
   * @param prepared what is worked out from the file was kept before, as the installer does it
   * @param terminal a device for its error output, where the log goes; a pipe without it
   */
  static async start({
    prop = OWL,
    folder,
    known = true,
    prepared = false,
    args = [],
    env = {},
    disk = 'fast' as Disk,
    memoryMiB = MEMORY_MIB,
    terminal,
    nodeArgs = [],
  }: Options = {}): Promise<SlowBoard> {
    await alone();
    const library = await build();
    const memory = new MemoryGroup(memoryMiB);
    let home = folder;
    let daemon: Daemon | undefined;
    try {
      const core = apart();
      if (!home) {
        home = await mkdtemp(join(await inMemory(), 'sinew-board-'));
        await cp(prop, join(home, 'prop.yaml'));
        if (known) await leaveParked(home);
      }
      if (prepared) prepare(home);
      const file = join(home, '.board');
      const shared = openSync(file, 'w+');
      ftruncateSync(shared, SIZE);
      setDisk(shared, disk);
      daemon = await Daemon.start({
        folder: home,
        args,
        nodeArgs: [...asInstalled(), ...nodeArgs],
        through: through({
          ...{ library, group: memory.folder, file, core, disk: `${home}/`, terminal, env },
        }),
      });
      const clientEnv = { ...process.env, LD_PRELOAD: library, BOARD_SLOW: String(SLOW) };
      const given = { args, env, memoryMiB, nodeArgs };
      const board = new SlowBoard(daemon, memory, shared, clientEnv, boardMs(), given);
      board.#mustBeReal();
      return board;
    } catch (error) {
      await daemon?.cleanUp();
      if (home && !folder) await rm(home, { recursive: true, force: true });
      removeSoon(memory);
      throw error;
    }
  }

  /**
   * Runs any program of node on a board like this one until it ends, for comparison.
   * @returns what it printed, and how long it took (ms)
   */
  static async run(args: readonly string[]): Promise<{ stdout: string; tookMs: number }> {
    await alone();
    const library = await build();
    const memory = new MemoryGroup(MEMORY_MIB);
    const home = await mkdtemp(join(await inMemory(), 'sinew-board-'));
    try {
      const file = join(home, '.board');
      const shared = openSync(file, 'w+');
      ftruncateSync(shared, SIZE);
      closeSync(shared);
      const disk = `${home}/`;
      const [first, ...rest] = through({
        library,
        group: memory.folder,
        file,
        core: apart(),
        disk,
        env: {},
      });
      const fromMs = boardMs();
      const { status, stdout, stderr } = spawnSync(first!, [...rest, process.execPath, ...args], {
        encoding: 'utf8',
        maxBuffer: 1e8,
      });
      const tookMs = boardMs() - fromMs;
      if (status !== 0) throw new Error(`${args.join(' ')} ended with ${status}: ${stderr}`);
      return { stdout, tookMs };
    } finally {
      removeSoon(memory);
      await rm(home, { recursive: true });
    }
  }

  /** A fixture that does not do what it says is worse than none. */
  #mustBeReal(): void {
    if (this.#number(AT.head, HEAD.ready) !== 1)
      throw new Error('the slow board was not loaded into the daemon: is node linked statically?');
    if (this.#number(AT.head, HEAD.pid) !== this.daemon.child.pid)
      throw new Error('the slow board runs in another process than the daemon');
    if (this.#number(AT.head, HEAD.goesFirst) !== 1)
      throw new Error(
        'the daemon may not go before other programs (sched_setattr was refused), so that their work would be measured: run as root, outside of a container that forbids it',
      );
  }

  // --- time

  /** Monotonic, the daemon's own `performance` clock but for its origin (ms). */
  nowMs(): number {
    return boardMs();
  }

  /** The daemon's own time of day (ms since the epoch): what the journal's times are to be compared with. */
  wallMs(): number {
    return this.#dayOffsetMs + boardMs();
  }

  /** Resolves after so many ms of the board's time. */
  async sleep(ms: number): Promise<void> {
    await machineSleep(ms / SLOW);
  }

  // --- the disk

  /** From now on; what waits for the disk as it was goes on at once. */
  setDisk(disk: Disk): void {
    setDisk(this.#shared, disk);
  }

  // --- what was measured

  async mark(): Promise<Mark> {
    const { late } = await this.#lateness();
    return { atMs: this.nowMs(), late };
  }

  /** What was seen since `mark`, once another tick has come. */
  async since(mark: Mark): Promise<Seen> {
    const first = await this.#lateness();
    let last = first;
    while (last.ticks === first.ticks) {
      await this.sleep(TICK_MS);
      last = await this.#lateness();
    }
    const counts = last.late.map((count, at) => count - mark.late[at]!);
    const worst = counts.findLastIndex((count) => count > 0);
    const turns = this.#turns(mark);
    const longestTurnMs = Math.max(0, ...turns.map(({ ownMs }) => ownMs));
    const stalls = this.#stalls(mark).map(({ atMs, endMs }) => endMs - atMs);
    const awayMs = Math.max(0, ...stalls, ...turns.map((turn) => turn.awayMs));
    // A class begins where the one before it ends.
    const beganMs = worst > 0 ? LATENESS_MS[worst - 1]! : 0;
    let lateMs = worst === LATENESS_MS.length ? Math.max(beganMs, longestTurnMs) : beganMs;
    // A tick is late by a turn before it, and by the time that the machine was away. Where that explains
    // the rest, the longest turn is the most that the daemon itself can have done.
    const turnMs = Math.max(longestTurnMs, SHORT_TURN_MS);
    if (lateMs > turnMs && awayMs >= lateMs - turnMs) lateMs = turnMs;
    return {
      gapTicks: 1 + lateMs / TICK_MS,
      ticks: counts.reduce((sum, count) => sum + count, 0),
      longestTurnMs,
      awayMs,
    };
  }

  /** Every thread with an event loop since the start, the main one first. */
  loops(): Loop[] {
    const loops: Loop[] = [];
    for (let i = 0; i < LOOPS; i++) {
      const raw = this.#bytes(AT.slots + 64 * i, 32);
      const number = (at: number) => Number(raw.readBigInt64LE(8 * at));
      if (number(0) === 0) continue;
      const [thread, turns, busyNs, longestNs] = [0, 1, 2, 3].map(number) as [
        number,
        number,
        number,
        number,
      ];
      loops.push({ thread, turns, busyMs: busyNs / 1e6, longestTurnMs: longestNs / 1e6 });
    }
    return loops;
  }

  /** The longest gap between two ticks since `mark`, in ticks. */
  async gapTicks(mark: Mark): Promise<number> {
    return (await this.since(mark)).gapTicks;
  }

  /**
   * The longest turn of the main thread's event loop since `mark` that is over (ms), without the time for
   * which the machine was away in it; 0 below 1 ms.
   */
  longestTurnMs(mark: Mark): number {
    return Math.max(0, ...this.#turns(mark).map(({ ownMs }) => ownMs));
  }

  #stalls(mark: Mark): Span[] {
    return this.#spans(AT.stalls, HEAD.stalls, RING.stalls, mark.atMs);
  }

  /** The turns of the main thread: how long each took (ms), and how long the machine was away in it. */
  #turns(mark: Mark): { ownMs: number; awayMs: number }[] {
    const stalls = this.#stalls(mark);
    return this.#spans(AT.turns, HEAD.turns, RING.turns, mark.atMs).map(({ atMs, endMs }) => {
      let awayMs = 0;
      for (const stall of stalls)
        awayMs += Math.max(0, Math.min(endMs, stall.endMs) - Math.max(atMs, stall.atMs));
      return { ownMs: endMs - atMs - awayMs, awayMs };
    });
  }

  /** All that the main thread asked of the file system since `sinceMs` (by `nowMs`), done or not. */
  mainThreadFileCalls(sinceMs: number): Call[] {
    return this.#calls(sinceMs).filter(({ onMain }) => onMain);
  }

  /**
   * Changes to the disk by any thread since `sinceMs` (by `nowMs`), each of which takes its time on a slow
   * disk: a file made, written, fsynced, renamed, linked, unlinked.
   * @param within what the path must contain, such as the name of the prop file
   */
  diskCalls(sinceMs: number, within: (path: string) => boolean = () => true): Call[] {
    const reads = ['read', 'readv', 'pread64', 'preadv64', 'readlink', 'realpath', 'access'];
    const looks = ['statx', 'fopen64', 'opendir', 'scandir64'];
    return this.#calls(sinceMs).filter(
      ({ onDisk, what, path }) => onDisk && ![...reads, ...looks].includes(what) && within(path),
    );
  }

  #calls(sinceMs: number): Call[] {
    const count = this.#number(AT.head, HEAD.calls);
    const from = Math.max(0, count - RING.calls);
    const calls: Call[] = [];
    for (let i = from; i < count; i++) {
      const raw = this.#bytes(AT.calls + 128 * (i % RING.calls), 128);
      const text = (at: number, length: number) =>
        raw
          .subarray(at, at + length)
          .toString('utf8')
          .replace(/\0.*$/s, '');
      const call = {
        atMs: Number(raw.readBigInt64LE(0)) / 1e6,
        ms: Number(raw.readBigInt64LE(8)) / 1e6,
        onMain: raw.readBigInt64LE(16) === 1n,
        onDisk: raw.readBigInt64LE(24) === 1n,
        what: text(32, 16),
        path: text(48, 80),
      };
      if (call.atMs >= sinceMs) calls.push(call);
    }
    if (from > 0 && calls.length === RING.calls)
      throw new Error(`more than ${RING.calls} calls to the file system: not all were kept`);
    return calls;
  }

  /** The spans in a ring that end after `sinceMs`. */
  #spans(at: number, counter: number, kept: number, sinceMs: number): Span[] {
    const count = Math.min(kept, this.#number(AT.head, counter));
    const raw = this.#bytes(at, 16 * count);
    const spans = Array.from({ length: count }, (_, i) => {
      const atMs = Number(raw.readBigInt64LE(16 * i)) / 1e6;
      return { atMs, endMs: atMs + Number(raw.readBigInt64LE(16 * i + 8)) / 1e6 };
    });
    return spans.filter(({ endMs }) => endMs > sinceMs);
  }

  /** The daemon's own count of ticks by lateness. */
  async #lateness(): Promise<{ ticks: number; late: number[] }> {
    const text = await this.#metrics();
    const upTo = Array.from(
      text.matchAll(/^sinew_tick_lateness_seconds_bucket\{le=".+"\} (\d+)$/gm),
      ([, count]) => Number(count),
    );
    if (upTo.length !== LATENESS_MS.length + 1)
      throw new Error(
        `/metrics has ${upTo.length} classes of lateness, not ${LATENESS_MS.length + 1}`,
      );
    return {
      ticks: upTo.at(-1)!,
      late: upTo.map((count, i) => count - (upTo[i - 1] ?? 0)),
    };
  }

  /** A gateway that is kept from running may let a connection go: then once more. */
  async #metrics(): Promise<string> {
    for (let left = 20; ; left--)
      try {
        return await read(`${this.daemon.url}metrics`);
      } catch (error) {
        const { exitCode, signalCode } = this.daemon.child;
        if (left === 0 || !this.daemon.runs)
          throw new Error(
            `the daemon tells nothing (${(error as Error).message}; ended with ${exitCode ?? signalCode}): ${this.daemon.log}`,
          );
        await this.sleep(20);
      }
  }

  #bytes(at: number, length: number): Buffer {
    const raw = Buffer.alloc(length);
    readSync(this.#shared, raw, 0, length, at);
    return raw;
  }

  #number(at: number, index: number): number {
    return Number(this.#bytes(at + 8 * index, 8).readBigInt64LE(0));
  }

  /** Ends the daemon at once and removes its folder. */
  async cleanUp(): Promise<void> {
    const { kills } = this.memory;
    await this.daemon.cleanUp();
    closeSync(this.#shared);
    removeSoon(this.memory);
    if (kills > 0) throw new Error(`${kills} processes were killed for want of memory`);
  }

  /** Ends the daemon and starts it again on the same folder. */
  async restart(): Promise<SlowBoard> {
    await this.daemon.kill();
    closeSync(this.#shared);
    removeSoon(this.memory);
    return SlowBoard.start({ ...this.#given, folder: this.daemon.folder });
  }
}

/**
 * Whether this machine may have spoilt a measurement, so that it is to be made once more: it was away for as
 * long as the gap is longer than `most` ticks, or it has more to do than it has processors, and the board's
 * processor then shares caches and arithmetic with others. A fault of the daemon is there each time.
 */
export function excused(
  { gapTicks, awayMs }: Pick<Seen, 'gapTicks' | 'awayMs'>,
  most = 2,
): boolean {
  const excessMs = (gapTicks - most) * TICK_MS;
  return (excessMs > 0 && awayMs >= excessMs) || loadavg()[0]! > availableParallelism();
}

/** What node is told where the daemon runs as a service, as systemd's unit has it. */
function asInstalled(): string[] {
  const [, flags = ''] =
    /^ExecStart=\S+\/node ((?:--\S+ )*)\S+daemon\.js /m.exec(readFileSync(UNIT, 'utf8')) ?? [];
  return flags.match(/\S+/g) ?? [];
}

/**
 * The command that runs what follows it on the board, with nothing in its environment but what is given: a
 * service of systemd has no more (systemd.exec(5)), and what a developer's machine has may cost time. Further
 * certificates (`NODE_EXTRA_CA_CERTS`), for one, are read by every node that starts, and made that half as long again.
 */
function through(on: {
  library: string;
  group: string;
  file: string;
  core: number;
  disk: string;
  terminal?: string | undefined;
  env: NodeJS.ProcessEnv;
}): string[] {
  return [
    ...['setsid', '/bin/sh', '-c'],
    // A session has a share of its own of the processor where the kernel shares by sessions.
    `echo $$ > "$0/cgroup.procs" || exit 1; [ ! -w ${AUTOGROUP} ] || echo -20 > ${AUTOGROUP}; exec "$@" ${on.terminal ? `2> ${on.terminal}` : ''}`,
    on.group,
    ...['taskset', '--cpu-list', String(on.core), 'env', '--ignore-environment'],
    `PATH=${process.env.PATH}`,
    ...Object.entries(on.env).map(([name, value]) => `${name}=${value}`),
    `LD_PRELOAD=${on.library}`,
    `BOARD_SLOW=${SLOW}`,
    `BOARD_SHARED=${on.file}`,
    `BOARD_DISK=${on.disk}`,
  ];
}

/** Over a connection of its own: one that is kept open ends by the daemon's clock, not by ours. */
function read(url: string): Promise<string> {
  return new Promise((resolve, reject) => {
    get(url, { agent: false }, (response) => {
      let text = '';
      response.setEncoding('utf8').on('data', (data) => {
        text += data;
      });
      response.once('end', () => resolve(text)).once('error', reject);
    }).once('error', reject);
  });
}

function boardMs(): number {
  return (Number(process.hrtime.bigint()) / 1e6) * SLOW;
}

function setDisk(shared: number, disk: Disk): void {
  const us = BigInt(1000 * DISK_MS[disk]);
  const raw = Buffer.alloc(8 * (EPOCH + 1));
  for (let at = 0; at < EPOCH; at++) raw.writeBigInt64LE(us, 8 * at);
  raw.writeBigInt64LE(process.hrtime.bigint(), 8 * EPOCH);
  writeSync(shared, raw, 0, raw.length, AT.control);
}

/** A process that has just ended is in its group for a moment longer. */
function removeSoon(memory: MemoryGroup): void {
  for (let left = 100; ; left--)
    try {
      memory.remove();
      return;
    } catch (error) {
      if (left === 0) throw error;
      Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 10);
    }
}

/**
 * Waits until no other process of this machine runs a slow board: two on one processor measure each other.
 * It is this process's until it ends.
 */
async function alone(): Promise<void> {
  const mine = String(process.pid);
  for (let waits = 0; ; waits++) {
    try {
      writeFileSync(LOCK, mine, { flag: 'wx' });
      process.once('exit', () => rmSync(LOCK, { force: true }));
      return;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
    }
    const owner = await readFile(LOCK, 'utf8').catch(() => '');
    if (owner === mine) return;
    // Empty: it is being written or removed at this moment.
    if (owner !== '' && !existsSync(`/proc/${owner}`)) rmSync(LOCK, { force: true });
    if (waits === 0) console.error(`process ${owner} runs a slow board: waiting until it ends`);
    if (waits === LONGEST_WAIT_S)
      throw new Error(
        `process ${owner} has run a slow board for ${LONGEST_WAIT_S} s, and two at once measure each other; end it, or remove ${LOCK}`,
      );
    await machineSleep(1000);
  }
}
const LOCK = join(tmpdir(), 'sinew-board.lock');
const LONGEST_WAIT_S = 540;

/**
 * Takes this process and what it starts off the board's processor, and puts it before other programs
 * there: a client that this machine keeps from running is not a fault of the daemon.
 * @returns the board's processor
 */
function apart(): number {
  const allowed = [...cpus()];
  const core = chosen ?? allowed.at(-1)!;
  const others = allowed.filter((one) => one !== core);
  if (others.length === 0)
    throw new Error('the slow board needs two processors: one of its own, one for the clients');
  if (chosen === undefined) {
    chosen = core;
    const all = ['--all-tasks', '--cpu-list', '--pid', others.join(','), String(process.pid)];
    execFileSync('taskset', all, { stdio: 'ignore' });
    setPriority(process.pid, constants.priority.PRIORITY_HIGHEST);
    // Where the kernel shares out time by sessions first, this session goes first, too.
    if (existsSync(AUTOGROUP)) writeFileSync(AUTOGROUP, '-20');
  }
  return core;
}
let chosen: number | undefined;
const AUTOGROUP = '/proc/self/autogroup';

/** The processors that this machine lets us use. */
function* cpus(): Generator<number> {
  if (chosen !== undefined) yield chosen;
  const list = /Cpus_allowed_list:\s*(\S+)/.exec(
    spawnSync('cat', ['/proc/self/status'], { encoding: 'utf8' }).stdout,
  )![1]!;
  for (const range of list.split(',')) {
    const [first, last] = range.split('-').map(Number);
    for (let one = first!; one <= (last ?? first!); one++) if (one !== chosen) yield one;
  }
}

/** A folder in memory, so that the fast disk is as fast as can be; the machine's own where there is none. */
async function inMemory(): Promise<string> {
  const TMPFS = 0x01021994; // statfs(2)
  const shm = '/dev/shm';
  return existsSync(shm) && (await statfs(shm)).type === TMPFS ? shm : tmpdir();
}

/** The library, built once for each state of the source. */
async function build(): Promise<string> {
  const text = await readFile(SOURCE);
  const hash = createHash('sha256').update(text).update(process.arch).digest('hex').slice(0, 16);
  const built = join(tmpdir(), `sinew-board-${hash}.so`);
  if (existsSync(built)) return built;
  needTools('the slow board', ['gcc', 'libc6-dev', 'util-linux'], () =>
    TOOLS.filter((tool) => spawnSync('which', [tool]).status !== 0),
  );
  const folder = await mkdtemp(join(tmpdir(), 'sinew-board-build-'));
  const made = join(folder, 'board.so');
  const warnings = ['-Wall', '-Wextra', '-Werror'];
  const { status, stderr } = spawnSync(
    'gcc',
    ['-O2', ...warnings, '-shared', '-fPIC', '-o', made, SOURCE, '-ldl', '-lpthread'],
    { encoding: 'utf8' },
  );
  if (status !== 0) throw new Error(`the slow board cannot be built:\n${stderr}`);
  await rename(made, built);
  await rm(folder, { recursive: true });
  return built;
}

/** For tests that write a prop file of their own: a file with this text, and how to remove it. */
export async function propFile(text: string): Promise<string> {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-board-prop-'));
  const file = join(folder, 'prop.yaml');
  await writeFile(file, text);
  return file;
}

/** As the installer does it: before the first start, and at leisure. */
function prepare(home: string): void {
  const given = ['--prop', join(home, 'prop.yaml'), '--state-dir', join(home, 'state')];
  execFileSync(process.execPath, [DAEMON, '--prepare', ...given]);
}
