import { expect, test } from 'vitest';
import type { Reading, SenseSpec } from '../../../src/boards/board.ts';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { SENSE_EVERY_MS } from '../../../src/boards/sim/senses.ts';

const SPECS: SenseSpec[] = [
  { name: 'draw', quantity: 'current', input: 0 },
  { name: 'supply', quantity: 'volts', input: 0 },
];

async function open() {
  const driver = new SimDriver();
  await driver.open([], []);
  await driver.openSenses(SPECS);
  let nowMs = 1000;
  const into: Reading = { value: 0, low: 0, atMs: 0, fault: undefined };
  const read = (sense: number): Reading => {
    nowMs += SENSE_EVERY_MS;
    driver.reading(sense, nowMs, into);
    return { ...into };
  };
  return { driver, read, now: () => nowMs };
}

const mean = (values: readonly number[]) =>
  values.reduce((sum, one) => sum + one, 0) / values.length;
const deviation = (values: readonly number[]) =>
  Math.sqrt(mean(values.map((one) => (one - mean(values)) ** 2)));

test('there is no reading before there is something to be measured', async () => {
  const { read } = await open();
  expect(read(0)).toMatchObject({ value: Number.NaN, atMs: Number.NEGATIVE_INFINITY });
});

test('readings are about what there is, with noise, and have their time', async () => {
  const { driver, read, now } = await open();
  driver.exposeSense(1, 6);
  expect(read(1).atMs).toBe(now());
  const readings = Array.from({ length: 400 }, () => read(1).value);
  // The mean of n readings deviates by sigma / sqrt(n) (any textbook): here 0.1 mV, five times that.
  expect(Math.abs(mean(readings) - 6)).toBeLessThan(0.0005);
  expect(deviation(readings)).toBeGreaterThan(0.0015);
  driver.simulateSenses({ supply: { noise: 0.1 } });
  expect(deviation(Array.from({ length: 400 }, () => read(1).value))).toBeGreaterThan(0.08);
});

test('the same noise in every run', async () => {
  const [one, other] = [await open(), await open()];
  for (const { driver } of [one, other]) driver.exposeSense(0, 1);
  for (let i = 0; i < 10; i++) expect(one.read(0)).toEqual(other.read(0));
});

test('a value from outside, and back', async () => {
  const { driver, read } = await open();
  driver.exposeSense(1, 6);
  driver.simulateSenses({ supply: { value: 5, noise: 0 } });
  expect(read(1).value).toBe(5);
  driver.simulateSenses({ supply: null });
  expect(read(1).value).toBeCloseTo(6, 1);
});

test('stuck: the same value with a new time', async () => {
  const { driver, read, now } = await open();
  driver.exposeSense(1, 6);
  const { value } = read(1);
  driver.simulateSenses({ supply: { stuck: true } });
  driver.exposeSense(1, 3);
  expect(read(1)).toEqual({ value, low: value, atMs: now(), fault: undefined });
});

test('gone: a fault, and the time of the last reading', async () => {
  const { driver, read, now } = await open();
  driver.exposeSense(1, 6);
  read(1);
  const lastMs = now();
  driver.simulateSenses({ supply: { gone: true } });
  expect(read(1)).toMatchObject({ value: Number.NaN, atMs: lastMs });
  expect(read(1).fault).toContain('does not answer');
  // The other one goes on.
  driver.exposeSense(0, 1);
  expect(read(0).fault).toBeUndefined();
});

test('no number, and the value of another', async () => {
  const { driver, read } = await open();
  driver.exposeSense(0, 1);
  driver.exposeSense(1, 6);
  driver.simulateSenses({ supply: { nan: true } });
  expect(read(1).value).toBeNaN();
  driver.simulateSenses({ supply: { as: 'draw' } });
  expect(read(1).value).toBeCloseTo(1, 1);
});

test('a board that fails answers for none, and throws nothing', async () => {
  const { driver, read } = await open();
  driver.exposeSense(1, 6);
  driver.simulate({}, 'the bus is gone');
  expect(read(1).fault).toBe('the bus is gone');
});

test('a sense that is not there is refused, and nothing is changed', async () => {
  const { driver, read } = await open();
  driver.exposeSense(1, 6);
  expect(() => driver.simulateSenses({ supply: { value: 1 }, batery: null })).toThrow('no batery');
  expect(() => driver.simulateSenses({ supply: { as: 'x' } })).toThrow('measures no x');
  expect(read(1).value).toBeCloseTo(6, 1);
});
