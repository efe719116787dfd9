import * as z from 'zod';
import { showSchemas } from './show-file.ts';

/**
 * The text of config/show.schema.json: JSON Schema, draft 2020-12, for the file of a show, for editors. It
 * cannot express every rule: `sinew show check` knows more.
 */
export function showJsonSchemaText(): string {
  const schema = z.toJSONSchema(showSchemas().showFile, { io: 'input', target: 'draft-2020-12' });
  return `${JSON.stringify(schema, null, 2)}\n`;
}
