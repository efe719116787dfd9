import { spawn } from 'node:child_process';
import { availableParallelism } from 'node:os';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { seedOr } from './dice.ts';
import { type Played, play } from './invariants-play.ts';
import { INVARIANTS, type Invariant } from './invariants-watch.ts';
import { addRow, LONG } from './report.ts';

// Random programs of commands from several clients, judged in every tick by what stands at the pins.

const PROGRAM_TICKS = 20_000;
const TICKS = LONG ? 100_000_000 : 1_000_000;
/** On a machine too busy for all of them it ends then, and says so. */
const AT_MOST_S = LONG ? 14 * 60 : 120;
const WORKERS = Math.min(4, availableParallelism());
/** The quick half is the same in every run; the long half looks elsewhere each time. */
const FIRST_SEED = seedOr(LONG ? Date.now() % 1_000_000_000 : 1);

/** What must have come about, or a promise about it has not been put to the test. */
const HAPPENED = [
  'parked to waking',
  'live to parking',
  'parking to parked',
  'waking to parking',
  'parking to stopped',
  'live to stopped',
  'live to faulted',
  'woken from an unknown position',
  'ticks outside soft limits',
  'limits captured',
  'mist closes',
  'pump closes',
  'bell closes',
  'journal: interlock',
  'journal: duty',
  'journal: delayed',
  'journal: link lost',
  'journal: stalled',
  'channel.jog',
  'group.move',
  'pose.go',
  'cue.run',
  'lease.release',
] as const;

/** The worst of each invariant that is measured, in words. */
const MEASURED: Partial<Record<Invariant, (worst: number) => string>> = {
  'soft limits': (deg) => `${Math.max(0, deg).toExponential(0)} deg outside`,
  'speed beyond the limits': percent,
  speed: percent,
  acceleration: percent,
  jerk: percent,
  duty: percent,
  'rail limit': percent,
  flashes: (share) => `${Math.round(3 * share)} in a second`,
  'flashes of all light': (share) => `${Math.round(3 * share)} in a second`,
  'lost link': (ms) => `${Math.round(ms)} ms`,
};

function percent(share: number): string {
  return `${(100 * share).toFixed(3)} % of the limit`;
}

interface Sum {
  ticks: number;
  worst: Record<string, number>;
  seen: Record<string, number>;
  broken: Played[];
}

function add(sum: Sum, played: Played): void {
  sum.ticks += played.ticks;
  for (const [what, value] of Object.entries(played.worst))
    sum.worst[what] = Math.max(sum.worst[what] ?? Number.NEGATIVE_INFINITY, value);
  for (const [what, count] of Object.entries(played.seen))
    sum.seen[what] = (sum.seen[what] ?? 0) + count;
  if (played.wrong) sum.broken.push(played);
}

async function run(sum: Sum): Promise<void> {
  const until = FIRST_SEED + Math.ceil(TICKS / PROGRAM_TICKS);
  const program = fileURLToPath(new URL('./invariants-worker.ts', import.meta.url));
  const workers = Array.from({ length: WORKERS }, async (_unused, i) => {
    const args = [FIRST_SEED + i, until, WORKERS, PROGRAM_TICKS, AT_MOST_S].map(String);
    const child = spawn(process.execPath, ['--import', 'tsx', program, ...args], {
      stdio: ['ignore', 'pipe', 'inherit'],
    });
    const ended = new Promise<number | null>((resolve) => child.once('exit', resolve));
    for await (const line of createInterface({ input: child.stdout })) add(sum, JSON.parse(line));
    expect(await ended, 'the exit code of a worker').toBe(0);
  });
  await Promise.all(workers);
}

test('every limit holds in every tick of random programs', {
  timeout: 1000 * (AT_MOST_S + 30),
}, async () => {
  const sum: Sum = { ticks: 0, worst: {}, seen: {}, broken: [] };
  if (process.env.SINEW_SEED) add(sum, await play(FIRST_SEED, PROGRAM_TICKS));
  else await run(sum);
  const fault = `random programs from several clients, ${sum.ticks.toLocaleString('en')} ticks`;
  for (const [invariant, promise] of Object.entries(INVARIANTS) as [Invariant, string][]) {
    const broken = sum.broken.filter(({ wrong }) => wrong!.invariant === invariant);
    const { [invariant]: worst } = sum.worst;
    const measure = worst === undefined ? undefined : MEASURED[invariant]?.(worst);
    const found = broken[0] && `seed ${broken[0].seed}: ${broken[0].wrong!.message}`;
    addRow({
      fault,
      promise,
      worst: found ?? measure ?? 'never broken',
      holds: broken.length === 0,
    });
  }
  const replay = sum.broken.map(
    ({ seed, wrong }) =>
      `SINEW_SEED=${seed} npx vitest run --project faults tests/faults/invariants.test.ts: ${wrong!.invariant}: ${wrong!.message}`,
  );
  expect(replay.slice(0, 10)).toEqual([]);
  if (process.env.SINEW_SEED) return;
  expect(sum.ticks, `ticks within ${AT_MOST_S} s`).toBeGreaterThanOrEqual(TICKS);
  expect(HAPPENED.filter((what) => !sum.seen[what])).toEqual([]);
});
