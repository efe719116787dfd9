import { PerformanceObserver } from 'node:perf_hooks';
import type { Driver } from '../../src/boards/board.ts';
import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import { schemas } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import type { Row } from './table.ts';

const TICK_MS = 5;
const COUNTS = [16, 64, 256, 1000];
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

/** A board that takes what it is given: the core alone is measured. */
const board = (): Driver => ({
  pulseStepUs: 1,
  async open() {},
  write() {},
  read: () => 0,
  async close() {},
});

/** A live core with `count` servos on boards of 16, as fast ticks as can be asked for. */
async function liveCore(count: number) {
  const boards = Array.from({ length: Math.ceil(count / 16) }, (_, i) => `b${i}`);
  const servos = Array.from({ length: count }, (_, i) => `s${i}`);
  const prop = schemas().propFile.parse({
    sinew: 1,
    name: 'bench',
    boards: Object.fromEntries(boards.map((name) => [name, { driver: 'sim' }])),
    channels: Object.fromEntries(
      servos.map((name, i) => [
        name,
        {
          kind: 'servo',
          output: { board: boards[Math.floor(i / 16)], pin: i % 16 },
          calibration: [
            [1000, -45],
            [1500, 0],
            [2000, 45],
          ],
          speedDegS: 30,
          jerkDegS3: 3000,
          park: { to: 0 },
        },
      ]),
    ),
  });
  const clock = new VirtualClock();
  let notes = 0;
  const telemetry = Telemetry.create(count, 0);
  const positions = Object.fromEntries(servos.map((name) => [name, 0]));
  const core = new Core({
    prop,
    drivers: new Map(boards.map((name) => [name, board()])),
    clock,
    telemetry,
    store: {
      restored: { settled: true, sameBoot: true, duty: {}, positions },
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
    const toDeg = turns++ % 2 === 0 ? FAR_DEG : -FAR_DEG;
    const moves = core.body.servos.map((servo) => ({ servo, toDeg }));
    core.gate.move(moves, 0, 'bench', core.nowS);
  };
  return { core, tick, turn, notes: () => notes };
}

/** Microseconds that a tick takes while everything moves, batch by batch. */
async function tickUs(count: number): Promise<number[]> {
  const { tick, turn } = await liveCore(count);
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
  ];
}

/** What a minute of ticks leaves behind, with 64 channels moving all the time. */
export async function allocationRows(): Promise<Row[]> {
  const { gc } = globalThis;
  if (!gc) throw new Error('run with --expose-gc: what is left behind is measured');
  const { tick, turn, notes } = await liveCore(64);
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
  const nothing = { baselines: [0], baselineName: 'nothing', slower: 'same' } as const;
  return [
    {
      measure: 'left behind by a tick, 64 channels moving (bytes)',
      values: perTick,
      ...nothing,
      target: { value: 0 },
    },
    {
      measure: 'left behind by a note of all positions, four a second (bytes)',
      values: perNote,
      ...nothing,
      target: { value: 16_384 },
      note: 'before the note is written to the file, which is not in the tick',
    },
    {
      measure: 'garbage collections in a minute of ticks',
      values: [sweeps],
      ...nothing,
      target: { value: 0 },
    },
  ];
}
