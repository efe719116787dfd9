import { type ChildProcess, spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { Daemon, Peer } from './daemon.ts';

/** A servo looks for its ends while somebody holds the button, and the link of that somebody fails. */

const PROP = fileURLToPath(new URL('../browser/ends.yaml', import.meta.url));
const SEARCHER = fileURLToPath(new URL('./searching.mjs', import.meta.url));
/** The contract: parking begins this long after the last sign of life, at the latest. */
const PARKS_MS = 500 + 100;
/** The search ends this long after the last sign of the hand (s): a quarter, a tick, and what rounding adds. */
const HEEDED_S = 0.25 + 0.01 + 0.1;

let daemon: Daemon;
let watch: Peer;
let child: ChildProcess | undefined;
beforeEach(async () => {
  daemon = await Daemon.start({ prop: PROP });
  watch = await Peer.connect(daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
});
afterEach(async () => {
  child?.kill('SIGKILL');
  child = undefined;
  await daemon.cleanUp();
});

const isOut = () =>
  watch.untilState(({ channels }) => Math.abs((channels.flap?.value as number) ?? 0) > 0.5);

async function searches(): Promise<ChildProcess> {
  child = spawn(process.execPath, [SEARCHER, String(daemon.port)], { stdio: 'inherit' });
  await isOut();
  return child;
}

/** When something came into the journal first (ms since the epoch); undefined while it has not. */
async function journalMs(words: RegExp): Promise<number | undefined> {
  const { entries } = await watch.ask('journal.read', { limit: 1000 });
  const found = (entries as { time: string; text: string }[]).find(({ text }) => words.test(text));
  return found && Date.parse(found.time);
}

async function flapDeg(): Promise<unknown> {
  const { channels } = await watch.ask('channel.list');
  return (channels as Record<string, { value: number }>).flap!.value;
}

it.each([
  ['is killed', 'SIGKILL'],
  ['hangs as a whole', 'SIGSTOP'],
] as const)(
  'a client that %s: the search ends, the prop parks, nothing is written',
  async (_how, signal) => {
    const before = await daemon.readProp();
    const client = await searches();
    client.kill(signal);
    const failedMs = Date.now();
    await watch.untilState(({ condition }) => condition === 'parked');
    expect((await journalMs(/^parking/))! - failedMs).toBeLessThanOrEqual(PARKS_MS);
    expect((await journalMs(/^measuring flap has ended/))! - failedMs).toBeLessThanOrEqual(
      PARKS_MS,
    );
    expect(await daemon.readProp()).toBe(before);
  },
);

it('a client that sends no sign of the hand, on a link that holds: it ends, and no later sign starts it again', async () => {
  const before = await daemon.readProp();
  const holder = await Peer.holder(daemon);
  const { run } = await holder.ask('measure.begin', { channel: 'flap', what: 'ends' });
  // The last sign that was heeded.
  let heard = { running: true, ranS: 0 };
  const hold = async () => {
    const state = (await holder.ask('measure.hold', { run })) as typeof heard;
    if (state.running) heard = state;
  };
  const out = isOut();
  const sign = setInterval(() => void hold(), 50);
  await out;
  clearInterval(sign);
  await hold();
  const ended = /^measuring flap has ended: nobody has held the button/;
  await expect.poll(() => journalMs(ended), { timeout: 5000 }).toBeDefined();
  const from = watch.states.at(-1)!.t;
  await watch.untilState(({ t }) => t > from + 1);
  const value = await flapDeg();
  for (let i = 0; i < 10; i++) await hold();
  const late = watch.states.at(-1)!.t;
  const { condition } = await watch.untilState(({ t }) => t > late + 0.5);
  expect([condition, await flapDeg()]).toEqual(['live', value]);
  const state = await holder.ask('measure.release', { run });
  expect(state.ended).toMatchObject({ code: 'measure.released' });
  expect((state.ranS as number) - heard.ranS).toBeLessThanOrEqual(HEEDED_S);
  expect(await daemon.readProp()).toBe(before);
});
