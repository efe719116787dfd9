import * as z from 'zod';
import { schemas } from './schema.ts';

/**
 * The text of config/prop.schema.json: JSON Schema, draft 2020-12, for prop files, for editors. It cannot
 * express every rule: `sinew check` knows more.
 */
export function jsonSchemaText(): string {
  return schemaText(schemas().propFile);
}

/** The JSON Schema of a file of this schema, as it is written. */
export function schemaText(schema: z.ZodType): string {
  return `${JSON.stringify(jsonSchemaOf(schema), null, 2)}\n`;
}

/** The same as an object. */
export function jsonSchema(): object {
  return jsonSchemaOf(schemas().propFile);
}

function jsonSchemaOf(schema: z.ZodType): object {
  return z.toJSONSchema(schema, { io: 'input', target: 'draft-2020-12' });
}
