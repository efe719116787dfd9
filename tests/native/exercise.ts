/** The pigpio driver in a process of its own, with the stand-in preloaded. Usage: exercise.ts SCENE */
import { appendFileSync, writeFileSync } from 'node:fs';
import { setTimeout as wait } from 'node:timers/promises';
import type { Frame, InputSpec, OutputSpec } from '../../src/boards/board.ts';
import { PigpioDriver } from '../../src/boards/pigpio/driver.ts';
import { Calibration } from '../../src/sums/calibration.ts';

const calibration = new Calibration([
  [1000, -45],
  [2000, 45],
]);

const OUTPUTS: OutputSpec[] = [
  {
    name: 'beak',
    kind: 'pulse',
    pin: 18,
    safe: 0,
    plant: {
      kind: 'servo',
      channel: 'beak',
      calibration,
      envelopeUs: [500, 2500],
      limitsDeg: [-40, 40],
      draw: { idleA: 0, movingA: 0, stallA: 0 },
      parkDeg: 0,
    },
  },
  { name: 'mist', kind: 'level', pin: 23, safe: 1 },
  { name: 'fan', kind: 'level', pin: 24, safe: 0 },
  { name: 'eye.red', kind: 'duty', pin: 5, safe: 1 },
  { name: 'lantern', kind: 'duty', pin: 12, safe: 0 },
];
const [BEAK, MIST, FAN, EYE, LANTERN] = [0, 1, 2, 3, 4] as const;
const INPUTS: InputSpec[] = [
  { name: 'stopInput', pin: 4, pull: 'up', restLevel: 0 },
  { name: 'door', pin: 17, pull: 'up' },
  { name: 'mat', pin: 27, pull: 'down' },
];

const mark = (text: string) =>
  appendFileSync(process.env.PIGPIO_RECORD!, `${JSON.stringify({ mark: text })}\n`);
const wire = (levels: string) => writeFileSync(process.env.PIGPIO_LEVELS!, levels);

function frame(...values: [output: number, value: number][]): Frame {
  return {
    count: values.length,
    output: Uint16Array.from(values, ([output]) => output),
    value: Float64Array.from(values, ([, value]) => value),
  };
}

const driver = new PigpioDriver(5);
const write = (...values: Parameters<typeof frame>) => driver.write(frame(...values));

const scenes: Record<string, () => Promise<void>> = {
  /** From opening to closing, twice. */
  async show() {
    await driver.open(OUTPUTS, INPUTS);
    mark('opened');
    write([BEAK, 1500]);
    write([BEAK, 500], [MIST, 0]);
    write([BEAK, 2500], [FAN, 1], [EYE, 0.75], [LANTERN, 0.001]);
    write([LANTERN, 1], [EYE, 0]);
    write([LANTERN, 0.5]);
    mark('written');
    await driver.close();
    await driver.close();
    mark('closed');
    let refused = '';
    try {
      write([BEAK, 1500]);
    } catch (error) {
      refused = (error as Error).message;
    }
    mark(refused);
    await driver.open(OUTPUTS, INPUTS);
    await Promise.all([driver.close(), driver.close()]);
  },

  /** Levels as a tick reads them. */
  async inputs() {
    const levels = () => INPUTS.map((_, input) => driver.read(input)).join('');
    wire(`----0${'-'.repeat(27)}`);
    await driver.open(OUTPUTS, INPUTS);
    mark(`closed contact: ${levels()}`);
    wire('-'.repeat(32));
    mark(`broken wire: ${levels()}`);
    wire(`-----------------v${'-'.repeat(14)}`);
    mark(`spike: ${levels()}`);
    wire(`-----------------0${'-'.repeat(9)}1${'-'.repeat(4)}`);
    mark(`door and mat: ${levels()}`);
    await driver.close();
  },

  /** The library has refused a value; the board is opened again, as a reset does. */
  async fault() {
    await driver.open(OUTPUTS, INPUTS);
    write([MIST, 0], [FAN, 1], [EYE, 0.2], [BEAK, 1500]);
    try {
      write([BEAK, 400]);
    } catch (error) {
      mark((error as Error).message);
    }
    await driver.open(OUTPUTS, INPUTS);
    write([BEAK, 1600]);
    await driver.close();
  },

  /** Two boards on one header. */
  async two() {
    const other = new PigpioDriver(5);
    await driver.open(OUTPUTS.slice(0, 2), []);
    await other.open(OUTPUTS.slice(2), []);
    await driver.close();
    mark('one closed');
    other.write(frame([0, 1]));
    await other.close();
  },

  /** Ends on SIGTERM as the daemon does, with a listener older than the library's handlers. */
  async signal() {
    const keepAlive = setInterval(() => {}, 1000);
    process.on('SIGTERM', async () => {
      mark('SIGTERM heard');
      await driver.close();
      clearInterval(keepAlive);
    });
    await driver.open(OUTPUTS, INPUTS);
    write([BEAK, 1500], [MIST, 0]);
    for (const harmless of ['SIGCHLD', 'SIGCONT', 'SIGURG', 'SIGWINCH'] as const) {
      process.kill(process.pid, harmless);
      await wait(20);
    }
    process.stdout.write('ready\n');
  },

  /** Ends without closing. */
  async exit() {
    await driver.open(OUTPUTS, INPUTS);
    write([BEAK, 1500], [MIST, 0], [LANTERN, 0.5]);
    process.exit(3);
  },

  /** Dies of an error that nobody catches. */
  async crash() {
    await driver.open(OUTPUTS, INPUTS);
    write([BEAK, 1500], [MIST, 0], [LANTERN, 0.5]);
    throw new Error('as if by a mistake');
  },

  async open() {
    await driver.open(OUTPUTS, INPUTS);
  },
};

await scenes[process.argv[2]!]!();
