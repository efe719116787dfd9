import { type ChildProcess, spawn } from 'node:child_process';
import { cp, mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { WebSocket } from 'ws';
import { RpcClient } from '../../src/api/client.ts';
import { EVERYWHERE } from '../../src/api/errors.ts';
import { recordOf } from '../../src/api/methods.ts';
import { placeOf } from '../../src/boards/registry.ts';
import { placeDigest } from '../../src/core/servo.ts';
import { parseProp } from '../../src/prop/load.ts';
import type { RefusalCode } from '../../src/shared/refusals.ts';

const root = fileURLToPath(new URL('../..', import.meta.url));
export const DAEMON = join(root, 'dist/daemon.js');
export const CLI = join(root, 'dist/cli.js');
export const OWL = join(root, 'config/owl.yaml');

export interface Answer {
  id: number | null;
  result?: Record<string, unknown>;
  error?: { code: number; message: string; data: Record<string, unknown> };
}

export interface StateFrame {
  condition: string;
  t: number;
  tick: number;
  holder: string | null;
  channels: Record<string, Record<string, unknown>>;
  rails: Record<string, { amps: number; limitA: number }>;
}

/** A real sinewd on a copy of the owl, in a folder of its own. */
export class Daemon {
  readonly folder: string;
  readonly propFile: string;
  readonly url: string;
  readonly child: ChildProcess;
  /** How long it took from the start of the process until it said where it listens (ms). */
  readonly startMs: number;
  readonly #log: string[];

  private constructor(
    folder: string,
    url: string,
    child: ChildProcess,
    startMs: number,
    log: string[],
  ) {
    this.folder = folder;
    this.propFile = join(folder, 'prop.yaml');
    this.url = url;
    this.child = child;
    this.startMs = startMs;
    this.#log = log;
  }

  /**
   * @param prop a prop file to copy
   * @param folder an earlier daemon's, to start again on its state
   * @param known the prop was parked before, so that waking it is quick
   * @param through a command that runs the one given to it, such as `ip netns exec NAME`
   */
  static async start({
    prop = OWL,
    folder,
    known = true,
    args = [],
    nodeArgs = [],
    through = [],
    program = DAEMON,
    env = {},
  }: {
    prop?: string;
    folder?: string;
    known?: boolean;
    args?: string[];
    nodeArgs?: string[];
    through?: string[];
    program?: string;
    env?: NodeJS.ProcessEnv;
  } = {}): Promise<Daemon> {
    let home = folder;
    if (!home) {
      home = await mkdtemp(join(tmpdir(), 'sinew-test-'));
      await cp(prop, join(home, 'prop.yaml'));
      if (known) await leaveParked(home);
    }
    const startedMs = performance.now();
    const [first, ...given] = [...through, process.execPath];
    const child = spawn(
      first!,
      [
        ...given,
        ...nodeArgs,
        program,
        '--prop',
        join(home, 'prop.yaml'),
        '--state-dir',
        join(home, 'state'),
        '--listen',
        '127.0.0.1:0',
        ...args,
      ],
      { stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, ...env } },
    );
    const log: string[] = [];
    child.stderr!.on('data', (data) => log.push(String(data)));
    const url = await new Promise<string>((resolve, reject) => {
      let out = '';
      child.stdout!.on('data', (data) => {
        out += data;
        const match = /(http:\S+)/.exec(out);
        if (match) resolve(match[1]!);
      });
      child.once('exit', (code) => reject(new Error(`sinewd ended with ${code}: ${log.join('')}`)));
    });
    return new Daemon(home, url, child, performance.now() - startedMs, log);
  }

  get log(): string {
    return this.#log.join('');
  }

  get port(): number {
    return Number(new URL(this.url).port);
  }

  /** Resolves when the state on the disk matches `wanted`. */
  async untilSaved(wanted: RegExp): Promise<void> {
    const file = join(this.folder, 'state', 'state.json');
    while (!wanted.test(await readFile(file, 'utf8').catch(() => ''))) await sleep(10);
  }

  readProp(): Promise<string> {
    return readFile(this.propFile, 'utf8');
  }

  get runs(): boolean {
    return this.child.exitCode === null && this.child.signalCode === null;
  }

  /** Resolves with the exit code, or the signal that ended it. */
  ended(): Promise<number | string> {
    const { child } = this;
    if (!this.runs) return Promise.resolve(child.exitCode ?? child.signalCode!);
    return new Promise((resolve) =>
      child.once('exit', (code, signal) => resolve(code ?? signal ?? -1)),
    );
  }

  /** Ends the process at once; the folder stays. */
  async kill(signal: NodeJS.Signals = 'SIGKILL'): Promise<void> {
    this.child.kill(signal);
    await this.ended();
  }

  async cleanUp(): Promise<void> {
    await this.kill();
    // Another daemon may still write into the same folder.
    await rm(this.folder, { recursive: true, force: true, maxRetries: 5, retryDelay: 100 });
  }
}

/** Writes the state that an earlier run would have left behind in `home`: everything parked and rested. */
export async function leaveParked(home: string): Promise<void> {
  const file = join(home, 'prop.yaml');
  const { prop } = parseProp(await readFile(file, 'utf8'), file);
  const positions: Record<string, number> = {};
  const digests: Record<string, string> = {};
  const duty: Record<string, object> = {};
  for (const [name, channel] of Object.entries(prop!.channels)) {
    if (channel.kind === 'relay' && channel.duty) {
      const { board, pin } = channel.output;
      const output = placeOf(board, prop!.boards[board]!, pin);
      duty[name] = { usedS: 0, on: false, changedS: 0, output };
    }
    if (channel.kind !== 'servo') continue;
    const { to } = channel.park;
    positions[name] = typeof to === 'number' ? to : channel.marks![to]!;
    digests[name] = placeDigest(channel);
  }
  await mkdir(join(home, 'state'));
  await writeFile(
    join(home, 'state', 'state.json'),
    JSON.stringify({
      ...{ version: 1, bootId: 'an earlier one', settled: true, clean: true },
      ...{ positions, digests, duty },
    }),
  );
}

/** A bare client: sends what it is told and keeps what comes back. */
export class Peer {
  readonly socket: WebSocket;
  readonly answers: Answer[] = [];
  readonly states: StateFrame[] = [];
  /** Notifications other than `state`. */
  readonly notices: { method: string; params: Record<string, unknown> }[] = [];
  closeCode: number | undefined;
  readonly #rpc = new RpcClient((text) => this.send(text));
  #sleeping: (() => void)[] = [];

  private constructor(socket: WebSocket) {
    this.socket = socket;
    socket.on('message', (data) => {
      const message = JSON.parse(String(data));
      if (message.method === 'state') this.states.push(message.params);
      else if (message.method) this.notices.push(message);
      else for (const one of Array.isArray(message) ? message : [message]) this.answers.push(one);
      this.#rpc.receive(String(data));
      this.#wake();
    });
    socket.on('close', (code) => {
      this.closeCode = code;
      this.#rpc.end(new Error(`the link closed with ${code}`));
      this.#wake();
    });
    socket.on('error', () => {});
  }

  /** @param autoPong false for a client that is connected but gives no sign of life */
  static async connect(daemon: Daemon, autoPong = true, host = '127.0.0.1'): Promise<Peer> {
    const socket = new WebSocket(`ws://${host}:${daemon.port}/api`, { autoPong });
    const peer = new Peer(socket);
    await new Promise((resolve, reject) => {
      socket.once('open', resolve);
      socket.once('error', reject);
    });
    return peer;
  }

  /** Connects, opens a session and takes the lease; with `live`, wakes the prop as well. */
  static async holder(daemon: Daemon, { autoPong = true, live = true } = {}): Promise<Peer> {
    const peer = await Peer.connect(daemon, autoPong);
    await peer.ask('session.open', { client: 'holder' });
    await peer.ask('lease.take');
    if (live) await peer.ask('wake', { wait: true, confirm: 'unknown' });
    return peer;
  }

  send(data: string | Buffer): void {
    this.socket.send(data);
  }

  /**
   * Sends a request and resolves with its answer, error or not.
   * @throws Error where the record of the method does not name the refusal
   */
  async call(method: string, params: object = {}): Promise<Answer> {
    const answer = (await this.#rpc.ask(method, params)) as Answer;
    const code = answer.error?.data.code as RefusalCode | undefined;
    const named = [...EVERYWHERE, ...(recordOf(method)?.errors ?? [])];
    if (code && recordOf(method) && !named.includes(code))
      throw new Error(
        `the record of ${method} does not name ${code}: ${answer.error!.data.reason}`,
      );
    return answer;
  }

  /** The result of a request. @throws Error when it was refused */
  async ask(method: string, params: object = {}): Promise<Record<string, unknown>> {
    const { result, error } = await this.call(method, params);
    if (error) throw new Error(`${method}: ${error.code} ${error.data?.reason}`);
    return result!;
  }

  /** Resolves as soon as `poll` gives something, looked at with every message and close. */
  async until<T>(poll: () => T | undefined): Promise<T> {
    for (;;) {
      const found = poll();
      if (found !== undefined) return found;
      if (this.closeCode !== undefined) throw new Error(`the link closed with ${this.closeCode}`);
      await new Promise<void>((resolve) => {
        this.#sleeping.push(resolve);
      });
    }
  }

  #wake(): void {
    for (const wake of this.#sleeping.splice(0)) wake();
  }

  /** Resolves with the first `prop.changed` from place `from` on that satisfies `wanted`. */
  changed(
    wanted: (change: Record<string, unknown>) => boolean = () => true,
    from = 0,
  ): Promise<Record<string, unknown>> {
    return this.until(
      () =>
        this.notices
          .slice(from)
          .find(({ method, params }) => method === 'prop.changed' && wanted(params))?.params,
    );
  }

  /** Resolves with the next state frame that satisfies `wanted`. */
  async untilState(wanted: (frame: StateFrame) => boolean): Promise<StateFrame> {
    let next = this.states.length;
    return this.until(() => {
      for (; next < this.states.length; next++)
        if (wanted(this.states[next]!)) return this.states[next];
      return undefined;
    });
  }

  async close(): Promise<void> {
    this.socket.terminate();
    await this.until(() => this.closeCode);
  }
}
