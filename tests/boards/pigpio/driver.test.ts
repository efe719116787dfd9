import { cp, mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, describe, expect, test, vi } from 'vitest';
import type { Frame, InputSpec, OutputSpec } from '../../../src/boards/board.ts';
import {
  loadPigpio,
  type Pigpio,
  PigpioDriver,
  type PigpioGpio,
  processorOf,
} from '../../../src/boards/pigpio/driver.ts';
import { pwmFrequencyHz } from '../../../src/boards/pigpio/facts.ts';
import { Refusal } from '../../../src/shared/errors.ts';
import { Calibration } from '../../../src/sums/calibration.ts';

const packages = fileURLToPath(new URL('../../../node_modules', import.meta.url));

const servo = (envelopeUs: [number, number]): OutputSpec => ({
  name: 'beak',
  kind: 'pulse',
  pin: 18,
  safe: 0,
  plant: {
    kind: 'servo',
    channel: 'beak',
    calibration: new Calibration([
      [1000, -45],
      [2000, 45],
    ]),
    envelopeUs,
    limitsDeg: [-40, 40],
    draw: { idleA: 0, movingA: 0, stallA: 0 },
    parkDeg: 0,
  },
});
const relay: OutputSpec = { name: 'mist', kind: 'level', pin: 23, safe: 1 };
const lamp: OutputSpec = { name: 'lantern', kind: 'duty', pin: 12, safe: 0 };
const stop: InputSpec = { name: 'stopInput', pin: 4, pull: 'up' };

function frame(...values: [output: number, value: number][]): Frame {
  return {
    count: values.length,
    output: Uint16Array.from(values, ([output]) => output),
    value: Float64Array.from(values, ([, value]) => value),
  };
}

/** The npm package without the library behind it, where its calls fail or time matters. */
class FakePigpio implements Pigpio {
  readonly CLOCK_PCM = 1;
  readonly DISABLE_FIFO_IF = 1;
  readonly DISABLE_SOCK_IF = 2;
  readonly DISABLE_ALERT = 8;
  readonly calls: string[] = [];
  /** A call that starts with this throws. */
  failing: string | undefined;
  /** Levels that the next reads give; the last one stays. */
  levels: number[] = [1];
  tickUs = 0;
  reads = 0;
  realRange = 1000;
  readonly Gpio: new (
    pin: number,
  ) => PigpioGpio;

  constructor() {
    const fake = this;
    this.Gpio = class implements PigpioGpio {
      readonly #pin: number;
      constructor(pin: number) {
        this.#pin = pin;
      }
      mode(mode: number): void {
        fake.call(`mode ${this.#pin} ${mode}`);
      }
      pullUpDown(pull: number): void {
        fake.call(`pull ${this.#pin} ${pull}`);
      }
      digitalRead(): number {
        // A read that waits for ever is an error, not a hanging test.
        if (++fake.reads > 1000) throw new Error('1000 reads');
        return fake.levels.length > 1 ? fake.levels.shift()! : fake.levels[0]!;
      }
      digitalWrite(level: number): void {
        fake.call(`write ${this.#pin} ${level}`);
      }
      servoWrite(us: number): void {
        fake.call(`servo ${this.#pin} ${us}`);
      }
      pwmFrequency(hz: number): void {
        fake.call(`frequency ${this.#pin} ${hz}`);
      }
      pwmRange(range: number): void {
        fake.call(`range ${this.#pin} ${range}`);
      }
      getPwmRealRange(): number {
        return fake.realRange;
      }
      pwmWrite(duty: number): void {
        fake.call(`pwm ${this.#pin} ${duty}`);
      }
    };
  }

  call(text: string): void {
    this.calls.push(text);
    if (this.failing && text.startsWith(this.failing)) throw new Error('pigpio error');
  }
  hardwareRevision(): number {
    return 0xb03115;
  }
  configureClock(): void {}
  configureInterfaces(): void {}
  initialize(): void {
    this.call('initialize');
  }
  terminate(): void {
    this.call('terminate');
  }
  /** Every look at the clock takes 10 us. */
  getTick(): number {
    this.tickUs = (this.tickUs + 10) >>> 0;
    return this.tickUs;
  }
}

const opened: PigpioDriver[] = [];
async function open(
  fake: FakePigpio,
  outputs: OutputSpec[],
  inputs: InputSpec[] = [],
  sampleUs = 5,
): Promise<PigpioDriver> {
  const driver = new PigpioDriver(sampleUs, () => fake);
  await driver.open(outputs, inputs);
  opened.push(driver);
  return driver;
}
afterEach(async () => {
  for (const driver of opened.splice(0)) await driver.close().catch(() => {});
});

describe('brightness steps', () => {
  // The package's own table: a row for each real range, a column for each sample period.
  test.each([1, 2, 4, 5, 8, 10])(
    'a sample of %i us has a frequency with 1000 real steps in the package’s table',
    async (sampleUs) => {
      const doc = await readFile(join(packages, 'pigpio/doc/gpio.md'), 'utf8');
      const cells = (line: string) => line.split('|').map((cell) => cell.trim());
      const lines = doc.split('\n');
      const head = cells(lines.find((line) => line.includes('Real Range |'))!);
      const row = lines.map(cells).find((line) => line[head.indexOf('Real Range')] === '1000')!;
      expect(pwmFrequencyHz(sampleUs)).toBe(Number(row[head.indexOf(`${sampleUs}us`)]));
    },
  );

  test('a library that gives fewer steps is not used', async () => {
    const fake = new FakePigpio();
    fake.realRange = 250;
    await expect(open(fake, [relay, lamp])).rejects.toThrow(
      'pigpio: lantern at GPIO 12 would have 250 steps of brightness instead of 1000',
    );
    expect(fake.calls.slice(-3)).toEqual(['range 12 1000', 'write 23 1', 'terminate']);
  });
});

describe('revision codes', () => {
  // The maker's table of revision codes (from memory).
  test.each([
    [0x000e, undefined], // old style
    [0x900092, 0], // BCM2835
    [0xa01041, 1], // BCM2836
    [0xa02082, 2], // BCM2837
    [0xb03115, 3], // BCM2711
    [0xd04170, 4], // BCM2712
    [0x2a02082, 2], // with the bit of a voided warranty
  ])('%i: processor %s', (revision, processor) => {
    expect(processorOf(revision)).toBe(processor);
  });
});

describe('refusals', () => {
  // gpioServo takes 0 and 500 to 2500 us: pigpio C interface (from memory), and the package's doc.
  test.each<[[number, number], boolean]>([
    [[500, 2500], true],
    [[499, 2500], false],
    [[500, 2501], false],
    [[100, 3000], false],
  ])('an envelope of %j us: open %s', async (envelopeUs, allowed) => {
    const fake = new FakePigpio();
    const done = open(fake, [relay, servo(envelopeUs)]);
    if (allowed) return void (await done);
    await expect(done).rejects.toThrow(Refusal);
    await expect(done).rejects.toThrow(
      `beak: its pulse envelope, ${envelopeUs.join(' to ')} us, is wider than the 500 to 2500 us`,
    );
    expect(fake.calls).toEqual([]);
  });

  test('two boards with two sample periods', async () => {
    const fake = new FakePigpio();
    await open(fake, [relay]);
    await expect(open(fake, [lamp], [], 1)).rejects.toThrow(
      'sampleUs 1: another board of this prop runs pigpio at 5 us',
    );
  });

  test('a package that is not built, or not there, says what to install', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'sinew-pigpio-'));
    const warn = vi.spyOn(console, 'warn').mockImplementation(() => {});
    try {
      const require = createRequire(join(folder, 'any.js'));
      expect(() => loadPigpio(require)).toThrow(
        /^driver pigpio: the pigpio package is not installed on this machine; .*: npm install pigpio; boards of the newest generation need driver: linux$/,
      );
      for (const name of ['bindings', 'file-uri-to-path'])
        await cp(join(packages, name), join(folder, 'node_modules', name), { recursive: true });
      const pigpio = join(folder, 'node_modules/pigpio');
      await mkdir(pigpio);
      for (const file of ['package.json', 'pigpio.js'])
        await cp(join(packages, 'pigpio', file), join(pigpio, file));
      const text =
        /^driver pigpio: the pigpio package is not built \(Could not locate the bindings file\) on this machine; install the C library \(sudo apt install pigpio, or build it from source\), then: npm rebuild pigpio;/;
      // Also at the second try, as after a reset.
      expect(() => loadPigpio(require)).toThrow(text);
      expect(() => loadPigpio(require)).toThrow(text);
      expect(warn).not.toHaveBeenCalled();
      // Something is there, but it is not a library: the loader's own words are the cause.
      await mkdir(join(pigpio, 'build/Release'), { recursive: true });
      await writeFile(join(pigpio, 'build/Release/pigpio.node'), 'no library');
      expect(() => loadPigpio(require)).toThrow(/is not built \(.*pigpio\.node: .*\)/);
    } finally {
      warn.mockRestore();
      await rm(folder, { recursive: true, force: true });
    }
  });
});

describe('inputs', () => {
  test.each<[string, number[], 0 | 1]>([
    ['a level that holds counts at once', [0], 0],
    ['a spike of one read does not', [0, 1], 1],
    ['nor one of three reads, 30 us', [0, 0, 0, 1], 1],
  ])('%s', async (_, levels, seen) => {
    const fake = new FakePigpio();
    const driver = await open(fake, [], [stop]);
    fake.levels = levels;
    expect(driver.read(0)).toBe(seen);
    expect(driver.read(0)).toBe(seen);
  });

  // The tick is an unsigned 32-bit count of microseconds; both are places where a sign may slip.
  test.each([0x7fffffff - 15, 0xffffffff - 15])('a tick that wraps at %i', async (tickUs) => {
    const fake = new FakePigpio();
    const driver = await open(fake, [], [stop]);
    fake.tickUs = tickUs;
    fake.levels = [0];
    fake.reads = 0;
    expect(driver.read(0)).toBe(0);
    expect(fake.reads).toBeLessThanOrEqual(6);
  });
});

describe('failures', () => {
  test('of one pin on closing: the others are safe all the same, the library ends, the error is told', async () => {
    const fake = new FakePigpio();
    const driver = await open(fake, [relay, lamp, servo([900, 2100])]);
    driver.write(frame([0, 0], [1, 0.5], [2, 1500]));
    fake.calls.length = 0;
    fake.failing = 'write 23';
    await expect(driver.close()).rejects.toThrow('pigpio: mist at GPIO 23: pigpio error');
    expect(fake.calls).toEqual([
      ...['write 23 1', 'servo 18 0', 'write 12 0'],
      ...['write 23 1', 'write 18 0', 'write 12 0'],
      'terminate',
    ]);
    await driver.close();
    expect(fake.calls).toHaveLength(7);
  });

  test('of one pin on opening: what is claimed already is safe, the library ends', async () => {
    const fake = new FakePigpio();
    fake.failing = 'mode 12';
    await expect(open(fake, [relay, lamp])).rejects.toThrow('pigpio error');
    expect(fake.calls).toEqual([
      ...['initialize', 'write 23 1', 'mode 23 1', 'write 12 0', 'mode 12 1'],
      ...['write 23 1', 'terminate'],
    ]);
    // Mended, it opens.
    fake.failing = undefined;
    await open(fake, [relay, lamp]);
  });

  test('of one write: no later one of the frame is made, all outputs are safe', async () => {
    const fake = new FakePigpio();
    const driver = await open(fake, [relay, lamp]);
    fake.calls.length = 0;
    fake.failing = 'pwm 12';
    expect(() => driver.write(frame([1, 0.25], [0, 0]))).toThrow(
      'pigpio: lantern at GPIO 12: pigpio error',
    );
    expect(fake.calls).toEqual(['pwm 12 250', 'write 23 1', 'write 12 0']);
  });

  test('nothing is written or read before it is open', () => {
    const driver = new PigpioDriver(5, () => new FakePigpio());
    expect(() => driver.write(frame([0, 1]))).toThrow('pigpio: the board is not open');
    expect(() => driver.read(0)).toThrow('pigpio: the board is not open');
  });
});

test('pulses are whole samples', () => {
  expect(new PigpioDriver(8).pulseStepUs).toBe(8);
});
