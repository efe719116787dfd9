import { expect, test } from 'vitest';
import type { SimulatedSense } from '../../src/boards/board.ts';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import fc from '../fast-check.ts';
import { makeProp, Rig, servo } from './rig.ts';
import { PlantDriver, type PlantKind } from './servo-plant.ts';

/** Whatever kind of servo looks for its ends, and whatever becomes of its sensors and of the hand meanwhile. */

const KIND: fc.Arbitrary<PlantKind> = fc
  .record({
    stopsDeg: fc.tuple(fc.integer({ min: -38, max: -12 }), fc.integer({ min: 12, max: 38 })),
    playDeg: fc.double({ min: 0, max: 0.8, noNaN: true }),
    movingA: fc.double({ min: 0.15, max: 0.6, noNaN: true }),
    stallA: fc.double({ min: 0.9, max: 4, noNaN: true }),
    lagS: fc.double({ min: 0.03, max: 0.09, noNaN: true }),
    // The start of a motor, smeared by a slow sensor, would hide what it draws moving.
    slow: fc.constantFrom({}, { filterS: 0.05 }, { filterS: 0.1 }, { inrushS: 0.03 }),
    stepA: fc.constantFrom(0, 0, 0.01, 0.02),
    sticksDeg: fc.constantFrom(0, 0, 0.6),
    offsetDeg: fc.integer({ min: -5, max: 5 }),
  })
  .map(({ slow, ...kind }) => ({ ...kind, ...slow }));
const FAULT: fc.Arbitrary<SimulatedSense> = fc.constantFrom<SimulatedSense>(
  { stuck: true },
  { gone: true },
  { nan: true },
  { value: 0 },
  { value: 0.1 },
  { value: 2 },
  { as: 'other' },
  { noise: 0.3 },
);
const EVENT = fc.option(
  fc.record({
    what: fc.constantFrom('current', 'angle', 'release', 'silence', 'stop', 'move'),
    atS: fc.double({ min: 0, max: 90, noNaN: true }),
    fault: FAULT,
  }),
);

test('its ends are found, or nothing is proposed; no contact is long, and no pulse leaves the envelope', async () => {
  let [found, refused] = [0, 0];
  await fc.assert(
    fc.asyncProperty(KIND, EVENT, fc.boolean(), async (kind, event, withAngle) => {
      const calibration = [
        [0.5, -100],
        [2.5, 100],
      ];
      const prop = makeProp(
        { beak: servo({ limitsDeg: [-10, 10] }), tail: servo() },
        {
          boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
          senses: {
            current: { kind: 'current', board: 'meter', channel: 'beak' },
            other: {
              kind: 'current',
              board: 'meter',
              channel: 'tail',
              input: 3,
              calibration: [
                [0, 0],
                [2, 4],
              ],
            },
            ...(withAngle && {
              angle: { kind: 'position', board: 'meter', input: 1, channel: 'beak', calibration },
            }),
          },
        },
      );
      const main = new PlantDriver(kind);
      const meter = new SimDriver();
      const { rig, client } = await Rig.live(prop, { drivers: { main, meter } });
      await rig.run(500);
      const { run } = await client.call('measure.begin', { channel: 'beak', what: 'ends' });
      const beganMs = rig.clock.nowMs();
      let state = await client.call('measure.hold', { run });
      let happened = false;
      for (let i = 0; i < 4000 && state.running; i++) {
        const atS = (rig.clock.nowMs() - beganMs) / 1000;
        if (event && !happened && atS >= event.atS) {
          happened = true;
          if (event.what === 'current') meter.simulateSenses({ current: event.fault });
          if (event.what === 'angle' && withAngle)
            meter.simulateSenses({ angle: event.fault.as ? { stuck: true } : event.fault });
          if (event.what === 'release') await client.call('measure.release', { run });
          if (event.what === 'silence') await rig.run(400);
          if (event.what === 'stop') await rig.client('other').call('stop', { category: 2 });
          if (event.what === 'move') await client.call('channel.move', { channel: 'beak', to: 0 });
        }
        state = await client.call('measure.hold', { run });
        await rig.run(100);
      }
      await rig.run(2000);
      expect(state.running).toBe(false);
      expect(main.sentUs[0]).toBeGreaterThanOrEqual(900);
      expect(main.sentUs[1]).toBeLessThanOrEqual(2100);
      // After a stop of category 2 it stands where it was.
      if (event?.what !== 'stop') expect(main.longestMs).toBeLessThanOrEqual(300);
      if (state.ends) {
        found++;
        expect(Math.abs(state.ends.low.deg - kind.stopsDeg![0])).toBeLessThan(1);
        expect(Math.abs(state.ends.high.deg - kind.stopsDeg![1])).toBeLessThan(1);
      } else {
        expect(state.proposed).toBeUndefined();
        refused += event === null ? 1 : 0;
      }
    }),
    { numRuns: 20 },
  );
  // Without a fault it is hardly ever too weak or too unsteady.
  expect(refused).toBeLessThanOrEqual(found + 2);
});
