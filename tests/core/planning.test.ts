import { describe, expect, test } from 'vitest';
import { Planning } from '../../src/core/planning.ts';
import { parseEase } from '../../src/sums/ease.ts';
import { makeProp, Rig, servo } from './rig.ts';

const NAMES = Array.from({ length: 40 }, (_unused, i) => `feather_${i}`);
/** Every fifth is slow, and has the longest way. */
const spec = (i: number) =>
  servo(i % 5 === 0 ? { speedDegS: 40, jerkDegS3: 4000 } : { jerkDegS3: 20_000 });
const prop = () =>
  makeProp(Object.fromEntries(NAMES.map((name, i) => [name, spec(i)])), {
    boards: { main: { driver: 'sim' } },
    groups: { tail: NAMES },
    cues: {
      fan: [{ at: 0, move: { tail: 30 }, overS: 0.4, ease: 'ease-in-out' }],
      calm: [{ at: 0, move: { tail: 5 }, overS: 4, ease: 'ease-in-out' }],
    },
  });

const movesOf = (rig: Rig, targetDeg: number) =>
  NAMES.map((name) => ({ servo: rig.servo(name), targetDeg }));

describe('eased moves of many servos', () => {
  test('come out of slices as they do at once', async () => {
    const { rig } = await Rig.live(prop());
    const ease = parseEase('ease-in-out');
    const whole = new Planning(movesOf(rig, 30), 0.4, ease).whole();
    const sliced = new Planning(movesOf(rig, 30), 0.4, ease);
    let slices = 0;
    for (;;) {
      slices++;
      const planned = sliced.slice(() => 0);
      if (!planned) continue;
      expect(planned).toEqual(whole);
      break;
    }
    expect(slices).toBeGreaterThan(3);
    for (const { durationS } of whole.plans) expect(durationS).toBeCloseTo(whole.durationS, 9);
  });

  test('a slow clock ends a slice after each plan', async () => {
    const { rig } = await Rig.live(prop());
    const planning = new Planning(movesOf(rig, 30), 0.4, parseEase('ease-in-out'));
    let nowMs = 0;
    let slices = 1;
    while (!planning.slice(() => nowMs++)) slices++;
    expect(slices).toBeGreaterThanOrEqual(NAMES.length);
  });

  test('start some ticks later, in the same tick, and arrive together; a cue tells that they are slower', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('cue.run', { cue: 'fan' });
    const moving = () => NAMES.filter((name) => rig.servo(name).moving).length;
    let ticks = 0;
    while (moving() === 0) {
      await rig.tick();
      ticks++;
    }
    expect(moving()).toBe(NAMES.length);
    expect(ticks).toBeGreaterThan(2);
    expect(ticks).toBeLessThan(20);
    while (moving() === NAMES.length) await rig.tick();
    expect(moving()).toBe(0);
    for (const name of NAMES) expect(rig.servo(name).setpoint.pos).toBe(30);
    expect(rig.texts('slower')).toEqual([
      expect.stringMatching(/cue fan, step 1: takes .* not 0.4 s/),
    ]);
    await rig.until(() => !rig.core.cues.isRunning('fan'));
  });

  test('a stop while they are planned: nothing starts', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('cue.run', { cue: 'calm' });
    await rig.tick();
    await client.call('stop', { category: 2 });
    const writes = rig.writes.length;
    await rig.run(500);
    expect(rig.writes.length).toBe(writes);
    expect(NAMES.some((name) => rig.servo(name).delayed || rig.servo(name).moving)).toBe(false);
  });

  test('somebody who takes one of them over ends the cue, and no other moves', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('cue.run', { cue: 'calm' });
    await rig.tick();
    await client.call('channel.move', { channel: 'feather_7', to: -10 });
    await rig.run(1500);
    expect(rig.servo('feather_7').setpoint.pos).toBe(-10);
    expect(rig.servo('feather_8').setpoint.pos).toBe(0);
    expect(rig.core.cues.isRunning('calm')).toBe(false);
  });
});
