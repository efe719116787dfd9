import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import shipped from '../../config/key-examples.json' with { type: 'json' };
import { type Explanation, explainKey, findKeys, type KeySchema } from '../../src/prop/explain.ts';
import { jsonSchema } from '../../src/prop/json-schema.ts';
import { EXAMPLE_PROPS, keyExamples } from '../../src/prop/key-examples.ts';
import { KIND_NAMES } from '../../src/prop/kinds/channel.ts';
import { schemas } from '../../src/prop/schema.ts';

const schema = jsonSchema() as KeySchema;
const explain = (path: string) => explainKey(schema, path);

test('a key: what it means, what to write, and what counts without it', () => {
  expect(explain('channels.servo.speedDegS')).toMatchObject({
    about: 'speed limit (deg/s)',
    form: 'number, more than 0',
    required: false,
    default: 60,
  });
  const { about, form, required } = explain('channels.servo.calibration');
  expect(about).toContain('points [pulse us, angle deg]');
  expect(form).toBe('a list, each a list: number, then number');
  expect(required).toBe(true);
});

test('names may stand where the file has them, or be left out', () => {
  const fuse = explain('rails.fuse');
  const plain = ({ keys }: Explanation) => keys.map(({ path: _, ...key }) => key);
  expect(plain(explain('rails.servo6v.fuse'))).toEqual(plain(fuse));
  expect(fuse.keys.map(({ name }) => name)).toEqual(['ratingA', 'standard', 'from', 'to']);
  expect(explain('cues.wave.2.move').about).toBe(explain('cues.move').about);
  expect(explain('channels[beak].marks').about).toBe('named positions (deg)');
});

test('where the keys depend on a kind it names the kinds, and each has its own', () => {
  expect(explain('channels').kinds).toEqual([...KIND_NAMES]);
  expect(explain('boards').kinds).toContain('pca9685');
  const keys = (kind: string) => explain(`channels.${kind}`).keys.map(({ name }) => name);
  expect(keys('relay')).toContain('duty');
  expect(keys('servo')).not.toContain('duty');
});

test('a default that differs between kinds is not given for all of them', () => {
  expect(explain('channels.relay.park').default).toEqual({ to: 'off' });
  expect(explain('channels.beak.park')).not.toHaveProperty('default');
});

test.each([
  ['chanels', 'a prop file has no key chanels; did you mean channels?'],
  ['channels.relay.contct', 'channels.relay has no key contct; did you mean contact?'],
  ['name.first', 'name has no keys'],
])('%s: suggests a key', (path, reason) => {
  expect(() => explain(path)).toThrow(reason);
});

/** Every place of the schema, with names left out. */
function* places(node: KeySchema, path: string): Generator<[path: string, node: KeySchema]> {
  for (const [key, child] of Object.entries(node.properties ?? {})) {
    const place = path ? `${path}.${key}` : key;
    yield [place, child];
    yield* places(child, place);
  }
  for (const form of [...(node.anyOf ?? []), ...(node.oneOf ?? [])]) {
    const mark = form.properties?.kind?.const ?? form.properties?.driver?.const;
    yield* places(form, typeof mark === 'string' ? `${path}.${mark}` : path);
  }
  if (typeof node.additionalProperties === 'object') yield* places(node.additionalProperties, path);
  if (node.items) yield* places(node.items, path);
}

describe('every key of the schema', () => {
  const all = [...places(schema, '')];

  test('can be explained, and says what it means', () => {
    expect(all.length).toBeGreaterThan(200);
    const silent = all
      .filter(([, node]) => node.const === undefined)
      .filter(([path]) => explain(path).about === undefined)
      .map(([path]) => path);
    expect(silent).toEqual([]);
  });

  test('is what its own place leads to, and where the keys above it lead', () => {
    for (const [path] of all) {
      const { path: place, parent } = explain(path);
      expect(place).toBe(path);
      expect(explain(parent!).path).toBe(path.split('.').slice(0, -1).join('.'));
    }
    for (const { path } of explain('channels.servo').keys) expect(explain(path).path).toBe(path);
    expect(explain('')).toMatchObject({ path: '', parent: null });
  });

  test('with a value of its own has an example, which the schema accepts there (ajv)', () => {
    const ajv = new Ajv2020({ strict: false });
    const isValue = ({ properties, items, anyOf, oneOf, additionalProperties }: KeySchema) =>
      !properties && !items && !anyOf && !oneOf && !additionalProperties;
    const without: string[] = [];
    const refused: string[] = [];
    for (const [path, node] of all) {
      const { example } = explain(path);
      if (example === undefined) {
        if (isValue(node) && node.const === undefined) without.push(path);
        continue;
      }
      // The first form of a place that has several may be another kind's.
      const forms = all.filter(([one]) => one === path).map(([, form]) => form);
      if (!forms.some((form) => ajv.validate(form, parse(example))))
        refused.push(`${path}: ${example}`);
    }
    expect(without).toEqual([]);
    expect(refused).toEqual([]);
  });

  test('has the default that a file without it gets', () => {
    const prop = schemas().propFile.parse({
      sinew: 1,
      name: 'x',
      boards: { main: { driver: 'sim' } },
      rails: { six: { volts: 6, limitA: 3, battery: { capacityAh: 5 } } },
      channels: {
        a: {
          kind: 'servo',
          output: { board: 'main', pin: 1 },
          calibration: [
            [1000, -45],
            [2000, 45],
          ],
          park: { to: 0 },
        },
        b: { kind: 'relay', output: { board: 'main', pin: 2 } },
      },
    });
    const { a, b } = prop.channels;
    for (const [path, value] of [
      ['link.timeoutMs', prop.link.timeoutMs],
      ['ambientC', prop.ambientC],
      ['park.deadlineS', prop.park.deadlineS],
      ['rails.battery.ratedH', prop.rails.six!.battery!.ratedH],
      ['channels.servo.speedDegS', a?.kind === 'servo' && a.speedDegS],
      ['channels.servo.park.then', a?.kind === 'servo' && a.park.then],
      ['channels.relay.contact', b?.kind === 'relay' && b.contact],
    ] as const)
      expect([path, explain(path).default]).toEqual([path, value]);
  });
});

test('config/key-examples.json is the one made from the example props (npm run schema)', () => {
  const props = EXAMPLE_PROPS.map((name) =>
    parse(readFileSync(new URL(`../../config/${name}.yaml`, import.meta.url), 'utf8')),
  );
  expect(shipped).toEqual(keyExamples(schema, props));
});

describe('to find a key', () => {
  const found = (text: string, limit = 20) => findKeys(schema, text, limit).map(({ path }) => path);

  test('one named so comes first, then those that only mention it', () => {
    expect(found('fuse')[0]).toBe('rails.fuse');
    expect(found('marks')[0]).toBe('channels.servo.marks');
    expect(found('calibration')[0]).toBe('channels.servo.calibration');
    expect(found('soft limits')).toContain('channels.servo.limitsDeg');
  });

  test('all words count; nothing is found for nothing or for what is not there; never too many', () => {
    expect(found('servo wire gauge')).toContain('channels.servo.wire.gaugeAwg');
    expect(found('servo wire gauge')).not.toContain('channels.relay.wire.gaugeAwg');
    expect(found('')).toEqual([]);
    expect(found(' . ')).toEqual([]);
    expect(found('toString')).toEqual([]);
    expect(found('a', 5)).toHaveLength(5);
    for (const path of found('a', 500)) expect(() => explain(path)).not.toThrow();
  });
});
