import { writeFileSync } from 'node:fs';
import { jsonSchemaText } from '../prop/json-schema.ts';
import { showJsonSchemaText } from './json-schema.ts';

/** `npm run schema`: rewrites config/prop.schema.json and config/show.schema.json. */
const write = (name: string, text: string) =>
  writeFileSync(new URL(`../../config/${name}`, import.meta.url), text);

write('prop.schema.json', jsonSchemaText());
write('show.schema.json', showJsonSchemaText());
