import { expect, test } from 'vitest';
import type { Change } from '../../src/editing/change.ts';
import { planChange } from '../../src/editing/plan.ts';
import { sensePlaces } from '../../src/editing/sense-places.ts';
import {
  levelPoint,
  type SenseKind,
  senseChange,
  senseFields,
  type Values,
  withValue,
} from '../../src/gateway/page/setup-sense-form.ts';
import { parseProp } from '../../src/prop/load.ts';
import { propText, servo } from '../prop/helpers.ts';

const BOARDS = `head: { driver: linux, chip: gpiochip0, pwmChip: 0 }
  meter: { driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8 }
  adc: { driver: ads1115, bus: 1, address: 0x48 }
  back: { driver: ads1115, bus: 1, address: 0x49 }
  servos: { driver: pca9685, bus: 1, address: 0x40 }`;
const servos = [0, 1].map((output) => servo(output).replace('head', 'servos'));
const loaded = parseProp(
  propText(
    `a: ${servos[0]}\n  b: ${servos[1]}`,
    `rails: { six: { volts: 6, limitA: 5 } }
senses:
  a_angle: { kind: position, board: adc, input: 1, channel: a, calibration: [[0, -45], [3.3, 45]] }`,
    BOARDS,
  ),
  'test.yaml',
);
expect(loaded.findings.map(({ path, wrong }) => `${path} ${wrong}`)).toEqual([]);
const data = { data: loaded.raw as Record<string, unknown>, places: sensePlaces(loaded.prop!) };

const fields = (kind: SenseKind, values: Values = {}) =>
  Object.fromEntries(
    senseFields(kind, data, values).map(({ name, options, hint }) => [name, options ?? hint]),
  );

test('the form offers only what fits: boards, servos, inputs and pins that are free', () => {
  expect(fields('current')).toMatchObject({ board: ['meter'], rail: ['six'] });
  expect(fields('volts').board).toEqual(['meter', 'adc', 'back']);
  expect(fields('position')).toMatchObject({ channel: ['b'], board: ['adc', 'back'] });
  // No input before a board is chosen, then its own.
  expect(fields('level').input).toBeUndefined();
  expect(fields('level', { board: 'adc' }).input).toEqual(['0', '2', '3']);
  expect(fields('level', { board: 'back' }).input).toEqual(['0', '1', '2', '3']);
  expect(fields('volts', { board: 'meter' }).input).toBeUndefined();
  // A contact needs a pin of the header, which is chosen as it is the only board that has one.
  const contact = fields('contact');
  expect(contact.board).toEqual(['head']);
  expect(contact.pin).toContain('22');
  // SDA and SCL are used by the boards on the bus.
  expect(contact.pin).not.toContain('2');
});

test('another board has other inputs', () => {
  const values = { board: 'adc', input: '2', pin: '4', name: 'light' };
  expect(withValue(values, 'board', 'back')).toEqual({ board: 'back', name: 'light' });
  expect(withValue(values, 'name', 'dark')).toEqual({ ...values, name: 'dark' });
});

test.each<[SenseKind, Values]>([
  ['volts', { board: 'meter', rail: 'six', warnBelow: '5,5', parkBelow: '5.2' }],
  ['volts', { board: 'adc', input: '3', rail: 'six', name: 'supply' }],
  ['current', { rail: 'six', warnAbove: '4' }],
  ['position', { channel: 'b', board: 'back' }],
  ['level', { name: 'light', board: 'adc', warnBelow: '10' }],
  ['level', { name: 'light', board: 'adc', noneV: '2,9', allV: '0.4' }],
  ['contact', { name: 'lid', warnWhen: 'open' }],
  ['contact', { name: 'lid', pin: '22' }],
])('what the form makes of %s is a change that fits the file', (kind, values) => {
  const change = senseChange(kind, data, values);
  expect(change).toBeTypeOf('object');
  const { after, findings } = planChange(loaded, change as Change);
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  expect(Object.keys(after.prop!.senses)).toHaveLength(2);
});

test('percent are shares in the file, and a name is proposed', () => {
  const level = { name: 'light', board: 'adc', warnBelow: '10', warnAbove: '95' };
  expect(senseChange('level', data, level)).toMatchObject({
    limits: { warnBelow: 0.1, warnAbove: 0.95 },
  });
  const angle = { channel: 'b', board: 'adc' };
  expect(senseChange('position', data, angle)).toMatchObject({ name: 'b_angle', channel: 'b' });
  expect(senseChange('current', data, { rail: 'six' })).toMatchObject({
    ...{ name: 'six_current', board: 'meter' },
  });
});

test.each<[SenseKind, Values, RegExp]>([
  ['position', { name: 'x', board: 'adc' }, /Choose the servo/],
  ['position', { channel: 'b' }, /Choose what measures it/],
  ['level', { board: 'adc' }, /name/],
  ['level', { name: 'x', board: 'adc', noneV: '1' }, /both voltages/],
  ['level', { name: 'x', board: 'adc', noneV: '1', allV: 'x' }, /both voltages/],
  ['level', { name: 'x', board: 'adc', warnBelow: 'low' }, /numbers/],
  ['contact', {}, /name/],
])('what is missing in %s %j is said', (kind, values, said) => {
  expect(senseChange(kind, data, values)).toMatch(said);
});

test('without a board that fits, the remedy is said', () => {
  const none = { ...data, places: { ...data.places, level: [] } };
  expect(senseChange('level', none, { name: 'x' })).toMatch(/add a converter/);
  const [, board] = senseFields('level', none, {});
  expect(board).toMatchObject({ options: [], hint: 'none is free: add a converter' });
});

test('a point of a level is found by what it stands for', () => {
  const falling = [
    [2.9, 0],
    [0.4, 1],
  ];
  expect(levelPoint(falling, 0)).toBe(0);
  expect(levelPoint(falling, 1)).toBe(1);
  expect(levelPoint([[0, 0.2]], 0)).toBeUndefined();
  expect(levelPoint(undefined, 0)).toBeUndefined();
});
