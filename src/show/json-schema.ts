import { schemaText } from '../prop/json-schema.ts';
import { showSchemas } from './show-file.ts';

/**
 * The text of config/show.schema.json: JSON Schema, draft 2020-12, for the file of a show, for editors. It
 * cannot express every rule: `sinew show check` knows more.
 */
export function showJsonSchemaText(): string {
  return schemaText(showSchemas().showFile);
}
