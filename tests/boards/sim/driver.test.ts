import { describe, expect, test } from 'vitest';
import type { Frame, OutputSpec, Sense, ServoPlant } from '../../../src/boards/board.ts';
import { createDriver } from '../../../src/boards/registry.ts';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { Calibration } from '../../../src/sums/calibration.ts';
import fc from '../../fast-check.ts';

const TICK_MS = 5;
/** 10 us a degree, 1500 us is 0 deg. */
const calibration = new Calibration([
  [1000, -50],
  [2000, 50],
]);
const draw = { idleA: 0.01, movingA: 0.25, stallA: 0.9 };
const servo = (over: Partial<ServoPlant> = {}): ServoPlant => ({
  kind: 'servo',
  channel: 'beak',
  calibration,
  envelopeUs: [900, 2100],
  limitsDeg: [-5, 35],
  draw,
  parkDeg: 0,
  ...over,
});
const pulse = (plant: ServoPlant): OutputSpec => ({
  name: plant.channel,
  kind: 'pulse',
  pin: 18,
  safe: 0,
  plant,
});

/** A driver on a bench: time, frames and measurements without the core around it. */
class Bench {
  readonly driver: SimDriver;
  nowMs = 0;
  readonly sensed: Sense = { positionDeg: 0, amps: 0, pushing: false };
  #frame: Frame = { count: 1, output: new Uint16Array(1), value: new Float64Array(1) };

  constructor(driver: SimDriver) {
    this.driver = driver;
  }

  static async of(
    plants: readonly ServoPlant[],
    settings: ConstructorParameters<typeof SimDriver>[0] = {},
    startDeg: Record<string, number> = {},
  ): Promise<Bench> {
    const driver = new SimDriver(settings, startDeg);
    await driver.open(plants.map(pulse), []);
    return new Bench(driver);
  }

  write(value: number, output = 0): void {
    this.#frame.output[0] = output;
    this.#frame.value[0] = value;
    this.driver.write(this.#frame, this.nowMs);
  }

  command(deg: number, output = 0): void {
    this.write(calibration.toPulseUs(deg), output);
  }

  sense(output = 0): Sense {
    this.driver.sense(output, this.nowMs, this.sensed);
    return this.sensed;
  }

  /** Lets time pass tick by tick, measuring in each. */
  wait(ms: number, each: (sensed: Sense) => void = () => {}): Sense {
    for (const endMs = this.nowMs + ms; this.nowMs < endMs; ) {
      this.nowMs += TICK_MS;
      each(this.sense());
    }
    return this.sensed;
  }
}

describe('a servo of the sim driver', () => {
  test('answers a step as a first-order lag does', async () => {
    // c(t) = 1 - exp(-t / T): 63.2, 86.5, 95.0, 98.2 and 99.3 % after T to 5 T (Ogata, Modern
    // Control Engineering, section "First-order systems"; from memory). T is lagS less the mean
    // wait for a 50 Hz frame, 10 ms; the pulse comes with a frame, so there is no wait here.
    const bench = await Bench.of(
      [servo()],
      { beak: { lagS: 0.06, speedDegS: 5000, stopsDeg: [-50, 50] } },
      { beak: 0 },
    );
    bench.command(10);
    for (const share of [0.632, 0.865, 0.95, 0.982, 0.993])
      expect(bench.wait(50).positionDeg / 10).toBeCloseTo(share, 3);
  });

  test('moves at its own top speed when the way is long', async () => {
    const bench = await Bench.of(
      [servo()],
      { beak: { lagS: 0.03, speedDegS: 100, stopsDeg: [-50, 50] } },
      { beak: -40 },
    );
    bench.command(40);
    // v T = 2 deg: at full speed for the first 78 deg, so -40 + 100 t.
    expect(bench.wait(300).positionDeg).toBeCloseTo(-10, 9);
    expect(bench.sensed.amps).toBeCloseTo(draw.movingA, 9);
    expect(bench.wait(400).positionDeg).toBeCloseTo(30, 9);
  });

  test('agrees with a fine-step integration for random pulses at random times', async () => {
    const settings = { lagS: 0.06, speedDegS: 330, stopsDeg: [-20, 30] as [number, number] };
    const steps = fc.array(
      fc.record({ deg: fc.integer({ min: -50, max: 50 }), ticks: fc.integer({ min: 1, max: 60 }) }),
      { minLength: 1, maxLength: 12 },
    );
    await fc.assert(
      fc.asyncProperty(steps, async (sequence) => {
        const bench = await Bench.of([servo()], { beak: settings }, { beak: 5 });
        const DT_S = 0.00005;
        let x = 5;
        let target = Number.NaN;
        let pulseUs = 0;
        let worst = 0;
        for (const { deg, ticks } of sequence) {
          bench.command(deg);
          pulseUs = calibration.toPulseUs(deg);
          for (let tick = 0; tick < ticks; tick++) {
            // Euler: dx/dt = clamp((target - x) / T, -v, v), stops at both ends, frames of 20 ms.
            if (bench.nowMs % 20 === 0) target = calibration.toDeg(pulseUs);
            if (!Number.isNaN(target))
              for (let i = 0; i < 100; i++) {
                const rate = Math.min(Math.max((target - x) / 0.05, -330), 330);
                x = Math.min(Math.max(x + rate * DT_S, -20), 30);
              }
            worst = Math.max(worst, Math.abs(bench.wait(TICK_MS).positionDeg - x));
          }
        }
        expect(worst).toBeLessThan(0.05);
      }),
      { numRuns: 100 },
    );
  });

  test('settles where it is commanded, inside its stops', async () => {
    const bench = await Bench.of([servo()]);
    for (const deg of [30, 0, 35, -5, 12.3]) {
      bench.command(deg);
      const { positionDeg, pushing, amps } = bench.wait(1500);
      expect(positionDeg).toBeCloseTo(deg, 3);
      expect(pushing).toBe(false);
      expect(amps).toBeCloseTo(draw.idleA, 3);
    }
  });

  test('never passes its hard stops, whatever the pulses', async () => {
    const writes = fc.array(
      fc.record({
        us: fc.oneof(fc.integer({ min: 100, max: 3000 }), fc.constant(0)),
        ms: fc.integer({ min: 1, max: 3000 }),
      }),
      { minLength: 1, maxLength: 30 },
    );
    await fc.assert(
      fc.asyncProperty(
        fc.string({ minLength: 1, maxLength: 8 }),
        writes,
        async (name, sequence) => {
          const bench = await Bench.of([servo({ channel: name })]);
          const [low, high] = bench.driver.stopsDeg(name)!;
          for (const { us, ms } of sequence) {
            bench.write(us);
            bench.nowMs += ms;
            const { positionDeg, amps } = bench.sense();
            expect(positionDeg).toBeGreaterThanOrEqual(low);
            expect(positionDeg).toBeLessThanOrEqual(high);
            expect(amps).toBeGreaterThanOrEqual(0);
            expect(amps).toBeLessThanOrEqual(draw.stallA);
          }
        },
      ),
      { numRuns: 300 },
    );
  });

  test('draws no more than movingA while nothing is in its way', async () => {
    const bench = await Bench.of([servo()]);
    for (const deg of [35, -5, 20, 0]) {
      bench.command(deg);
      bench.wait(80, ({ amps, pushing }) => {
        expect(pushing).toBe(false);
        expect(amps).toBeLessThanOrEqual(draw.movingA);
      });
    }
  });

  test('pushes against its stop, the harder the further it is commanded beyond', async () => {
    const bench = await Bench.of([servo()], { beak: { stopsDeg: [-8, 38] } });
    for (const side of [-8, 38]) {
      bench.command(side + 0.4 * Math.sign(side));
      expect(bench.wait(1000)).toMatchObject({ positionDeg: side, pushing: false });
      expect(bench.sensed.amps).toBeCloseTo(draw.idleA, 9);
      let before = draw.movingA;
      for (const beyond of [1, 3, 5, 8]) {
        bench.command(side + beyond * Math.sign(side));
        bench.wait(1000);
        const amps: number[] = [];
        bench.wait(1000, (sensed) => {
          expect(sensed.pushing).toBe(true);
          expect(sensed.positionDeg).toBe(side);
          amps.push(sensed.amps);
        });
        const mean = amps.reduce((sum, a) => sum + a) / amps.length;
        expect(mean).toBeGreaterThan(before);
        // The buzz shows: the current ripples, between movingA and stallA.
        expect(Math.max(...amps) - Math.min(...amps)).toBeGreaterThan(0.01);
        expect(Math.min(...amps)).toBeGreaterThan(draw.movingA);
        expect(Math.max(...amps)).toBeLessThanOrEqual(draw.stallA);
        before = mean;
      }
      expect(before).toBeGreaterThan(0.8 * draw.stallA);
    }
  });

  test('stays where it is when the pulses stop, and draws nothing', async () => {
    const bench = await Bench.of([servo()], {}, { beak: 30 });
    expect(bench.wait(500)).toEqual({ positionDeg: 30, amps: 0, pushing: false });
    bench.command(-5);
    bench.wait(60);
    bench.write(0);
    bench.wait(25); // the frame without a pulse has to come
    const { positionDeg } = { ...bench.sensed };
    expect(positionDeg).toBeGreaterThan(-5);
    expect(positionDeg).toBeLessThan(30);
    expect(bench.wait(60_000)).toEqual({ positionDeg, amps: 0, pushing: false });
  });

  test('takes in a pulse with the next frame of 20 ms', async () => {
    const bench = await Bench.of([servo()], {}, { beak: 0 });
    bench.nowMs = 5;
    bench.command(30);
    expect(bench.wait(15).positionDeg).toBe(0);
    expect(bench.wait(5).positionDeg).toBeGreaterThan(0.5);
  });

  test('is the same in every run, however often it is looked at', async () => {
    const run = async (look: boolean) => {
      const bench = await Bench.of([servo()]);
      const seen: Sense[] = [];
      for (const deg of [30, -20, 5, 60]) {
        bench.command(deg);
        if (look) bench.wait(400);
        else bench.nowMs += 400;
        seen.push({ ...bench.sense() });
      }
      return seen;
    };
    const first = await run(true);
    expect(await run(true)).toEqual(first);
    (await run(false)).forEach((sensed, i) => {
      expect(sensed.positionDeg).toBeCloseTo(first[i]!.positionDeg, 9);
      expect(sensed.amps).toBeCloseTo(first[i]!.amps, 9);
    });
  });

  test('a day between two looks takes no longer than a tick', async () => {
    const bench = await Bench.of(
      [servo()],
      { beak: { speedDegS: 0.001, stopsDeg: [-50, 50] } },
      {
        beak: 0,
      },
    );
    bench.command(40);
    bench.nowMs += 10_000_000; // 10 deg at a thousandth of a degree a second
    expect(bench.sense().positionDeg).toBeCloseTo(10, 6);
    bench.nowMs += 86_400_000;
    expect(bench.sense().positionDeg).toBeCloseTo(40, 6);
  });

  test('stands near its park position at power-on, and where it was after a new open', async () => {
    const bench = await Bench.of([servo({ parkDeg: 12 })]);
    expect(Math.abs(bench.sense().positionDeg - 12)).toBeLessThanOrEqual(2);
    expect(bench.sensed.positionDeg).not.toBe(12);
    bench.command(30);
    const { positionDeg } = { ...bench.wait(1000) };
    await bench.driver.close();
    await bench.driver.close();
    await bench.driver.open([pulse(servo({ parkDeg: 12 }))], []);
    expect(bench.wait(1000)).toEqual({ positionDeg, amps: 0, pushing: false });
  });
});

describe('hard stops', () => {
  const names = Array.from({ length: 200 }, (_, i) => `servo_${i}`);
  const stopsOf = async (over: Partial<ServoPlant>) => {
    const bench = await Bench.of(names.map((channel) => servo({ channel, ...over })));
    return names.map((name) => bench.driver.stopsDeg(name)!);
  };

  test('lie between the soft limits and the envelope where there is room', async () => {
    const falling = new Calibration([
      [1000, 50],
      [2000, -50],
    ]);
    for (const calibrated of [calibration, falling]) {
      const stops = await stopsOf({ calibration: calibrated });
      for (const [low, high] of stops) {
        expect(low).toBeLessThan(-5);
        expect(low).toBeGreaterThan(-60);
        expect(high).toBeGreaterThan(35);
        expect(high).toBeLessThan(60);
      }
      expect(new Set(stops.flat()).size).toBe(400);
    }
  });

  test('lie inside the soft limits of a servo whose limits reach the envelope', async () => {
    for (const [low, high] of await stopsOf({ limitsDeg: [-50, 50], envelopeUs: [1000, 2000] })) {
      expect(low).toBeGreaterThanOrEqual(-47);
      expect(low).toBeLessThanOrEqual(-42);
      expect(high).toBeGreaterThanOrEqual(42);
      expect(high).toBeLessThanOrEqual(47);
    }
  });

  test('never cut off the park position', async () => {
    const uncalibrated = { limitsDeg: [-50, 50], envelopeUs: [1000, 2000] } as const;
    for (const [low] of await stopsOf({ ...uncalibrated, parkDeg: -50 })) expect(low).toBe(-50);
    for (const [, high] of await stopsOf({ ...uncalibrated, parkDeg: 50 })) expect(high).toBe(50);
  });

  test.each([
    ['as described', { beak: { stopsDeg: [-22.4, 31.7] as [number, number] } }],
    ['by default', {}],
  ])('are found within a degree by jogging until it pushes: %s', async (_name, settings) => {
    for (const direction of [-1, 1]) {
      const bench = await Bench.of(
        [servo({ limitsDeg: [-50, 50], envelopeUs: [1000, 2000] })],
        settings,
      );
      const stop = bench.driver.stopsDeg('beak')![direction < 0 ? 0 : 1];
      let commanded = 0;
      bench.command(commanded);
      while (!bench.wait(300).pushing) {
        expect(Math.abs(commanded)).toBeLessThan(50);
        commanded += direction;
        bench.command(commanded);
      }
      expect(Math.abs(commanded - direction - stop)).toBeLessThan(1);
      expect(bench.sensed.positionDeg).toBe(stop);
    }
  });

  test('described for a servo that is not there are refused by name', async () => {
    const driver = new SimDriver({ bek: { lagS: 0.1 } });
    await expect(driver.open([pulse(servo())], [])).rejects.toThrow(
      'plant bek: no such servo on this sim board; it has beak',
    );
  });
});

describe('loads and inputs', () => {
  const load = (name: string, kind: 'level' | 'duty', activeLevel: 0 | 1): OutputSpec => ({
    name,
    kind,
    pin: 23,
    safe: activeLevel === 1 ? 0 : 1,
    plant: { kind: 'load', channel: name, onA: 0.4, activeLevel },
  });

  test('a load draws by its level or duty, nothing at its safe value', async () => {
    const driver = new SimDriver();
    await driver.open(
      [load('fan', 'level', 1), load('mist', 'level', 0), load('eye.red', 'duty', 0)],
      [],
    );
    const bench = new Bench(driver);
    const amps = () => [0, 1, 2].map((output) => bench.sense(output).amps);
    expect(amps()).toEqual([0, 0, 0]);
    expect(bench.sensed).toEqual({ positionDeg: Number.NaN, amps: 0, pushing: false });
    bench.write(1, 0);
    bench.write(0, 1);
    bench.write(0.75, 2);
    expect(amps()).toEqual([0.4, 0.4, 0.1]);
    await driver.close();
    await driver.open(
      [load('fan', 'level', 1), load('mist', 'level', 0), load('eye.red', 'duty', 0)],
      [],
    );
    expect(amps()).toEqual([0, 0, 0]);
  });

  test('an output with nothing described behind it measures nothing', async () => {
    const driver = new SimDriver();
    await driver.open([{ name: 'spare', kind: 'level', pin: 4, safe: 0 }], []);
    expect(new Bench(driver).sense()).toEqual({
      positionDeg: Number.NaN,
      amps: Number.NaN,
      pushing: false,
    });
  });

  test('inputs rest at the level of their contact, else of their pull, until they are set', async () => {
    const driver = new SimDriver();
    await driver.open(
      [],
      [
        { name: 'stop', pin: 4, pull: 'up', restLevel: 0 },
        { name: 'button', pin: 5, pull: 'up' },
        { name: 'open', pin: 6, pull: 'down' },
      ],
    );
    expect([0, 1, 2].map((input) => driver.read(input))).toEqual([0, 1, 0]);
    expect(driver.simulate({ 4: 1 }, undefined).inputs).toEqual({ 4: 1, 5: 1, 6: 0 });
    expect(driver.read(0)).toBe(1);
    driver.simulate({ 4: null }, undefined);
    expect(driver.read(0)).toBe(0);
    expect(() => driver.read(3)).toThrow('no input 3');
  });
});

describe('failures', () => {
  test('every call fails while a fault is simulated', async () => {
    const bench = await Bench.of([servo()]);
    const calls = [
      () => bench.command(10),
      () => bench.sense(),
      () => bench.driver.read(0),
    ] as const;
    bench.driver.simulate({}, 'the bus is gone');
    for (const call of calls) expect(call).toThrow('the bus is gone');
    bench.driver.simulate({}, null);
    expect(() => bench.command(10)).not.toThrow();
  });

  test('a board that is not open, or has no such output, says so', async () => {
    const bench = await Bench.of([servo()]);
    expect(() => bench.write(1500, 7)).toThrow('no output 7');
    await bench.driver.close();
    expect(() => bench.write(1500)).toThrow('not open');
    expect(() => bench.sense()).toThrow('not open');
  });
});

describe('createDriver', () => {
  test('makes a sim driver with the plant of the prop file', async () => {
    const driver = await createDriver({ driver: 'sim', plant: { beak: { stopsDeg: [-9, 41] } } });
    await driver.open([pulse(servo())], []);
    expect((driver as SimDriver).stopsDeg('beak')).toEqual([-9, 41]);
  });
});
