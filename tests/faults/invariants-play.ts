import type { CoreMethod } from '../../src/api/methods.ts';
import { placeOf } from '../../src/boards/registry.ts';
import { Commands, type PropEditor } from '../../src/core/commands.ts';
import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import type { Session } from '../../src/core/lease.ts';
import { placeDigest } from '../../src/core/servo.ts';
import type { Store } from '../../src/core/store.ts';
import type { Edit } from '../../src/prop/edit-text.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { MAX_SESSIONS, Telemetry } from '../../src/shared/telemetry.ts';
import { Bench, takeEdits } from '../core/editor.ts';
import { Dice } from './dice.ts';
import { randomProp, STEP_US } from './invariants-prop.ts';
import { Broken, type Invariant, Pins, Watch, type Worst } from './invariants-watch.ts';

/**
 * One random program of commands from several clients, mishaps among them, against a whole core in
 * virtual time; every tick is judged by a Watch.
 */

const TICK_MS = 5;
const SERVOS = ['neck', 'jaw', 'tail', 'wing', 'flap'] as const;
const CHANNELS = [...SERVOS, 'mist', 'fan', 'pump', 'bell', 'bulb', 'glow', 'eye'] as const;

export interface Played {
  seed: number;
  ticks: number;
  /** What was broken, if anything was. */
  wrong: { invariant: Invariant; message: string } | undefined;
  worst: Worst;
  seen: Record<string, number>;
}

/** A client: it shows life in every tick unless it has gone silent. */
interface Client {
  session: Session;
  silent: boolean;
}

/** The prop file, in memory: what is captured goes there, and comes back by `undo`. */
class Editor implements PropEditor {
  readonly #core: Core;
  readonly #watch: () => Watch;
  #undo: Edit[][] = [];

  constructor(core: Core, watch: () => Watch) {
    this.#core = core;
    this.#watch = watch;
  }

  async capture(edits: Edit[]): Promise<{ version: string }> {
    this.#undo.push(edits.map((edit) => this.#note(edit)));
    takeEdits(this.#core, edits);
    return { version: '1' };
  }

  async undo(): Promise<{ undone: string }> {
    const edits = this.#undo.pop();
    if (!edits) throw new Refusal('capture.nothing', 'nothing to undo');
    for (const edit of edits) this.#note(edit);
    takeEdits(this.#core, edits);
    return { undone: 'the last capture' };
  }

  async apply(): Promise<never> {
    throw new Refusal('file.unusable', 'no prop file here');
  }

  async scanBoards(): Promise<never> {
    throw new Refusal('scan.busy', 'no bus here');
  }

  async wearDone(): Promise<never> {
    throw new Refusal('channel.unknown', 'no wear here');
  }

  async cue(): Promise<never> {
    throw new Refusal('file.unusable', 'no prop file here');
  }

  async restore(): Promise<never> {
    throw new Refusal('file.unusable', 'no prop file here');
  }

  async followSound(): Promise<never> {
    throw new Refusal('file.unusable', 'no prop file here');
  }

  async passage(): Promise<never> {
    throw new Refusal('service.dead', 'no prop file here');
  }

  async readTake(): Promise<never> {
    throw new Refusal('service.dead', 'no prop file here');
  }

  async saveTake(): Promise<never> {
    throw new Refusal('file.unusable', 'no prop file here');
  }

  async beginSound(): Promise<never> {
    throw new Refusal('sound.busy', 'no sounds here');
  }

  async addSound(): Promise<never> {
    throw new Refusal('sound.no-upload', 'no sounds here');
  }

  async removeSound(): Promise<never> {
    throw new Refusal('sound.unknown', 'no sounds here');
  }

  async beginPicture(): Promise<never> {
    throw new Refusal('picture.busy', 'no pictures here');
  }

  async endPicture(): Promise<never> {
    throw new Refusal('picture.no-upload', 'no pictures here');
  }

  /** Tells the watch of one value; returns what writes the old one back. */
  #note({ path, value }: Edit): Edit {
    const [, name, what, which] = path;
    const servo = this.#watch().servo(String(name));
    if (what === 'marks') {
      const old = servo.marks.get(String(which));
      if (value === undefined) servo.marks.delete(String(which));
      else servo.marks.set(String(which), value as number);
      return { path, value: old };
    }
    if (what === 'park') {
      const old = servo.parkTo;
      servo.parkTo = value as number | string;
      return { path, value: old };
    }
    const end = which as 0 | 1;
    const old = servo.soft[end];
    servo.soft[end] = value as number;
    this.#watch().limitsChanged(servo.name);
    return { path, value: old };
  }
}

class Player {
  readonly dice: Dice;
  readonly prop: Prop;
  readonly boards: ReadonlyMap<string, Pins>;
  readonly clock = new VirtualClock();
  readonly core: Core;
  readonly commands: Commands;
  readonly watch: Watch;
  readonly #telemetry: Telemetry;
  readonly #clients: Client[] = [];
  readonly #freeSlots = Array.from({ length: MAX_SESSIONS }, (_unused, slot) => slot);
  /** Sessions that are over, and must never be heard again. */
  readonly #gone: Session[] = [];
  /** Who holds the lease, by what the core has answered. */
  #holder: string | undefined;
  #names = 0;
  #error: Error | undefined;

  constructor(seed: number) {
    this.dice = new Dice(seed);
    this.prop = randomProp(this.dice);
    this.boards = new Map([
      ['main', new Pins(STEP_US.main)],
      ['coarse', new Pins(STEP_US.coarse)],
    ]);
    const { boards, channels, rails } = this.prop;
    this.#telemetry = Telemetry.create(Object.keys(channels).length, Object.keys(rails).length);
    const positions: Record<string, number> = {};
    for (const name of SERVOS)
      if (this.dice.chance(0.8)) positions[name] = name === 'wing' ? 10 : 0;
    const { output } = channels.mist!;
    const place = placeOf(output.board, boards[output.board]!, (output as { pin: number }).pin);
    const duty = { mist: { usedS: 0, on: false, changedS: 0, output: place } };
    const digests: Record<string, string> = {};
    for (const [name, channel] of Object.entries(channels))
      if (channel.kind === 'servo') digests[name] = placeDigest(channel);
    const store: Store = {
      restored: { settled: true, sameBoot: true, positions, digests, duty },
      noted: 'yes',
      bootNowS: () => 1000 + this.clock.nowMs() / 1000,
      save: () => {},
    };
    this.core = new Core({
      prop: this.prop,
      drivers: this.boards,
      clock: this.clock,
      telemetry: this.#telemetry,
      store,
      journal: new Journal(this.clock, (entry) => this.watch.recorded(entry)),
      tickMs: TICK_MS,
      changing: new Bench(() => {
        throw new Error('no other board here');
      }),
      onLost: (id) => this.#lost(id),
    });
    this.commands = new Commands(this.core, new Editor(this.core, () => this.watch));
    this.watch = new Watch(this.prop, this.core, this.boards);
    this.watch.known(positions);
  }

  async begin(): Promise<void> {
    await this.core.open();
    this.core.triggers.begin();
    for (let i = 0; i < 3; i++) this.#open();
  }

  // --- sessions -------------------------------------------------------------------------------------

  #open(): void {
    const slot = this.#freeSlots.shift();
    if (slot === undefined) return;
    const session = { id: `s${++this.#names}`, client: `client ${this.#names}`, slot };
    this.#clients.push({ session, silent: false });
    this.commands.open(session);
  }

  #end(id: string): void {
    const at = this.#clients.findIndex(({ session }) => session.id === id);
    if (at < 0) return;
    const [{ session }] = this.#clients.splice(at, 1) as [Client];
    this.#freeSlots.push(session.slot);
    this.#gone.push(session);
    if (this.#gone.length > 8) this.#gone.shift();
    if (this.#holder === id) this.#holder = undefined;
  }

  #lost(id: string): void {
    this.commands.forget(id);
    this.#end(id);
  }

  /** Asks, and checks what may not be granted. */
  async #ask(session: Session, method: CoreMethod, params: object = {}): Promise<void> {
    const { condition } = this.core;
    const before = this.#holder;
    const isGone = this.#gone.includes(session);
    // Every frame is a sign of life.
    if (!isGone) this.#sign(session, this.clock.nowMs());
    this.commands.call(session.id, method, params as never).then(
      () => {
        this.watch.seen[method] = (this.watch.seen[method] ?? 0) + 1;
        if (isGone) this.#blame('one holder', `${method} was granted to a session that is over`);
        this.#granted(session, method, condition, before);
        const { channel, beyondLimits } = params as { channel?: string; beyondLimits?: boolean };
        if (beyondLimits) this.watch.feels(channel!);
      },
      (error: Error) => {
        if (!(error instanceof Refusal)) this.#blame('core', `${method}: ${error.stack}`);
      },
    );
    await settled();
  }

  #granted(
    session: Session,
    method: CoreMethod,
    condition: string,
    before: string | undefined,
  ): void {
    if (method === 'lease.take') {
      if (before !== undefined && before !== session.id)
        this.#blame('one holder', `${session.client} took the lease while ${before} held it`);
      this.#holder = session.id;
      this.#lifeMs = this.clock.nowMs();
      return;
    }
    if (FREE.has(method)) return;
    if (before !== session.id)
      this.#blame('one holder', `${method} was granted to ${session.client}, no holder`);
    if (method === 'lease.release') this.#holder = undefined;
    else if (!ANY_TIME.has(method) && condition !== 'live')
      this.#blame('one holder', `${method} was granted in ${condition}`);
  }

  #blame(invariant: Invariant, what: string): void {
    this.#error ??= new Broken(invariant, `${what} [tick ${this.#tick}]`);
  }

  // --- what happens ---------------------------------------------------------------------------------

  /** The holder most of the time; nobody who has fallen silent. */
  #somebody(): Session {
    const { dice } = this;
    const holder = this.#clients.find(({ session }) => session.id === this.#holder);
    if (this.#gone.length > 0 && dice.chance(0.02)) return dice.pick(this.#gone);
    if (holder && !holder.silent && dice.chance(0.9)) return holder.session;
    const awake = this.#clients.filter(({ silent }) => !silent);
    return dice.pick(awake.length > 0 ? awake : this.#clients).session;
  }

  async happen(): Promise<void> {
    const { dice, core } = this;
    if (this.#clients.length < 3) this.#open();
    if (core.condition !== 'live' && dice.chance(0.35)) {
      const session = this.#somebody();
      for (const method of ['lease.take', 'reset', 'wake'] as const)
        await this.#ask(session, method, this.#confirmed(method));
      return;
    }
    await dice.weighed(this.#acts)();
  }

  #confirmed(method: CoreMethod): object {
    if (method === 'wake') return { confirm: 'unknown' };
    const confirm = this.watch.stoppedBy;
    return method === 'reset' && confirm !== undefined ? { confirm } : {};
  }

  #deg(): number {
    const { dice } = this;
    return dice.chance(0.3) ? dice.pick([-5, 35, -40, 40, -33.3, 36.6, 0]) : dice.between(-45, 45);
  }

  #over(): object {
    const { dice } = this;
    return dice.chance(0.3) ? { overS: dice.between(0, 2) } : {};
  }

  #do(method: CoreMethod, params: () => object = () => ({})): () => Promise<void> {
    return () => this.#ask(this.#somebody(), method, params());
  }

  readonly #acts: readonly (readonly [number, () => unknown])[] = [
    [
      30,
      this.#do('channel.move', () => ({
        channel: this.dice.pick(SERVOS),
        to: this.dice.chance(0.2) ? this.dice.pick(['shut', 'open', 'new']) : this.#deg(),
        ...this.#over(),
        ...(this.dice.chance(0.1) && { wait: true }),
      })),
    ],
    [
      6,
      this.#do('group.move', () => ({
        group: this.dice.pick(['pair', 'trio', 'all']),
        to: this.dice.between(-5, 35),
        ...this.#over(),
      })),
    ],
    [3, this.#do('pose.go', () => ({ pose: this.dice.pick(['up', 'down']), ...this.#over() }))],
    [
      8,
      this.#do('channel.jog', () => ({
        channel: this.dice.pick(SERVOS),
        byDeg: this.dice.between(-6, 6),
        beyondLimits: this.dice.chance(0.3),
      })),
    ],
    [4, () => this.#feel()],
    [
      8,
      this.#do('channel.switch', () => ({
        channel: this.dice.pick(['mist', 'fan', 'pump', 'bell', 'bulb']),
        on: this.dice.chance(0.75),
        ...(this.dice.chance(0.3) && { forS: this.dice.between(0.02, 1) }),
      })),
    ],
    [
      3,
      async () => {
        const session = this.#somebody();
        const to = this.dice.between(20, 40);
        await this.#ask(session, 'channel.move', { channel: 'tail', to });
        await this.#ask(session, 'channel.switch', { channel: 'fan', on: true });
      },
    ],
    [
      5,
      this.#do('channel.dim', () => ({
        channel: 'glow',
        to: this.dice.pick([0, 0.3, 1]),
        ...(this.dice.chance(0.3) && { fadeS: this.dice.between(0, 0.5) }),
      })),
    ],
    [
      5,
      this.#do('channel.colour', () => ({
        channel: 'eye',
        to: this.dice.pick(['red', 'white', '#000', 'blue', '#400', 'oklch(75% 0.15 80)']),
      })),
    ],
    [4, () => this.#blinkFast()],
    [2, this.#do('channel.identify', () => ({ channel: this.dice.pick(CHANNELS) }))],
    [
      6,
      this.#do('cue.run', () => ({
        cue: this.dice.pick(['sway', 'fog', 'flicker', 'storm', 'watchful']),
      })),
    ],
    [2, this.#do('cue.stop', () => ({ cue: this.dice.pick(['sway', 'storm']) }))],
    [2, this.#do('idle.start', () => ({ idle: 'life' }))],
    [1, this.#do('idle.stop')],
    [2, this.#do('trigger.arm', () => ({ armed: this.dice.chance(0.7) }))],
    [
      2,
      this.#do('mark.capture', () => ({
        channel: this.dice.pick(SERVOS),
        mark: this.dice.pick(['open', 'new']),
      })),
    ],
    [
      1,
      this.#do('limits.capture', () => ({
        channel: this.dice.pick(SERVOS),
        end: this.dice.pick(['low', 'high']),
      })),
    ],
    [1, this.#do('park.capture', () => ({ channel: this.dice.pick(SERVOS) }))],
    [3, this.#do('capture.undo')],
    // How it ends.
    [1.5, this.#do('park')],
    [1.5, this.#do('stop', () => ({ category: this.dice.whole(0, 2) }))],
    [1, this.#do('lease.release', () => ({ graceS: this.dice.pick([0, 0.2, 5]) }))],
    [1, this.#do('lease.take')],
    [0.5, this.#do('reset')],
    [0.7, () => this.#clients.length > 1 && this.#leave()],
    [0.7, () => this.#fallSilent()],
    [0.5, () => this.#press('stopInput', 1)],
    [1.5, () => this.#press(this.dice.pick(['mat', 'door']), 0)],
    [0.2, () => this.#failABoard()],
  ];

  /** To a limit, and on, step by step. */
  async #feel(): Promise<void> {
    const session = this.#somebody();
    const channel = this.dice.pick(SERVOS);
    const [low, high] = this.watch.servo(channel).soft;
    const up = this.dice.chance(0.5);
    await this.#ask(session, 'channel.move', { channel, to: up ? high : low });
    this.#later(this.dice.whole(50, 400), () =>
      this.#ask(session, 'channel.jog', { channel, byDeg: up ? 5 : -5, beyondLimits: true }),
    );
  }

  /** As fast as a client can ask. */
  #blinkFast(): void {
    const session = this.#somebody();
    const [channel, method, bright, dark] = this.dice.pick([
      ['glow', 'channel.dim', 1, 0],
      ['eye', 'channel.colour', 'white', 'black'],
      ['eye', 'channel.colour', 'red', 'black'],
      ['eye', 'channel.colour', 'red', 'blue'],
    ] as const);
    for (let i = 0; i < 12; i++)
      this.#later(i * this.dice.whole(1, 30), () =>
        this.#ask(session, method, { channel, to: i % 2 === 0 ? bright : dark }),
      );
  }

  #leave(): void {
    const { session } = this.dice.pick(this.#clients);
    this.#end(session.id);
    this.commands.gone(session.id);
  }

  #fallSilent(): void {
    const client = this.dice.pick(this.#clients);
    client.silent = true;
    this.#later(this.dice.whole(1, 300), () => {
      client.silent = false;
    });
  }

  #press(input: string, level: 0 | 1): void {
    const { inputs } = this.boards.get('main')!;
    inputs.set(input, level);
    const rest = level === 1 ? 0 : 1;
    this.#later(this.dice.whole(1, 60), () => inputs.set(input, rest));
  }

  #failABoard(): void {
    const at = this.dice.pick(['main', 'coarse'] as const);
    this.boards.get(at)!.failing = at === 'main' && this.dice.chance(0.5) ? 'read' : 'write';
  }

  #soon: { tick: number; act: () => unknown }[] = [];
  #tick = 0;

  #later(ticks: number, act: () => unknown): void {
    this.#soon.push({ tick: this.#tick + ticks, act });
  }

  // --- time -----------------------------------------------------------------------------------------

  /** Runs for so many ticks. @throws Error naming what is broken */
  async run(ticks: number): Promise<void> {
    const { dice, clock, watch } = this;
    let dueMs = clock.nowMs();
    let next = 1;
    for (this.#tick = 0; this.#tick < ticks; this.#tick++) {
      // A busy board is late now and then, and stands still once in a while.
      const elapsed = dice.chance(0.0003) ? dice.whole(2, dice.chance(0.2) ? 130 : 12) : 1;
      dueMs += TICK_MS * elapsed;
      const lateMs = dice.chance(0.05) ? dice.between(0, 1.9) : 0;
      clock.advance(dueMs + lateMs - clock.nowMs());
      for (const { session, silent } of this.#clients) if (!silent) this.#sign(session, dueMs);
      this.core.tick(clock.nowMs(), elapsed);
      watch.lifeMs = this.#holder === undefined ? Number.POSITIVE_INFINITY : this.#lifeMs;
      watch.look(clock.nowMs(), elapsed);
      await undefined;
      if (this.#soon.length > 0) await this.#doWhatIsDue();
      if (--next <= 0) {
        next = dice.chance(0.2) ? 1 : dice.chance(0.05) ? dice.whole(200, 800) : dice.whole(2, 60);
        await this.happen();
      }
      if (this.#error) throw this.#error;
    }
  }

  #lifeMs = 0;

  #sign(session: Session, nowMs: number): void {
    this.#telemetry.markLife(session.slot);
    if (session.id === this.#holder) this.#lifeMs = nowMs;
  }

  async #doWhatIsDue(): Promise<void> {
    const due = this.#soon.filter(({ tick }) => tick <= this.#tick);
    if (due.length === 0) return;
    this.#soon = this.#soon.filter(({ tick }) => tick > this.#tick);
    for (const { act } of due) await act();
  }
}

/** Needs no lease. */
const FREE: ReadonlySet<string> = new Set(['park', 'stop']);
/** Needs no live prop. */
const ANY_TIME: ReadonlySet<string> = new Set([
  'lease.release',
  'wake',
  'reset',
  'cue.stop',
  'idle.stop',
  'trigger.arm',
]);

/** Everything that needs no more time is done when this resolves. */
function settled(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}

function toBroken(error: Error): Broken {
  return new Broken('core', error.stack ?? error.message);
}

/** Plays the program of `seed` for so many ticks. Never throws: what is wrong is in the answer. */
export async function play(seed: number, ticks: number): Promise<Played> {
  const player = new Player(seed);
  let wrong: Played['wrong'];
  try {
    await player.begin();
    await player.run(ticks);
  } catch (error) {
    const { invariant, message } = error instanceof Broken ? error : toBroken(error as Error);
    wrong = { invariant, message };
  }
  const { watch } = player;
  return { seed, ticks: watch.ticks, wrong, worst: watch.worst, seen: watch.seen };
}
