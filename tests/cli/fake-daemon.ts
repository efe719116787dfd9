import type { AddressInfo } from 'node:net';
import { PassThrough } from 'node:stream';
import { type WebSocket, WebSocketServer } from 'ws';
import { checkParams, methodNamed } from '../../src/api/check.ts';
import { recordOf } from '../../src/api/methods.ts';
import type { LoomWire } from '../../src/api/types.ts';
import { main } from '../../src/cli/main.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import type { Condition } from '../../src/shared/condition.ts';
import { Refusal } from '../../src/shared/errors.ts';

type Handler = (params: Record<string, unknown>, link: WebSocket) => unknown;

interface FakeChannel {
  kind: 'servo' | 'relay' | 'rgb' | 'lamp';
  value: number | string | boolean;
  target: number | string | boolean;
  flags: string[];
  groups: string[];
  park: { to: number | string | boolean };
  limitsDeg?: [number, number];
  marks?: Record<string, number>;
  measured?: Record<string, string | null>;
  measuredDeg?: number;
  amps: number;
}

const MOTION_MS = 300;

const WIRES: LoomWire[] = [
  {
    label: 'W07',
    channel: 'beak',
    gaugeAwg: 24,
    lengthM: 0.6,
    cores: [
      { role: 'signal', colour: 'YE', from: 'J1-12', to: 'SV3-1' },
      { role: 'plus', colour: 'RD', from: 'TB1-2', to: 'SV3-2' },
    ],
  },
  {
    label: 'W12',
    channel: 'lantern',
    sectionMm2: 0.25,
    cores: [{ role: 'plus', colour: 'WHBU', from: 'TB2-10', to: 'L1-1' }],
  },
];

function servo(groups: string[], marks: Record<string, number>): FakeChannel {
  const still = { kind: 'servo' as const, value: 0, target: 0, flags: [], amps: 0.01 };
  return { ...still, groups, park: { to: 0 }, limitsDeg: [-5, 35], marks };
}

/**
 * A daemon of a few lines: it answers the API, checks params with the gateway's own schemas, and
 * notes every call. Its motion takes 300 ms of the test's clock.
 */
export class FakeDaemon {
  readonly clock = new VirtualClock();
  /** `[method, params]` in the order of arrival. */
  readonly calls: [string, unknown][] = [];
  /** Replaces or adds methods. */
  readonly handlers: Record<string, Handler> = {};
  condition: Condition = 'live';
  /** Why it is not parked, where its condition alone is. */
  notParked: string | undefined;
  holder: string | null = null;
  /** Servos that stand nobody knows where. */
  unknown: string[] = [];
  /** It says of unknown servos what earlier versions did. */
  isEarlier = false;
  /** Somebody else who stopped the prop. */
  stoppedBy: string | undefined;
  linkTimeoutMs = 60_000;
  version = 'aaaaaaaaaaaaaaaa';
  /** How the prop file on the disk stands to that. */
  file: object | undefined;
  /** Newest first. */
  versions: object[] = [
    {
      version: 'aaaaaaaaaaaaaaaa',
      time: '2026-01-02T10:00:00.000Z',
      who: 'bob',
      what: 'mark shut of beak',
      current: true,
    },
    { version: 'bbbbbbbbbbbbbbbb', time: '2026-01-01T10:00:00.000Z', who: 'ann', what: 'edited' },
  ];
  pings = true;
  readonly channels: Record<string, FakeChannel> = {
    beak: servo([], { shut: 0, open: 30 }),
    tail_1: servo(['tail'], { up: 20 }),
    tail_2: servo(['tail'], { up: 25 }),
    mist: {
      kind: 'relay',
      value: false,
      target: false,
      flags: [],
      groups: [],
      park: { to: false },
      amps: 0,
    },
    eye_left: {
      kind: 'rgb',
      value: '#000000',
      target: '#000000',
      flags: [],
      groups: [],
      park: { to: '#000000' },
      amps: 0,
    },
    lantern: {
      kind: 'lamp',
      value: 0,
      target: 0,
      flags: [],
      groups: [],
      park: { to: 0 },
      amps: 0,
    },
  };
  readonly links = new Set<WebSocket>();
  readonly #server: WebSocketServer;
  readonly #pump: NodeJS.Timeout;
  #client = '';

  private constructor(server: WebSocketServer) {
    this.#server = server;
    server.on('connection', (link) => this.#serve(link));
    // Time passes only while this process runs: a slow machine makes no difference.
    this.#pump = setInterval(() => this.clock.advance(10), 1);
  }

  static async start(): Promise<FakeDaemon> {
    const server = new WebSocketServer({ host: '127.0.0.1', port: 0, path: '/api' });
    await new Promise((resolve) => server.once('listening', resolve));
    return new FakeDaemon(server);
  }

  get host(): string {
    return `127.0.0.1:${(this.#server.address() as AddressInfo).port}`;
  }

  /** The methods that were called, without the opening of the session. */
  get methods(): string[] {
    return this.calls.map(([method]) => method).filter((method) => method !== 'session.open');
  }

  called(method: string): unknown[] {
    return this.calls.filter(([name]) => name === method).map(([, params]) => params);
  }

  async stop(): Promise<void> {
    clearInterval(this.#pump);
    for (const link of this.links) link.terminate();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  notify(method: string, params: unknown): void {
    for (const link of this.links) link.send(JSON.stringify({ jsonrpc: '2.0', method, params }));
  }

  #serve(link: WebSocket): void {
    this.links.add(link);
    let cancelFrames = () => {};
    let cancelPing = () => {};
    link.on('close', () => {
      this.links.delete(link);
      cancelFrames();
      cancelPing();
    });
    const ping = () => {
      if (this.pings) link.ping();
      cancelPing = this.clock.after(this.linkTimeoutMs / 4, ping);
    };
    ping();
    link.on('message', async (data) => {
      const { id, method, params } = JSON.parse(data.toString());
      this.calls.push([method, params]);
      try {
        const handler = this.handlers[method];
        if (!handler || recordOf(method)) checkParams(methodNamed(method), params);
        const answer = handler ?? this.#builtIn[method];
        if (!answer) throw new Error(`the fake daemon has no ${method}`);
        const result = await answer(params, link);
        link.send(JSON.stringify({ jsonrpc: '2.0', id, result }));
        if (method === 'state.follow') {
          const frame = () => {
            link.send(JSON.stringify({ jsonrpc: '2.0', method: 'state', params: this.frame() }));
            cancelFrames = this.clock.after(1000 / params.hz, frame);
          };
          cancelFrames();
          frame();
        }
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        link.send(JSON.stringify({ jsonrpc: '2.0', id, error: error.toObject() }));
      }
    });
  }

  list() {
    return {
      channels: this.channels,
      groups: { tail: ['tail_1', 'tail_2'] },
      poses: ['asleep', 'alert'],
    };
  }

  #rest() {
    return this.notParked === undefined ? {} : { notParked: this.notParked };
  }

  frame() {
    return {
      condition: this.condition,
      ...this.#rest(),
      t: this.clock.nowMs() / 1000,
      tick: Math.floor(this.clock.nowMs() / 5),
      holder: this.holder,
      channels: this.channels,
      rails: { servo6v: { amps: 0.53, limitA: 5 } },
    };
  }

  /** Sets a channel going; it arrives after MOTION_MS. */
  #go(name: unknown, target: number | string | boolean): void {
    const channel = this.channels[String(name)];
    if (!channel) {
      throw new Refusal('channel.unknown', `there is no channel ${name}`, { channel: name });
    }
    if (this.condition !== 'live') {
      throw new Refusal('condition.forbids', `the prop is ${this.condition}; wake it first`, {
        condition: this.condition,
      });
    }
    const limits = channel.limitsDeg;
    if (limits && typeof target === 'number' && (target < limits[0] || target > limits[1])) {
      const values = { channel: name, value: target, limit: target > 0 ? limits[1] : limits[0] };
      throw new Refusal('limits.outside', `${name} cannot go to ${target} deg`, values);
    }
    channel.target = target;
    channel.flags = ['moving'];
    this.clock.after(MOTION_MS, () => {
      channel.value = target;
      channel.flags = [];
    });
  }

  readonly #builtIn: Record<string, Handler> = {
    'session.open': ({ client }) => {
      this.#client = String(client);
      const { condition, linkTimeoutMs, version, file } = this;
      const opened = {
        session: 's1',
        condition,
        ...this.#rest(),
        prop: 'Test owl',
        protocol: 1,
        linkTimeoutMs,
      };
      return { ...opened, version, ...(file && { file }) };
    },
    'lease.take': () => {
      if (this.holder !== null && this.holder !== this.#client) {
        throw new Refusal('lease.held', `${this.holder} holds the lease; ask there, or wait`, {
          holder: this.holder,
        });
      }
      this.holder = this.#client;
      return { holder: this.holder };
    },
    'lease.release': () => {
      this.holder = null;
      return { holder: null };
    },
    wake: ({ confirm }) => {
      if (this.unknown.length > 0 && confirm !== 'unknown')
        throw new Refusal('wake.unknown-servos', 'wake with confirm: "unknown"', {
          servos: this.unknown,
          words: this.isEarlier
            ? undefined
            : `nobody knows where these servos stand: ${this.unknown.join(', ')}; they move one at a time, at their own speed, to their park position`,
        });
      this.unknown = [];
      if (this.condition === 'stopped') {
        throw new Refusal('condition.forbids', 'the prop is stopped; reset first');
      }
      this.condition = 'live';
      return { condition: 'live' };
    },
    park: () => {
      this.condition = 'parked';
      return { condition: 'parked', ...this.#rest() };
    },
    stop: () => {
      this.condition = 'stopped';
      return { condition: 'stopped' };
    },
    reset: ({ confirm }) => {
      const stoppedBy = this.stoppedBy;
      if (stoppedBy !== undefined && confirm !== stoppedBy)
        throw new Refusal('reset.confirm', 'reset with confirm', { stoppedBy });
      this.condition = 'parked';
      return { condition: 'parked', ...this.#rest() };
    },
    'channel.list': () => this.list(),
    'loom.find': ({ text }) => ({
      wires: WIRES.filter(({ label, cores }) => JSON.stringify([label, cores]).includes(`${text}`)),
    }),
    'channel.move': ({ channel, to }) => {
      const target = typeof to === 'string' ? this.channels[String(channel)]?.marks?.[to] : to;
      this.#go(channel, target as number);
      return { target, durationS: 0.3 };
    },
    'group.move': () => ({ durationS: 0.4 }),
    'pose.go': () => ({ durationS: 0.5 }),
    'channel.jog': ({ channel, byDeg }) => {
      const target = Number(this.channels[String(channel)]?.value) + Number(byDeg ?? 1);
      this.#go(channel, target);
      return { target, pulseUs: 1500, limited: false };
    },
    'channel.switch': ({ channel, on, forS }) => {
      const relay = this.channels[String(channel)]!;
      relay.value = on as boolean;
      if (forS) {
        this.clock.after(Number(forS) * 1000, () => {
          relay.value = !on;
        });
      }
      return { on };
    },
    'channel.colour': ({ channel, to }) => {
      this.#go(channel, String(to));
      return { to };
    },
    'channel.dim': ({ channel, to }) => {
      this.#go(channel, Number(to));
      return { to };
    },
    'channel.identify': () => ({ durationS: 0.6 }),
    'mark.capture': () => ({ deg: 12.5, pulseUs: 1639 }),
    'limits.capture': () => ({ limitsDeg: [-5, 12.5] }),
    'park.capture': ({ channel, mark }) => {
      if (mark === undefined) return { to: 12.5, deg: 12.5 };
      return { to: mark, deg: this.channels[String(channel)]?.marks?.[String(mark)] };
    },
    'capture.undo': () => ({ undone: 'channels.beak.park.to is shut again, no longer open' }),
    'prop.read': () => ({ text: 'sinew: 1\n', version: this.version, path: 'owl.yaml' }),
    'prop.history': () => ({ versions: this.versions }),
    'prop.apply': () => ({
      version: 'cccccccccccccccc',
      changed: ['mark open of beak: 30 deg becomes 28 deg'],
      pending: false,
    }),
    'prop.restore': ({ version }) => ({
      version,
      changed: ['limits of beak: -5 to 30 deg become -5 to 35 deg'],
      pending: true,
    }),
    'state.follow': ({ hz }) => ({ hz }),
    'journal.read': () => ({
      entries: [
        {
          seq: 7,
          time: '2026-01-01T00:00:00.000Z',
          who: 'ann',
          what: 'lease',
          text: 'took it',
          tick: 1,
        },
        {
          seq: 8,
          time: '2026-01-01T00:00:01.000Z',
          who: 'prop',
          what: 'condition',
          text: 'live',
          tick: 2,
        },
      ],
    }),
  };
}

/** A terminal or a pipe, with what was written to it. */
export class Sink extends PassThrough {
  isTTY?: boolean;
  text = '';

  constructor() {
    super();
    this.setEncoding('utf8');
    this.on('data', (chunk: string) => {
      this.text += chunk;
    });
  }

  get lines(): string[] {
    return this.text.split('\n').slice(0, -1);
  }
}

export interface Running {
  stdin: PassThrough & { isTTY?: boolean };
  stdout: Sink;
  stderr: Sink;
  /** Ctrl-C. */
  interrupt(): void;
  exit: Promise<number>;
}

/** Starts the command as the entry point does, with streams, clock and Ctrl-C of the test. */
export function start(
  argv: string[],
  daemon: Pick<FakeDaemon, 'host' | 'clock'>,
  { env = {}, tty = false }: { env?: Record<string, string>; tty?: boolean } = {},
): Running {
  const stdin: Running['stdin'] = new PassThrough();
  const stdout = new Sink();
  const stderr = new Sink();
  stdin.isTTY = tty;
  stdout.isTTY = tty;
  const handlers = new Set<() => void>();
  const io = {
    stdin,
    stdout,
    stderr,
    env: { SINEW_HOST: daemon.host, USER: 'ann', ...env },
    clock: daemon.clock,
    onInterrupt(handler: () => void) {
      handlers.add(handler);
      return () => handlers.delete(handler);
    },
  };
  const exit = main(argv, io, '1.2.3');
  const interrupt = () => {
    for (const handler of handlers) handler();
  };
  return { stdin, stdout, stderr, exit, interrupt };
}

export async function run(
  argv: string[],
  daemon: Pick<FakeDaemon, 'host' | 'clock'>,
  env: Record<string, string> = {},
): Promise<{ code: number; out: string; err: string }> {
  const running = start(argv, daemon, { env });
  running.stdin.end();
  const code = await running.exit;
  return { code, out: running.stdout.text, err: running.stderr.text };
}

/** Waits, a turn of the event loop at a time, until `holds`; the test's own time limit ends it. */
export async function until(holds: () => boolean): Promise<void> {
  while (!holds()) await new Promise((resolve) => setTimeout(resolve, 1));
}
