import { readFile, realpath } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import type { Finding } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { safePicture } from '../prop/picture/picture.ts';
import type { SafePicture } from '../prop/picture/safe-picture.ts';
import { readText } from '../prop/text.ts';
import { Refusal } from '../shared/errors.ts';

/** The picture of that name beside the prop file that `file` leads to. @throws Refusal, or what the file system throws */
export async function pictureBeside(file: string, name: string): Promise<SafePicture> {
  return safePicture(await readFile(join(dirname(await realpath(file)), name)));
}

/**
 * What is wrong with the picture beside a prop file without errors, as warnings: the prop works without it.
 * A kept result of a check does not cover it, as it is about the text alone. A copied file may have left its
 * picture behind: `missing` is then its name, and that is not a finding.
 * @param of the text, and what was made of it where it was parsed already
 */
export async function pictureFindings(
  file: string,
  { text, source = readText(text) }: Pick<Loaded, 'text'> & Partial<Loaded>,
): Promise<{ findings: Finding[]; missing?: string }> {
  const { picture } = source.raw as { picture?: { file: string } };
  if (picture === undefined) return { findings: [] };
  const { file: name } = picture;
  const warn = (wrong: string, right: string) => ({
    findings: [source.place({ severity: 'warning', path: ['picture', 'file'], wrong, right })],
  });
  try {
    await pictureBeside(file, name);
    return { findings: [] };
  } catch (error) {
    if (error instanceof Refusal) return warn(`${name} cannot be shown`, error.message);
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return { findings: [], missing: name };
    return warn(`${name} cannot be read (${code})`, 'check its rights');
  }
}
