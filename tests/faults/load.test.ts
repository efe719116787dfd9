import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Daemon, Peer } from '../system/daemon.ts';
import { patientDaemon } from './patient.ts';
import { ownTheBoard, quantile, residentMiB } from './process.ts';
import { addRow, LONG } from './report.ts';

// How late ticks come under load, next to the same run's quiet; what else the loads are not to disturb.

const QUIET_S = LONG ? 40 : 6;
const LOAD_S = LONG ? 30 : 6;
const RATIO = 1.5;
/**
 * Below this (ms) more lateness than in quiet is let pass: with some thousand ticks the p99.9 is the
 * second or third of the worst, and on a shared machine with two cores the quiet runs' own differ by
 * more than half. It is half a tick (5 ms), an eighth of a servo's frame (20 ms).
 */
const FLOOR_MS = 2.5;
/** A run that is over is measured again, and the better one counts: other work comes and goes. */
const RUNS = 3;
const ANSWER_MS = 500;
/** Thirty-two readers that do not read may leave a MiB each waiting, and V8 what it has not collected. */
const GROWTH_MIB = 160;

interface Load {
  name: string;
  /** Clients of each kind. */
  clients: Record<string, number>;
  /** What the clients must have seen, so that the load was there. */
  must: string[];
}

const ALL: Load = {
  name: '20 clients at 50 Hz, 6 that do not read, connect storms and 20,000 frames/s at once',
  clients: { follow: 20, neverRead: 6, storm: 2, flood: 1 },
  must: ['slow readers ended', 'closed as a flood'],
};
const LOADS: Load[] = LONG
  ? [
      { name: '31 clients following at 50 Hz', clients: { follow: 31 }, must: ['frames in'] },
      {
        name: '12 clients that do not read',
        clients: { neverRead: 12 },
        must: ['slow readers ended'],
      },
      { name: 'connect storms of 20 clients', clients: { storm: 20 }, must: ['connections'] },
      { name: '20,000 frames/s from one', clients: { flood: 1 }, must: ['closed as a flood'] },
      ALL,
    ]
  : [{ name: '31 clients following at 50 Hz', clients: { follow: 31 }, must: ['frames in'] }, ALL];

let daemon: Daemon;
let holder: Peer;
let alone = false;
beforeAll(async () => {
  daemon = await patientDaemon(['--log', 'error']);
  alone = ownTheBoard(daemon.child.pid!);
  holder = await Peer.holder(daemon);
  await holder.ask('state.follow', { hz: 50 });
});
afterAll(() => daemon.cleanUp());

/** Ticks so far by their lateness: upper bounds (ms) and cumulative counts, from /metrics. */
async function lateness(): Promise<[boundMs: number, count: number][]> {
  const text = await (await fetch(`${daemon.url}metrics`)).text();
  const lines = text.matchAll(/^sinew_tick_lateness_seconds_bucket\{le="(.+)"\} (\d+)$/gm);
  return Array.from(lines, ([, le, count]) => [
    le === '+Inf' ? Number.POSITIVE_INFINITY : 1000 * Number(le),
    Number(count),
  ]);
}

/** The p99.9 (ms) of the ticks between two looks: the upper bound of the class that it lies in. */
function p999(
  before: readonly (readonly [number, number])[],
  after: readonly (readonly [number, number])[],
): { ms: number; ticks: number } {
  const counts = after.map(([, count], i) => count - before[i]![1]);
  const ticks = counts.at(-1)!;
  const at = counts.findIndex((count) => count >= 0.999 * ticks);
  return { ms: after[at]![0], ticks };
}

async function clients(kind: string, count: number): Promise<Record<string, number>> {
  const program = fileURLToPath(new URL('./load-worker.ts', import.meta.url));
  const args = [kind, daemon.port, count, LOAD_S].map(String);
  const child = spawn(process.execPath, ['--import', 'tsx', program, ...args], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let out = '';
  child.stdout.on('data', (data) => {
    out += data;
  });
  expect(await new Promise((resolve) => child.once('close', resolve))).toBe(0);
  return JSON.parse(out);
}

/** Runs `load` while the holder goes on moving the beak; what came of it. */
async function measure(load: () => Promise<unknown>) {
  let goesOn = true;
  const tookMs: number[] = [];
  const memory: number[] = [];
  const refused: string[] = [];
  const sampling = setInterval(() => memory.push(residentMiB(daemon.child.pid!)), 200);
  const commanding = (async () => {
    for (let to = 5; goesOn; to = 30 - to) {
      const sentMs = performance.now();
      const { error } = await holder.call('channel.move', { channel: 'beak', to });
      tookMs.push(performance.now() - sentMs);
      if (error) refused.push(error.message);
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  })();
  const before = await lateness();
  await load();
  const { ms, ticks } = p999(before, await lateness());
  goesOn = false;
  clearInterval(sampling);
  await commanding;
  return { p999Ms: ms, ticks, tookMs, refused, maxMiB: Math.max(...memory) };
}

test('ticks, memory and answers under load', { timeout: 10 * 60_000 }, async () => {
  // Code is compiled first, and the sockets are there once.
  await Promise.all([clients('follow', 20), clients('neverRead', 4)]);
  const quiet = await measure(() => new Promise((resolve) => setTimeout(resolve, 1000 * QUIET_S)));
  const maxMs = Math.max(RATIO * quiet.p999Ms, FLOOR_MS);
  const failures: string[] = [];
  for (const { name, clients: kinds, must } of LOADS) {
    const counts: Record<string, number> = {};
    const load = async () => {
      const all = Object.entries(kinds).map(([kind, count]) => clients(kind, count));
      for (const one of await Promise.all(all))
        for (const [what, n] of Object.entries(one)) counts[what] = (counts[what] ?? 0) + n;
    };
    let result = await measure(load);
    let runs = 1;
    for (; runs < RUNS && result.p999Ms > maxMs; runs++) {
      const again = await measure(load);
      if (again.p999Ms < result.p999Ms) result = again;
    }
    const slowestMs = Math.max(...result.tookMs);
    const growthMiB = result.maxMiB - quiet.maxMiB;
    const ratio = result.p999Ms / quiet.p999Ms;
    const rows: [promise: string, worst: string, holds: boolean][] = [
      [
        `p99.9 of tick lateness at most ${RATIO} times the quiet run's, or ${FLOOR_MS} ms`,
        `${result.p999Ms.toFixed(2)} ms, ${ratio.toFixed(2)} times ${quiet.p999Ms.toFixed(2)} ms (${result.ticks} ticks, ${runs === 1 ? '1 run' : `best of ${runs} runs`}${alone ? '' : ', cores shared'})`,
        result.p999Ms <= maxMs,
      ],
      [
        `memory at most ${GROWTH_MIB} MiB above the quiet run's`,
        `${growthMiB.toFixed(0)} MiB, ${result.maxMiB.toFixed(0)} MiB in all`,
        growthMiB <= GROWTH_MIB,
      ],
      [
        `the holder is obeyed and answered within ${ANSWER_MS} ms`,
        `${slowestMs.toFixed(0)} ms (p99 ${quantile(result.tookMs, 0.99).toFixed(0)} ms), ${result.refused.length} refused`,
        slowestMs <= ANSWER_MS && result.refused.length === 0,
      ],
    ];
    for (const [promise, worst, holds] of rows) {
      addRow({ fault: name, promise, worst, holds });
      if (!holds) failures.push(`${name}: ${promise}: ${worst}`);
    }
    for (const what of must) expect(counts[what], `${name}: ${what}`).toBeGreaterThan(0);
    if (kinds.follow === 31) expect(counts['closed with 1008'] ?? 0).toBe(0);
  }
  expect(failures).toEqual([]);
  const strayed = holder.states.filter(
    ({ condition, holder: name }) => condition !== 'live' || name !== 'holder',
  );
  expect(strayed.slice(0, 3)).toEqual([]);
});
