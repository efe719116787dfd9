import { writeFileSync } from 'node:fs';
import { jsonSchemaText } from './json-schema.ts';

/** `npm run schema`: writes config/prop.schema.json again. */
writeFileSync(new URL('../../config/prop.schema.json', import.meta.url), jsonSchemaText());
