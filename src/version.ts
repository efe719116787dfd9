import { readFile } from 'node:fs/promises';

/** The version of Sinew. */
export async function version(): Promise<string> {
  const own = await readFile(new URL('../package.json', import.meta.url), 'utf8');
  return JSON.parse(own).version;
}
