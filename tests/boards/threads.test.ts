/**
 * The drivers' threads, on buses, chips and channels that hang: tests/native/hanging-bus.c answers
 * through the kernel's own interfaces (linux/i2c-dev.h, linux/gpio.h), in a process of its own.
 */
import { setTimeout as wait } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Result } from '../../src/api/methods.ts';
import { openI2c } from '../../src/boards/i2c.ts';
import { nextSampleUs } from '../../src/boards/linux/pins-server.ts';
import { Pca9685Driver } from '../../src/boards/pca9685/driver.ts';
import { Stuck } from '../../src/boards/stuck.ts';
import { schemas } from '../../src/prop/schema.ts';
import { Built, play } from './hanging.ts';
import { pulse } from './outputs.ts';

type Pca9685Board = ConstructorParameters<typeof Pca9685Driver>[0];

let built: Built;
beforeAll(async () => {
  built = await Built.make('tests/native/hang-exercise.ts');
});
afterAll(() => built.cleanUp());

const STUCK_MS = 250;
/** What a busy machine may add to a time (ms). */
const BUSY_MS = 500;

/** What hang-exercise.ts tells. */
interface TimesReport {
  calls: number;
  medianMs: number;
  overTick: number;
}
interface BoardReport extends TimesReport {
  failure: string;
  failedMs: number;
}
interface PoolReport extends BoardReport {
  fault?: string;
  sent: number;
  last: number[];
  opened: boolean;
}
interface BusReport {
  well: BoardReport[];
  hanging: BoardReport[];
  other: BoardReport;
  reopened: number[];
  again: BoardReport;
  last: number[];
}
type Scanned = Result<'board.scan'>;
interface ScanReport {
  found: Scanned;
  well: BoardReport;
  sent: number;
  /** Transfers that wrote bytes to other chips. */
  strange: string[];
  hung: Scanned;
  hungMs: number;
}
interface PinsTold {
  pressMs: number;
  dutyNs: number;
  calm: TimesReport;
  pwm: BoardReport & { relayMs: number; openMs: number };
  gpio: BoardReport;
}

/** Calls that do not wait: a few may have lost the processor to somebody else. */
function expectQuick({ calls, medianMs, overTick }: TimesReport): void {
  expect(calls).toBeGreaterThan(10);
  expect(medianMs).toBeLessThan(1);
  expect(overTick).toBeLessThanOrEqual(calls / 10);
}

describe('an I2C bus', () => {
  // Registers and bits: NXP PCA9685 data sheet rev. 4, 7.3 (from memory); 1500 us are 307 steps of
  // 122 / 25 MHz. Off in all outputs is ALL_LED_OFF_H, bit 4.
  const off = [0, 0, 0, 16];
  const opening = (image: number[][]) => [
    [0, 0x20],
    [1, 0x04],
    ...image,
    [0, 0x30],
    [0xfe, 121],
    [0, 0x20],
    ...image,
  ];
  test('plain transfers come out byte by byte', async () => {
    const { report, err } = await play<{ wire: number[][] }>(built, ['wire']);
    const image = [[6, ...Array(16).fill(off).flat()]];
    expect(err).toBe('');
    expect(report.wire).toEqual([...opening(image), [6, 0, 0, 307 & 255, 307 >> 8], [0xfd, 16]]);
  });

  test('an adapter that only speaks SMBus gets blocks', async () => {
    const { report, err } = await play<{ wire: number[][] }>(built, ['wire'], { HANG_SMBUS: '1' });
    const half = Array(8).fill(off).flat();
    const image = [
      [6, ...half],
      [38, ...half],
    ];
    expect(err).toBe('');
    expect(report.wire).toEqual([...opening(image), [6, 0, 0, 307 & 255, 307 >> 8], [0xfd, 16]]);
  });

  test('that is not there is told by the kernel', async () => {
    const driver = new Pca9685Driver(
      schemas().board.parse({ driver: 'pca9685', bus: 999, address: 0x40 }) as Pca9685Board,
      { openBus: (bus) => openI2c(bus, built.thread), wait },
    );
    await expect(driver.open([pulse(0)], [])).rejects.toThrow('there is no /dev/i2c-999');
  });

  test("goes on while every thread of libuv's pool hangs on a disk", async () => {
    const { report, err } = await play<PoolReport>(built, ['pool']);
    expect(err).toBe('');
    expect(report).toMatchObject({ failure: '', opened: true });
    expect(report.fault).toBeUndefined();
    expectQuick(report);
    // At least every other tick's value went out, and the last one: 1234.4 us are 253 steps.
    expect(report.sent).toBeGreaterThan(report.calls / 2);
    expect(report.last).toEqual([6, 0, 0, 253, 0]);
  });

  test.each([
    ['for 100 ms, as the kernel is asked to', []],
    ['for 1 s, with a kernel that takes no limit', ['deaf']],
  ])(
    'whose transfers hang %s: no call waits, its boards fail, other buses go on',
    async (_, how) => {
      const { report, err } = await play<BusReport>(built, ['bus', ...how]);
      const { well, hanging, other, reopened, again, last } = report;
      expect(err).toBe('');
      for (const one of well) expect(one.failure).toBe('');
      expect(hanging).toHaveLength(5);
      for (const [n, one] of hanging.entries()) {
        expect(one.failure).toBe(
          `the chip at 0x4${n} on I2C bus 7: nothing got through for 250 ms: check SDA, SCL and the speed of the bus`,
        );
        // A transfer that was done just before the bus began to hang counts.
        expect(one.failedMs).toBeGreaterThan(STUCK_MS - 30);
        expect(one.failedMs).toBeLessThan(STUCK_MS + BUSY_MS);
        expectQuick(one);
      }
      expect(other.failure).toBe('');
      expectQuick(other);
      expect(reopened).toEqual([6, ...Array(16).fill(off).flat()]);
      expect(again.failure).toBe('');
      expect(last).toEqual([0xfd, 16]);
    },
  );
});

interface MeterReading {
  value: number | null;
  ageMs: number;
  fault?: string;
}
interface MetersReport {
  calls: number;
  sent: number;
  well: BoardReport[];
  readings: MeterReading[][];
  hanging: BoardReport[];
  blind: MeterReading[][];
  again: BoardReport[];
  seeing: MeterReading[][];
}

describe('meters on the bus of a PCA9685', () => {
  test('delay it by one reading, however many they are; when the bus hangs only their readings fail', async () => {
    const { report, err } = await play<MetersReport>(built, ['meters']);
    expect(err).toBe('');
    const { calls, sent, well, readings, hanging, blind, again, seeing } = report;
    // A transfer takes over 1 ms here, so a write and the three words before it up to 5 ms. If it waited
    // for all eight meters, it would be more than 25 ms.
    expect(sent).toBeGreaterThan(calls / 2);
    for (const one of well) {
      expect(one.failure).toBe('');
      expectQuick(one);
    }
    const expectReadings = (all: MeterReading[][]) => {
      for (const [amps, volts] of all) {
        // 400 counts of 2.5 uV at 0.01 ohm, 4800 counts of 1.25 mV.
        expect(amps).toMatchObject({ value: expect.closeTo(0.1, 9) });
        expect(volts).toMatchObject({ value: expect.closeTo(6, 9) });
        for (const one of [amps!, volts!]) expect(one.fault).toBeUndefined();
        // Eight meters take turns, three transfers each.
        expect(amps!.ageMs).toBeLessThan(100 + BUSY_MS);
      }
    };
    expectReadings(readings);
    expect(hanging[0]!.failure).toMatch(/nothing got through for 250 ms/);
    for (const one of hanging.slice(1)) expect(one.failure).toBe('');
    for (const one of hanging) expectQuick(one);
    for (const reading of blind.flat()) {
      expect(reading.value).toBeNull();
      expect(reading.fault).toMatch(/on I2C bus 7: (nothing got through|the bus is stuck)/);
    }
    for (const one of again) expect(one.failure).toBe('');
    expectReadings(seeing);
  });
});

describe('a scan of a bus', () => {
  test('delays no call of a board on it, writes nothing, and ends when the bus hangs', async () => {
    const { report, err } = await play<ScanReport>(built, ['scan']);
    const { found, well, sent, strange, hung, hungMs } = report;
    expect(err).toBe('');
    expect(well.failure).toBe('');
    expectQuick(well);
    expect(sent).toBeGreaterThan(well.calls / 2);
    const here = (scanned: Scanned) => ({
      bus: scanned.buses.find(({ bus }) => bus === 7)!,
      chips: scanned.chips.filter(({ bus }) => bus === 7),
    });
    expect(here(found).bus.trouble).toBeUndefined();
    const [used, ...others] = here(found).chips;
    expect(used).toMatchObject({ address: 0x40, board: 'arms' });
    expect(others).toHaveLength(15);
    for (const { drivers } of others) expect(drivers).toEqual(['ina226']);
    // Only the board's own driver has written bytes.
    expect(strange).toEqual([]);
    expect(here(hung).bus.trouble).toContain('the bus is stuck');
    // One transfer of 100 ms.
    expect(hungMs).toBeLessThan(100 + 2 * BUSY_MS);
  });
});

describe('GPIO lines and PWM', () => {
  test('that hang delay no call, and a stop button that cannot be read is a failed board', async () => {
    const { report, err } = await play<PinsTold>(built, ['pins']);
    const { pwm, gpio, calm, ...rest } = report;
    expect(err).toBe('');
    expect(rest).toMatchObject({ first: 0, relay: 0 });
    expectQuick(calm);
    // A press is seen within a tick, and the 2 ms that the sample is ahead of it.
    expect(rest.pressMs).toBeLessThanOrEqual(7);

    // PWM hangs: its relay opens all the same, and closes, and opens when the board has failed.
    expect(pwm.failure).toBe(
      'pwmchip0: nothing got through for 250 ms: the chip or its bus hangs; check its wires and supply',
    );
    expect(pwm.failedMs).toBeGreaterThan(STUCK_MS);
    expect(pwm.failedMs).toBeLessThan(STUCK_MS + BUSY_MS);
    for (const ms of [pwm.relayMs, pwm.openMs]) expect(ms).toBeLessThan(BUSY_MS);
    expectQuick(pwm);
    expect(rest.dutyNs).toBe(0);

    expect(gpio.failure).toMatch(/^gpiochip0: its inputs could not be read for \d+ ms: the chip/);
    expect(gpio.failedMs).toBeLessThan(100 + BUSY_MS);
    expectQuick(gpio);
    // When it answers again, everything is made safe, and a reset finds the button pressed.
    expect(rest).toMatchObject({
      safe: [0, 0],
      settled: ['fulfilled', 'fulfilled'],
      again: [1, 1_500_000],
      reopened: 1,
      closed: 'linux: the board is not open',
    });
  });

  test('a sample comes 2 ms before the core asks, whenever it asked last', () => {
    for (let sinceUs = 0; sinceUs < 50_000; sinceUs += 50) {
      const waitUs = nextSampleUs(sinceUs);
      expect((sinceUs + waitUs) % 5000).toBe(3000);
      expect(waitUs).toBeGreaterThanOrEqual(1000);
      expect(waitUs).toBeLessThan(6000);
    }
    // Nobody has asked yet, or the clock's 32 bits have wrapped.
    for (const sinceUs of [-1, -(2 ** 31), 2 ** 31 - 1]) expect(nextSampleUs(sinceUs)).toBe(5000);
  });
});

test('a core that stood still is not a board that is stuck; one that goes on is', () => {
  const stuck = new Stuck();
  let nowMs = 1000;
  const look = (stepMs: number, done: number) => {
    nowMs += stepMs;
    return stuck.look(nowMs, true, done);
  };
  expect(look(5, 1)).toBe(false);
  expect(look(10_000, 1)).toBe(false);
  let ticks = 0;
  while (!look(5, 1)) ticks++;
  // 20 ms of the stall count.
  expect(ticks).toBe((STUCK_MS - 20) / 5);
  expect(look(5, 2)).toBe(false);
});

describe('an end while a transfer hangs', () => {
  test('at once has its exit code, and waits for nothing', async () => {
    const { code, endedMs } = await play(built, ['leave']);
    expect(code).toBe(3);
    expect(endedMs).toBeLessThan(BUSY_MS);
  });

  // What loadEndNow is for: if this fails, Node has learned to leave its threads behind.
  test('by process.exit waits for the transfer', async () => {
    const { code, endedMs } = await play(built, ['leave', 'exit']);
    expect(code).toBe(3);
    expect(endedMs).toBeGreaterThan(BUSY_MS);
  });
});
