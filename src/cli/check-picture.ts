import { readFile, realpath } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import type { Finding } from '../prop/finding.ts';
import { loadProp } from '../prop/load.ts';
import { safePicture } from '../prop/picture/picture.ts';
import { Refusal } from '../shared/errors.ts';

/**
 * What is wrong with the picture beside a prop file, as warnings: the prop does without it. Kept results of
 * a check know nothing of it, as they are of the text alone. A copied file may have left its picture behind:
 * `missing` is then its name, and that is no finding.
 */
export async function pictureFindings(
  file: string,
): Promise<{ findings: Finding[]; missing?: string }> {
  const { prop, source } = await loadProp(file);
  const name = prop?.picture?.file;
  if (name === undefined) return { findings: [] };
  const warn = (wrong: string, right: string) => ({
    findings: [source!.place({ severity: 'warning', path: ['picture', 'file'], wrong, right })],
  });
  try {
    await safePicture(await readFile(join(dirname(await realpath(file)), name)));
    return { findings: [] };
  } catch (error) {
    if (error instanceof Refusal) return warn(`${name} cannot be shown`, error.message);
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return { findings: [], missing: name };
    return warn(`${name} cannot be read (${code})`, 'check its rights');
  }
}
