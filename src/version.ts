import { readFileSync } from 'node:fs';

/** The version of Sinew. */
export function version(): string {
  const own = readFileSync(new URL('../package.json', import.meta.url), 'utf8');
  return JSON.parse(own).version;
}
