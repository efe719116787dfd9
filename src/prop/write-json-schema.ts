import { writeFileSync } from 'node:fs';
import { jsonSchemaText } from './json-schema.ts';

/** `npm run schema`: rewrites config/prop.schema.json. */
writeFileSync(new URL('../../config/prop.schema.json', import.meta.url), jsonSchemaText());
