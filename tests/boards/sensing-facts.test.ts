import { describe, expect, test } from 'vitest';
import type { BoardNotes, SenseUse } from '../../src/boards/facts.ts';
import { type Board, factsOf } from '../../src/boards/registry.ts';
import { schemas } from '../../src/prop/schema.ts';
import { expectFindings, propText, servo } from '../prop/helpers.ts';

const withBoard = (entry: string, other = '') =>
  propText(
    `a: ${servo(4)}`,
    '',
    `head: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: 50 }\n  ${other}meter: ${entry}`,
  );

describe('an entry under boards', () => {
  test.each([
    ['{ driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8 }'],
    ['{ driver: ina219, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: 3.2 }'],
    ['{ driver: ina219, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: 3.2, shuntW: 2 }'],
    ['{ driver: ads1115, bus: 1, address: 0x4b }'],
    ['{ driver: ads1115, bus: 0, address: 0x48, vddV: 5 }'],
  ])('%s is right', (entry) => expectFindings(withBoard(entry), []));

  test.each([
    [
      'a current that drops more than the chip measures',
      // TI INA226: 81.92 mV are the whole range (32768 counts of 2.5 uV).
      '{ driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: »3.2 }',
      {
        path: 'boards.meter.maxA',
        wrong: '3.2 A drop 320 mV at 0.1 ohm, and the chip measures up to 81.9 mV',
        right: 'give 0.819 A or less, or use a shunt of 0.0256 ohm or less',
      },
    ],
    [
      'the same of an INA219',
      '{ driver: ina219, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: »3.3 }',
      { wrong: 'up to 320 mV', right: 'give 3.2 A or less' },
    ],
    [
      'a shunt that gets too hot: 64 A² times 0.01 ohm',
      '{ driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8, shuntW: »0.5 }',
      {
        path: 'boards.meter.shuntW',
        wrong: '8 A heat the shunt of 0.01 ohm with 0.64 W, and it is rated for 0.5 W',
        right: 'no more than 7.07 A',
      },
    ],
    [
      'an address that a chip of another kind has',
      '{ driver: ina226, bus: 1, address: »0x40, shuntOhm: 0.01, maxA: 8 }',
      { path: 'boards.meter.address', wrong: 'address 0x40 on bus 1 is board head already' },
    ],
    [
      'an address that the chip cannot have',
      '{ driver: ads1115, bus: 1, address: »0x4c }',
      { path: 'boards.meter.address', wrong: /./ },
    ],
  ])('%s', (_, entry, finding) => expectFindings(withBoard(entry), [finding]));

  test('the same address on another bus is another chip', () => {
    expectFindings(
      withBoard('{ driver: ina226, bus: 2, address: 0x40, shuntOhm: 0.01, maxA: 8 }'),
      [],
    );
  });

  test('a channel on it', () => {
    const text = withBoard('{ driver: ads1115, bus: 1, address: 0x48 }').replace(
      'board: head',
      'board: »meter',
    );
    expectFindings(text, [{ wrong: 'only measures' }]);
  });
});

/** What a driver reports about a measurement. */
function found(spec: object, use: Partial<SenseUse>) {
  const board = schemas().board.parse(spec) as Board;
  const said: { level: string; path: string; wrong: string; right: string }[] = [];
  const note = (level: string) => (path: readonly unknown[], wrong: string, right: string) =>
    said.push({ level, path: path.join('.'), wrong, right });
  const notes = { error: note('error'), warning: note('warning') } as unknown as BoardNotes;
  factsOf(board).lintSense!(
    {
      board: 'meter',
      path: ['senses', 'amps'],
      boardPath: ['senses', 'amps', 'board'],
      quantity: 'current',
      ...use,
    },
    board,
    notes,
  );
  return said;
}

describe('a measurement', () => {
  const METER = { driver: 'ina226', bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 5 };
  const limit = (amps: number) => ({ rail: 'r6', amps });

  test('of a rail that may carry no more than the meter measures', () => {
    expect(found(METER, { limit: limit(5) })).toEqual([]);
    expect(found(METER, {})).toEqual([]);
  });

  test('of a rail that may carry more', () => {
    expect(found(METER, { limit: limit(8) })).toEqual([
      {
        level: 'warning',
        path: 'senses.amps.board',
        wrong: 'board meter measures up to 5 A, and rail r6 may carry 8 A',
        right: 'give the board maxA: 8',
      },
    ]);
    expect(found(METER, { limit: limit(20) })[0]!.right).toBe(
      'use a shunt of 0.0041 ohm or less, and give the board maxA: 20',
    );
  });

  test('of a rail that may heat the shunt more than it bears', () => {
    const all = found({ ...METER, shuntW: 0.5 }, { limit: limit(8) });
    expect(all.map(({ level }) => level)).toEqual(['warning', 'error']);
    expect(all[1]!.wrong).toMatch(/8 A heat the shunt/);
  });

  test('whose fuse lets more through than the shunt can show', () => {
    // INA226: 32768 counts of 2.5 uV are 81.92 mV (data sheet, by drivers/hwmon/ina2xx.c): 8.192 A at 0.01 ohm.
    const of = (fuseA: number) => found(METER, { limit: { ...limit(5), fuseA } });
    expect(of(8)).toEqual([]);
    expect(of(10)).toEqual([
      {
        level: 'warning',
        path: 'senses.amps.board',
        wrong:
          'the fuse of rail r6 lets 10 A through, which drop 100 mV at the shunt of board meter, and its chip shows no more than 81.9 mV',
        right: expect.stringContaining('a shunt of 0.00819 ohm or less, or a smaller fuse'),
      },
    ]);
    // INA219: 320 mV at its largest gain are 3.2 A at 0.1 ohm.
    const ina219 = { driver: 'ina219', bus: 1, address: 0x45, shuntOhm: 0.1, maxA: 2 };
    expect(found(ina219, { limit: { ...limit(2), fuseA: 3 } })).toEqual([]);
    expect(found(ina219, { limit: { ...limit(2), fuseA: 5 } })[0]!.wrong).toMatch(
      /500 mV .* 320 mV/,
    );
  });

  test('whose fuse lets more through than the shunt bears', () => {
    // ISO 8820: a fuse carries its rating for ever. 7.5² A² times 0.01 ohm are 0.5625 W.
    const of = (shuntW: number) =>
      found({ ...METER, shuntW }, { limit: { ...limit(5), fuseA: 7.5 } });
    expect(of(0.6)).toEqual([]);
    expect(of(0.5).map(({ level }) => level)).toEqual(['warning']);
    expect(of(0.5)[0]!.wrong).toMatch(/7\.5 A through, .* with 0\.563 W, .* rated for 0\.5 W/);
    // Without the fuse it is too hot already: said once.
    expect(of(0.2)).toEqual([]);
  });

  test('of more volts than the meter bears', () => {
    expect(found(METER, { quantity: 'volts', maxV: 48 })[0]!.wrong).toMatch(/48 V is above the 36/);
    expect(found(METER, { quantity: 'volts', maxV: 24 })).toEqual([]);
  });

  const ADC = { driver: 'ads1115', bus: 1, address: 0x48 };

  test('of more volts than the supply of the converter', () => {
    expect(found(ADC, { quantity: 'volts', maxV: 5 })[0]).toMatchObject({
      level: 'error',
      wrong: expect.stringContaining('supply of 3.3 V'),
      right: expect.stringContaining('divider'),
    });
    expect(found({ ...ADC, vddV: 5 }, { quantity: 'volts', maxV: 5 })).toEqual([]);
  });

  test('behind resistors that are too large', () => {
    // 100 kohm before 6 Mohm takes 1.6 % away; 25 kohm 0.4 %.
    const of = (sourceOhm: number) => found(ADC, { quantity: 'volts', sourceOhm });
    expect(of(100_000)[0]!.wrong).toMatch(/takes 1\.6 % of the voltage away, with 100 kohm/);
    expect(of(25_000)).toEqual([]);
  });
});
