import { describe, expect, test } from 'vitest';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import type { MeasuredAngle } from '../../../src/core/measured-angle.ts';
import { FLAG } from '../../../src/shared/telemetry.ts';
import { type Client, makeProp, Rig, servo } from '../rig.ts';

/** A servo with a feedback potentiometer: 0.02 V a degree, 1.5 V at 0 deg. */
const ANGLE = {
  ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
  calibration: [
    [0.5, -50],
    [2.5, 50],
  ],
};

interface Bench {
  rig: Rig;
  client: Client;
  meter: SimDriver;
  notes(): string[];
  said(): string[];
  astray(): boolean;
  angle(): MeasuredAngle;
}

async function open(
  stopsDeg: [number, number] = [-45, 45],
  sense: Record<string, unknown> = {},
  plant: Record<string, number> = {},
): Promise<Bench> {
  const prop = makeProp(
    { beak: servo(), tail: servo() },
    {
      senses: { angle: { ...ANGLE, ...sense } },
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
    },
  );
  const main = new SimDriver({ beak: { lagS: 0.06, stopsDeg, ...plant } });
  const meter = new SimDriver();
  const { rig, client } = await Rig.live(prop, { drivers: { meter, main } });
  return {
    ...{ rig, client, meter },
    notes: () => (rig.core.safety.senses ?? []).map(({ text }) => text),
    said: () => rig.texts('sense'),
    angle: () => rig.core.body.angles[0]!,
    astray: () => (rig.servo('beak').flags() & FLAG.astray) !== 0,
  };
}

async function move({ rig, client }: Bench, to: number, ms = 1500) {
  await client.call('channel.move', { channel: 'beak', to });
  await rig.run(ms);
}

describe('the measured angle beside the commanded one', () => {
  test('a free servo arrives: nothing is said of its way, its turns or its rests', async () => {
    const bench = await open();
    for (const to of [30, -40, 35, 0, 40]) await move(bench, to, 300);
    for (const to of [30, -40, 5]) await move(bench, to);
    expect([bench.said(), bench.notes(), bench.astray()]).toEqual([[], [], false]);
    const { measuredDeg } = bench.rig.servo('beak');
    expect(bench.angle().proven).toBe(true);
    expect(Math.abs(measuredDeg - 5)).toBeLessThan(1);
  });

  test('one that is blocked is far behind, then did not arrive; nothing else happens', async () => {
    const bench = await open([-45, 20]);
    await move(bench, 0);
    await bench.client.call('channel.move', { channel: 'beak', to: 40 });
    await bench.rig.until(() => bench.said().length > 0, 3);
    await bench.rig.until(() => !bench.rig.servo('beak').moving);
    // settleS, the time for a second look and a reading.
    await bench.rig.run(500 + 100 + 40);
    expect(bench.said().at(-1)).toMatch(
      /^beak did not arrive: commanded to 40 deg, measured at 20 deg; look for/,
    );
    expect(bench.notes()).toEqual([bench.said().at(-1)]);
    expect(bench.astray()).toBe(true);
    await bench.rig.run(20_000);
    expect(bench.rig.servo('beak').setpoint.pos).toBe(40);
    expect(bench.rig.condition).toBe('live');
    expect(bench.said().filter((text) => text.includes('did not arrive'))).toHaveLength(1);
    // Sent where it can go, it arrives, and nothing is said of it any more.
    await move(bench, 10);
    expect([bench.notes(), bench.astray()]).toEqual([[], false]);
  });

  test('a slow servo is behind on a fast way; it arrives in the end', async () => {
    const bench = await open([-45, 45], {}, { speedDegS: 15 });
    await move(bench, -40, 6000);
    await bench.client.call('channel.move', { channel: 'beak', to: 40 });
    const behind = () => bench.said().filter((text) => text.includes('far behind'));
    await bench.rig.until(() => behind().length > 0, 2);
    expect(behind()[0]).toMatch(/^beak is far behind on its way: commanded to \d+ deg by now/);
    await bench.rig.run(8000);
    expect([bench.notes(), bench.astray()]).toEqual([[], false]);
  });

  test('the tolerance and the settling time are those of the file', async () => {
    const wide = await open([-45, 37], {});
    await move(wide, 40, 3000);
    expect(wide.said()).toEqual([]);
    const narrow = await open([-45, 37], { arriveWithinDeg: 2, settleS: 3 });
    await narrow.client.call('channel.move', { channel: 'beak', to: 40 });
    await narrow.rig.until(() => !narrow.rig.servo('beak').moving);
    await narrow.rig.run(2900);
    expect(narrow.said()).toEqual([]);
    await narrow.rig.run(300);
    expect(narrow.said()[0]).toContain('did not arrive');
  });

  test('while it feels for its stop, and without readings, nothing is said of where it is', async () => {
    const bench = await open([-45, 41]);
    await move(bench, 40);
    for (let i = 0; i < 4; i++) {
      await bench.client.call('channel.jog', { channel: 'beak', byDeg: 5, beyondLimits: true });
      await bench.rig.run(1500);
    }
    expect(bench.rig.servo('beak').setpoint.pos).toBe(60);
    expect(bench.said()).toEqual([]);
    await move(bench, 0);
    bench.meter.simulateSenses({ angle: { gone: true } });
    await move(bench, 30, 4000);
    expect(bench.said()).toEqual([expect.stringMatching(/^angle is not measured/)]);
    expect(bench.astray()).toBe(false);
  });

  test.each([
    ['sticks', { stuck: true }],
    ['says one value', { value: 1.5 }],
    ['is no number', { nan: true }],
    ['is out of range', { value: 3.3 }],
    ['is noisy', { noise: 0.3 }],
  ])('a sensor that %s moves nothing, stops nothing, and is no proof', async (_how, lie) => {
    const bench = await open();
    bench.meter.simulateSenses({ angle: lie });
    let mostDeg = 0;
    bench.rig.afterTick = () => {
      mostDeg = Math.max(mostDeg, Math.abs(bench.rig.servo('beak').setpoint.pos));
    };
    for (const to of [30, -30, 20, 0]) await move(bench, to);
    expect(bench.rig.servo('beak').setpoint.pos).toBe(0);
    expect(mostDeg).toBe(30);
    expect(bench.rig.condition).toBe('live');
    expect(bench.angle().proven).toBe(false);
    expect(bench.rig.texts('stop')).toEqual([]);
  });

  test('one that counts the wrong way, or is that of another servo, is no proof', async () => {
    const wrong = await open([-45, 45], {
      calibration: [
        [0.5, 50],
        [2.5, -50],
      ],
    });
    const other = await open([-45, 45], { channel: 'tail' });
    for (const bench of [wrong, other]) {
      // What there is to be measured follows the calibration: here the sensor is another one.
      bench.meter.exposeSense = () => {};
      const read = SimDriver.prototype.exposeSense.bind(bench.meter);
      bench.rig.afterTick = () => {
        read(0, 1.5 + 0.02 * bench.rig.servo('beak').setpoint.pos);
      };
    }
    for (const to of [30, -30, 20, 0]) {
      await move(wrong, to);
      await other.client.call('channel.move', { channel: 'tail', to });
      await move(other, -to);
    }
    expect(wrong.angle().proven).toBe(false);
    expect(other.angle().proven).toBe(false);
    expect(wrong.said().some((text) => text.includes('did not arrive'))).toBe(true);
    expect(other.said().some((text) => text.startsWith('tail did not arrive'))).toBe(true);
  });

  test('a horn that has slipped over days is said to have, also after a restart', async () => {
    const bench = await open();
    const { clock } = bench.rig;
    const real = clock.wallMs.bind(clock);
    let days = 0;
    clock.wallMs = () => real() + days * 86_400_000;
    // The flap is where the horn no longer is: the calibration reads 6 deg more.
    let slipDeg = 0;
    const read = SimDriver.prototype.exposeSense.bind(bench.meter);
    bench.meter.exposeSense = (at, volts) => read(at, volts + 0.02 * slipDeg);
    for (days = 0; days < 4; days++) {
      if (days === 3) slipDeg = 4.7;
      for (let i = 0; i < 5; i++) for (const to of [10, -10]) await move(bench, to, 900);
    }
    expect(bench.notes()).toEqual([
      expect.stringMatching(/^the horn of beak may have slipped by [45] deg since 4 January; with/),
    ]);
    expect(bench.said().at(-1)).toBe(bench.notes()[0]);
    const saved = bench.rig.store.saved!;
    expect(saved.angles!.beak!.slip!.days).toHaveLength(3);
    const again = await Rig.open(bench.rig.prop, {
      restored: { ...saved, sameBoot: false },
      drivers: { meter: new SimDriver(), main: new SimDriver() },
    });
    await again.run(200);
    expect(again.core.body.angles[0]!.slip.slipped!.byDeg).toBeGreaterThan(4);
    expect((again.core.safety.senses ?? []).map(({ text }) => text)).toEqual([
      expect.stringContaining('may have slipped'),
    ]);
  });
});
