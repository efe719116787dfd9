import { expect, test } from 'vitest';
import { rehearsedLoad } from '../../src/rehearsal/rehearsed-load.ts';
import { makeProp, relay, servo } from '../core/rig.ts';

const PROP = makeProp(
  {
    neck: servo({ rail: 'six', draw: { idleA: 0.1, movingA: 0.5, stallA: 1.5 } }),
    jaw: servo({ rail: 'six', draw: { idleA: 0.1, movingA: 0.3, stallA: 0.9 } }),
    horn: relay({ rail: 'five', draw: { onA: 0.4 } }),
  },
  {
    rails: { six: { volts: 6, limitA: 4 }, five: { volts: 5, limitA: 1 } },
    cues: {
      apart: [
        { name: 'first', at: 0, move: { neck: 20 }, overS: 1 },
        { after: 'first', at: 0.5, move: { jaw: 20 }, overS: 1 },
      ],
      together: [{ at: 0.5, move: { neck: 20, jaw: 20 }, overS: 1 }],
      horn: [{ at: 1, switch: { horn: 'on' }, forS: 1 }],
    },
  },
);

const six = async (cue: string) => {
  const { rails, durationS } = await rehearsedLoad(PROP, cue);
  return { ...rails.find(({ name }) => name === 'six')!, durationS };
};

test('the peak is what starts, and at the worst that is stalled', async () => {
  const together = await six('together');
  // For 0.05 s both draw their stall current; then 0.8 A, as the mean tells: a start counts once.
  expect(together.peakA).toBeCloseTo(1.5 + 0.9, 9);
  const movesS = 1;
  const chargeAs = 0.05 * 2.4 + (movesS - 0.05) * 0.8 + (together.durationS - movesS) * 0.2;
  expect(together.meanA).toBeCloseTo(chargeAs / together.durationS, 1);
  expect(together.worstA).toBeCloseTo(1.5 + 0.9, 9);
  expect(together.worstAtS).toBeGreaterThanOrEqual(0.49);
  expect(together.worstAtS).toBeLessThan(1.6);
});

test('what moves one after the other is not stalled together', async () => {
  const apart = await six('apart');
  expect(apart.peakA).toBeCloseTo(0.1 + 1.5, 9);
  expect(apart.worstA).toBeCloseTo(0.1 + 1.5, 9);
  expect(apart.worstAtS).toBeLessThan(1.1);
});

test('a relay is not a motor: at the worst it draws what it draws', async () => {
  const { rails, durationS } = await rehearsedLoad(PROP, 'horn');
  const five = rails.find(({ name }) => name === 'five')!;
  expect(five.peakA).toBe(0.4);
  expect(five.worstA).toBe(0.4);
  // Closed for one of two seconds.
  expect(five.meanA).toBeCloseTo(0.4 / durationS, 2);
});

test('a cue that is not there is refused', async () => {
  await expect(rehearsedLoad(PROP, 'nothing')).rejects.toThrow(/nothing/);
});
