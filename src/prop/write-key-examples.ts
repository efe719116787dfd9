import { readFileSync, writeFileSync } from 'node:fs';
import { parse } from 'yaml';
import type { KeySchema } from './explain.ts';
import { jsonSchema } from './json-schema.ts';
import { keyExamples } from './key-examples.ts';

/** `npm run schema`: rewrites config/key-examples.json from the example props. */
const config = new URL('../../config/', import.meta.url);
const read = (name: string): unknown => parse(readFileSync(new URL(name, config), 'utf8'));
const PROPS = ['owl.yaml', 'dusk-street.yaml', 'lidded-chest.yaml', 'apple-hand.yaml'];
const examples = keyExamples(jsonSchema() as KeySchema, PROPS.map(read));
writeFileSync(new URL('key-examples.json', config), `${JSON.stringify(examples, null, 2)}\n`);
