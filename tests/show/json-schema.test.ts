import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { showJsonSchemaText } from '../../src/show/json-schema.ts';

const config = (name: string) =>
  readFileSync(new URL(`../../config/${name}`, import.meta.url), 'utf8');
const FOYER = config('show.yaml');

describe('config/show.schema.json', () => {
  test('is the one generated from the schema (npm run schema)', () => {
    expect(config('show.schema.json')).toBe(showJsonSchemaText());
  });

  // JSON Schema, draft 2020-12, as implemented by ajv.
  const ajv = new Ajv2020({ strict: false, allErrors: true });
  const schema = JSON.parse(config('show.schema.json'));

  test('accepts the example', () => {
    expect(ajv.validateSchema(schema)).toBe(true);
    ajv.validate(schema, parse(FOYER));
    expect(ajv.errors ?? []).toEqual([]);
  });

  test.each([
    ['an unknown key', 'leadS: 8', 'leedS: 8', ''],
    ['a lead beyond a minute', 'leadS: 8', 'leadS: 61', '/leadS'],
    ['a day that there is not', 'days: [tue,', 'days: [someday,', '/schedule/0/days/0'],
    ['a time of day without minutes', 'daily: "10:00"', 'daily: "10"', '/schedule/0/daily'],
    ['an unknown state', 'is: live', 'is: alive', '/timeline/2/only/0/is'],
  ])('rejects %s', (_, from, to, place) => {
    expect(FOYER).toContain(from);
    expect(ajv.validate(schema, parse(FOYER.replace(from, to)))).toBe(false);
    expect(ajv.errors!.map(({ instancePath }) => instancePath)).toContain(place);
  });
});
