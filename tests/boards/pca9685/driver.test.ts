import { describe, expect, test, vi } from 'vitest';
import type { Frame, OutputSpec } from '../../../src/boards/board.ts';
import { Pca9685Driver } from '../../../src/boards/pca9685/driver.ts';
import { preScaleOf, stepUsOf } from '../../../src/boards/pca9685/rate.ts';
import { createDriver } from '../../../src/boards/registry.ts';
import { schemas } from '../../../src/prop/schema.ts';
import { CODES, Refusal } from '../../../src/shared/errors.ts';
import { FLAG } from '../../../src/shared/telemetry.ts';
import {
  lamp,
  makeProp,
  type Recorder,
  Rig,
  relay,
  restedAt,
  servo,
  settle,
} from '../../core/rig.ts';
import fc from '../../fast-check.ts';
import { duty, level, pulse } from '../outputs.ts';
import { Chip, Wire } from './model.ts';

type Pca9685Board = ConstructorParameters<typeof Pca9685Driver>[0];

const board = (over: Record<string, unknown> = {}) =>
  schemas().board.parse({ driver: 'pca9685', bus: 1, address: 0x40, ...over }) as Pca9685Board;

const TICK_MS = 5;
/** Half a step at 50 Hz and 25 MHz: 122 / 25 MHz / 2 (us). */
const HALF_STEP_US = 2.44 + 1e-9;

/** A driver with a chip on a wire; the wait for the oscillator passes on the chip's own time. */
class Bench {
  readonly chip: Chip;
  readonly wire: Wire;
  readonly driver: Pca9685Driver;
  nowMs = 1000;

  constructor(chip = new Chip(), over: Record<string, unknown> = {}, smbusOnly = false) {
    this.chip = chip;
    this.wire = new Wire(chip, smbusOnly);
    this.driver = new Pca9685Driver(board(over), {
      openBus: async () => this.wire,
      wait: async (ms) => {
        chip.nowUs += ms * 1000;
      },
    });
  }

  static async open(outputs: readonly OutputSpec[], bench = new Bench()): Promise<Bench> {
    await bench.driver.open(outputs, []);
    bench.wire.writes.length = 0;
    return bench;
  }

  /** Writes [output, value] pairs as one frame, a tick after the last. */
  write(...pairs: [output: number, value: number][]): void {
    const frame: Frame = {
      count: pairs.length,
      output: Uint16Array.from(pairs, ([output]) => output),
      value: Float64Array.from(pairs, ([, value]) => value),
    };
    this.nowMs += TICK_MS;
    this.driver.write(frame, this.nowMs);
  }

  check(): void {
    this.nowMs += TICK_MS;
    this.driver.check(this.nowMs);
  }

  /** Ticks without a write, until everything that was sent has arrived. */
  async settle(turns = 20): Promise<void> {
    for (let i = 0; i < turns; i++) await settle();
  }

  /** Ticks until the driver throws. */
  async failure(ticks = 100): Promise<Error> {
    for (let i = 0; i < ticks; i++) {
      await this.settle(2);
      try {
        this.check();
      } catch (error) {
        return error as Error;
      }
    }
    throw new Error(`no failure within ${ticks} ticks`);
  }
}

describe('the prescaler', () => {
  // NXP PCA9685 data sheet rev. 4, 7.3.5 (from memory): 200 Hz gives 1Eh; 03h is 1526 Hz, FFh is 24 Hz.
  test.each([
    [200, 0x1e],
    [1526, 0x03],
    [23.84, 0xff],
  ])('%d Hz from 25 MHz: %d', (hz, value) => {
    expect(preScaleOf({ frequencyHz: hz, oscillatorHz: 25e6 })).toBe(value);
    const realHz = 1e6 / (4096 * stepUsOf({ frequencyHz: hz, oscillatorHz: 25e6 }));
    expect(Math.abs(hz / realHz - 1)).toBeLessThanOrEqual(0.5 / (value + 1));
  });

  test('agrees with the Linux kernel driver (pwm-pca9685.c, from memory)', () => {
    fc.assert(
      fc.property(fc.integer({ min: 24, max: 1526 }), (hz) => {
        // DIV_ROUND_CLOSEST(25 MHz × period in ns, 4096 × 1000) - 1; the kernel's period is a whole ns.
        const periodNs = BigInt(Math.round(1e9 / hz));
        const kernel = Number((25n * periodNs + 2_048_000n) / 4_096_000n) - 1;
        expect(preScaleOf({ frequencyHz: hz, oscillatorHz: 25e6 })).toBe(kernel);
      }),
    );
  });

  test('a frequency out of reach of the trimmed oscillator is refused, with the reach', () => {
    expect(() => new Pca9685Driver(board({ frequencyHz: 24, oscillatorHz: 27e6 }))).toThrow(
      'a pca9685 cannot make 24 Hz from an oscillator of 27000000 Hz; set frequencyHz between 26 and 1526',
    );
    expect(preScaleOf({ frequencyHz: 26, oscillatorHz: 27e6 })).toBeLessThanOrEqual(255);
    expect(preScaleOf({ frequencyHz: 1647, oscillatorHz: 27e6 })).toBe(3);
  });
});

describe('opening', () => {
  const leftOver: Record<string, (chip: Chip) => void> = {
    'just powered on': () => {},
    'still sending pulses for somebody else': (chip) => {
      chip.write([0x00, 0x21]);
      chip.nowUs += 1000;
      chip.write([0x06, 0, 0, 0x33, 0x01, 0, 0x10, 0, 0]);
    },
    'without auto-increment, inverted': (chip) => {
      chip.write([0x00, 0x01]);
      chip.nowUs += 1000;
      chip.write([0x01, 0x14]);
      chip.write([0x09, 0x01]);
    },
    'put to sleep while pulses ran': (chip) => {
      chip.write([0x00, 0x21]);
      chip.nowUs += 1000;
      chip.write([0x06, 0, 0, 0x33, 0x01]);
      chip.write([0x00, 0x31]);
      expect(chip.read(0) & 0x80).toBe(0x80);
    },
  };
  test.each(Object.keys(leftOver))(
    'a chip %s: awake, 50 Hz, every output safe, no rule broken',
    async (state) => {
      const chip = new Chip();
      leftOver[state]!(chip);
      for (const states of chip.history) states.length = 0;
      const bench = await Bench.open([pulse(0), level(1, 1), duty(2, 1)], new Bench(chip));
      expect(chip.violations).toEqual([]);
      // Awake, auto-increment, deaf to all-call and sub-addresses; totem pole, not inverted.
      expect([chip.read(0), chip.read(1)]).toEqual([0x20, 0x04]);
      // round(25 MHz / (4096 × 50 Hz)) - 1 = round(122.07) - 1
      expect(chip.read(0xfe)).toBe(121);
      const states = Array.from({ length: 16 }, (_, pin) => chip.output(pin));
      expect(states).toEqual(['low', 'high', 'high', ...Array(13).fill('low')]);
      expect(bench.driver.pulseStepUs).toBeCloseTo(4.88, 10);
      // No pulse is begun on the way: once low, an output stays low.
      const first = chip.history[0]!.indexOf('low');
      expect(new Set(chip.history[0]!.slice(first))).toEqual(new Set(['low']));
    },
  );

  test('what the reopened driver wrote before is forgotten', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.write([0, 1500]);
    await bench.settle();
    await bench.driver.open([pulse(0)], []);
    expect(bench.chip.output(0)).toBe('low');
    bench.write([0, 1500]);
    await bench.settle();
    expect(Math.abs(bench.chip.pulseUs(0) - 1500)).toBeLessThan(HALF_STEP_US);
    expect(bench.wire.closed).toBe(1);
  });

  test.each([
    ['ENOENT', 'there is no /dev/i2c-1: switch the bus on (dtparam=i2c_arm=on'],
    ['EACCES', 'no permission to use /dev/i2c-1: add this user to the group i2c'],
    ['EBUSY', 'a kernel driver uses 0x40 on I2C bus 1: remove its overlay'],
    ['EREMOTEIO', 'nothing answers at 0x40 on I2C bus 1: check its supply, SDA, SCL'],
    ['ETIMEDOUT', '0x40 on I2C bus 1: the bus is stuck'],
  ])('%s is told with its remedy', async (code, text) => {
    const bench = new Bench();
    bench.wire.fail(code);
    const opened = bench.driver.open([pulse(0)], []);
    await expect(opened).rejects.toThrow(text);
    await expect(opened).rejects.toThrow(Refusal);
    expect(bench.wire.closed).toBe(1);
  });

  test('another chip at the address is told: it does not keep PRE_SCALE', async () => {
    const chip = new Chip();
    const bench = new Bench(chip);
    bench.wire.readByte = async () => 0xff;
    await expect(bench.driver.open([pulse(0)], [])).rejects.toThrow('is it a PCA9685?');
  });

  test('pins it does not have are refused', async () => {
    const { driver } = new Bench();
    await expect(driver.open([pulse(16)], [])).rejects.toThrow('has no output 16; use 0 to 15');
    const input = { name: 'stop', pin: 1, pull: 'up' as const };
    await expect(driver.open([], [input])).rejects.toThrow('stop: a pca9685 has no inputs');
  });

  test('createDriver makes one for the board of a prop file', async () => {
    expect(await createDriver(board({ bus: 9 }))).toBeInstanceOf(Pca9685Driver);
  });
});

describe('writing', () => {
  test('a pulse is read back within half a step, on any pin, at any frequency and trim', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.integer({ min: 0, max: 15 }),
        fc.double({ min: 24.5, max: 320, noNaN: true }),
        fc.double({ min: 23e6, max: 25e6, noNaN: true }),
        fc.double({ min: 100, max: 3000, noNaN: true }),
        async (pin, frequencyHz, oscillatorHz, us) => {
          const chip = new Chip(0x40, oscillatorHz);
          const bench = await Bench.open(
            [pulse(pin)],
            new Bench(chip, { frequencyHz, oscillatorHz }),
          );
          bench.write([0, us]);
          await bench.settle();
          const stepUs = 1e6 / chip.frequencyHz / 4096;
          expect(bench.driver.pulseStepUs).toBeCloseTo(stepUs, 9);
          expect(Math.abs(chip.pulseUs(pin) - us)).toBeLessThanOrEqual(stepUs / 2 + 1e-9);
        },
      ),
    );
  });

  test('a trimmed oscillator keeps a pulse right where an untrimmed one is off by its error', async () => {
    const run = async (oscillatorHz: number) => {
      const bench = await Bench.open([pulse(0)], new Bench(new Chip(0x40, 26e6), { oscillatorHz }));
      bench.write([0, 1500]);
      await bench.settle();
      return bench.chip.pulseUs(0);
    };
    expect(Math.abs((await run(26e6)) - 1500)).toBeLessThan(HALF_STEP_US);
    expect(Math.abs((await run(25e6)) - (1500 * 25) / 26)).toBeLessThan(HALF_STEP_US);
  });

  test('one transfer for a frame, of the changed range alone; none when nothing changes', async () => {
    const outputs = Array.from({ length: 16 }, (_, pin) => pulse(pin));
    const bench = await Bench.open(outputs);
    bench.check();
    await bench.settle();
    bench.write(...outputs.map(({ pin }): [number, number] => [pin, 1000 + pin * 50]));
    await bench.settle();
    expect(bench.wire.writes.map((bytes) => [bytes[0], bytes.length])).toEqual([[0x06, 65]]);
    bench.write([3, 1700], [5, 1800]);
    await bench.settle();
    expect(bench.wire.writes.slice(1).map((bytes) => [bytes[0], bytes.length])).toEqual([
      [0x06 + 4 * 3, 1 + 4 * 3],
    ]);
    // Less than a step away from what stands there.
    bench.write([3, 1700.1]);
    await bench.settle();
    expect(bench.wire.writes).toHaveLength(2);
    expect(Math.abs(bench.chip.pulseUs(4) - 1200)).toBeLessThan(HALF_STEP_US);
  });

  test('levels and the ends of duty are the full-on and full-off bits; 0 stops the pulses', async () => {
    const bench = await Bench.open([level(0), duty(1), duty(2), pulse(3)]);
    bench.write([0, 1], [1, 1], [2, 0.25], [3, 1500]);
    await bench.settle();
    const states = () => [0, 1, 2, 3].map((pin) => bench.chip.output(pin));
    expect(states()).toEqual(['high', 'high', { counts: 1024 }, { counts: 307 }]);
    bench.write([0, 0], [1, 0], [2, 1], [3, 0]);
    await bench.settle();
    expect(states()).toEqual(['low', 'low', 'high', 'low']);
  });

  test('a pulse longer than the period is an error, and nothing is sent', async () => {
    const bench = await Bench.open([pulse(0)], new Bench(new Chip(), { frequencyHz: 400 }));
    expect(() => bench.write([0, 2600])).toThrow('servo0: a pulse of 2600 us does not fit');
    await bench.settle();
    expect(bench.wire.writes).toEqual([]);
  });

  test('on a slow bus the newest values win, and transfers never overlap', async () => {
    const bench = await Bench.open([pulse(0), pulse(9)]);
    bench.check();
    await bench.settle();
    bench.wire.most = 0;
    const release = bench.wire.hold();
    bench.write([0, 1000]);
    for (let us = 1100; us <= 2000; us += 100) bench.write([0, us], [1, us + 5]);
    await bench.settle();
    expect(bench.wire.writes).toEqual([]);
    release();
    await bench.settle();
    expect(bench.wire.writes).toHaveLength(2);
    expect(bench.wire.most).toBe(1);
    expect(Math.abs(bench.chip.pulseUs(0) - 2000)).toBeLessThan(HALF_STEP_US);
    expect(Math.abs(bench.chip.pulseUs(9) - 2005)).toBeLessThan(HALF_STEP_US);
  });

  test('an adapter that only speaks SMBus gets blocks of 32 bytes', async () => {
    const outputs = Array.from({ length: 16 }, (_, pin) => pulse(pin));
    const bench = await Bench.open(outputs, new Bench(new Chip(), {}, true));
    bench.check();
    await bench.settle();
    bench.write(...outputs.map(({ pin }): [number, number] => [pin, 1000 + pin * 50]));
    await bench.settle();
    expect(bench.wire.writes.map((bytes) => [bytes[0], bytes.length])).toEqual([
      [0x06, 33],
      [0x26, 33],
    ]);
    for (let pin = 0; pin < 16; pin++)
      expect(Math.abs(bench.chip.pulseUs(pin) - 1000 - pin * 50)).toBeLessThan(HALF_STEP_US);
    await bench.driver.close();
    expect(bench.chip.violations).toEqual([]);
  });
});

describe('errors', () => {
  test('what fails twice is sent again, with the newest values, and nobody notices', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.check();
    await bench.settle();
    bench.wire.fail('EREMOTEIO', 2);
    bench.write([0, 1200]);
    bench.write([0, 1300]);
    await bench.settle();
    bench.check();
    expect(Math.abs(bench.chip.pulseUs(0) - 1300)).toBeLessThan(HALF_STEP_US);
    bench.wire.fail('EIO', 2);
    bench.write([0, 1400]);
    await bench.settle();
    bench.check();
    expect(Math.abs(bench.chip.pulseUs(0) - 1400)).toBeLessThan(HALF_STEP_US);
  });

  test('what fails three times is thrown by the next call, whichever it is', async () => {
    for (const next of ['write', 'check'] as const) {
      const bench = await Bench.open([pulse(0)]);
      bench.check();
      await bench.settle();
      bench.wire.fail();
      bench.write([0, 1200]);
      await bench.settle();
      const act = () => (next === 'write' ? bench.write([0, 1300]) : bench.check());
      expect(act).toThrow('nothing answers at 0x40 on I2C bus 1');
      expect(act).toThrow('nothing answers at 0x40 on I2C bus 1');
    }
  });

  test('after a failure the outputs are made safe as soon as the bus allows it', async () => {
    const bench = await Bench.open([pulse(0), level(1), duty(2)]);
    bench.write([0, 1500], [1, 1], [2, 0.5]);
    await bench.settle();
    bench.wire.fail('EREMOTEIO', 3);
    bench.write([0, 1600]);
    await bench.settle();
    expect([0, 1, 2].map((pin) => bench.chip.output(pin))).toEqual(['low', 'low', 'low']);
    expect(() => bench.check()).toThrow('nothing answers');
  });

  test('the outputs are tried to be made safe until that succeeds, and nobody is told before', async () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout'] });
    try {
      const bench = await Bench.open([pulse(0), level(1)]);
      bench.write([0, 1500], [1, 1]);
      await bench.settle();
      bench.wire.fail();
      bench.write([0, 1600]);
      await bench.settle();
      expect(() => bench.check()).toThrow('nothing answers');
      for (let second = 0; second < 60; second++) {
        vi.advanceTimersByTime(1000);
        await bench.settle(4);
      }
      expect(bench.driver.outputsAreSafe()).toBe(false);
      expect(bench.chip.output(1)).toBe('high');
      bench.wire.mend();
      vi.advanceTimersByTime(100);
      await bench.settle();
      expect(bench.driver.outputsAreSafe()).toBe(true);
      expect([bench.chip.output(0), bench.chip.output(1)]).toEqual(['low', 'low']);
    } finally {
      vi.useRealTimers();
    }
  });

  test('a stop tries at once; a reset that fails goes on trying; a close ends it', async () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout'] });
    try {
      const bench = await Bench.open([level(1)]);
      bench.write([0, 1]);
      await bench.settle();
      bench.wire.fail();
      bench.write([0, 0]);
      await bench.settle();
      await expect(bench.driver.open([level(1)], [])).rejects.toThrow('nothing answers');
      await bench.settle();
      expect(bench.driver.outputsAreSafe()).toBe(false);
      bench.wire.mend();
      bench.driver.retrySafe();
      await bench.settle();
      expect(bench.driver.outputsAreSafe()).toBe(true);
      expect(bench.chip.output(1)).toBe('low');
      await bench.driver.close();
      const { length } = bench.wire.writes;
      vi.advanceTimersByTime(10_000);
      await bench.settle();
      expect(bench.wire.writes).toHaveLength(length);
    } finally {
      vi.useRealTimers();
    }
  });

  test('a chip that never was ours is left alone when it cannot be opened', async () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout'] });
    try {
      const bench = new Bench();
      bench.wire.fail();
      await expect(bench.driver.open([pulse(0)], [])).rejects.toThrow('nothing answers');
      bench.wire.mend();
      vi.advanceTimersByTime(10_000);
      await bench.settle();
      expect(bench.wire.writes).toEqual([]);
    } finally {
      vi.useRealTimers();
    }
  });

  test('a bus that hangs is a failure after 250 ms, though no transfer has ended', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.check();
    await bench.settle();
    const release = bench.wire.hold();
    bench.write([0, 1500]);
    const startMs = bench.nowMs;
    expect((await bench.failure()).message).toContain('nothing got through for 250 ms');
    expect(bench.nowMs - startMs).toBeGreaterThan(245);
    expect(bench.nowMs - startMs).toBeLessThan(265);
    release();
    await bench.settle();
    // What hung went out late; it is undone.
    expect(bench.chip.output(0)).toBe('low');
  });

  test('a main thread that stood still is no failure of the bus', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.write([0, 1500]);
    bench.nowMs += 5000;
    bench.check();
    await bench.settle();
    bench.check();
    expect(Math.abs(bench.chip.pulseUs(0) - 1500)).toBeLessThan(HALF_STEP_US);
  });

  test('a chip that was reset by a dip of its supply is noticed within 250 ms', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.write([0, 1500]);
    await bench.settle();
    bench.chip.powerOn();
    const startMs = bench.nowMs;
    expect((await bench.failure()).message).toContain('has lost its settings');
    expect(bench.nowMs - startMs).toBeLessThanOrEqual(260);
    await bench.driver.open([pulse(0)], []);
    bench.write([0, 1500]);
    await bench.settle();
    expect(Math.abs(bench.chip.pulseUs(0) - 1500)).toBeLessThan(HALF_STEP_US);
    expect(bench.chip.violations).toEqual([]);
  });
});

describe('closing', () => {
  test('one byte switches everything off, after the transfer on its way, and nothing follows', async () => {
    const bench = await Bench.open([pulse(0), level(1)]);
    bench.check();
    await bench.settle();
    bench.wire.most = 0;
    const release = bench.wire.hold();
    bench.write([0, 1500], [1, 1]);
    bench.write([0, 1600]);
    const closed = bench.driver.close();
    release();
    await closed;
    await bench.settle();
    // ALL_LED_OFF_H with its full-off bit (7.3.4).
    expect(bench.wire.writes.at(-1)).toEqual([0xfd, 0x10]);
    expect(bench.wire.writes).toHaveLength(2);
    expect(bench.wire.most).toBe(1);
    expect([0, 1].map((pin) => bench.chip.output(pin))).toEqual(['low', 'low']);
    expect(bench.wire.closed).toBe(1);
    await bench.driver.close();
    expect(bench.wire.writes).toHaveLength(2);
    expect(() => bench.write([0, 1500])).toThrow('not open');
  });

  test('outputs that are safe when high are high', async () => {
    const bench = await Bench.open([pulse(0), level(1, 1), duty(2, 1)]);
    bench.write([0, 1500], [1, 0], [2, 0.5]);
    await bench.settle();
    await bench.driver.close();
    expect([0, 1, 2].map((pin) => bench.chip.output(pin))).toEqual(['low', 'high', 'high']);
  });

  test('outputs that cannot be made safe are told', async () => {
    const bench = await Bench.open([pulse(0)]);
    bench.wire.fail();
    await expect(bench.driver.close()).rejects.toThrow('nothing answers');
    expect(bench.wire.closed).toBe(1);
  });
});

describe('under the core', () => {
  const prop = makeProp(
    {
      head: servo({ board: 'chip', output: { pin: 0 } }),
      horn: relay({ board: 'chip', output: { pin: 1 } }),
      tail: servo({ board: 'lower' }),
      mist: relay({ board: 'lower' }),
    },
    { boards: { chip: board(), lower: { driver: 'sim' } } },
  );

  async function busy() {
    const { wire, chip, driver } = new Bench();
    const { rig, client } = await Rig.live(prop, {
      restored: restedAt(prop),
      drivers: { chip: driver },
    });
    for (const channel of ['horn', 'mist'])
      await client.call('channel.switch', { channel, on: true });
    for (const channel of ['head', 'tail'])
      await client.call('channel.move', { channel, to: 30, overS: 1 });
    return { rig, client, wire, chip, lower: rig.boards.get('lower') as Recorder };
  }

  test('moves the servo to its pulse', async () => {
    const { rig, chip } = await busy();
    await rig.run(1500);
    // 1500 us + 30 deg × 10 us/deg, within half a step.
    expect(Math.abs(chip.pulseUs(0) - 1800)).toBeLessThan(HALF_STEP_US);
    expect(chip.output(1)).toBe('high');
    expect(chip.violations).toEqual([]);
  });

  test('a bus that fails: faulted, and the other board parks', async () => {
    const { rig, client, wire, chip, lower } = await busy();
    await rig.run(500);
    wire.fail();
    await rig.run(100);
    expect(rig.condition).toBe('faulted');
    expect(rig.texts('fault')[0]).toContain('board chip: nothing answers at 0x40 on I2C bus 1');
    expect(lower.value.get('mist')).toBe(0);
    await rig.run(3000);
    expect(lower.value.get('tail')).toBe(1500);
    expect(rig.condition).toBe('faulted');
    expect((await client.refused('reset')).message).toContain('board chip still fails');
    wire.mend();
    await client.call('reset');
    expect([chip.output(0), chip.output(1)]).toEqual(['low', 'low']);
    await client.call('wake');
    await rig.until(() => rig.condition === 'live', 5);
    await rig.run(100);
    expect(Math.abs(chip.pulseUs(0) - 1500)).toBeLessThan(HALF_STEP_US);
  });

  test('a bus that fails while nothing moves is noticed, too', async () => {
    const { rig, wire } = await busy();
    await rig.run(2000);
    wire.fail();
    await rig.run(300);
    expect(rig.condition).toBe('faulted');
  });
});

describe('the output-enable pin', () => {
  const enable = { board: 'lower', pin: 8 };
  // Active low (data sheet, 7.4): 1 cuts the outputs.
  const [ENABLED, CUT] = [0, 1];

  test('disabled, outputs float where one of them must not be low, and are low otherwise', async () => {
    const low = await Bench.open([level(0), pulse(1)], new Bench(new Chip(), { enable }));
    expect(low.chip.read(1)).toBe(0x04);
    const floating = await Bench.open([level(0, 1)], new Bench(new Chip(), { enable }));
    // OUTNE = 1X: high impedance (7.3.2, table 6, from memory).
    expect(floating.chip.read(1)).toBe(0x06);
    await floating.driver.close();
    expect(floating.chip.read(1)).toBe(0x06);
  });

  const prop = makeProp(
    {
      horn: relay({ board: 'chip', output: { pin: 1 }, duty: { maxOnS: 4, restS: 10 } }),
      glow: lamp({ board: 'chip', output: { pin: 2 } }),
      mist: relay({ board: 'lower' }),
    },
    {
      boards: { chip: board({ enable }), lower: { driver: 'sim' } },
      rails: { five: { volts: 5, limitA: 5 } },
    },
  );
  async function live() {
    const { wire, chip, driver } = new Bench();
    const { rig, client } = await Rig.live(prop, { drivers: { chip: driver } });
    const lower = rig.boards.get('lower') as Recorder;
    return { rig, client, wire, chip, pin: () => lower.value.get('chip.enable') };
  }

  test('is low while the board is sound, and high after a stop of category 0 until the reset', async () => {
    const { rig, client, pin } = await live();
    expect(pin()).toBe(ENABLED);
    await client.call('stop', { category: 1 });
    await rig.tick();
    expect(pin()).toBe(ENABLED);
    await client.call('stop', { category: 0 });
    await rig.tick();
    expect(pin()).toBe(CUT);
    await client.call('reset');
    await rig.tick();
    expect(pin()).toBe(ENABLED);
    await rig.core.close();
    expect(pin()).toBe(CUT);
  });

  test('cuts the chip when its bus fails; a relay there is unknown, counts as closed, and is never called off', async () => {
    const { rig, client, wire, pin } = await live();
    await client.call('channel.switch', { channel: 'horn', on: true });
    await client.call('channel.dim', { channel: 'glow', to: 1 });
    await rig.run(1000);
    wire.fail();
    await rig.run(400);
    expect(rig.condition).toBe('faulted');
    expect(pin()).toBe(CUT);
    const { channels } = await client.call('channel.list');
    expect(channels.horn).toMatchObject({ value: null });
    for (const name of ['horn', 'glow']) expect(channels[name]!.flags).toContain('unknown');
    expect(channels.mist!.flags).not.toContain('unknown');
    // On all the while, for all that anybody can tell.
    await rig.run(3000);
    const { duty } = rig.core.body.relay('horn');
    expect(duty!.leftS(rig.core.nowS)).toBe(0);
    expect(rig.store.saved!.duty.horn!.on).toBe(true);
    wire.mend();
    await client.call('stop', { category: 2 });
    await rig.run(50);
    expect(rig.core.body.relay('horn').flags() & FLAG.unknown).toBe(0);
    await client.call('reset');
    await rig.wake(client);
    const refusal = await client.refused('channel.switch', { channel: 'horn', on: true });
    expect(refusal.code).toBe(CODES.dutyRest);
    expect(refusal.values.secondsLeft).toBeGreaterThan(9);
    expect(pin()).toBe(ENABLED);
  });
});
