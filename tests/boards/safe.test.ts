import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { makeSafe } from '../../src/boards/safe.ts';
import type { PlannedBoard, PlannedOutput } from '../../src/safe/plan.ts';
import { MissingProgram, type Tools } from '../../src/safe/tools.ts';

let folder: string;
let calls: string[];
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-safe-'));
  calls = [];
});
afterEach(() => rmSync(folder, { recursive: true }));

/** Notes every program that is run; `answer` gives what it prints, or throws. */
function tools(answer: (line: string) => string = () => ''): Tools {
  return {
    sysfs: folder,
    log: join(folder, 'log'),
    async run(program, ...args) {
      const line = [program, ...args].join(' ');
      calls.push(line);
      return answer(line);
    },
  };
}

const relay = (name: string, pin: number, safe: number): PlannedOutput => ({
  name,
  kind: 'level',
  pin,
  safe,
});
const servo = (name: string, pin: number): PlannedOutput => ({ name, kind: 'pulse', pin, safe: 0 });
const light = (name: string, pin: number, safe: number): PlannedOutput => ({
  name,
  kind: 'duty',
  pin,
  safe,
});

function make(boards: PlannedBoard[], by: Tools) {
  const daemon = { pid: 1, startTicks: 0, bootId: '' };
  return makeSafe({ version: 1, prop: 'Test', daemon, boards }, by);
}

describe('a pca9685', () => {
  /**
   * The registers as the data sheet has them (NXP PCA9685 rev. 4, 7.3, tables 4 to 7, from memory):
   * LEDn_ON_L, ON_H, OFF_L, OFF_H from 0x06 + 4n; bit 4 of OFF_H is full off, bit 4 of ON_H full on;
   * a block goes to the registers that follow only with bit 5 of MODE1 (AI) set; with bit 4 (SLEEP)
   * set the outputs cannot be changed. After power-on MODE1 is 0x11 and every output is full off.
   */
  function chip() {
    const registers = new Uint8Array(256);
    registers[0x00] = 0x11;
    for (let output = 0; output < 16; output++) registers[0x06 + 4 * output + 3] = 0x10;
    return {
      registers,
      /** `i2cset [-y] BUS ADDRESS REGISTER VALUE... MODE`, i2cset(8). */
      write(line: string): string {
        const words = line.split(' ');
        expect(words.slice(0, 4)).toEqual(['i2cset', '-y', '1', '0x41']);
        const mode = words.at(-1)!;
        expect(mode).toMatch(/^[bi]$/);
        const [register, ...values] = words.slice(4, -1).map(Number);
        expect(values.length).toBeLessThanOrEqual(mode === 'b' ? 1 : 32);
        values.forEach((value, at) => {
          if (register! >= 0x06) expect(registers[0x00]! & 0x10).toBe(0);
          const to = registers[0x00]! & 0x20 ? register! + at : register!;
          registers[to] = value;
        });
        return '';
      },
      level(output: number): 'on' | 'off' | 'pulses' {
        const [, onH, , offH] = registers.subarray(0x06 + 4 * output);
        if (offH! & 0x10) return 'off';
        return onH! & 0x10 ? 'on' : 'pulses';
      },
    };
  }

  test.each([
    ['as after power-on', 0x11],
    ['awake and in use', 0x20],
  ])('%s: each output ends at its own level, the others stay as they are', async (_, mode1) => {
    const model = chip();
    model.registers[0x00] = mode1;
    for (const output of [0, 1, 2, 9, 15]) {
      // 1500 us of 20 ms: 307 of 4096 counts.
      model.registers.set([0, 0, 0x33, 0x01], 0x06 + 4 * output);
    }
    const outputs = [
      ...Array.from({ length: 9 }, (_value, pin) => servo(`s${pin}`, pin)),
      relay('fan', 12, 1),
      relay('mist', 11, 0),
      light('eye.red', 15, 1),
    ];
    const [report] = await make(
      [{ name: 'body', driver: 'pca9685', bus: 1, address: 0x41, outputs }],
      tools(model.write),
    );
    expect(report!.failure).toBeUndefined();
    for (let pin = 0; pin < 9; pin++) expect(model.level(pin), `output ${pin}`).toBe('off');
    expect(model.level(9)).toBe('pulses');
    expect(model.level(11)).toBe('off');
    expect(model.level(12)).toBe('on');
    expect(model.level(15)).toBe('on');
    expect(report!.done).toContain('fan (output 12) fully on');
    expect(report!.done).toHaveLength(outputs.length);
  });

  test('that does not answer is told as not safe', async () => {
    const [report] = await make(
      [{ name: 'body', driver: 'pca9685', bus: 1, address: 0x41, outputs: [servo('a', 0)] }],
      tools(() => {
        throw new Error('i2cset: Error: Write failed');
      }),
    );
    expect(report).toMatchObject({
      board: 'body',
      failure: 'i2cset: Error: Write failed',
      done: [],
    });
  });
});

describe('a linux board', () => {
  const board = (outputs: PlannedOutput[], pwmPins?: Record<string, number>): PlannedBoard => ({
    name: 'main',
    driver: 'linux',
    chip: 'gpiochip0',
    pwmChip: 0,
    ...(pwmPins && { pwmPins }),
    outputs,
  });

  /** What the kernel shows of a PWM chip with `exported` channels at 50 Hz. */
  function pwm(channels: number, exported: number[]) {
    const chip = join(folder, 'class/pwm/pwmchip0');
    mkdirSync(chip, { recursive: true });
    writeFileSync(join(chip, 'npwm'), `${channels}\n`);
    for (const channel of exported) {
      mkdirSync(join(chip, `pwm${channel}`));
      for (const [file, text] of [
        ['period', '20000000'],
        ['duty_cycle', '1500000'],
        ['enable', '1'],
      ])
        writeFileSync(join(chip, `pwm${channel}`, file!), `${text}\n`);
    }
    return (channel: number) =>
      ['duty_cycle', 'enable'].map((file) =>
        Number(readFileSync(join(chip, `pwm${channel}`, file), 'utf8')),
      );
  }

  test.each([
    // gpioset(1) of libgpiod 1.6: `gpioset [OPTIONS] <chip name/number> <offset1>=<value1> ...`
    ['gpioset (libgpiod) v1.6.3\nLicense: ...', 'gpiochip0'],
    // gpioset(1) of libgpiod 2.1, -t: exits after setting with a period of 0 (from memory)
    ['gpioset (libgpiod) v2.1.2\nLicense: ...', '-t 0 -c gpiochip0'],
  ])('sets its relays by %j, pulled toward the safe level', async (version, chip) => {
    const by = tools((line) => (line === 'gpioset --version' ? version : ''));
    const relays = [relay('fan', 23, 1), relay('mist', 24, 0), relay('bell', 25, 1)];
    const [report] = await make([board(relays)], by);
    expect(calls).toEqual([
      'gpioset --version',
      `gpioset --bias=pull-down ${chip} 24=0`,
      `gpioset --bias=pull-up ${chip} 23=1 25=1`,
    ]);
    expect(report!.done).toEqual([
      'fan (line 23) high',
      'mist (line 24) low',
      'bell (line 25) high',
    ]);
  });

  test('sets them without a pull where that is refused', async () => {
    const by = tools((line) => {
      if (line.includes('--bias')) throw new Error('gpioset: Invalid argument');
      return 'gpioset (libgpiod) v1.6.3';
    });
    const [report] = await make([board([relay('fan', 23, 1)])], by);
    expect(calls.at(-1)).toBe('gpioset gpiochip0 23=1');
    expect(report).toMatchObject({ done: ['fan (line 23) high'] });
    expect(report!.failure).toBeUndefined();
  });

  test('disables the PWM of servos and holds a light that is dark when high', async () => {
    const of = pwm(2, [0, 1]);
    const [report] = await make([board([servo('jaw', 18), light('eye', 19, 1)])], tools());
    expect(report!.failure).toBeUndefined();
    expect(of(0)).toEqual([0, 0]);
    expect(of(1)).toEqual([20_000_000, 1]);
  });

  test('with four channels, or wired its own way, finds the right ones', async () => {
    const of = pwm(4, [1, 2, 3]);
    await make([board([servo('a', 18), servo('b', 12)], { 12: 1 })], tools());
    expect(of(2)).toEqual([0, 0]);
    expect(of(1)).toEqual([0, 0]);
    expect(of(3)).toEqual([1_500_000, 1]);
  });

  test('opens its relays even when the PWM cannot be reached', async () => {
    const [report] = await make([board([servo('jaw', 18), relay('fan', 23, 1)])], tools());
    expect(calls.at(-1)).toContain('23=1');
    expect(report!.failure).toMatch(/jaw \(pin 18\).*npwm.*fan \(line 23\) high/);
  });
});

describe('a pigpio board', () => {
  const board: PlannedBoard = {
    name: 'head',
    driver: 'pigpio',
    outputs: [
      servo('beak', 18),
      servo('lid', 21),
      light('eye.red', 5, 1),
      light('lantern', 12, 0),
      relay('mist', 23, 1),
      relay('pump', 24, 0),
    ],
  };

  test('drives relays, and lets go of the pins that the DMA engine goes on writing', async () => {
    const [report] = await make([board], tools());
    expect(calls.toSorted()).toEqual([
      'pinctrl set 18,21,12 ip pd',
      'pinctrl set 23 op dh',
      'pinctrl set 24 op dl',
      'pinctrl set 5 ip pu',
    ]);
    expect(report!.done).toContain('beak (GPIO 18) let go, pulled down');
    expect(report!.done).toHaveLength(6);
  });

  test('uses the older program where the newer one is missing', async () => {
    const [report] = await make(
      [board],
      tools((line) => {
        if (line.startsWith('pinctrl')) throw new MissingProgram('pinctrl is not installed');
        return '';
      }),
    );
    expect(report!.failure).toBeUndefined();
    expect(calls.filter((line) => line.startsWith('raspi-gpio set'))).toHaveLength(4);
  });

  test('one failing step does not keep the others', async () => {
    const [report] = await make(
      [board],
      tools((line) => {
        if (line.includes('op dh')) throw new Error('pinctrl: no');
        return '';
      }),
    );
    expect(calls).toHaveLength(4);
    expect(report!.failure).toMatch(/^pinctrl: no; .*pump \(GPIO 24\) low/);
  });
});

test('one board that fails does not keep another from being made safe', async () => {
  const reports = await make(
    [
      { name: 'a', driver: 'pca9685', bus: 1, address: 0x40, outputs: [servo('x', 0)] },
      { name: 'b', driver: 'sim', outputs: [relay('fan', 8, 1), servo('beak', 18)] },
      { name: 'c', driver: 'later' as 'sim', outputs: [servo('y', 0)] },
      { name: 'd', driver: 'pigpio', outputs: [] },
    ],
    tools((line) => {
      throw new Error(line);
    }),
  );
  expect(reports.map(({ failure }) => failure !== undefined)).toEqual([true, false, true, false]);
  expect(readFileSync(join(folder, 'log'), 'utf8')).toBe(
    'b: fan (pin 8) high\nb: beak (pin 18) no pulses\n',
  );
});
