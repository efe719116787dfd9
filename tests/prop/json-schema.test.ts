import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { jsonSchemaText } from '../../src/prop/json-schema.ts';
import { OWL } from './helpers.ts';

const shipped = readFileSync(new URL('../../config/prop.schema.json', import.meta.url), 'utf8');

describe('config/prop.schema.json', () => {
  test('is the one generated from the schema (npm run schema)', () => {
    expect(shipped).toBe(jsonSchemaText());
  });

  // JSON Schema, draft 2020-12, as implemented by ajv.
  const ajv = new Ajv2020({ strict: false, allErrors: true });
  const schema = JSON.parse(shipped);

  test('is valid JSON Schema', () => {
    expect(schema.$schema).toBe('https://json-schema.org/draft/2020-12/schema');
    expect(ajv.validateSchema(schema)).toBe(true);
  });

  test('accepts the demo prop', () => {
    const valid = ajv.validate(schema, parse(OWL));
    expect(ajv.errors ?? []).toEqual([]);
    expect(valid).toBe(true);
  });

  test.each([
    ['an unknown key', 'rail: servo6v', 'rial: servo6v', '/channels/beak'],
    ['text for a number', 'speedDegS: 120', 'speedDegS: fast', '/channels/beak/speedDegS'],
    ['a missing key', '    kind: servo\n', '', '/channels/beak'],
    ['an unknown kind', 'kind: lamp', 'kind: lmp', '/channels/lantern'],
    [
      'a boolean for a switch',
      'park: { to: off }',
      'park: { to: false }',
      '/channels/mist/park/to',
    ],
    ['an unquoted colour', 'to: "#000000" }', 'to: }', '/channels/eye_left/park/to'],
    ['a bad name', '  tail: [', '  2tail: [', '/groups'],
    ['a pin out of reach', 'pin: 18 }', 'pin: 180 }', '/channels/beak/output/pin'],
  ])('rejects %s', (_, from, to, place) => {
    expect(OWL).toContain(from);
    expect(ajv.validate(schema, parse(OWL.replace(from, to)))).toBe(false);
    expect(ajv.errors!.map(({ instancePath }) => instancePath)).toContain(place);
  });
});
