import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Daemon, Peer } from '../system/daemon.ts';
import { seedOr } from './dice.ts';
import { patientDaemon } from './patient.ts';
import { residentMiB } from './process.ts';
import type { Outcome } from './protocol-fuzzer.ts';
import { addRow, LONG } from './report.ts';

// Sound and broken frames by the hundred thousand, while somebody else holds the lease and goes on
// moving one servo.

const FRAMES = LONG ? 1_000_000 : 100_000;
const AT_MOST_S = LONG ? 400 : 15;
const AT_ONCE = 6;
/** What the holder is promised meanwhile: its answers, well within the time in which a link is lost. */
const ANSWER_MS = 500;
/**
 * The collector of V8 lets its heap grow before it looks; what a leak of a few hundred bytes a frame
 * would add on top of it is far more than this.
 */
const GROWTH_MIB = 64;

let daemon: Daemon;
let holder: Peer;
beforeAll(async () => {
  daemon = await patientDaemon(['--log', 'error']);
  holder = await Peer.holder(daemon);
  await holder.ask('state.follow', { hz: 50 });
});
afterAll(() => daemon.cleanUp());

async function attack(frames: number, seconds: number, from: number): Promise<Outcome> {
  const program = fileURLToPath(new URL('./protocol-worker.ts', import.meta.url));
  const args = [daemon.port, frames, seconds, from, AT_ONCE].map(String);
  const child = spawn(process.execPath, ['--import', 'tsx', program, ...args], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let out = '';
  child.stdout.on('data', (data) => {
    out += data;
  });
  const code = await new Promise((resolve) => child.once('close', resolve));
  expect(code).toBe(0);
  return JSON.parse(out);
}

/** Moves the beak up and down and notes how long the answers take (ms), until told to end. */
async function command(goesOn: () => boolean, refused: string[]): Promise<number[]> {
  const tookMs: number[] = [];
  for (let to = 5; goesOn(); to = to === 5 ? 25 : 5) {
    const sentMs = performance.now();
    const { error } = await holder.call('channel.move', { channel: 'beak', to });
    if (error) refused.push(error.message);
    tookMs.push(performance.now() - sentMs);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  return tookMs;
}

test('frames of every kind, sound and broken', { timeout: LONG ? 600_000 : 120_000 }, async () => {
  const seed = seedOr(LONG ? Date.now() % 1_000_000_000 : 1);
  // Code is compiled and buffers grow with the first of them.
  await attack(15_000, 3, 900_000_000);
  let goesOn = true;
  const refused: string[] = [];
  const answers = command(() => goesOn, refused);
  // A prop that is no longer live is a finding, and its beak is never told again.
  await holder.untilState(
    ({ condition, channels }) => condition !== 'live' || channels.beak !== undefined,
  );
  const before = holder.states.length;
  const memory: number[] = [residentMiB(daemon.child.pid!)];
  const sampling = setInterval(() => memory.push(residentMiB(daemon.child.pid!)), 250);
  const startMs = performance.now();
  const outcome = await attack(FRAMES, AT_MOST_S, seed);
  const tookS = (performance.now() - startMs) / 1000;
  clearInterval(sampling);
  goesOn = false;
  const slowestMs = Math.max(...(await answers));
  const frames = holder.states.slice(before);
  const strayed = frames.filter(
    ({ condition, channels, holder: name }) =>
      condition !== 'live' ||
      name !== 'holder' ||
      Object.entries(channels).some(([channel, { target }]) =>
        channel === 'beak' ? ![undefined, 5, 25].includes(target as number) : target !== undefined,
      ),
  );
  const half = Math.floor(memory.length / 2);
  const growthMiB = Math.max(...memory.slice(half)) - Math.max(...memory.slice(0, half));

  const fault = `${outcome.frames.toLocaleString('en')} WebSocket frames in ${outcome.connections.toLocaleString('en')} connections`;
  addRow({
    fault,
    promise: 'every request answered as JSON-RPC 2.0, every breach closed as RFC 6455 says',
    worst: outcome.wrong[0] ?? `no wrong answer; ${Math.round(outcome.frames / tookS)} frames/s`,
    holds: outcome.wrong.length === 0,
  });
  addRow({
    fault,
    promise: `resident memory flat: second half at most ${GROWTH_MIB} MiB above the first`,
    worst: `${growthMiB.toFixed(1)} MiB, ${Math.max(...memory).toFixed(0)} MiB at most`,
    holds: growthMiB <= GROWTH_MIB,
  });
  addRow({
    fault,
    promise: 'nothing moves that the holder did not ask for',
    worst: `${strayed.length} of ${frames.length} states astray`,
    holds: strayed.length === 0,
  });
  addRow({
    fault,
    promise: `the holder is obeyed and answered within ${ANSWER_MS} ms`,
    worst: `${slowestMs.toFixed(0)} ms, ${refused.length} refused`,
    holds: slowestMs <= ANSWER_MS && refused.length === 0,
  });
  expect(outcome.wrong, `SINEW_SEED=${seed}`).toEqual([]);
  expect(strayed.slice(0, 3)).toEqual([]);
  expect(refused).toEqual([]);
  expect(growthMiB).toBeLessThanOrEqual(GROWTH_MIB);
  expect(slowestMs).toBeLessThanOrEqual(ANSWER_MS);
  expect(frames.length).toBeGreaterThan(100);
  // 24 ends, the sound kinds of frames, and enough of them.
  expect(Object.keys(outcome.kinds).length).toBeGreaterThanOrEqual(LONG ? 29 : 25);
  if (LONG) expect(outcome.frames).toBeGreaterThanOrEqual(FRAMES);
  else expect(outcome.frames).toBeGreaterThan(10_000);
});
