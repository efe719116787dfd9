import { readFileSync, writeFileSync } from 'node:fs';
import { parse } from 'yaml';
import type { KeySchema } from './explain.ts';
import { jsonSchema } from './json-schema.ts';
import { EXAMPLE_PROPS, keyExamples } from './key-examples.ts';

/** `npm run schema`: rewrites config/key-examples.json from the example props. */
const config = new URL('../../config/', import.meta.url);
const read = (name: string): unknown => parse(readFileSync(new URL(name, config), 'utf8'));
const props = EXAMPLE_PROPS.map((name) => read(`${name}.yaml`));
const examples = keyExamples(jsonSchema() as KeySchema, props);
writeFileSync(new URL('key-examples.json', config), `${JSON.stringify(examples, null, 2)}\n`);
