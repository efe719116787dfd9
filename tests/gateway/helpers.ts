import { MessageChannel, type MessagePort, type Worker } from 'node:worker_threads';
import { expect } from 'vitest';
import { WebSocket } from 'ws';
import { RpcClient } from '../../src/api/client.ts';
import type { GatewayStart, ToCore, ToGateway } from '../../src/core/requests.ts';
import { silent } from '../../src/gateway/log.ts';
import { type Gateway, startGateway } from '../../src/gateway/server.ts';
import type { FileStatus } from '../../src/prop/file/status.ts';
import type { FromGateway, PropView, ToGatewayFromService } from '../../src/service/protocol.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { CONDITIONS, type Condition } from '../../src/shared/condition.ts';
import { RAIL_FIELD, Telemetry } from '../../src/shared/telemetry.ts';
import type { StageStart } from '../../src/showpage/protocol.ts';

type Call = Extract<ToCore, { t: 'call' }>;
// biome-ignore lint/suspicious/noExplicitAny: whatever came over the wire, checked by the test
export type Json = any;

/** Lets messages between the threads and sockets of this process through until `done` holds. */
export async function until(done: () => boolean, what: string): Promise<void> {
  // Real time only bounds a failing test; nothing is measured by it.
  for (let turn = 0; turn < 2000; turn++) {
    if (done()) return;
    await new Promise((resume) => setTimeout(resume, 1));
  }
  throw new Error(`never came true: ${what}`);
}

/** The core's answer to a call. */
export function done(id: number, result: unknown): ToGateway {
  return { t: 'done', id, text: JSON.stringify(result) };
}

const BEAK: PropView['info'][string] = {
  kind: 'servo',
  groups: [],
  park: { to: 'shut', then: 'release' },
  limitsDeg: [-5, 35],
  marks: { shut: 0, open: 30 },
};

/** What the gateway goes by in these tests. */
export const VIEW: PropView = {
  version: '0123456789abcdef',
  name: 'Foyer owl',
  linkTimeoutMs: 500,
  channels: [
    { name: 'beak', kind: 'servo', value: 'deg' },
    { name: 'mist', kind: 'relay', value: 'on' },
    { name: 'eye', kind: 'rgb', value: 'colour' },
    { name: 'lantern', kind: 'lamp', value: 'lightness' },
  ],
  rails: [{ name: 'servo6v', limitA: 5, volts: 6 }],
  osc: null,
  info: {
    beak: BEAK,
    mist: { kind: 'relay', groups: [], park: { to: false } },
    eye: { kind: 'rgb', groups: [], park: { to: '#000000' }, fadeS: 0.2 },
    lantern: { kind: 'lamp', groups: [], park: { to: 0 }, fadeS: 0.2 },
  },
  groups: { jaw: ['beak'] },
  poses: ['asleep'],
  cueDurationsS: { wake: 3.2, glow: null },
  idle: ['calm'],
  triggers: ['mat'],
  boards: { head: { driver: 'sim', header: true, pins: [{ pin: 18, use: 'beak' }, { pin: 4 }] } },
};

export const IN_FORCE: FileStatus = {
  name: 'owl.yaml',
  version: VIEW.version,
  onDisk: null,
  pending: false,
  findings: [],
  changed: [],
};

export const viewBytes = (view: PropView): Uint8Array =>
  new TextEncoder().encode(JSON.stringify(view));

type Ask = Extract<FromGateway, { t: 'ask' }>;

/** A gateway in this process, a core that answers by script, and a clock that the test moves. */
export class Rig {
  readonly clock: VirtualClock;
  readonly telemetry: Telemetry;
  readonly received: ToCore[] = [];
  /** What the core answers; `undefined` leaves the call open. */
  reply: (call: Call) => ToGateway | undefined = ({ id, method }) => done(id, { method });
  /** What the prop-file service was sent, and what it answers; `undefined` leaves the question open. */
  readonly asked: FromGateway[] = [];
  answer: (ask: Ask) => ToGatewayFromService | undefined = ({ id, method }) => ({
    id,
    text: JSON.stringify({ method }),
  });
  /** The service's end of its line. */
  service!: MessagePort;
  readonly #clients: Client[] = [];
  readonly #core: MessagePort;
  readonly #gatewayEnd: MessagePort;
  gateway!: Gateway;
  port = 0;

  private constructor(telemetry: Telemetry, clock: VirtualClock) {
    this.clock = clock;
    this.telemetry = telemetry;
    const { port1, port2 } = new MessageChannel();
    this.#gatewayEnd = port1;
    this.#core = port2;
    port2.on('message', (message: ToCore) => {
      this.received.push(message);
      if (message.t === 'fence') port2.postMessage(done(message.id, null));
      if (message.t !== 'call') return;
      const answer = this.reply(message);
      if (answer) port2.postMessage(answer);
    });
  }

  /**
   * A tick of the core at a time (s).
   * @param changes fields of channels
   * @param amps what the first rail gives (A); it is not measured
   */
  tick(
    tS: number,
    changes: readonly (readonly [channel: number, field: number, value: number])[] = [],
    { condition = 'live', amps }: { condition?: Condition; amps?: number } = {},
  ): void {
    const { telemetry } = this;
    telemetry.begin({ nowS: tS }, Math.round(200 * tS), CONDITIONS.indexOf(condition));
    for (const [channel, field, value] of changes)
      telemetry.numbers[telemetry.channelAt(channel) + field] = value;
    if (amps !== undefined) {
      telemetry.numbers[telemetry.railAt(0) + RAIL_FIELD.amps] = amps;
      telemetry.numbers[telemetry.railAt(0) + RAIL_FIELD.measuredA] = Number.NaN;
      telemetry.numbers[telemetry.railAt(0) + RAIL_FIELD.measuredV] = Number.NaN;
    }
    telemetry.commit();
  }

  /** A line to a service that answers by script: the end for the gateway. */
  newService(): MessagePort {
    const { port1, port2 } = new MessageChannel();
    port2.on('message', (message: FromGateway) => {
      this.asked.push(message);
      if (message.t !== 'ask') return;
      const answer = this.answer(message);
      if (answer) port2.postMessage(answer);
    });
    this.service = port2;
    return port1;
  }

  static async start(
    changes: Partial<Omit<GatewayStart, 'view'>> & {
      view?: Partial<PropView>;
      ownLog?: true;
      spawnStage?: (start: StageStart) => Worker;
    } = {},
    clock = new VirtualClock(),
  ): Promise<Rig> {
    const { view: viewChanges, ownLog, spawnStage, ...startChanges } = changes;
    const view = { ...VIEW, ...viewChanges };
    const rig = new Rig(
      Telemetry.create(view.channels.length, view.rails.length, view.senses?.length ?? 0),
      clock,
    );
    const start: GatewayStart = {
      host: '127.0.0.1',
      port: 0,
      tokenHash: null,
      view: viewBytes(view),
      status: IN_FORCE,
      telemetry: rig.telemetry.buffers,
      logLevel: 'info',
      service: rig.newService(),
      ...startChanges,
    };
    rig.gateway = await startGateway(start, rig.#gatewayEnd, {
      clock: rig.clock,
      ...(!ownLog && { log: silent }),
      ...(spawnStage && { spawnStage }),
      // Any page will do.
      showFolder: new URL('../../src/gateway/page/', import.meta.url),
    });
    await until(() => rig.received.length > 0, 'a word about listening');
    const first = rig.received[0]!;
    if (first.t === 'listening') rig.port = first.port;
    return rig;
  }

  send(message: ToGateway, transfer: readonly MessagePort[] = []): void {
    this.#core.postMessage(message, transfer);
  }

  /** The core adopts another version of the prop; the test writes the ticks. */
  adopt(view: PropView, changed: string[]): void {
    const body = Telemetry.body(view.channels.length, view.rails.length);
    this.telemetry.useBody(body);
    this.send({ t: 'prop', view: viewBytes(view), body, changed });
  }

  /** What the service was asked. */
  questions(): Ask[] {
    return this.asked.filter((message): message is Ask => message.t === 'ask');
  }

  calls(): Call[] {
    return this.received.filter((message): message is Call => message.t === 'call');
  }

  of<T extends ToCore['t']>(t: T): Extract<ToCore, { t: T }>[] {
    return this.received.filter((message): message is Extract<ToCore, { t: T }> => message.t === t);
  }

  /** A connected client that has not opened its session. */
  async connect(options: Json = {}): Promise<Client> {
    const socket = new WebSocket(`ws://127.0.0.1:${this.port}/api`, options);
    const client = new Client(socket);
    this.#clients.push(client);
    await new Promise<void>((resolve, reject) => {
      socket.once('open', () => resolve());
      socket.once('error', reject);
    });
    return client;
  }

  async open(name = 'bench', options: Json = {}): Promise<Client> {
    const client = await this.connect(options);
    const { result } = await client.call('session.open', { client: name });
    client.session = result.session;
    return client;
  }

  async end(): Promise<void> {
    for (const client of this.#clients) client.socket.terminate();
    await this.gateway.close();
    this.#core.close();
    this.service.close();
  }
}

export class Client {
  session = '';
  readonly socket: WebSocket;
  readonly messages: Json[] = [];
  closed: { code: number; reason: string } | null = null;
  readonly #rpc = new RpcClient((text) => this.socket.send(text));

  constructor(socket: WebSocket) {
    this.socket = socket;
    socket.on('message', (data) => {
      this.messages.push(JSON.parse(data.toString()));
      this.#rpc.receive(data.toString());
    });
    socket.on('close', (code, reason) => {
      this.closed = { code, reason: reason.toString() };
    });
    socket.on('error', () => {});
  }

  send(value: unknown): void {
    this.socket.send(typeof value === 'string' ? value : JSON.stringify(value));
  }

  /** Sends, and waits for the next message whatever it is. */
  async ask(value: unknown): Promise<Json> {
    const before = this.messages.length;
    this.send(value);
    await until(() => this.messages.length > before, 'an answer');
    return this.messages[before];
  }

  async call(method: string, params?: object): Promise<Json> {
    let answer: Json;
    void this.#rpc.ask(method, params).then((given) => {
      answer = given;
    });
    await until(() => answer !== undefined, `the answer to ${method}`);
    return answer;
  }

  /** The notifications of that name so far. */
  notices(method: string): Json[] {
    return this.messages.filter((message) => message.method === method).map(({ params }) => params);
  }

  async answer(id: unknown): Promise<Json> {
    const find = () => this.messages.find((message) => message.id === id);
    await until(() => find() !== undefined, `the answer to ${id}`);
    return find();
  }

  async end(): Promise<{ code: number; reason: string }> {
    await until(() => this.closed !== null, 'the end of the connection');
    return this.closed!;
  }
}

/** Checks an error answer: code, a reason that matches, and that it is a whole response object. */
export function expectError(answer: Json, code: number, reason: RegExp): void {
  expect(answer).toMatchObject({ jsonrpc: '2.0', error: { code } });
  expect(answer.error.data.reason).toMatch(reason);
  expect(answer).not.toHaveProperty('result');
}
