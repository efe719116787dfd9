import { EVERYWHERE } from '../../src/api/errors.ts';
import type { MethodRecord } from '../../src/api/method.ts';
import {
  type CoreMethod,
  METHODS,
  type Method,
  type Params,
  type Result,
} from '../../src/api/methods.ts';
import type { JournalEntry } from '../../src/api/types.ts';
import type { Driver, Frame, InputSpec, OutputSpec, Sense } from '../../src/boards/board.ts';
import { placeOf } from '../../src/boards/registry.ts';
import { Commands } from '../../src/core/commands.ts';
import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import type { Session } from '../../src/core/lease.ts';
import { Loop } from '../../src/core/loop.ts';
import { placeDigest, type Servo } from '../../src/core/servo.ts';
import type { Nothing, Restored, Saved, Store } from '../../src/core/store.ts';
import { type Prop, schemas } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import { Bench, Editor } from './editor.ts';
import { cueList, listed } from './views.ts';

export const TICK_MS = 5;
export const TICK_S = TICK_MS / 1000;

// --- props --------------------------------------------------------------------------------------

type Spec = Record<string, unknown>;

/** 10 us a degree; 1500 us is 0 deg. The pulse envelope reaches 10 deg beyond the calibration. */
export const servo = (over: Spec = {}): Spec => ({
  kind: 'servo',
  calibration: [
    [1000, -50],
    [2000, 50],
  ],
  envelopeUs: [900, 2100],
  limitsDeg: [-40, 40],
  speedDegS: 120,
  accelDegS2: 600,
  park: { to: 0 },
  ...over,
});
export const relay = (over: Spec = {}): Spec => ({ kind: 'relay', ...over });
export const lamp = (over: Spec = {}): Spec => ({ kind: 'lamp', ...over });
export const rgb = (over: Spec = {}): Spec => ({ kind: 'rgb', ...over });
export const sound = (over: Spec = {}): Spec => ({ kind: 'sound', ...over });

export const pulseOf = (deg: number): number => 1500 + 10 * deg;

/** How long the sounds of such a prop take (s). */
export const SOUNDS_S: Record<string, number> = { hoot: 1, purr: 2 };

/** A prop of one board, `main`; channels that name no output get free pins of it. */
export function makeProp(channels: Record<string, Spec>, over: Spec = {}): Prop {
  let pin = 0;
  const wired = Object.entries(channels).map(([name, spec]) => {
    const { board = 'main', output, ...rest } = spec;
    const pins =
      rest.kind === 'rgb'
        ? { board, pins: [pin++, pin++, pin++] }
        : rest.kind === 'sound'
          ? { board }
          : { board, pin: pin++ };
    return [name, { ...rest, output: { ...pins, ...(output as Spec | undefined) } }];
  });
  const files = Object.entries(SOUNDS_S).map(([name, durationS]) => {
    const file = `${name}.wav`;
    return [name, { file, path: `/prop/${file}`, durationS }];
  });
  const prop = schemas().propFile.parse({
    sinew: 1,
    name: 'Bench prop',
    boards: { main: { driver: 'sim' } },
    channels: Object.fromEntries(wired),
    ...over,
  });
  return { ...prop, soundFiles: Object.fromEntries(files) };
}

// --- boards -------------------------------------------------------------------------------------

export interface Write {
  ms: number;
  output: string;
  value: number;
}

/** A board that keeps every value written to it, with its time. */
export class Recorder implements Driver {
  readonly pulseStepUs = 1;
  outputs: readonly OutputSpec[] = [];
  inputs: readonly InputSpec[] = [];
  readonly writes: Write[] = [];
  /** What stands at each output. */
  readonly value = new Map<string, number>();
  readonly level = new Map<string, 0 | 1>();
  /** Outputs whose servo pushes against something. */
  readonly pushing = new Set<string>();
  opened = 0;
  closed = 0;
  failing: { open?: Error; write?: Error; read?: Error; sense?: Error } = {};
  /** When set, `open` waits for it. */
  opening: Promise<void> | undefined;

  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    await this.opening;
    if (this.failing.open) throw this.failing.open;
    this.opened++;
    this.outputs = outputs;
    this.inputs = inputs;
    for (const { name, safe } of outputs) this.value.set(name, safe);
  }

  write(frame: Frame, nowMs: number): void {
    if (this.failing.write) throw this.failing.write;
    for (let i = 0; i < frame.count; i++) {
      const { name } = this.outputs[frame.output[i]!]!;
      const value = frame.value[i]!;
      this.writes.push({ ms: nowMs, output: name, value });
      this.value.set(name, value);
    }
  }

  read(input: number): 0 | 1 {
    if (this.failing.read) throw this.failing.read;
    const { name, restLevel, pull } = this.inputs[input]!;
    return this.level.get(name) ?? restLevel ?? (pull === 'up' ? 1 : 0);
  }

  sense(output: number, _nowMs: number, into: Sense): void {
    if (this.failing.sense) throw this.failing.sense;
    into.positionDeg = Number.NaN;
    into.amps = Number.NaN;
    into.pushing = this.pushing.has(this.outputs[output]!.name);
  }

  async close(): Promise<void> {
    this.closed++;
    for (const { name, safe } of this.outputs) this.value.set(name, safe);
  }
}

// --- what outlives a run ------------------------------------------------------------------------

export class MemoryStore implements Store {
  restored: Restored | Nothing;
  saved: Saved | undefined;
  /** The last state that would survive a power cut. */
  durable: Saved | undefined;
  noted: Store['noted'] = 'yes';
  readonly #bootNowS: () => number;

  constructor(restored: Restored | Nothing, bootNowS: () => number) {
    this.restored = restored;
    this.#bootNowS = bootNowS;
  }

  bootNowS(): number {
    return this.#bootNowS();
  }

  save(state: Saved, durable: boolean): void {
    this.saved = structuredClone(state);
    if (durable) this.durable = this.saved;
  }
}

// --- the rig ------------------------------------------------------------------------------------

export interface RigOptions {
  restored?: Restored | Nothing;
  /** Seconds since the machine's start when this run begins. */
  bootS?: number;
  drivers?: Record<string, Driver>;
}

/** A refusal that the record of its method does not name would surprise a client. */
function mustBeNamed(method: Method, { word, message }: Refusal): void {
  const { errors }: MethodRecord = METHODS[method];
  if (![...EVERYWHERE, ...errors].includes(word))
    throw new Error(`the record of ${method} does not name ${word}: ${message}`);
}

/**
 * A client that talks through Commands; a silent one gives no sign of life. Asked to wake without
 * params, it is a person who has looked, and confirms whatever stands nobody knows where.
 */
export class Client {
  silent = false;
  readonly session: Session;
  readonly #rig: Rig;

  constructor(rig: Rig, session: Session) {
    this.#rig = rig;
    this.session = session;
  }

  call<M extends Method>(method: M, params?: Params<M>): Promise<Result<M>> {
    const { by }: MethodRecord = METHODS[method];
    if (by !== 'core') return this.#rig.look(method) as Promise<Result<M>>;
    const core = method as CoreMethod;
    const given = params ?? (method === 'wake' ? { confirm: 'unknown' } : {});
    const answer = this.#rig.commands.call(this.session.id, core, given as never);
    return answer.catch((error: unknown) => {
      if (error instanceof Refusal) mustBeNamed(method, error);
      throw error;
    }) as Promise<Result<M>>;
  }

  /** The refusal that a call must end in. */
  async refused<M extends Method>(method: M, params?: Params<M>): Promise<Refusal> {
    try {
      await this.call(method, params);
    } catch (error) {
      if (error instanceof Refusal) return error;
      throw error;
    }
    throw new Error(`${method} was not refused`);
  }
}

/** A whole core on recording boards, in virtual time. */
export class Rig {
  readonly prop: Prop;
  readonly clock = new VirtualClock();
  readonly telemetry: Telemetry;
  readonly store: MemoryStore;
  readonly editor = new Editor();
  readonly bench = new Bench(() => new Recorder());
  readonly entries: JournalEntry[] = [];
  readonly boards = new Map<string, Driver>();
  readonly core: Core;
  readonly commands: Commands;
  readonly loop: Loop;
  readonly clients: Client[] = [];
  readonly lost: string[] = [];
  /** Called after every tick. */
  afterTick: (() => void) | undefined;

  private constructor(prop: Prop, options: RigOptions) {
    this.prop = prop;
    const { bootS = 1000, restored = 'none', drivers = {} } = options;
    this.telemetry = Telemetry.create(
      Object.keys(prop.channels).length,
      Object.keys(prop.rails).length,
      Object.keys(prop.senses).length,
    );
    this.store = new MemoryStore(restored, () => bootS + this.clock.nowMs() / 1000);
    for (const name of Object.keys(prop.boards))
      this.boards.set(name, drivers[name] ?? new Recorder());
    this.core = new Core({
      prop,
      drivers: this.boards,
      clock: this.clock,
      telemetry: this.telemetry,
      store: this.store,
      journal: new Journal(this.clock, (entry) => this.entries.push(entry)),
      tickMs: TICK_MS,
      changing: this.bench,
      onLost: (session) => {
        this.lost.push(session);
        this.commands.forget(session);
      },
    });
    this.editor.core = this.core;
    this.commands = new Commands(this.core, this.editor);
    this.loop = new Loop(this.clock, TICK_MS, (nowMs, elapsed) => this.#tick(nowMs, elapsed));
  }

  static async open(prop: Prop, options: RigOptions = {}): Promise<Rig> {
    const rig = new Rig(prop, options);
    await rig.core.open();
    rig.loop.start();
    return rig;
  }

  /** Opened, with everything known to stand at its park position, and live under one client. */
  static async live(prop: Prop, options: RigOptions = {}): Promise<{ rig: Rig; client: Client }> {
    const rig = await Rig.open(prop, { restored: restedAt(prop), ...options });
    const client = rig.client('desk');
    await rig.wake(client);
    return { rig, client };
  }

  client(name: string): Client {
    const slot = this.clients.length;
    const client = new Client(this, { id: `${name}-${slot}`, client: name, slot });
    this.commands.open(client.session);
    this.clients.push(client);
    return client;
  }

  async wake(client: Client): Promise<void> {
    await client.call('lease.take');
    await client.call('wake');
    await this.until(() => this.core.condition === 'live');
  }

  /** Lets time pass, tick by tick; clients that are not silent give a sign of life in each. */
  async run(ms: number): Promise<void> {
    for (const endMs = this.clock.nowMs() + ms; this.clock.nowMs() < endMs - 1e-6; ) {
      this.signs();
      this.clock.advance(Math.min(TICK_MS, endMs - this.clock.nowMs()));
      await settle();
    }
  }

  #tick(nowMs: number, elapsed: number): void {
    this.core.tick(nowMs, elapsed);
    this.afterTick?.();
  }

  tick(): Promise<void> {
    return this.run(TICK_MS);
  }

  /** Runs until it is so; fails after a minute of show. */
  async until(done: () => boolean, limitS = 60): Promise<void> {
    const endMs = this.clock.nowMs() + limitS * 1000;
    while (!done()) {
      if (this.clock.nowMs() > endMs) throw new Error(`not within ${limitS} s`);
      await this.tick();
    }
  }

  /** The main thread hangs for so long: one late tick afterwards. */
  async stall(ms: number): Promise<void> {
    this.loop.stop();
    this.clock.advance(ms);
    this.signs();
    this.#tick(this.clock.nowMs(), Math.floor(ms / TICK_MS));
    this.loop.start();
    await settle();
  }

  signs(): void {
    for (const { silent, session } of this.clients)
      if (!silent) this.telemetry.markLife(session.slot);
  }

  async look(method: Method): Promise<unknown> {
    switch (method) {
      case 'channel.list':
        return listed(this.core);
      case 'cue.list':
        return cueList(this.core);
      case 'journal.read':
        return { entries: this.core.journal.read() };
      default:
        throw new Error(`${method} is for the gateway and the service`);
    }
  }

  get condition(): string {
    return this.core.condition;
  }

  board(name = 'main'): Recorder {
    return this.boards.get(name) as Recorder;
  }

  get writes(): Write[] {
    return this.board().writes;
  }

  servo(name: string): Servo {
    return this.core.body.servo(name);
  }

  on(relay: string): boolean {
    return this.core.body.relay(relay).on;
  }

  /** What stands at an output of the main board. */
  at(output: string): number {
    return this.board().value.get(output)!;
  }

  /** Journal entries of one kind. */
  texts(what: string): string[] {
    return this.entries.filter((entry) => entry.what === what).map((entry) => entry.text);
  }

  amps(rail: string): number {
    return this.core.body.rails.find((one) => one.name === rail)!.amps;
  }
}

/** Everything that is due in the event loop is done when this resolves. */
export function settle(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}

/** A saved state in which every servo was parked and every relay had rested. */
export function restedAt(prop: Prop, over: Record<string, number> = {}): Restored {
  const positions: Record<string, number> = {};
  const duty: Restored['duty'] = {};
  const digests: Record<string, string> = {};
  for (const [name, channel] of Object.entries(prop.channels)) {
    if (channel.kind === 'relay' && channel.duty) {
      const { board, pin } = channel.output;
      const output = placeOf(board, prop.boards[board]!, pin);
      duty[name] = { usedS: 0, on: false, changedS: 0, output };
    }
    if (channel.kind !== 'servo') continue;
    const { to } = channel.park;
    positions[name] = typeof to === 'number' ? to : channel.marks![to]!;
    digests[name] = placeDigest(channel);
  }
  return {
    ...{ settled: true, sameBoot: true, clean: true },
    ...{ positions: { ...positions, ...over }, digests, duty },
  };
}
