import { expect, test } from 'vitest';
import { makeProp, Rig, servo } from '../rig.ts';

test('a servo parked at a limit that is not a whole pulse is within its limits, and moves at full speed', async () => {
  const flap = servo({
    calibration: [
      [1000, -30],
      [2000, 60],
    ],
    envelopeUs: undefined,
    limitsDeg: [0, 50],
  });
  const { rig, client } = await Rig.live(makeProp({ flap }));
  expect(rig.servo('flap').beyond).toBe(false);
  const { durationS } = await client.call('channel.move', { channel: 'flap', to: 40 });
  // Trapezoid: 40 deg at 120 deg/s and 600 deg/s2 take 40/120 + 120/600 s.
  expect(durationS).toBeCloseTo(40 / 120 + 120 / 600, 4);
});
