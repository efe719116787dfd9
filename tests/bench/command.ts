import { execFileSync, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { chmod, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { WebSocket } from 'ws';
import { Daemon } from '../system/daemon.ts';
import type { Row } from './table.ts';

const ECHO = fileURLToPath(new URL('echo.mjs', import.meta.url));
const TOKEN = randomBytes(32).toString('hex');
/** Less than a session's burst of requests, which it may ask for every two seconds. */
const BURST = 1900;
const REFILL_MS = 2000;
const ROUNDS = 6;
/** Requests on their way at once, when as many as possible are wanted. */
const PIPELINED = 90;

/**
 * A socket on which every text is answered by one text. The texts are made before the time is taken, and
 * the bare echo gets the same ones: `RpcClient` would add its own work to what is measured.
 */
class Line {
  readonly #socket: WebSocket;
  #answered: () => void = () => {};

  constructor(socket: WebSocket) {
    this.#socket = socket;
    socket.on('message', () => this.#answered());
  }

  static async to(url: string): Promise<Line> {
    const socket = new WebSocket(url.replace('http', 'ws'), { perMessageDeflate: false });
    await new Promise((resolve, reject) => {
      socket.once('open', resolve);
      socket.once('error', reject);
    });
    return new Line(socket);
  }

  ask(text: string): Promise<void> {
    return new Promise((resolve) => {
      this.#answered = resolve;
      this.#socket.send(text);
    });
  }

  /** Sends all of `texts`, up to `PIPELINED` of them unanswered at a time. */
  askAll(texts: readonly string[]): Promise<void> {
    return new Promise((resolve) => {
      let sent = 0;
      let answered = 0;
      const send = (): void => {
        while (sent < texts.length && sent - answered < PIPELINED)
          this.#socket.send(texts[sent++]!);
      };
      this.#answered = () => {
        answered++;
        if (answered === texts.length) resolve();
        else if (answered % 16 === 0 || sent - answered < PIPELINED / 2) send();
      };
      send();
    });
  }

  close(): void {
    this.#socket.terminate();
  }
}

async function echo(mode: 'raw' | 'json' | 'hop') {
  const child = spawn(process.execPath, [ECHO, mode], { stdio: ['ignore', 'pipe', 'inherit'] });
  const url = await new Promise<string>((resolve) =>
    child.stdout.once('data', (data) => resolve(String(data).trim())),
  );
  return { line: await Line.to(url), end: () => child.kill(), pid: child.pid! };
}

/** A session on the owl that has shown its token and holds the lease of the live prop. */
async function command() {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-bench-'));
  const tokenFile = join(folder, 'token');
  await writeFile(tokenFile, `${TOKEN}\n`);
  await chmod(tokenFile, 0o600);
  const daemon = await Daemon.start({ args: ['--token-file', tokenFile] });
  const line = await Line.to(`${daemon.url}api`);
  await line.ask(request('session.open', { token: TOKEN, client: 'bench' }));
  await line.ask(request('lease.take', {}));
  await line.ask(request('wake', { wait: true, confirm: 'unknown' }));
  const end = async () => {
    line.close();
    await daemon.cleanUp();
    await rm(folder, { recursive: true });
  };
  return { line, end, pid: daemon.child.pid! };
}

/** Round trips (ms) to the bare echo, to the one by way of a second thread, and to the core. */
interface Trips {
  echoMs: number[];
  hopMs: number[];
  sinewMs: number[];
}

let lastId = 0;
function request(method: string, params: object): string {
  return JSON.stringify({ jsonrpc: '2.0', id: ++lastId, method, params });
}

/** A move of a few degrees to and fro, as a slider that is drawn asks for it. */
const moves = () =>
  Array.from({ length: BURST }, (_, i) =>
    request('channel.move', { channel: 'beak', to: 10 + (i % 10) }),
  );

/** Holds all threads of a process on one core, as a board and a laptop have none in common. */
function holdOn(core: number, pid: number): void {
  execFileSync('taskset', ['--all-tasks', '--cpu-list', '--pid', String(core), String(pid)]);
}

/** Time until a command is answered, one after the other, and how many are with many on the way. */
export async function commandRows(): Promise<Row[]> {
  const raw = await echo('raw');
  const json = await echo('json');
  const hop = await echo('hop');
  const sinew = await command();
  const none = (): Trips => ({ echoMs: [], hopMs: [], sinewMs: [] });
  const anywhere = none();
  const apart = none();
  const echoRate: number[] = [];
  const sinewRate: number[] = [];
  const roundTrips = async (line: Line, took: number[]) => {
    for (const text of moves()) {
      const startedMs = performance.now();
      await line.ask(text);
      took.push(performance.now() - startedMs);
    }
  };
  const rate = async (line: Line, rates: number[]) => {
    const texts = moves();
    const startedMs = performance.now();
    await line.askAll(texts);
    rates.push((1000 * texts.length) / (performance.now() - startedMs));
  };
  const refill = () => new Promise((resolve) => setTimeout(resolve, REFILL_MS));
  const allTrips = async (into: Trips) => {
    await roundTrips(raw.line, into.echoMs);
    await roundTrips(hop.line, into.hopMs);
    await roundTrips(sinew.line, into.sinewMs);
    await refill();
  };
  // The first round compiles; in turn, so that whatever else the machine does falls on both.
  for (let round = 0; round <= ROUNDS; round++) {
    const measured = round > 0;
    await allTrips(measured ? anywhere : none());
    await rate(json.line, measured ? echoRate : []);
    await rate(sinew.line, measured ? sinewRate : []);
    await refill();
  }
  holdOn(0, process.pid);
  for (const { pid } of [raw, hop, sinew]) holdOn(1, pid);
  for (let round = 0; round < ROUNDS; round++) await allTrips(apart);
  raw.end();
  json.end();
  hop.end();
  await sinew.end();
  const rows = (
    at: number,
    ratio: number,
    { echoMs, hopMs, sinewMs }: Trips,
    how: string,
  ): Row[] => {
    const measured = { values: sinewMs, at, target: { ratio } };
    const name = `p${100 * at} (ms)`;
    return [
      {
        ...measured,
        measure: `channel.move and its answer${how}, ${name}`,
        baselines: echoMs,
        baselineName: 'bare ws echo',
      },
      {
        ...measured,
        measure: `the same against the least that two threads allow, ${name}`,
        baselines: hopMs,
        baselineName: 'bare ws echo by way of a second thread',
      },
    ];
  };
  const [row, ...others] = rows(0.5, 1.5, anywhere, '');
  const note =
    'the system runs the echo on the core of its client, which wakes nobody; the daemon answers from a second thread, and the next row has what that costs here';
  const fromLaptop = ', the client on a core of its own like a laptop';
  return [
    { ...row!, note },
    ...others,
    ...rows(0.99, 2, anywhere, ''),
    ...rows(0.5, 1.5, apart, fromLaptop),
    ...rows(0.99, 2, apart, fromLaptop),
    {
      measure: 'commands a second, pipelined',
      values: sinewRate,
      baselines: echoRate,
      baselineName: 'bare ws echo that reads and writes JSON',
      target: { ratioAtLeast: 0.5 },
    },
  ];
}
