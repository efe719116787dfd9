import { describe, expect, test } from 'vitest';
import { BatteryWatch } from '../../src/core/battery-watch.ts';
import { Body } from '../../src/core/body.ts';
import { aboutHours, batteryState, batteryText } from '../../src/prop/battery.ts';
import { LEAD } from './lead-acid.ts';
import { makeProp, Recorder, relay } from './rig.ts';

const EVERY_MS = 20;
const LEAD_BATTERY = { capacityAh: 100, ratedH: 20, peukert: 1.2, internalOhm: 0.02, curve: LEAD };

function bench(battery: Record<string, unknown>, over: Record<string, unknown> = {}) {
  const make = () =>
    Body.of(
      {
        cueDurationsS: {},
        ...makeProp(
          { mist: relay() },
          { rails: { twelve: { volts: 12, limitA: 20, battery, ...over } } },
        ),
      },
      new Map([['main', new Recorder()]]),
    );
  const watch = new BatteryWatch();
  let body = make();
  let nowMs = 0;
  const { battery: spec } = body.prop.rails.twelve!;
  return {
    /** For so long, at this current and voltage; NaN is not measured. */
    run(seconds: number, amps: number, volts: number, isMeasured = true) {
      const rail = body.rails[0]!;
      rail.amps = isMeasured ? 99 : amps;
      rail.measuredA = isMeasured ? amps : Number.NaN;
      rail.measuredV = volts;
      for (const endMs = nowMs + seconds * 1000; nowMs < endMs; ) {
        nowMs += EVERY_MS;
        watch.tick(body, nowMs);
      }
    },
    /** Another version of the file, with the same battery. */
    change() {
      body = make();
    },
    stall(seconds: number) {
      nowMs += seconds * 1000;
      watch.tick(body, nowMs);
    },
    get state() {
      return batteryState(spec!, body.rails[0]!.battery!);
    },
    get knows() {
      return body.rails[0]!.battery !== undefined;
    },
  };
}

describe('what is left of a battery', () => {
  // Half of it is left at 12.24 V without a load, by the table; from full, 100 Ah at 20 h with Peukert's
  // exponent 1.2 lasts 8.7 h at 10 A (the worked example that encyclopaedias give, from memory).
  test('is read off its curve, by the voltage less what is lost inside it; its time follows from Peukert', () => {
    const battery = bench(LEAD_BATTERY);
    battery.run(200, 10, 12.24 - 10 * 0.02);
    expect(battery.state).toMatchObject({ left: 0.5, by: 'curve', meanA: 10, draw: 'measured' });
    expect(battery.state.fullH).toBeCloseTo(8.7, 1);
    expect(battery.state.leftH).toBeCloseTo(4.35, 1);
    expect(batteryText(battery.state)).toBe(
      'about 4 h, estimated, at a measured 10.00 A (50 % left, by its curve)',
    );
  });

  test('a load alone does not make it look emptier, and the voltage that it should have falls with it', () => {
    const battery = bench(LEAD_BATTERY);
    battery.run(100, 0, 12.45);
    expect(battery.state.expectedV).toBeCloseTo(12.45, 2);
    battery.run(5, 20, 12.05);
    expect(battery.state.left).toBe(0.75);
    expect(battery.state.expectedV).toBeCloseTo(12.05, 2);
    // Half an ohm more than the file says: far below what it should have.
    battery.run(1, 20, 12.05 - 10);
    expect(battery.state.expectedV! - (12.05 - 10)).toBeGreaterThan(9);
  });

  test('without a curve it is counted once it was seen full, and not known before', () => {
    const battery = bench({ capacityAh: 2, fullV: 12.6 });
    battery.run(10, 1, 11.5);
    expect(battery.state.left).toBeUndefined();
    expect(batteryText(battery.state)).toBe(
      'about 2 h from full, estimated, at a measured 1.00 A; what is left is not known',
    );
    battery.run(200, 0.01, 12.55);
    expect(battery.state).toMatchObject({ left: 1, by: 'counted' });
    // 2 A for 15 min are 0.5 Ah of 2 Ah.
    battery.run(200, 2, 12.2);
    battery.run(700, 2, 11.9);
    expect(battery.state.left).toBeCloseTo(0.75, 2);
    // The plug is pulled, and another battery comes: nobody knows how full.
    battery.run(1, 0, 0);
    battery.run(20, 1, 11.9);
    expect(battery.state.left).toBeUndefined();
  });

  test('an estimated draw is called that, until the mean is of measured ones alone', () => {
    const battery = bench(LEAD_BATTERY);
    battery.run(60, 4, 12.3, false);
    expect(battery.state).toMatchObject({ meanA: 4, draw: 'estimated' });
    battery.run(60, 2, 12.3);
    expect(battery.state.draw).toBe('estimated');
    expect(batteryText(battery.state)).toContain('an estimated');
    battery.run(3000, 2, 12.3);
    expect(battery.state).toMatchObject({ meanA: 2, draw: 'measured' });
  });

  test('what cannot be known is not said', () => {
    const battery = bench(LEAD_BATTERY);
    battery.run(20, 1, Number.NaN);
    expect(battery.state).toEqual({ meanA: 1, draw: 'measured', fullH: 100 });
    battery.run(20, 0, 12.45);
    battery.run(6000, 0, 12.45);
    expect(battery.state).toMatchObject({ left: 0.75, meanA: 0 });
    expect(batteryText(battery.state)).toBe('75 % left, by its curve');
    // A voltage beyond the curve's ends is full, or empty.
    battery.run(300, 0, 14.4);
    expect(battery.state.left).toBe(1);
    battery.run(300, 0, 9);
    expect(battery.state.left).toBe(0);
  });

  test('another version of the file with the same battery goes on as before; a stall counts for nothing', () => {
    const battery = bench({ capacityAh: 2, fullV: 12.6 });
    battery.run(200, 0.01, 12.55);
    battery.run(900, 2, 11.9);
    const { left } = battery.state;
    battery.change();
    battery.run(0.04, 2, 11.9);
    expect(battery.state.left).toBeCloseTo(left!, 2);
    battery.stall(3000);
    expect(battery.state.left).toBeCloseTo(left!, 2);
  });

  test('behind a regulator nothing is said: the rail is not the battery', () => {
    expect(bench({ capacityAh: 2, nominalV: 7.4 }, { volts: 5 }).knows).toBe(false);
    expect(bench({ capacityAh: 2 }, { volts: 5 }).knows).toBe(true);
  });
});

test('times are rounded as far as such an estimate holds', () => {
  const said = [0.05, 0.34, 0.95, 0.99, 1.3, 2.7, 2.8, 8.7, 60].map(aboutHours);
  expect(said).toEqual([
    'less than 5 min',
    'about 20 min',
    'about 55 min',
    'about 1 h',
    'about 1.5 h',
    'about 2.5 h',
    'about 3 h',
    'about 9 h',
    'more than 48 h',
  ]);
});
