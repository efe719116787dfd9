import fs from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { utf8Text } from '../../shared/utf8.ts';
import { formatFinding } from '../finding.ts';
import { MAX_TAKE_CHARS, parseTake, type Take } from './take-text.ts';

/**
 * The take files beside a prop file. They are read by whoever checks the prop file: never by the core.
 */

/** What is in a take file, or why it cannot be used: what is wrong, and what would be right. */
export type TakeFile = { take: Take } | { wrong: string; right: string };

/** The content of a take file by its plain name; undefined where nobody can know it. */
export type TakeFiles = (file: string) => TakeFile | undefined;

interface Known {
  signature: string;
  file: TakeFile;
}

/** Files that were read last: the same take is the same object for as long as nobody writes it. */
const known = new Map<string, Known>();
const MAX_KNOWN = 200;

/**
 * The files beside a prop file. Where there is no such prop file (a text that is only proposed), nothing is
 * known of them.
 */
export function takesBeside(propFile: string): TakeFiles {
  const folder = folderOf(propFile);
  return (file) => (folder === undefined ? undefined : readTake(folder, file));
}

/** Changes whenever somebody writes one of these files. Never throws. */
export function takesSignature(propFile: string, files: readonly string[]): string {
  const folder = folderOf(propFile);
  if (folder === undefined) return '';
  return files.map((file) => `${file} ${signatureOf(join(folder, file))}`).join('\n');
}

/** The folder of a prop file, with all links followed. */
function folderOf(propFile: string): string | undefined {
  try {
    return dirname(fs.realpathSync(propFile));
  } catch {
    return undefined;
  }
}

function signatureOf(path: string): string {
  try {
    const { dev, ino, size, mtimeNs, ctimeNs } = fs.statSync(path, { bigint: true });
    return [dev, ino, size, mtimeNs, ctimeNs].join(' ');
  } catch (error) {
    return (error as NodeJS.ErrnoException).code ?? String(error);
  }
}

function readTake(folder: string, file: string): TakeFile {
  const path = join(folder, file);
  const signature = signatureOf(path);
  const before = known.get(path);
  if (before?.signature === signature) return before.file;
  const read = takeIn(folder, file);
  if (known.size >= MAX_KNOWN) known.delete(known.keys().next().value!);
  known.set(path, { signature, file: read });
  return read;
}

/** The bytes of a take file, or why they cannot be had. */
export function takeBytes(
  folder: string,
  file: string,
): { bytes: Buffer } | { wrong: string; right: string } {
  const path = join(folder, file);
  try {
    // A link may lead elsewhere, and a device or a pipe may be endless.
    if (fs.realpathSync(path) !== join(folder, basename(path)))
      return { wrong: `${file} is a link`, right: 'put the take itself beside the prop file' };
    const { size } = fs.statSync(path);
    if (!fs.statSync(path).isFile())
      return { wrong: `${file} is not a regular file`, right: 'put a take there' };
    if (size > MAX_TAKE_CHARS)
      return {
        wrong: `${file} is larger than 1 MiB`,
        right: 'simplify the take, or record a shorter one',
      };
    return { bytes: fs.readFileSync(path) };
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    return code === 'ENOENT'
      ? { wrong: `${file} is not beside the prop file`, right: 'put it there, or remove the take' }
      : { wrong: `${file} cannot be read (${code ?? message})`, right: 'check the file' };
  }
}

function takeIn(folder: string, file: string): TakeFile {
  const found = takeBytes(folder, file);
  if ('wrong' in found) return found;
  const text = utf8Text(found.bytes);
  if (text === undefined)
    return { wrong: `${file} is not UTF-8 text`, right: 'save it as UTF-8, or record it again' };
  const { take, findings } = parseTake(text, file);
  if (take) return { take };
  const { right, ...first } = findings[0]!;
  const more = findings.length > 1 ? `, and ${findings.length - 1} more` : '';
  const said = formatFinding({ ...first, right: '' }, file).replace(/: \(file\)/, '');
  return { wrong: `${said.replace(/; $/, '')}${more}`, right };
}
