import { describe, expect, test } from 'vitest';
import { MISSING, type World } from '../../src/boards/doctor.ts';
import type { Board } from '../../src/boards/registry.ts';
import { chips } from '../../src/doctor/chips.ts';
import { schemas } from '../../src/prop/schema.ts';
import {
  Ads1115Model,
  Ina219Model,
  Ina226Model,
  Pca9685Stranger,
  type WordChip,
} from '../boards/word-chips.ts';

/** A machine with chips on bus 1, as i2c-tools shows them; every line that is run is noted. */
class Bench {
  readonly lines: string[] = [];
  readonly world: World;

  constructor(on: Record<number, WordChip>, installed = true) {
    const answers = (program: string, args: string[]) => {
      this.lines.push([program, ...args].join(' '));
      if (!installed) return MISSING;
      if (program === 'i2cdetect') {
        const cells = Array.from({ length: 16 }, (_, i) =>
          on[0x40 + i] ? (0x40 + i).toString(16) : '--',
        );
        return `     0  1  2  3  4  5  6  7  8  9  a  b  c  d  e  f\n40: ${cells.join(' ')} \n`;
      }
      const [, bus, address, register] = args;
      const chip = on[Number(address)];
      if (!chip || bus !== '1') throw new Error('Error: Read failed');
      const word = chip.read(Number(register));
      // An SMBus word has its low byte first.
      return `0x${(((word & 0xff) << 8) | (word >> 8)).toString(16).padStart(4, '0')}\n`;
    };
    this.world = {
      nodeVersion: '20.0.0',
      exists: async (path) => path === '/dev/i2c-1',
      read: async () => undefined,
      run: async (program, ...args) => answers(program, args),
      cannotLoad: async () => undefined,
      pwmPins: async () => undefined,
    };
  }

  async find(specs: Record<string, object> = {}) {
    const boards = Object.fromEntries(
      Object.entries(specs).map(([name, spec]) => [name, schemas().board.parse(spec) as Board]),
    );
    const findings = await chips(this.world, boards);
    for (const { state, remedy } of findings) expect(remedy !== undefined).toBe(state === 'wrong');
    // By reading alone.
    for (const line of this.lines) expect(line).toMatch(/^(i2cdetect -y -r|i2cget) /);
    return Object.fromEntries(findings.map(({ what, ...rest }) => [what, rest]));
  }
}

const METER = { driver: 'ina226', bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8 };
const ADC = { driver: 'ads1115', bus: 1, address: 0x48 };

describe('chips on the bus', () => {
  test('that the file has', async () => {
    const bench = new Bench({ 69: new Ina226Model(), 72: new Ads1115Model() });
    expect(await bench.find({ meter: METER, adc: ADC })).toEqual({
      'board meter: chip at 0x45': { state: 'fine', text: 'is a board for driver ina226' },
      'board adc: chip at 0x48': { state: 'fine', text: 'is a board for driver ads1115' },
    });
  });

  test('that the file does not have: what to write there', async () => {
    const bench = new Bench({
      64: new Pca9685Stranger(),
      65: new Ina219Model(),
      68: new Ina226Model(),
      73: new Ads1115Model(),
      79: { read: () => 0xffff, write: () => {} },
    });
    const all = await bench.find();
    expect(all['I2C bus 1: chip at 0x40']!.text).toMatch(/^is a board for driver pca9685/);
    expect(all['I2C bus 1: chip at 0x41']!.text).toContain(
      '{ driver: ina219, bus: 1, address: 0x41, shuntOhm: 0.1, maxA: 3.2 }',
    );
    expect(all['I2C bus 1: chip at 0x44']!.text).toMatch(/driver: ina226.*address: 0x44/);
    expect(all['I2C bus 1: chip at 0x49']!.text).toContain(
      '{ driver: ads1115, bus: 1, address: 0x49 }',
    );
    expect(all['I2C bus 1: chip at 0x4f']).toMatchObject({ state: 'unknown' });
    // What is proposed is right.
    for (const { text } of Object.values(all)) {
      const entry = /\{ driver: (ina219|ina226|ads1115).*\}/.exec(text)?.[0];
      if (entry === undefined) continue;
      const json = entry
        .replaceAll(/(\w+): /g, '"$1": ')
        .replaceAll(/0x4\d/g, (address) => String(Number(address)))
        .replace(/"driver": (\w+)/, '"driver": "$1"');
      expect(() => schemas().board.parse(JSON.parse(json))).not.toThrow();
    }
  });

  test('a PCA9685 where the file has a meter, and the other way round', async () => {
    const bench = new Bench({ 64: new Pca9685Stranger(), 69: new Ina226Model() });
    const all = await bench.find({
      meter: { ...METER, address: 0x40 },
      servos: { driver: 'pca9685', bus: 1, address: 0x45 },
    });
    expect(all['board meter: chip at 0x40']).toMatchObject({
      state: 'wrong',
      text: 'is a board for driver pca9685, and the file says ina226',
    });
    expect(all['board servos: chip at 0x45']).toMatchObject({
      state: 'wrong',
      text: 'is a board for driver ina226, and the file says pca9685',
    });
  });

  test('a meter that nobody knows, and one that does not answer', async () => {
    const bench = new Bench({ 69: { read: () => 0, write: () => {} } });
    const all = await bench.find({ meter: METER, adc: ADC });
    expect(all['board meter: chip at 0x45']!.text).toMatch(/is not a board for driver ina226/);
    expect(all['board adc: chip at 0x48']!.text).toMatch(/does not answer/);
  });

  test('without i2c-tools', async () => {
    const bench = new Bench({}, false);
    expect(await bench.find()).toEqual({});
    expect((await bench.find({ meter: METER }))['I2C bus 1']).toMatchObject({ state: 'unknown' });
  });
});
