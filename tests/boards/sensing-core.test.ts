import { describe, expect, test } from 'vitest';
import { create as createAds1115 } from '../../src/boards/ads1115/driver.ts';
import type { Ads1115Board } from '../../src/boards/ads1115/facts.ts';
import { create as createIna226 } from '../../src/boards/ina226/driver.ts';
import type { Ina226Board } from '../../src/boards/ina226/facts.ts';
import { makeProp, Recorder, Rig, servo, settle, TICK_MS } from '../core/rig.ts';
import fc from '../fast-check.ts';
import { Ads1115Model, Ina226Model, WordBus } from './word-chips.ts';

/** A prop whose rail has a meter, and whose servo has a potentiometer; the core with the real drivers. */
async function live() {
  const [meter, adc] = [new Ina226Model(), new Ads1115Model()];
  meter.shuntV = 0.02;
  meter.busV = 6;
  adc.inputV[1] = 1.5;
  const bus = new WordBus({ 69: meter, 72: adc });
  const prop = makeProp(
    { beak: servo({ rail: 'six' }) },
    {
      rails: { six: { volts: 6, limitA: 5 } },
      boards: {
        main: { driver: 'sim' },
        meter: { driver: 'ina226', bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8 },
        adc: { driver: 'ads1115', bus: 1, address: 0x48 },
      },
      senses: {
        amps: { kind: 'current', board: 'meter', rail: 'six' },
        supply: { kind: 'volts', board: 'meter', rail: 'six' },
        angle: {
          ...{ kind: 'position', board: 'adc', input: 1, channel: 'beak' },
          calibration: [
            [0.5, -45],
            [2.5, 45],
          ],
        },
      },
    },
  );
  const around = {
    openBus: async () => bus,
    wait: async (ms: number) => {
      adc.nowMs += ms;
      await settle();
    },
  };
  const main = new Recorder();
  const { rig, client } = await Rig.live(prop, {
    drivers: {
      main,
      meter: createIna226(prop.boards.meter as Ina226Board, around),
      adc: createAds1115(prop.boards.adc as Ads1115Board, around),
    },
  });
  const run = async (ms: number) => {
    for (let at = 0; at < ms; at += TICK_MS) {
      meter.convert();
      await rig.run(TICK_MS);
      for (let turn = 0; turn < 12; turn++) await settle();
    }
  };
  // The chips have not converted anything while the core started.
  await run(1300);
  const value = (name: string) => {
    const { senses } = rig.core.body;
    return senses.valueOf(senses.find(name)!);
  };
  return { rig, client, bus, meter, adc, run, value };
}

describe('the core with boards that measure', () => {
  test('has their values', async () => {
    const { run, value } = await live();
    await run(100);
    expect(value('amps')).toBeCloseTo(2, 2);
    expect(value('supply')).toBeCloseTo(6, 2);
    expect(value('angle')).toBeCloseTo(0, 1);
  });

  test('whatever happens on their bus, the prop stays live and its ticks go on', async () => {
    const acts = fc.constantFrom('gone', 'stuck', 'hold', 'reset', 'other', 'frozen', 'well');
    await fc.assert(
      fc.asyncProperty(fc.array(acts, { minLength: 1, maxLength: 4 }), async (all) => {
        const { rig, bus, meter, adc, run, value } = await live();
        let release = () => {};
        for (const act of all) {
          if (act === 'gone') bus.fail('EREMOTEIO');
          else if (act === 'stuck') bus.fail('ETIMEDOUT');
          else if (act === 'hold') {
            release();
            release = bus.hold();
          } else if (act === 'reset') for (const chip of [meter, adc]) chip.powerOn();
          else if (act === 'other') meter.registers.set(0xfe, 0);
          else if (act === 'frozen') {
            meter.frozen = true;
            adc.frozen = true;
          }
          await run(200);
          expect(rig.core.condition).toBe('live');
          // Never a 0 that is none.
          for (const name of ['amps', 'supply']) expect(value(name)).not.toBe(0);
        }
        release();
        bus.mend();
        meter.registers.set(0xfe, 0x5449);
        meter.frozen = false;
        adc.frozen = false;
        await run(1300);
        expect(rig.core.condition).toBe('live');
        expect(value('amps')).toBeCloseTo(2, 2);
        expect(value('angle')).toBeCloseTo(0, 1);
      }),
      { numRuns: 8 },
    );
  });

  test('reports a reset in the journal, as something about its senses', async () => {
    const { rig, meter, run } = await live();
    await run(200);
    meter.powerOn();
    await run(200);
    const told = rig.entries.filter(({ what }) => what === 'sense');
    expect(told.map(({ text }) => text).join()).toMatch(/0x45 .* had lost its settings/);
  });
});
