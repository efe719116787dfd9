import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import { makeProp, Rig, servo } from '../rig.ts';

/** Limits of 40 deg, felt out to 48: up to 20 deg/s out there, 120 deg/s inside. */
async function outside(over: Record<string, unknown> = {}) {
  const { rig, client } = await Rig.live(makeProp({ neck: servo(over), jaw: servo() }));
  await client.call('channel.move', { channel: 'neck', to: 40 });
  await rig.run(1500);
  for (const byDeg of [4, 4]) {
    await client.call('channel.jog', { channel: 'neck', byDeg, beyondLimits: true });
    await rig.run(800);
  }
  expect(rig.servo('neck').setpoint.pos).toBe(48);
  return { rig, client };
}

describe.each([{}, { jerkDegS3: 6000 }])('back from beyond the limit, %j', (over) => {
  test('only the way to the limit is slow', async () => {
    const { rig, client } = await outside(over);
    const neck = rig.servo('neck');
    const { durationS } = await client.call('channel.move', { channel: 'neck', to: -40 });
    // 8 deg at 20 deg/s, and 80 deg at 120 deg/s and 600 deg/s2; slow all the way it would be 4.4 s.
    expect(durationS).toBeGreaterThan(8 / 20 + 80 / 120);
    expect(durationS).toBeLessThan(1.7);
    let [fastestOut, fastestIn, hardest] = [0, 0, 0];
    let vel = 0;
    rig.afterTick = () => {
      const { setpoint: state } = neck;
      hardest = Math.max(hardest, Math.abs(state.vel - vel) / 0.005);
      vel = state.vel;
      if (state.pos > 40) fastestOut = Math.max(fastestOut, -vel);
      else fastestIn = Math.max(fastestIn, -vel);
    };
    await rig.run(durationS * 1000 + 10);
    expect(neck.setpoint.pos).toBe(-40);
    expect(neck.beyond).toBe(false);
    expect(fastestOut).toBeLessThanOrEqual(20 + 1e-6);
    expect(fastestOut).toBeGreaterThan(19);
    expect(fastestIn).toBeLessThanOrEqual(120 + 1e-6);
    expect(fastestIn).toBeGreaterThan(119);
    expect(hardest).toBeLessThanOrEqual(600 * (1 + 1e-6));
  });

  test('sent elsewhere once it is inside, it is as fast as ever', async () => {
    const { rig, client } = await outside(over);
    await client.call('channel.move', { channel: 'neck', to: 0 });
    await rig.until(() => rig.servo('neck').setpoint.pos < 35);
    const { durationS } = await client.call('channel.move', { channel: 'neck', to: -40 });
    expect(durationS).toBeLessThan(1.2);
    await rig.run(durationS * 1000 + 10);
    expect(rig.servo('neck').setpoint.pos).toBe(-40);
  });

  test('turned round on its way out, it is not faster than 20 deg/s out there', async () => {
    for (const afterMs of [20, 60, 100, 150, 200, 300]) {
      const { rig, client } = await Rig.live(makeProp({ neck: servo(over) }));
      await client.call('channel.move', { channel: 'neck', to: 39 });
      await rig.run(1500);
      await client.call('channel.jog', { channel: 'neck', byDeg: 5, beyondLimits: true });
      await rig.run(afterMs);
      await client.call('channel.move', { channel: 'neck', to: -40 });
      const neck = rig.servo('neck');
      rig.afterTick = () => {
        if (neck.setpoint.pos > 40)
          expect(Math.abs(neck.setpoint.vel)).toBeLessThanOrEqual(20 + 1e-6);
      };
      await rig.until(() => !neck.moving);
      expect([afterMs, neck.setpoint.pos, neck.beyond]).toEqual([afterMs, -40, false]);
    }
  });

  test('in a pose it arrives together with the others, and in the time asked for', async () => {
    const { rig, client } = await outside(over);
    const { durationS } = await client.call('channel.move', { channel: 'neck', to: 0, overS: 3 });
    expect(durationS).toBe(3);
    await rig.run(2900);
    expect(rig.servo('neck').moving).toBe(true);
    await rig.run(150);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });
});

describe('a limit captured while pushing', () => {
  test('is refused, with the angle where it stopped pushing last', async () => {
    const { rig, client } = await outside();
    const { pushing } = rig.board();
    const feel = async (byDeg: number) => {
      await client.call('channel.jog', { channel: 'neck', byDeg, beyondLimits: true });
      await rig.run(800);
    };
    const capture = () => client.refused('limits.capture', { channel: 'neck', end: 'high' });
    pushing.add('neck');
    await rig.run(50);
    // Before the last step it stood free.
    let refusal = await capture();
    expect(refusal.code).toBe(CODES.outOfLimits);
    expect(refusal.values).toMatchObject({ channel: 'neck', value: 48, wouldDo: 44 });
    expect(refusal.message).toContain('it did not at 44 deg');
    await feel(-3);
    pushing.delete('neck');
    await rig.run(50);
    await feel(-1);
    await feel(2);
    pushing.add('neck');
    await rig.run(50);
    refusal = await capture();
    expect(refusal.values).toMatchObject({ value: 46, wouldDo: 45 });
    await feel(-1);
    pushing.delete('neck');
    await rig.run(50);
    await expect(client.call('limits.capture', { channel: 'neck', end: 'high' })).resolves.toEqual({
      limitsDeg: [-40, 45],
    });
  });

  test('pushing one step further out than it stood free: that step', async () => {
    const { rig, client } = await outside();
    await client.call('channel.jog', { channel: 'neck', byDeg: 1.5, beyondLimits: true });
    await rig.run(300);
    rig.board().pushing.add('neck');
    await rig.run(100);
    const refusal = await client.refused('limits.capture', { channel: 'neck', end: 'high' });
    expect(refusal.values).toMatchObject({ value: 49.5, wouldDo: 48 });
  });
});
