import * as z from 'zod';
import { schemas } from './schema.ts';

/**
 * The text of config/prop.schema.json: JSON Schema, draft 2020-12, for prop files, for editors. It cannot
 * express every rule: `sinew check` knows more.
 */
export function jsonSchemaText(): string {
  return `${JSON.stringify(jsonSchema(), null, 2)}\n`;
}

/** The same as an object. */
export function jsonSchema(): object {
  return z.toJSONSchema(schemas().propFile, { io: 'input', target: 'draft-2020-12' });
}
