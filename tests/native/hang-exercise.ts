/** Hardware drivers on boards that hang (hanging-bus.c), in a process of their own. Usage: hang-exercise.ts SCENE */
import { execFileSync } from 'node:child_process';
import { mkdirSync, open, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import koffi from 'koffi';
import type { Driver, Frame, OutputSpec } from '../../src/boards/board.ts';
import { loadEndNow } from '../../src/boards/end-now.ts';
import { LinuxDriver } from '../../src/boards/linux/driver.ts';
import type { LinuxBoard } from '../../src/boards/linux/facts.ts';
import { PinsThread } from '../../src/boards/linux/pins-thread.ts';
import { createDriver } from '../../src/boards/registry.ts';
import { schemas } from '../../src/prop/schema.ts';
import { BoardScans } from '../../src/service/board-scans.ts';
import { systemClock } from '../../src/shared/clock.ts';

const { HANG_FOLDER: folder = '', HANG_WHILE: hangWhile = '', HANG_BUS: record = '' } = process.env;
const TICK_MS = 5;
const SERVO: OutputSpec = { name: 'arm', kind: 'pulse', pin: 0, safe: 0 };

const hang = (what: string) => writeFileSync(`${hangWhile}.${what}`, '');
const mend = (what: string) => rmSync(`${hangWhile}.${what}`);
const report = (what: object) => process.stdout.write(`${JSON.stringify(what)}\n`);
const chip = (bus: number, address: number) =>
  createDriver(schemas().board.parse({ driver: 'pca9685', bus, address }));

/** Bytes of the transfers so far, register first; those of one chip. */
const transfers = (bus: number, address: number) =>
  readFileSync(record, 'utf8')
    .trim()
    .split('\n')
    .filter((line) => line.startsWith(`${bus} ${address} `))
    .map((line) => line.split(' ').slice(2).map(Number));

/** How long calls took (ms): one that another program kept from the processor is not a call that waits. */
class Times {
  readonly #ms: number[] = [];

  add(ms: number): void {
    this.#ms.push(ms);
  }

  get measured() {
    const sorted = this.#ms.toSorted((a, b) => a - b);
    return {
      calls: sorted.length,
      medianMs: sorted[sorted.length >> 1],
      overTick: sorted.filter((ms) => ms > TICK_MS).length,
    };
  }
}

/** A board as the core has it, with a call in each tick. */
class Ticked {
  readonly driver: Driver;
  times = new Times();
  failure = '';
  /** From the first tick of this run to the failure (ms). */
  failedMs = Number.NaN;
  constructor(driver: Driver) {
    this.driver = driver;
  }

  /** One tick; with a value it is written to output 0. */
  tick(value?: number): void {
    const frame: Frame = {
      count: 1,
      output: new Uint16Array([0]),
      value: new Float64Array([value ?? 0]),
    };
    const nowMs = performance.now();
    if (this.failure !== '') return;
    try {
      if (value === undefined) this.driver.check!(nowMs);
      else this.driver.write(frame, nowMs);
    } catch (error) {
      this.failure = (error as Error).message;
    }
    this.times.add(performance.now() - nowMs);
  }
}

/** Runs ticks for some ms, each board with a new value every tick. */
async function run(boards: readonly Ticked[], ms: number, from = 1000): Promise<void> {
  const startMs = performance.now();
  for (const one of boards) one.times = new Times();
  for (let n = 0; performance.now() - startMs < ms; n++) {
    for (const one of boards) {
      const well = one.failure === '';
      one.tick(from + (n % 100) * 10);
      if (well && one.failure !== '') one.failedMs = performance.now() - startMs;
    }
    await wait(TICK_MS);
  }
}

const measured = ({ failure, failedMs, times }: Ticked) => ({
  failure,
  failedMs,
  ...times.measured,
});

const scenes: Record<string, () => Promise<void>> = {
  /** What goes over the wire from opening to closing, and what an unplugged bus says. */
  async wire() {
    const driver = await chip(7, 0x40);
    await driver.open([SERVO, { ...SERVO, name: 'leg', pin: 15 }], []);
    const one = new Ticked(driver);
    one.tick(1500);
    await wait(50);
    await driver.close();
    report({ wire: transfers(7, 0x40) });
  },

  /** All threads of libuv's pool hang in calls of the file system. */
  async pool() {
    const one = new Ticked(await chip(7, 0x40));
    await one.driver.open([SERVO], []);
    await run([one], 100);
    const fifo = join(folder, 'fifo');
    execFileSync('mkfifo', [fifo]);
    for (let n = 0; n < 8; n++)
      open(fifo, 'r', () => report({ fault: 'the pool was not blocked' }));
    await wait(50);
    const before = transfers(7, 0x40).length;
    await run([one], 700, 2000);
    one.tick(1234.4);
    await wait(50);
    one.tick();
    const all = transfers(7, 0x40);
    report({ ...measured(one), sent: all.length - before, last: all.at(-1) });
    // A reset opens the board once more, all the same.
    await one.driver.open([SERVO], []);
    report({ opened: true });
  },

  /** A bus with five chips hangs, more than the pool has threads; another bus goes on. */
  async bus() {
    if (process.argv[3] === 'deaf') hang('deaf');
    const hanging: Ticked[] = [];
    for (let n = 0; n < 5; n++) hanging.push(new Ticked(await chip(7, 0x40 + n)));
    const other = new Ticked(await chip(8, 0x40));
    const all = [...hanging, other];
    for (const { driver } of all) await driver.open([SERVO], []);
    await run(all, 200);
    const well = all.map(measured);
    hang('7');
    await run(all, 800);
    mend('7');
    report({ well, hanging: hanging.map(measured), other: measured(other) });
    const [one] = hanging;
    // A reset waits for what hangs, and everything goes on.
    await one!.driver.open([SERVO], []);
    report({ reopened: transfers(7, 0x40).at(-1) });
    const again = new Ticked(one!.driver);
    await run([again], 200);
    await again.driver.close();
    report({ again: measured(again), last: transfers(7, 0x40).at(-1) });
  },

  /** A bus is scanned while a board on it is written to, then while it hangs. */
  async scan() {
    const board = schemas().board.parse({ driver: 'pca9685', bus: 7, address: 0x40 });
    const one = new Ticked(await createDriver(board));
    await one.driver.open([SERVO], []);
    await run([one], 100);
    const scans = new BoardScans(systemClock);
    const before = transfers(7, 0x40).length;
    const [found] = await Promise.all([scans.scan({ arms: board }), run([one], 600)]);
    const well = measured(one);
    const sent = transfers(7, 0x40).length - before;
    const written = readFileSync(record, 'utf8').trim().split('\n');
    report({ found, well, sent, strange: written.filter((line) => !line.startsWith('7 64 ')) });
    await wait(2100);
    hang('7');
    const startMs = performance.now();
    const hung = await scans.scan({ arms: board });
    const hungMs = performance.now() - startMs;
    mend('7');
    report({ hung, hungMs });
  },

  /** PWM that hangs, then a GPIO chip that hangs. */
  async pins() {
    const library = process.env.HANG_CHIP!;
    const stand = koffi.load(library);
    const level = stand.func('void stand_in_level(int line, int value)');
    const levelOf = stand.func('int stand_in_level_of(int line)');
    const slow = stand.func('void stand_in_slow(int ms)');
    const channel = join(folder, 'pwm/pwmchip0/pwm0');
    mkdirSync(channel, { recursive: true });
    writeFileSync(join(folder, 'gpiochip0'), '');
    writeFileSync(join(folder, 'pwm/pwmchip0/npwm'), '2\n');
    for (const name of ['export', 'unexport'])
      writeFileSync(join(folder, 'pwm/pwmchip0', name), '');
    const files = { period: '0', duty_cycle: '0', enable: '0', polarity: 'normal' };
    for (const [name, text] of Object.entries(files))
      writeFileSync(join(channel, name), `${text}\n`);
    const dutyNs = () => Number(readFileSync(join(channel, 'duty_cycle'), 'utf8').split('\n')[0]);

    const spec = schemas().board.parse({
      driver: 'linux',
      chip: 'gpiochip0',
      pwmChip: 0,
    }) as LinuxBoard;
    const places = { devices: folder, pwmFolder: join(folder, 'pwm'), ioctlLibrary: library };
    const driver = new LinuxDriver(spec, (name, own) => new PinsThread(name, own, places));
    const outputs: OutputSpec[] = [
      { name: 'arm', kind: 'pulse', pin: 18, safe: 0 },
      { name: 'horn', kind: 'level', pin: 23, safe: 0 },
    ];
    const input = { name: 'stopInput', pin: 4, pull: 'up' as const };
    const open = () => driver.open(outputs, [input]);
    let times = new Times();
    /** Waits until it is so; how long that took (ms). */
    const until = async (what: () => boolean, limitMs = 3000): Promise<number> => {
      const startMs = performance.now();
      while (!what() && performance.now() - startMs < limitMs) await wait(1);
      return performance.now() - startMs;
    };
    const call = (act: () => void): string => {
      const nowMs = performance.now();
      let failure = '';
      try {
        act();
      } catch (error) {
        failure = (error as Error).message;
      }
      times.add(performance.now() - nowMs);
      return failure;
    };
    const write = (...values: [output: number, value: number][]) =>
      call(() =>
        driver.write(
          {
            count: values.length,
            output: Uint16Array.from(values, ([output]) => output),
            value: Float64Array.from(values, ([, value]) => value),
          },
          performance.now(),
        ),
      );
    const read = () => {
      let got: 0 | 1 | undefined;
      const failure = call(() => {
        got = driver.read(0);
      });
      return failure || got;
    };

    await open();
    report({ first: read(), relay: levelOf(23) });
    write([0, 1500], [1, 1]);
    const appliedMs = await until(() => levelOf(23) === 1 && dutyNs() === 1_500_000);
    report({ appliedMs });

    // Presses of a button, at any time within the period of the samples.
    const pressesMs: number[] = [];
    for (let n = 0; n < 101; n++) {
      level(4, 1 - (n % 2));
      pressesMs.push(await until(() => read() === 1 - (n % 2)));
      await wait(1 + (n % 7) / 3);
    }
    pressesMs.sort((a, b) => a - b);
    report({ pressMs: pressesMs[50], longestPressMs: pressesMs[100] });
    level(4, 0);
    await wait(20);
    report({ calm: times.measured });

    // A write to the PWM channel hangs; the relay opens, and then the board has failed.
    times = new Times();
    hang('pwm');
    const startMs = performance.now();
    write([0, 1600]);
    await wait(20);
    write([0, 1700], [1, 0]);
    const relayMs = await until(() => levelOf(23) === 0);
    write([1, 1]);
    await until(() => levelOf(23) === 1);
    let failure = '';
    while (!failure && performance.now() - startMs < 3000) {
      failure = call(() => driver.check(performance.now()));
      await wait(TICK_MS);
    }
    const failedMs = performance.now() - startMs;
    const openMs = await until(() => levelOf(23) === 0);
    report({ pwm: { relayMs, failure, failedMs, openMs, ...times.measured } });
    mend('pwm');
    await until(() => dutyNs() === 0);
    report({ dutyNs: dutyNs() });

    // A chip that hangs: levels of then are no levels of now.
    await open();
    write([0, 1500], [1, 1]);
    await until(() => levelOf(23) === 1);
    times = new Times();
    slow(1000);
    await wait(3);
    level(4, 1);
    const hungMs = performance.now();
    let last = read();
    while (typeof last === 'number' && performance.now() - hungMs < 3000) {
      write([0, 1500 + (performance.now() - hungMs)]);
      await wait(TICK_MS);
      last = read();
    }
    report({ gpio: { failure: last, failedMs: performance.now() - hungMs, ...times.measured } });
    // Two resets, the first of which somebody has given up.
    const resets = Promise.allSettled([open(), open()]);
    await wait(50);
    slow(0);
    await until(() => levelOf(23) === 0 && dutyNs() === 0);
    report({ safe: [levelOf(23), dutyNs()] });
    const settled = (await resets).map(({ status }) => status);
    report({ settled, reopened: read() });
    write([0, 1500], [1, 1]);
    await until(() => levelOf(23) === 1 && dutyNs() === 1_500_000);
    report({ again: [levelOf(23), dutyNs()] });
    await driver.close();
    report({ closed: call(() => driver.check(0)) });
  },

  /** Eight meters beside a chip that gets a new value in each tick, on one bus, which then hangs. */
  async meters() {
    const servos = new Ticked(await chip(7, 0x40));
    await servos.driver.open([SERVO], []);
    const meters: Ticked[] = [];
    for (let n = 1; n <= 8; n++) {
      const spec = { driver: 'ina226', bus: 7, address: 0x40 + n, shuntOhm: 0.01, maxA: 8 };
      const meter = new Ticked(await createDriver(schemas().board.parse(spec)));
      await meter.driver.open([], []);
      await meter.driver.openSenses!([
        { name: 'amps', quantity: 'current', input: 0 },
        { name: 'volts', quantity: 'volts', input: 0 },
      ]);
      meters.push(meter);
    }
    const ticked = async (ms: number) => {
      const startMs = performance.now();
      servos.times = new Times();
      for (const one of meters) one.times = new Times();
      for (let n = 0; performance.now() - startMs < ms; n++) {
        servos.tick(1000 + (n % 100) * 10);
        for (const one of meters) one.tick();
        await wait(TICK_MS);
      }
    };
    const readings = () =>
      meters.map(({ driver }) => {
        const nowMs = performance.now();
        return [0, 1].map((sense) => {
          const reading = { value: 0, low: 0, atMs: 0, fault: undefined as string | undefined };
          driver.reading!(sense, nowMs, reading);
          return { value: reading.value, ageMs: nowMs - reading.atMs, fault: reading.fault };
        });
      });
    await ticked(500);
    const before = transfers(7, 0x40).length;
    await ticked(500);
    const { calls } = servos.times.measured;
    const sent = transfers(7, 0x40).length - before;
    report({ calls, sent, well: [servos, ...meters].map(measured), readings: readings() });
    hang('7');
    await ticked(700);
    report({ hanging: [servos, ...meters].map(measured), blind: readings() });
    mend('7');
    await servos.driver.open([SERVO], []);
    servos.failure = '';
    await ticked(1600);
    report({ again: [servos, ...meters].map(measured), seeing: readings() });
    await Promise.all(meters.map(({ driver }) => driver.close()));
    await servos.driver.close();
  },

  /** Ends while a transfer hangs. */
  async leave() {
    const endNow = loadEndNow();
    // So that the kernel's own limit does not end it.
    hang('deaf');
    const one = new Ticked(await chip(7, 0x40));
    await one.driver.open([SERVO], []);
    await run([one], 50);
    hang('7');
    await run([one], 50);
    report({ leaving: true });
    if (process.argv[3] === 'exit') process.exit(3);
    endNow(3);
  },
};

mkdirSync(folder, { recursive: true });
// As the loop of a daemon does.
setInterval(() => {}, 1000);
await scenes[process.argv[2]!]!();
process.stdout.write('', () => process.kill(process.pid, 'SIGKILL'));
