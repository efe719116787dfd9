import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { schemas } from '../../src/prop/schema.ts';
import { sensePoints, senseRange } from '../../src/prop/senses.ts';
import { measuredOf } from '../../src/shared/measured.ts';
import { interpolate, table } from '../../src/sums/calibration.ts';
import { expectFindings, propText, servo } from './helpers.ts';

// The mark » stands before the place of the finding.

const BOARDS = 'head: { driver: sim }\n  other: { driver: sim }\n  chip: { driver: pigpio }';
const RAILS = `rails: { six: { volts: 6, limitA: 5 }, pack: { volts: 7.4, limitA: 5, battery: { capacityAh: 2, fullV: 8.4, emptyV: 6.4 } } }`;
const senses = (...lines: string[]) =>
  propText(
    `a: ${servo(4)}\n  m: { kind: relay, output: { board: head, pin: 17 } }`,
    `${RAILS}\nsenses:\n  ${lines.join('\n  ')}`,
    BOARDS,
  );
const finds = (line: string, wrong: string | RegExp, severity: 'error' | 'warning' = 'error') =>
  expectFindings(senses(line), [{ wrong, severity }]);

describe('what may be measured where', () => {
  test('every kind, each at its place', () => {
    expectFindings(
      senses(
        'draw: { kind: current, board: head, rail: six }',
        'six: { kind: volts, board: head, rail: six, warnBelow: 5.5, parkBelow: 5.2 }',
        'pack: { kind: volts, board: head, input: 0, rail: pack, divider: [100000, 33000], warnBelow: 6.8, parkBelow: 6.5 }',
        'angle: { kind: position, board: head, input: 1, channel: a, calibration: [[0.5, -45], [2.5, 45]] }',
        'light: { kind: level, board: head, input: 2, calibration: [[0, 0], [3.3, 1]] }',
        'hall: { kind: current, board: head, input: 3, channel: a, calibration: [[0.5, 0], [2.5, 10]] }',
        'lid: { kind: contact, board: head, pin: 22, warnWhen: open }',
      ),
      [],
    );
  });

  test.each([
    ['x: { kind: volts, board: »haed }', 'there is no board haed'],
    ['x: { kind: volts, board: »chip }', /board chip .pigpio. measures nothing/],
    ['x: { kind: volts, board: head, rail: »sux }', 'there is no rail sux'],
    ['x: { kind: current, board: head, channel: »b }', 'there is no channel b'],
    ['x: { kind: current, board: head, rail: six, channel: »a }', 'both a rail and a channel'],
    ['x: { kind: volts, board: head, input: »16 }', 'has no input 16'],
    [
      'x: { kind: position, board: head, input: 1, channel: »m, calibration: [[0, 0], [1, 9]] }',
      'm is a relay, which has no angle',
    ],
    ['x: { kind: »torque, board: head }', 'is not a sense'],
  ])('%s', (line, wrong) => finds(line, wrong));

  test('a pin that is taken', () => {
    const text = senses('x: { kind: contact, board: head, pin: 4 }');
    // Whoever comes second is told.
    expectFindings(text.replace('pin: 4 }', 'pin: »4 }'), [{ wrong: 'taken by sense x' }]);
  });

  test('two senses at one input, and two of one meter', () => {
    expectFindings(
      senses(
        'one: { kind: volts, board: head, input: 3 }',
        'two: { kind: level, board: head, input: »3, calibration: [[0, 0], [1, 1]] }',
        'three: { kind: volts, board: head }',
        'four: { kind: volts, board: »head }',
        'five: { kind: current, board: head }',
        'six: { kind: volts, board: other, input: 3 }',
      ),
      [{ wrong: 'one has input 3 already' }, { wrong: 'three is the volts of board head already' }],
    );
  });
});

describe('scale and limits', () => {
  test.each([
    ['x: { kind: volts, board: head, divider: »[1, 1] }', 'without a divider'],
    ['x: { kind: volts, board: head, input: 0, divider: [1, »0] }', 'is not above 0'],
    ['x: { kind: current, board: head, input: »0 }', 'nothing says how many amperes'],
    [
      'x: { kind: level, board: head, input: 0, calibration: »[[0, 0], [1, 1], [2, 0.5]] }',
      'not strictly',
    ],
    ['x: { kind: level, board: head, input: 0, calibration: »[[0, 0], [0, 1]] }', 'not strictly'],
    ['x: { kind: level, board: head, input: 0, calibration: »[[0, 0]] }', 'fewer than 2 points'],
    [
      'x: { kind: volts, board: head, input: 0, rail: pack, divider: [10000, 10000], maxV: »3.3 }',
      '8.4 V puts 4.2 V on the input, more than 3.3 V',
    ],
    ['x: { kind: volts, board: head, maxV: »3.3 }', 'sets its own range'],
    ['x: { kind: volts, board: head, warnBelow: 5, parkBelow: »5.2 }', 'would park at 5.2, before'],
    [
      'x: { kind: volts, board: head, warnBelow: 5, warnAbove: »5.1 }',
      'not above warnBelow with its',
    ],
    ['x: { kind: volts, board: head, rail: six, parkBelow: »5.9 }', 'would wake again at 6.08 V'],
    ['x: { kind: volts, board: head, rail: six, dipBelow: »5.9 }', 'a dip would never be over'],
    [
      'x: { kind: volts, board: head, rail: six, at: »{ plus: Q1-1, return: Q1-2 } }',
      'no supply wire ends at Q1-1 and Q1-2',
    ],
    ['x: { kind: volts, board: head, at: »{ plus: Q1-1, return: Q1-2 } }', 'it names no rail'],
    ['x: { kind: volts, board: head, gain: »0 }', 'is 0'],
    ['x: { kind: volts, board: head, staleS: »0 }', 'is not above 0'],
  ])('%s', (line, wrong) => finds(line, wrong));

  test('pushing is noticed by the current of one servo alone, between its moves and its stall', () => {
    const text = (push: string, of: string) =>
      senses(`x: { kind: current, board: head, ${of}, pushAboveA: ${push} }`).replace(
        'park: { to: 0 }',
        'draw: { movingA: 0.4, stallA: 2 }, park: { to: 0 }',
      );
    expectFindings(text('0.8', 'channel: a'), []);
    expectFindings(text('»0.8', 'rail: six'), [{ wrong: 'only the current of one servo alone' }]);
    expectFindings(text('»0.8', 'channel: m'), [{ wrong: 'only the current of one servo alone' }]);
    const severity = 'warning' as const;
    expectFindings(text('»0.4', 'channel: a'), [{ wrong: 'would count as pushing', severity }]);
    expectFindings(text('»2', 'channel: a'), [{ wrong: 'never passed', severity }]);
  });

  test('pushing counted from the current running free needs that to be measured', () => {
    const text = (entry: string, free = '') =>
      senses(`x: { kind: current, board: head, channel: a, ${entry} }`).replace(
        'park: { to: 0 }',
        `draw: { movingA: 0.4, stallA: 2 }, ${free}park: { to: 0 }`,
      );
    const severity = 'warning' as const;
    expectFindings(text('pushOverA: »0.2'), [{ wrong: 'running free is not measured', severity }]);
    const free = 'freeRunning: { risingA: 0.4, fallingA: 0.3 }, ';
    expectFindings(text('pushOverA: »0.2', free), [
      { wrong: 'running free is not measured', severity },
    ]);
    const { channels } = schemas().propFile.parse(parse(text('pushOverA: 0.2', free)));
    const of = measuredOf('freeRunning', channels.a!);
    const measured = `${free}measured: { freeRunning: { date: 2026-11-26, of: ${of} } }, `;
    expectFindings(text('pushOverA: 0.2', measured), []);
    expectFindings(text('pushOverA: »1.6', measured), [{ wrong: 'never passed', severity }]);
    expectFindings(text('pushOverA: »0.2').replace('channel: a', 'rail: six'), [
      { wrong: 'only the current of one servo alone' },
    ]);
  });

  test('a battery that is used beyond empty', () => {
    finds(
      'x: { kind: volts, board: head, rail: pack, parkBelow: »6.2 }',
      'goes on down to 6.2 V',
      'warning',
    );
  });
});

describe('what a reading stands for', () => {
  const measured = (text: Record<string, unknown>, raw: number) => {
    const entry = schemas().propFile.parse({
      ...{ sinew: 1, name: 'x', channels: {}, boards: { head: { driver: 'sim' } } },
      senses: { x: { board: 'head', ...text } },
    }).senses.x!;
    return { value: interpolate(table(sensePoints(entry)), 0, raw), range: senseRange(entry) };
  };

  // Any textbook: a divider of R1 to the source and R2 to ground gives R2 / (R1 + R2) of it.
  test('a voltage divider', () => {
    const { value } = measured({ kind: 'volts', input: 0, divider: [100_000, 33_000] }, 2);
    expect(value).toBeCloseTo((2 * 133) / 33, 9);
  });

  test('gain, then offset', () => {
    expect(measured({ kind: 'current', gain: 2, offset: -0.1 }, 1.5).value).toBeCloseTo(2.9, 9);
    const hall = {
      kind: 'current',
      input: 0,
      calibration: [
        [0.5, 0],
        [2.5, 10],
      ],
      gain: 1.1,
      offset: 0.2,
    };
    expect(measured(hall, 1.5).value).toBeCloseTo(5 * 1.1 + 0.2, 9);
  });

  test('points in any order, falling as well', () => {
    const angle = {
      kind: 'position',
      input: 0,
      channel: 'a',
      calibration: [
        [2.5, -45],
        [0.5, 45],
        [1.5, 10],
      ],
    };
    expect(measured(angle, 1).value).toBeCloseTo(27.5, 9);
    expect(measured(angle, 2).value).toBeCloseTo(-17.5, 9);
    expect(measured(angle, 1).range).toEqual([0.4, 2.6]);
  });
});
