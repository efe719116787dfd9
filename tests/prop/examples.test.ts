import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { parseProp } from '../../src/prop/load.ts';

const config = (file: string) =>
  readFileSync(new URL(`../../config/${file}`, import.meta.url), 'utf8');

describe.each([
  ['owl.yaml', []],
  ['apple-hand.yaml', []],
  ['lidded-chest.yaml', []],
  ['dusk-street.yaml', ['triggers.closing_time.unattended']],
])('config/%s', (file, unattended) => {
  const text = config(file);

  test('checks clean, but for the caution about what runs unattended', () => {
    const { prop, findings } = parseProp(text, file);
    expect(findings.map(({ severity, path }) => [severity, path])).toEqual(
      unattended.map((path) => ['note', path]),
    );
    expect(prop).toBeDefined();
  });

  // JSON Schema, draft 2020-12, as implemented by ajv.
  test('is accepted by the JSON Schema that its first line names', () => {
    expect(text).toMatch(
      /^# yaml-language-server: \$schema=http:\/\/127\.0\.0\.1:7420\/prop\.schema\.json\n/,
    );
    const ajv = new Ajv2020({ strict: false, allErrors: true });
    ajv.validate(JSON.parse(config('prop.schema.json')), parse(text));
    expect(ajv.errors ?? []).toEqual([]);
  });

  test('every channel has a wire with a label of its own, and every core its own end', () => {
    const { channels } = parseProp(text, file).prop!;
    const wires = Object.values(channels).map(({ wire }) => wire!);
    expect(new Set(wires.map(({ label }) => label)).size).toBe(Object.keys(channels).length);
    const ends = wires.flatMap(({ cores }) => cores.map(({ to }) => to));
    expect(new Set(ends).size).toBe(ends.length);
  });
});
