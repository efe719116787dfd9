import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type Board, createDriver, DRIVER_NAMES, factsOf } from '../../src/boards/registry.ts';
import { schemas } from '../../src/prop/schema.ts';

describe.each(DRIVER_NAMES)('the facts of %s', async (driver) => {
  const { EXAMPLE } = await import(`./${driver}/example.ts`);
  const board: Board = schemas().board.parse(EXAMPLE);
  const facts = factsOf(board);

  test('the steps of pulses are those of the driver', async () => {
    const { pulseStepUs } = await createDriver(board);
    expect(facts.pulseStepUs(board)).toBe(pulseStepUs);
  });

  test('every pin is in the cavity that leads back to it', () => {
    for (let pin = 0; pin < facts.pins; pin++)
      expect(facts.at(facts.cavityOf(pin)!)).toEqual({ pin });
  });

  test('cavities of power are no pins', () => {
    for (const [power, cavities] of Object.entries(facts.power ?? {}))
      for (const cavity of cavities) expect(facts.at(cavity)).toEqual({ power });
  });
});

test('no driver is asked for by its name outside its folder', () => {
  const root = join(import.meta.dirname, '../../src');
  const names = new RegExp(`'(${DRIVER_NAMES.join('|')})'`);
  const found = readdirSync(root, { recursive: true, encoding: 'utf8' })
    .filter((file) => /\.tsx?$/.test(file))
    .filter((file) => !DRIVER_NAMES.some((name) => file.startsWith(join('boards', name, '/'))))
    .flatMap((file) =>
      readFileSync(join(root, file), 'utf8')
        .split('\n')
        // The system that Node runs on has the name of a driver, too.
        .filter((line) => names.test(line) && !line.includes('process.platform'))
        .map((line) => `${file}: ${line.trim()}`),
    );
  expect(found).toEqual([]);
});
