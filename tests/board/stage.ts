import { type ChildProcess, spawn } from 'node:child_process';
import { readFile, rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { OWL, Peer, type StateFrame } from '../system/daemon.ts';
import { type Disk, excused, propFile, type Seen, SlowBoard } from './board.ts';
import { sixtyServos } from './sixty.ts';

const CLIENT = fileURLToPath(new URL('client.mjs', import.meta.url));

/** Target of a capture on the slow board with a fast disk, in its own time (ms). */
export const CAPTURE_MS = 300;

/** A prop, and the words for what a maker does with it. */
export interface Subject {
  name: string;
  text(): Promise<string>;
  /** A servo with limits that can be narrowed to these angles (deg). */
  servo: string;
  low: number;
  high: number;
  group: string;
  ends: [string | number, string | number];
  cue: string;
  relay: string;
}

export const SUBJECTS: readonly Subject[] = [
  {
    name: 'the owl',
    text: () => readFile(OWL, 'utf8'),
    servo: 'head_turn',
    low: -70,
    high: 70,
    group: 'tail',
    ends: ['open', 'down'],
    cue: 'glance',
    relay: 'fan',
  },
  {
    name: '60 servos',
    text: async () => sixtyServos(),
    servo: 'servo_17',
    low: -70,
    high: 70,
    group: 'all',
    ends: ['front', 'middle'],
    cue: 'sweep',
    relay: 'fan',
  },
];

/** What was seen during one activity. */
export interface During extends Seen {
  /** Every condition that the prop was in. */
  conditions: string[];
  /** Whether the holder's link is still there. */
  linked: boolean;
}

interface Entry {
  seq: number;
  time: string;
  what: string;
  text: string;
}

/** The core counts as quiet after so long (ms) without a long turn. */
const QUIET_MS = 200;
/** Within this a daemon has kept what it worked out from its file (ms). */
const FORM_KEPT_MS = 3500;

/** After this (ms) a daemon has compiled what it needs in advance: the core in 3000 ticks, the service in its trials. */
const SETTLED_MS = 15_000;

/** A prop on a slow board, live, with its holder and somebody who watches at 50 Hz. */
export class Stage {
  board: SlowBoard;
  readonly subject: Subject;
  /** How many were asked for. */
  captures = 0;
  #holder: Peer | undefined;
  #watch: Peer | undefined;

  private constructor(board: SlowBoard, subject: Subject) {
    this.board = board;
    this.subject = subject;
  }

  static async start(
    subject: Subject,
    options: Parameters<typeof SlowBoard.start>[0] = {},
  ): Promise<Stage> {
    const prop = await propFile(await subject.text());
    try {
      return new Stage(
        await SlowBoard.start({ prop, args: ['--log', 'error'], ...options }),
        subject,
      );
    } finally {
      await rm(dirname(prop), { recursive: true });
    }
  }

  /** The daemon has kept what it worked out from its file, so that the next start is as quick as usual. */
  async formKept(): Promise<void> {
    await this.ready();
    await this.board.sleep(FORM_KEPT_MS);
  }

  /** Parked, and so saved: after a restart where everything stands is known, and waking takes no care. */
  async leftParked(): Promise<void> {
    await this.parked();
    await this.board.daemon.untilSaved(/"settled": ?true/);
  }

  /** The daemon starts again, so that it has compiled nothing yet. */
  async fresh(): Promise<void> {
    if (this.board.daemon.runs) await this.leftParked();
    this.board = await this.board.restart();
    this.#holder = undefined;
    this.#watch = undefined;
    await this.ready();
  }

  /** The first seconds of the daemon are over. */
  async settled(): Promise<void> {
    const { board } = this;
    await board.sleep(Math.max(0, board.startedAtMs + SETTLED_MS - board.nowMs()));
  }

  get holder(): Peer {
    return this.#holder!;
  }

  get watch(): Peer {
    return this.#watch!;
  }

  async #watched(): Promise<Peer> {
    if (!this.#watch || this.#watch.closeCode !== undefined) {
      this.#watch = await Peer.connect(this.board.daemon);
      await this.#watch.ask('session.open', { client: 'watch' });
      await this.#watch.ask('state.follow', { hz: 50 });
    }
    return this.#watch;
  }

  /** The condition now. */
  async condition(): Promise<string> {
    return (await (await this.#watched()).untilState(() => true)).condition;
  }

  /** Nobody holds it and it is parked, whatever was before. */
  parked(): Promise<void> {
    return persist(async () => {
      await this.#quiet();
      await this.#park();
    });
  }

  /** Until nothing of an earlier measurement keeps the core busy, such as a capture whose client is gone. */
  async #quiet(): Promise<void> {
    for (;;) {
      const mark = await this.board.mark();
      await this.board.sleep(QUIET_MS);
      if ((await this.board.since(mark)).longestTurnMs < QUIET_MS / 4) return;
    }
  }

  async #park(): Promise<void> {
    this.board.setDisk('fast');
    const watch = await this.#watched();
    if ((await this.condition()) === 'stopped') {
      if (this.#holder?.closeCode !== undefined) this.#holder = undefined;
      this.#holder ??= await Peer.holder(this.board.daemon, { live: false });
      const { error } = await this.#holder.call('reset');
      if (error) {
        await this.board.sleep(2000);
        await this.#holder.ask('reset', { confirm: error.data.stoppedBy });
      }
    }
    await watch.ask('park', { wait: true });
    if (this.#holder?.closeCode === undefined) await this.#holder?.close();
    this.#holder = undefined;
    await watch.untilState(({ condition, holder }) => condition === 'parked' && holder === null);
  }

  /** Live and held, whatever was before. */
  ready(): Promise<void> {
    return persist(async () => {
      await this.#quiet();
      await this.#makeReady();
    });
  }

  async #makeReady(): Promise<void> {
    const watch = await this.#watched();
    const { condition, holder } = await watch.untilState(() => true);
    const linked = this.#holder !== undefined && this.#holder.closeCode === undefined;
    if (linked && condition === 'live' && holder === 'holder') return;
    await this.#park();
    this.#holder = await Peer.holder(this.board.daemon);
  }

  /**
   * Does something and measures it; once more, by a new daemon whose first seconds are over, where this machine
   * may have been in the way.
   */
  async during(
    act: () => Promise<unknown>,
    { tries = 5, disk = 'fast' as Disk } = {},
  ): Promise<During> {
    await this.ready();
    for (let left = tries; ; left--) {
      this.board.setDisk(disk);
      const from = this.watch.states.length;
      const mark = await this.board.mark();
      const lost = await act().then(
        () => undefined,
        (error: Error) => error,
      );
      const seen = await this.board.since(mark);
      this.board.setDisk('fast');
      await this.watch.untilState(() => true);
      const frames = this.watch.states.slice(from);
      const conditions = [...new Set(frames.map(({ condition }) => condition))];
      const linked = this.holder.closeCode === undefined;
      const good = !lost && linked && seen.gapTicks <= 2;
      if (good || left === 1 || !excused(seen)) {
        if (lost && linked) throw lost;
        return { ...seen, conditions, linked };
      }
      await this.fresh();
      await this.settled();
    }
  }

  /** Runs a client of client.mjs for so many ms and gives what it says it did. */
  async client(kind: string, ms: number): Promise<{ done: number; refused: number }> {
    const child = this.spawnClient(kind, ms);
    let out = '';
    child.stdout!.on('data', (data) => {
      out += data;
    });
    const code = await new Promise((resolve) => child.once('close', resolve));
    if (code !== 0) throw new Error(`the client (${kind}) ended with ${code}`);
    return JSON.parse(out);
  }

  spawnClient(kind: string, ms: number): ChildProcess {
    return spawn(process.execPath, [CLIENT, kind, this.board.daemon.port, ms].map(String), {
      env: this.board.clientEnv,
      stdio: ['pipe', 'pipe', 'inherit'],
    });
  }

  async moveTo(deg: number): Promise<void> {
    await this.holder.ask('channel.move', { channel: this.subject.servo, to: deg, wait: true });
    await this.watch.untilState(
      ({ channels: { [this.subject.servo]: servo } }) =>
        servo === undefined || !(servo.flags as string[]).includes('moving'),
    );
  }

  async journal(): Promise<Entry[]> {
    return (await this.watch.ask('journal.read', { limit: 1000 })).entries as Entry[];
  }

  /** When the newest change to this condition was, by the daemon's time of day (ms). */
  async becameMs(condition: string): Promise<number> {
    const entry = (await this.journal()).findLast(
      (one) => one.what === 'condition' && one.text.startsWith(condition),
    );
    return entry ? Date.parse(entry.time) : Number.NaN;
  }

  /** The first frame from now on in which a channel has this value. */
  untilValue(channel: string, value: unknown): Promise<StateFrame> {
    return this.watch.untilState(({ channels }) => channels[channel]?.value === value);
  }

  cleanUp(): Promise<void> {
    return this.board.cleanUp();
  }
}

/**
 * Tries again: what an earlier measurement has left behind, such as a capture that still blocks the core,
 * may cost the link of whoever comes next.
 */
async function persist<T>(act: () => Promise<T>): Promise<T> {
  for (let left = 10; ; left--)
    try {
      return await act();
    } catch (error) {
      if (left === 0) throw error;
    }
}

/** Everything that a maker does; each on a live prop, and ends where it began. */
export const ACTIVITIES: Record<string, (stage: Stage) => Promise<unknown>> = {
  async wake({ holder }) {
    await holder.ask('park', { wait: true });
    await holder.ask('wake', { wait: true, confirm: 'unknown' });
  },
  async moves({ holder, subject: { group, ends } }) {
    for (const to of ends) await holder.ask('group.move', { group, to, overS: 0.8, wait: true });
  },
  async 'jogging at 20 a second'({ board, holder, subject: { servo: channel } }) {
    for (let n = 0; n < 40; n++) {
      const next = board.nowMs() + 50;
      await holder.ask('channel.jog', { channel, byDeg: n % 20 < 10 ? 0.5 : -0.5 });
      await board.sleep(next - board.nowMs());
    }
  },
  async 'a cue with easing'({ holder, subject: { cue } }) {
    await holder.ask('cue.run', { cue, wait: true });
  },
  async 'page load'(stage) {
    done(await stage.client('page', 0), 3);
  },
  async budget(stage) {
    done(await stage.client('budget', 0), 2);
  },
  async 'a connect storm'(stage) {
    done(await stage.client('storm', 2000), 50);
  },
  async 'eight watchers that read the journal without end'(stage) {
    // Something to read: each entry is about another channel than the one before.
    const channels = Object.keys(stage.watch.states[0]!.channels);
    for (let n = 0; n < 200; n++)
      await stage.holder.call('channel.identify', { channel: channels[n % channels.length] });
    done(await stage.client('journal', 2000), 100);
  },
};

/** A load that was none has measured nothing. */
function done(outcome: { done: number; refused: number }, least: number): void {
  if (outcome.done < least)
    throw new Error(`the client did too little: ${JSON.stringify(outcome)}, wanted ${least}`);
}

/**
 * Every kind of capture: what brings the prop to where it can be made, and the request. Another round is
 * elsewhere, as there is nothing to write where the file says the same already.
 */
export const CAPTURES: Record<
  string,
  {
    before: (stage: Stage, round: number) => Promise<void>;
    method: string;
    params: (subject: Subject, round: number) => object;
  }
> = {
  mark: {
    before: (stage) => stage.moveTo(12),
    method: 'mark.capture',
    params: ({ servo }, round) => ({ channel: servo, mark: `here_${round}` }),
  },
  'limit low': {
    before: (stage, round) => stage.moveTo(stage.subject.low + round),
    method: 'limits.capture',
    params: ({ servo }) => ({ channel: servo, end: 'low' }),
  },
  'limit high': {
    before: (stage, round) => stage.moveTo(stage.subject.high - round),
    method: 'limits.capture',
    params: ({ servo }) => ({ channel: servo, end: 'high' }),
  },
  'park position': {
    before: (stage, round) => stage.moveTo(2 + round),
    method: 'park.capture',
    params: ({ servo }) => ({ channel: servo }),
  },
  undo: {
    before: async (stage) => {
      await stage.moveTo(3);
      await stage.holder.ask('mark.capture', { channel: stage.subject.servo, mark: 'undone' });
    },
    method: 'capture.undo',
    params: () => ({}),
  },
};

export interface Captured extends During {
  /** From the request until its answer (ms); Infinity where there was none. */
  tookMs: number;
  /** What was said instead of an answer. */
  refused: string | undefined;
  /** Changes to the disk on the prop file's account, in their order. */
  disk: string[];
}

/**
 * One capture, measured; the first of a new daemon where `cold`. One that takes longer than `most` (ms) is
 * measured once more, by a new daemon, and so is one in whose way this machine may have been: it is half as
 * fast from one moment to the next, and a fault is there each time.
 */
export async function capture(
  stage: Stage,
  kind: keyof typeof CAPTURES,
  { cold = false, tries = 3, most = Number.POSITIVE_INFINITY, disk: speed = 'fast' as Disk } = {},
): Promise<Captured> {
  const { before, method, params } = CAPTURES[kind]!;
  for (let left = tries; ; left--) {
    const round = stage.captures++;
    if (cold || left < tries) {
      await stage.formKept();
      await stage.fresh();
    }
    await stage.ready();
    await before(stage, round);
    let tookMs = Number.POSITIVE_INFINITY;
    let refused: string | undefined;
    let fromMs = 0;
    const during = await stage.during(
      async () => {
        fromMs = stage.board.nowMs();
        const { error } = await stage.holder
          .call(method, params(stage.subject, round))
          .catch((lost: Error) => ({ error: { data: { reason: lost.message } } }));
        if (error) refused = String(error.data.reason);
        else tookMs = stage.board.nowMs() - fromMs;
      },
      { tries: 1, disk: speed },
    );
    const disk = stage.board
      .diskCalls(fromMs, (path) => /\/\.?prop\.yaml[^/]*$|sinew-board-\w+$/.test(path))
      .map(({ what }) => what);
    const seen = { ...during, tookMs, refused, disk };
    const whole = refused === undefined && during.linked && seen.gapTicks <= 2;
    if (left === 1 || (whole ? tookMs <= most : !excused(seen))) return seen;
  }
}

/**
 * A stop by a second client: from when it is sent until the daemon has stopped, by its own journal (ms);
 * with `capturing`, sent so many ms after a capture has been asked for.
 */
export async function stopTakes(stage: Stage, capturing?: number): Promise<number> {
  await stage.ready();
  await stage.moveTo(12);
  const asked =
    capturing === undefined
      ? undefined
      : stage.holder
          .call('mark.capture', {
            channel: stage.subject.servo,
            mark: `stopped_at_${stage.captures++}`,
          })
          .catch(() => undefined);
  if (capturing !== undefined) await stage.board.sleep(capturing);
  const sentMs = stage.board.wallMs();
  await stage.watch.ask('stop', { category: 0 });
  const stoppedMs = await stage.becameMs('stopped');
  await asked;
  return stoppedMs - sentMs;
}

/**
 * How long a relay that is to close for 1 s stays closed, by the daemon's own time (ms): from the first frame that
 * shows it closed, and from the frame before that.
 */
export async function relayStaysClosed(
  stage: Stage,
  capturing: boolean,
): Promise<{ tookMs: number; atMostMs: number }> {
  await stage.ready();
  await stage.moveTo(12);
  const { relay, servo } = stage.subject;
  const closed = stage.untilValue(relay, true);
  await stage.holder.ask('channel.switch', { channel: relay, on: true, forS: 1 });
  const from = await closed;
  const { states } = stage.watch;
  const before = states[states.indexOf(from) - 1]!;
  const opened = stage.untilValue(relay, false);
  // Asked for late in the second, so that a capture that blocks the core is in the way of its end.
  await stage.board.sleep(800);
  const asked = capturing
    ? stage.holder
        .call('mark.capture', { channel: servo, mark: 'closed_at' })
        .catch(() => undefined)
    : undefined;
  const until = await opened;
  await asked;
  return { tookMs: 1000 * (until.t - from.t), atMostMs: 1000 * (until.t - before.t) };
}

/** From when the holder is killed until parking begins (ms); `capturing`: right after it asked for that. */
export async function parkingBegins(stage: Stage, capturing: boolean): Promise<number> {
  await stage.parked();
  const child = stage.spawnClient('hold', 600_000);
  await new Promise((resolve, reject) => {
    child.stdout!.once('data', resolve);
    child.once('exit', () => reject(new Error('the client that is to be killed ended by itself')));
  });
  const { servo: channel } = stage.subject;
  const send = (method: string, params: object) =>
    child.stdin!.write(`${JSON.stringify({ method, params })}\n`);
  if (capturing) {
    send('mark.capture', { channel, mark: 'killed_at' });
    await stage.board.sleep(50);
  } else {
    send('channel.move', { channel, to: 60 });
    await stage.board.sleep(200);
  }
  const killedMs = stage.board.wallMs();
  child.kill('SIGKILL');
  await stage.watch.untilState(({ condition }) => condition !== 'live');
  await stage.watch.untilState(({ condition }) => condition === 'parked');
  return (await stage.becameMs('parking')) - killedMs;
}
