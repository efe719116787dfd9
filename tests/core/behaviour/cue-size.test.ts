import { performance } from 'node:perf_hooks';
import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import { lamp, makeProp, Rig, servo } from '../rig.ts';

type Steps = Record<string, unknown>[];

/** Cues that each run the next one so many times at once; the last one dims a lamp. */
function nested(width: number, depth: number): Record<string, Steps> {
  const cues: Record<string, Steps> = {};
  for (let i = 0; i < depth; i++)
    cues[`c${i}`] = Array.from({ length: width }, () => ({ at: 0, cue: `c${i + 1}` }));
  cues[`c${depth}`] = [{ at: 0, dim: { glow: 0.5 } }];
  return cues;
}

const prop = (cues: object) => makeProp({ glow: lamp(), neck: servo() }, { cues });

/** Runs to the end of a cue; the most steps that started in one tick, and how many in all. */
async function starts(rig: Rig, cue: string): Promise<{ most: number; all: number }> {
  const steps = rig.core.cues.stepsOf(cue);
  const seen = new Set<unknown>();
  let most = 0;
  rig.afterTick = () => {
    const now = steps.filter((one) => one.state !== 'waiting' && !seen.has(one));
    for (const one of now) seen.add(one);
    most = Math.max(most, now.length);
  };
  await rig.until(() => !rig.core.cues.isRunning(cue), 30);
  return { most, all: seen.size };
}

describe('a cue with too many steps', () => {
  test('is refused, with how many it has', async () => {
    const { rig, client } = await Rig.live(prop(nested(8, 7)));
    const refusal = await client.refused('cue.run', { cue: 'c0' });
    expect(refusal.code).toBe(CODES.outOfLimits);
    // 8 + 8^2 + ... + 8^7 steps that run cues, and 8^7 that dim.
    expect(refusal.values).toEqual({
      code: 'cue.too-long',
      cue: 'c0',
      value: (8 ** 8 - 8) / 7 + 8 ** 7,
      limit: 10_000,
    });
    expect(rig.core.cues.anyRunning).toBe(false);
    // Four deep it has 8 + 64 + 512 + 4096 and 4096 steps.
    await client.call('cue.run', { cue: 'c3' });
  });

  test('repetitions are the same steps again', async () => {
    const { client } = await Rig.live(
      prop({ ...nested(1, 1), again: [{ at: 0, cue: 'c0', times: 10_000 }] }),
    );
    await client.call('cue.run', { cue: 'again' });
  });
});

describe('at most 64 steps start in a tick', () => {
  test('the rest in the next ones, in the order of the file', async () => {
    const steps = Array.from({ length: 300 }, () => ({ at: 0, dim: { glow: 0.5 } }));
    const { rig, client } = await Rig.live(prop({ c: steps }));
    await client.call('cue.run', { cue: 'c' });
    const [first] = rig.core.cues.stepsOf('c');
    await rig.tick();
    const state = rig.core.cues.stepsOf('c').map((one) => one.state !== 'waiting');
    expect(first!.state).not.toBe('waiting');
    expect(state.indexOf(false)).toBe(64);
    expect(state.lastIndexOf(true)).toBe(63);
    const { all } = await starts(rig, 'c');
    expect(all).toBe(300);
    expect(rig.core.nowS).toBeLessThan(2);
  });

  test('of all cues together, and of those within them', async () => {
    const { rig, client } = await Rig.live(prop(nested(8, 4)));
    await client.call('cue.run', { cue: 'c0' });
    let slowestMs = 0;
    const { core } = rig;
    const { tick } = core.cues;
    core.cues.tick = () => {
      const fromMs = performance.now();
      tick.call(core.cues);
      slowestMs = Math.max(slowestMs, performance.now() - fromMs);
    };
    const startedS = core.nowS;
    await rig.until(() => !core.cues.isRunning('c0'), 30);
    // 8776 steps, 64 a tick.
    const ticks = Math.round((core.nowS - startedS) / 0.005);
    expect(ticks).toBeGreaterThanOrEqual(Math.floor(8776 / 64));
    expect(ticks).toBeLessThan(8776 / 64 + 20);
    // 5.6 s for eight cues nested seven deep was the stall; a busy machine may add some ms.
    expect(slowestMs).toBeLessThan(250);
  });

  test('ten thousand steps at once, or after the same one', async () => {
    const flat = Array.from({ length: 9999 }, (_, i) => ({
      name: `n${i}`,
      at: 0,
      dim: { glow: 0.5 },
    }));
    const after = [
      { name: 'first', at: 0, dim: { glow: 1 } },
      ...Array.from({ length: 9999 }, () => ({ after: 'first', dim: { glow: 0.5 } })),
    ];
    const { rig, client } = await Rig.live(prop({ flat, after }));
    for (const cue of ['flat', 'after']) {
      await client.call('cue.run', { cue });
      const steps = rig.core.cues.stepsOf(cue);
      await rig.until(() => !rig.core.cues.isRunning(cue), 5);
      expect(steps.every(({ state }) => state === 'done')).toBe(true);
    }
  });

  test('a stop ends what has not started', async () => {
    const steps = Array.from({ length: 300 }, () => ({ at: 0, move: { neck: 20 } }));
    const { rig, client } = await Rig.live(prop({ c: steps }));
    await client.call('cue.run', { cue: 'c' });
    await rig.tick();
    await client.call('cue.stop', { cue: 'c' });
    await rig.run(500);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(5);
  });
});
