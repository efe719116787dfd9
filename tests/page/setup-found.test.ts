import { expect, test } from 'vitest';
import type { Change } from '../../src/editing/change.ts';
import { planChange } from '../../src/editing/plan.ts';
import { type Chip, chipText, formFor } from '../../src/gateway/page/setup-found.ts';
import { parseProp } from '../../src/prop/load.ts';
import { propText, servo } from '../prop/helpers.ts';

const chip = (more: Partial<Chip>): Chip => ({
  ...{ bus: 1, simulated: false, address: 0x48, drivers: ['ads1115'], parts: ['ads1115'] },
  ...more,
});
const BOARDS = { head: { driver: 'sim' }, adc: { driver: 'ads1115', bus: 1, address: 0x48 } };

test.each<[string, Partial<Chip>, RegExp]>([
  [
    'one that is in use',
    { board: 'adc', parts: [] },
    /^board adc of the prop \(ads1115\), which is not asked$/,
  ],
  ['one that the file has', {}, /^probably ads1115; the file has board adc there$/],
  ['a new one', { address: 0x49 }, /^probably ads1115$/],
  ['one that may be two', { address: 0x49, drivers: ['ina219', 'ads1115'] }, /^may be ina219 or/],
  ['a strange one', { address: 0x4a, drivers: [], parts: [] }, /that no driver knows$/],
  [
    'one of a kernel driver',
    { address: 0x4a, drivers: [], parts: [], trouble: 'a kernel driver uses 0x4a' },
    /^a kernel driver uses 0x4a$/,
  ],
])('%s is described', (_, more, said) => {
  expect(chipText(chip(more), BOARDS)).toMatch(said);
});

test('the form gets what is known, and nothing of what cannot be added', () => {
  expect(formFor(chip({}), BOARDS)).toBeUndefined();
  expect(formFor(chip({ drivers: [], parts: [], address: 0x4a }), BOARDS)).toBeUndefined();
  expect(formFor(chip({ bus: 3 }), BOARDS)).toEqual({
    ...{ name: 'ads1115', bus: '3', address: '0x48', part: 'ads1115', parts: 'ads1115' },
  });
  // Which shunt it has is printed on it, and nobody else knows.
  const meter = { address: 0x45, drivers: ['ina226'], parts: ['ina226-r100', 'ina226-r010'] };
  const filled = formFor(chip(meter), { ina226: {}, ina226_2: {} })!;
  expect(filled).toMatchObject({ name: 'ina226_3', parts: 'ina226-r100 ina226-r010' });
  expect(filled.part).toBeUndefined();
});

test('what is filled in is a change that fits the file', () => {
  const loaded = parseProp(propText(`a: ${servo(4)}`), 'test.yaml');
  const { name, part, bus, address } = formFor(chip({}), loaded.prop!.boards)!;
  const change = { do: 'add', what: 'board', name, part, bus: Number(bus) } as Change;
  const { after } = planChange(loaded, { ...change, address: Number(address) } as Change);
  expect(after.prop!.boards.ads1115).toMatchObject({ bus: 1, address: 0x48 });
});
