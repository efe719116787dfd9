import { execFile } from 'node:child_process';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { CLI, type Peer } from './daemon.ts';
import { onlooker, RealShow } from './real-show.ts';

// A show of two real daemons, conducted by the command over a real broker. A daemon that a busy machine holds
// up refuses a start that it cannot keep, or parks, as it should: then all of it is done again.
const AGAIN = { retry: 2 };

let show: RealShow;
let file: string;
let owl: Peer;
let barn: Peer;

beforeEach(async () => {
  show = await RealShow.make();
  file = await show.file([
    { at: 0, go: { owl: 'glow' } },
    { at: 1, go: { barn: 'glow' }, only: [{ prop: 'barn', is: 'armed' }] },
    // Nobody has stopped the owl.
    { at: 3, go: { barn: 'dusk' }, only: [{ prop: 'owl', is: 'stopped' }] },
    { at: 4, park: ['owl', 'barn'] },
  ]);
  [owl, barn] = (await Promise.all([show.owl, show.barn].map(onlooker))) as [Peer, Peer];
  for (const peer of [owl, barn]) {
    await peer.ask('lease.take');
    await peer.ask('show.arm');
    await peer.ask('lease.release');
  }
});
afterEach(() => show.cleanUp());

function conduct(...words: string[]): Promise<{ code: number; said: string }> {
  return new Promise((resolve) => {
    execFile(process.execPath, [CLI, 'show', ...words], (error, out, err) =>
      resolve({ code: error ? Number(error.code) : 0, said: out + err }),
    );
  });
}

async function ran(peer: Peer, cue: string): Promise<number> {
  const { entries } = await peer.ask('journal.read', { limit: 1000 });
  return (entries as { text: string }[]).filter(({ text }) => text === `cue ${cue} runs`).length;
}

it(
  'plays to its end: each cue once, what has no ground is left out, and all park',
  AGAIN,
  async () => {
    const first = conduct('run', file, '--now');
    await owl.untilState(({ condition }) => condition === 'live');
    // Twice at the same time starts nothing twice.
    const second = await conduct('run', file, '--now');
    expect(second).toMatchObject({ code: 1, said: expect.stringContaining('still runs or waits') });
    const { code, said } = await first;
    expect(said).toMatch(/step 1 \(go\): owl: taken/);
    expect(said).toMatch(/step 2 \(go\): barn: taken/);
    expect(said).toMatch(/step 3 \(go\): left out: its condition does not hold/);
    expect(said).toMatch(/the timeline is over/);
    expect(code).toBe(0);
    for (const peer of [owl, barn]) {
      await peer.untilState(({ condition }) => condition === 'parked');
      expect(await ran(peer, 'glow')).toBe(1);
      expect(await ran(peer, 'dusk')).toBe(0);
    }
  },
);

it('a prop that is lost is named, and the other one plays on', AGAIN, async () => {
  const run = conduct('run', file, '--now');
  await owl.untilState(({ condition }) => condition === 'waking' || condition === 'live');
  await show.barn.kill('SIGKILL');
  const { code, said } = await run;
  expect(code).toBe(1);
  expect(said).toMatch(/step 1 \(go\): owl: taken/);
  expect(said).toMatch(/: barn: (?!taken)/);
  await owl.untilState(({ condition }) => condition === 'parked');
  expect(await ran(owl, 'glow')).toBe(1);
});
