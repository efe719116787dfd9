import { PerformanceObserver } from 'node:perf_hooks';
import type { Driver } from '../../src/boards/board.ts';
import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import { placeDigest } from '../../src/core/servo.ts';
import { schemas } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import type { Row } from './table.ts';

const TICK_MS = 5;
const COUNTS = [16, 64, 256, 1000];
/** A prop of usual size with many meters: each has a new reading at every look. */
const SENSED = { servos: 16, meters: 6 };
/** Ticks in a row that are timed as one, so that reading the clock costs nothing. */
const BATCH = 100;
const BATCHES = 30;
/** Batches before those that count: they compile. */
const WARM_UP = 100;
/** Half of the way of a move (deg), and how long that takes at 30 deg/s. */
const FAR_DEG = 40;
const TURN_TICKS = 400;
/** A minute of ticks, and those that are looked at together. */
const MINUTE = 12_000;
const WINDOW = 20;
/** Fewer bytes by this many than before: they were swept up. */
const SWEPT = 10_000;

/** What lights fade to by turns, and for how long (s): as long as a move. */
const WARM = { red: 0.9, green: 0.5, blue: 0.2 };
const PALE = { red: 0.8, green: 0.45, blue: 0.3 };
const FADE_S = (TURN_TICKS * TICK_MS) / 1000;

/** A board that takes what it is given, and always has a new reading: the core alone is measured. */
const board = (): Driver => ({
  pulseStepUs: 1,
  async open() {},
  write() {},
  read: () => 0,
  async openSenses() {},
  reading(sense, nowMs, into) {
    into.value = 5 + ((nowMs + sense) % 7) / 100;
    into.low = into.value;
    into.atMs = nowMs;
    into.fault = undefined;
  },
  async close() {},
});

/** Measured on each of the boards that only measure: the voltage of the rail, with all limits, and a current. */
const measuredOn = (board: string): [string, object][] => [
  [
    `${board}v`,
    { kind: 'volts', board, rail: 'r', filterS: 0.1, warnBelow: 3, parkBelow: 2, dipBelow: 1 },
  ],
  [`${board}a`, { kind: 'current', board, rail: 'r', warnAbove: 500 }],
];

/** Servos, rgb lights and lamps of a prop. */
interface Counts {
  servos?: number;
  rgbs?: number;
  lamps?: number;
  /** Boards that only measure, two senses on each. */
  meters?: number;
}

/** That prop on boards of 16 pins, every channel on one rail. */
function propOf({ servos = 0, rgbs = 0, lamps = 0, meters = 0 }: Counts) {
  let pin = 0;
  const outputOf = (pins: number) => {
    // A light has all its pins on one board.
    if ((pin % 16) + pins > 16) pin += 16 - (pin % 16);
    const board = `b${Math.floor(pin / 16)}`;
    const taken = Array.from({ length: pins }, () => pin++ % 16);
    return pins === 1 ? { board, pin: taken[0] } : { board, pins: taken };
  };
  const named = (letter: string, count: number, spec: () => object) =>
    Array.from({ length: count }, (_, i) => [`${letter}${i}`, { rail: 'r', ...spec() }]);
  const channels = [
    ...named('s', servos, () => ({
      kind: 'servo',
      output: outputOf(1),
      draw: { idleA: 0.01, movingA: 0.25, stallA: 1.1 },
      calibration: [
        [1000, -45],
        [1500, 0],
        [2000, 45],
      ],
      speedDegS: 30,
      jerkDegS3: 3000,
      park: { to: 0 },
    })),
    ...named('c', rgbs, () => ({
      kind: 'rgb',
      output: outputOf(3),
      draw: { fullA: [0.02, 0.02, 0.03] },
      whiteBalance: [1, 0.8, 0.9],
    })),
    ...named('l', lamps, () => ({ kind: 'lamp', output: outputOf(1), draw: { fullA: 0.06 } })),
  ];
  const outs = Array.from({ length: Math.ceil(pin / 16) }, (_, i) => `b${i}`);
  const measuring = Array.from({ length: meters }, (_, i) => `m${i}`);
  const boards = [...outs, ...measuring];
  return schemas().propFile.parse({
    sinew: 1,
    name: 'bench',
    boards: Object.fromEntries(boards.map((name) => [name, { driver: 'sim' }])),
    // Enough for all of them to turn round at once: none waits.
    rails: { r: { volts: 6, limitA: 10_000 } },
    channels: Object.fromEntries(channels),
    senses: Object.fromEntries(measuring.flatMap(measuredOn)),
  });
}

/** A live core with such a prop, as fast ticks as can be asked for. */
async function liveCore(counts: Counts) {
  const prop = propOf(counts);
  const clock = new VirtualClock();
  let notes = 0;
  const telemetry = Telemetry.create(
    Object.keys(prop.channels).length,
    1,
    Object.keys(prop.senses).length,
  );
  const positions: Record<string, number> = {};
  const digests: Record<string, string> = {};
  for (const [name, channel] of Object.entries(prop.channels)) {
    if (channel.kind !== 'servo') continue;
    positions[name] = 0;
    digests[name] = placeDigest(channel);
  }
  const core = new Core({
    prop,
    drivers: new Map(Object.keys(prop.boards).map((name) => [name, board()])),
    clock,
    telemetry,
    store: {
      restored: { settled: true, sameBoot: true, duty: {}, positions, digests },
      noted: 'yes',
      bootNowS: () => 0,
      save: () => {
        notes++;
      },
    },
    journal: new Journal(clock),
  });
  await core.open();
  core.take({ id: 'bench', client: 'bench', slot: 0 });
  let nowMs = 0;
  const tick = (): void => {
    telemetry.markLife(0);
    nowMs += TICK_MS;
    core.tick(nowMs, 1);
  };
  core.wake('bench', true);
  while (core.condition === 'waking') tick();
  let turns = 0;
  /** Sends all of them back again before any has arrived. */
  const turn = (): void => {
    const isThere = turns++ % 2 === 0;
    const { servos, lights } = core.body;
    const moves = servos.map((servo) => ({ servo, targetDeg: isThere ? FAR_DEG : -FAR_DEG }));
    if (moves.length > 0) core.gate.move(moves, 0, 'bench', core.nowS);
    // Near each other, so that nothing flashes and no guard holds anything back.
    for (const light of lights)
      if (light.kind === 'rgb') core.gate.colour(light, isThere ? WARM : PALE, FADE_S);
      else core.gate.dim(light, isThere ? 0.7 : 0.75, FADE_S);
  };
  return { core, tick, turn, notes: () => notes };
}

/** Microseconds that a tick takes while everything moves, batch by batch. */
async function tickUs(count: number, meters = 0): Promise<number[]> {
  const { tick, turn } = await liveCore({ servos: count, meters });
  const took: number[] = [];
  for (let batch = -WARM_UP; batch < BATCHES; batch++) {
    if ((batch * BATCH) % TURN_TICKS === 0) turn();
    const startedMs = performance.now();
    for (let i = 0; i < BATCH; i++) tick();
    if (batch >= 0) took.push((1000 * (performance.now() - startedMs)) / BATCH);
  }
  return took;
}

/** What a tick costs, and whether the cost of a channel grows with their number. */
export async function tickRows(): Promise<Row[]> {
  const costs = new Map<number, number[]>();
  for (const count of COUNTS) costs.set(count, await tickUs(count));
  const [small, many] = [64, 1000];
  const sensed = await tickUs(SENSED.servos, SENSED.meters);
  const line = (costs.get(small)! as number[]).map((us) => (us * many) / small);
  return [
    ...COUNTS.map(
      (count): Row => ({
        measure: `tick, ${count} channels moving (us)`,
        values: costs.get(count)!,
        baselines: [1000 * TICK_MS],
        baselineName: 'the time between two ticks',
        target: { value: (50 / 64) * Math.max(count, 64) },
      }),
    ),
    {
      measure: `tick, ${many} channels against a straight line (us)`,
      values: costs.get(many)!,
      baselines: line,
      baselineName: `through zero and ${small} channels`,
      target: { ratio: 1.2 },
    },
    {
      measure: `tick, ${SENSED.servos} channels moving and ${2 * SENSED.meters} measured (us)`,
      values: sensed,
      baselines: costs.get(SENSED.servos)!,
      baselineName: 'the same with nothing measured',
      target: { ratio: 2 },
    },
  ];
}

/** What a minute of ticks leaves behind: in each tick, and in each note of all positions (bytes). */
async function leftBehind(counts: Counts) {
  const { gc } = globalThis;
  if (!gc) throw new Error('run with --expose-gc: what is left behind is measured');
  const { tick, turn, notes } = await liveCore(counts);
  const used = (): number => process.memoryUsage().heapUsed;
  const perTick: number[] = [];
  const perNote: number[] = [];
  let sweeps = 0;
  const observer = new PerformanceObserver((list) => {
    sweeps += list.getEntries().length;
  });
  // The first two minutes compile.
  for (let i = -2 * MINUTE; i < MINUTE; i += WINDOW) {
    if (i === 0) {
      gc();
      await new Promise(setImmediate);
      observer.observe({ entryTypes: ['gc'] });
    }
    const turns = i % TURN_TICKS === 0;
    if (turns) turn();
    const noted = notes();
    const between = used();
    const before = used();
    for (let k = 0; k < WINDOW; k++) tick();
    // Less what looking takes. Where a sweep fell in between, the difference says nothing.
    const bytes = used() - before - (before - between);
    if (i < 0 || turns || bytes < -SWEPT) continue;
    if (notes() === noted) perTick.push(Math.max(0, bytes) / WINDOW);
    else perNote.push(bytes / (notes() - noted));
  }
  await new Promise(setImmediate);
  observer.disconnect();
  return { perTick, perNote, sweeps };
}

/** What a minute of ticks leaves behind while everything moves and fades all the time. */
export async function allocationRows(): Promise<Row[]> {
  const nothing = { baselines: [0], baselineName: 'nothing', slower: 'same' } as const;
  const servos = await leftBehind({ servos: 64 });
  const lights = await leftBehind({ rgbs: 12 });
  const all = await leftBehind({ servos: 16, rgbs: 12, lamps: 12 });
  const ticks = (measure: string, values: number[]): Row => ({
    measure: `left behind by a tick, ${measure} (bytes)`,
    values,
    ...nothing,
    target: { value: 0 },
  });
  return [
    ticks('64 channels moving', servos.perTick),
    ticks('12 rgb lights fading', lights.perTick),
    ticks('16 servos, 12 rgb lights and 12 lamps at once', all.perTick),
    {
      measure: 'left behind by a note of all positions, four a second (bytes)',
      values: servos.perNote,
      ...nothing,
      target: { value: 16_384 },
      note: 'before the note is written to the file, which is not in the tick',
    },
    {
      measure: 'garbage collections in a minute of ticks',
      values: [servos.sweeps],
      ...nothing,
      target: { value: 0 },
    },
  ];
}
