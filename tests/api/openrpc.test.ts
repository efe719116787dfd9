import { createRequire } from 'node:module';
import { Ajv } from 'ajv';
import { expect, test } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import type { MethodRecord } from '../../src/api/method.ts';
import { METHODS } from '../../src/api/methods.ts';
import { openRpcDocument } from '../../src/api/openrpc.ts';

// biome-ignore lint/suspicious/noExplicitAny: the document is JSON.
type Json = any;

// CommonJS without named exports that a loader would find.
const require = createRequire(import.meta.url);
const jsonSchemaMeta: Json = require('@json-schema-tools/meta-schema').default;
const openRpcMeta: Json = require('@open-rpc/meta-schema').default;

/** As a client gets it. */
const document: Json = JSON.parse(JSON.stringify(openRpcDocument()));

test('follows the published meta-schema: @open-rpc/meta-schema 1.14.9', () => {
  const ajv = new Ajv({ strict: false, allErrors: true, validateFormats: false });
  ajv.addMetaSchema(jsonSchemaMeta);
  // It is named without the slash at its end, too.
  const { $id: _, ...unnamed } = jsonSchemaMeta;
  ajv.addSchema(unnamed, 'https://meta.json-schema.tools');
  const validate = ajv.compile(openRpcMeta);
  validate(document);
  expect(validate.errors).toBeNull();
  // The meta-schema does look: each of these is a fault.
  const [first, ...others] = document.methods;
  for (const faulty of [
    { ...document, openrpc: '9.0.0' },
    { ...document, notes: [] },
    { ...document, methods: [{ ...first, params: undefined }, ...others] },
    { ...document, methods: [{ ...first, paramStructure: 'by-luck' }, ...others] },
  ])
    expect(validate(JSON.parse(JSON.stringify(faulty)))).toBe(false);
});

test('each reference leads somewhere, and no number stands twice among the errors of a method', () => {
  for (const { name, errors } of document.methods) {
    const codes = errors.map(({ $ref }: Json) => {
      const path: string[] = $ref.split('/').slice(1);
      return path.reduce((at, key) => at[key], document).code;
    });
    expect(codes, name).not.toContain(undefined);
    expect(new Set(codes).size, name).toBe(codes.length);
  }
});

test('every method is there, with who answers, whether it needs the lease, and its refusals', () => {
  expect(document.methods.map(({ name }: Json) => name)).toEqual(Object.keys(METHODS));
  const wake = document.methods.find(({ name }: Json) => name === 'wake');
  expect(wake).toMatchObject({ 'x-answered-by': 'core', 'x-needs-lease': true });
  expect(wake['x-refusals']).toContain('wake.unknown-servos');
});

test('each method has an example that its own schemas accept', () => {
  for (const [name, { example, params, result }] of Object.entries<MethodRecord>(METHODS)) {
    const all = fields();
    expect(params(all).safeParse(example.params).error, name).toBeUndefined();
    if (example.result) expect(result(all).safeParse(example.result).error, name).toBeUndefined();
    const [pairing] = document.methods.find((one: Json) => one.name === name).examples;
    expect(Object.fromEntries(pairing.params.map((one: Json) => [one.name, one.value]))).toEqual(
      example.params,
    );
  }
  const without = Object.values<MethodRecord>(METHODS).filter(({ example }) => !example.result);
  expect(without.length).toBeLessThanOrEqual(10);
});

test('says how the link is kept alive', () => {
  expect(document.info.description).toContain('link.timeoutMs');
  expect(document.info.description).toContain('session.life');
});
