import { constants } from 'node:fs';
import fs from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { PropDisk } from '../prop/file/prop-disk.ts';
import { fileId, versionOf } from '../prop/file/version.ts';
import { parseProp } from '../prop/load.ts';
import { MAX_BYTES, readText } from '../prop/text.ts';
import { fileName } from '../record/lines.ts';
import { numbersIn } from '../record/read.ts';
import { stateDir, targetOf } from '../service/state-dir.ts';
import { Refusal } from '../shared/errors.ts';
import type { About, Packed } from './archive.ts';
import {
  besideLimit,
  besideName,
  filesNamed,
  KEPT,
  LOGS,
  logName,
  PROP,
  STATE,
  sizeLimit,
  versionName,
} from './names.ts';

/** What a backup of a prop has in it. */
export interface Collected {
  files: Packed[];
  about: Omit<About, 'program'>;
  /** Files that the prop file, or a version of it, names, and that cannot be taken: with the reason. */
  missing: string[];
  /** The state folder that was looked into, and whether a state is there. */
  folder: string;
  hasState: boolean;
}

/**
 * The state folder of a prop file: given; or the folder of the file, where a daemon keeps its state there as
 * the installed service does; or the usual place.
 */
export async function stateFolder(
  given: string | undefined,
  target: string,
  env: NodeJS.ProcessEnv,
): Promise<string> {
  if (given !== undefined) return stateDir(given, target, env);
  const beside = dirname(target);
  const there = await fs.stat(join(beside, 'state.json')).catch(() => undefined);
  return there ? beside : stateDir(undefined, target, env);
}

/**
 * Reads all that belongs to a prop, and changes nothing; a daemon may run meanwhile.
 * @param given the state folder, where it is not the usual one
 * @throws Refusal `file.unreadable` where there is no prop file
 */
export async function collect(
  file: string,
  given: string | undefined,
  env: NodeJS.ProcessEnv,
): Promise<Collected> {
  const target = await targetOf(file);
  const disk = new PropDisk(target);
  const { bytes, error } = await disk.look();
  if (!bytes)
    throw new Refusal(
      'file.unreadable',
      `${file} cannot be read (${error?.code ?? 'no such file'}); give the prop file`,
      { file },
    );
  const versions = (await disk.versions()).toReversed();
  const texts = [bytes, ...versions.map((one) => one.bytes)].map(String);
  const files: Packed[] = [
    { name: PROP, bytes },
    // Numbered from 1: how often the file was saved before does not matter.
    ...versions.map((one, i) => ({
      name: versionName(i + 1),
      bytes: one.bytes,
      time: new Date(one.timeMs).toISOString(),
    })),
  ];
  const { missing, found } = await beside(dirname(target), texts);
  files.push(...found);
  const folder = await stateFolder(given, target, env);
  const kept = await stateFiles(folder, fileId(target));
  files.push(...kept);
  const hasState = kept.some(({ name }) => name === STATE);
  const prop = parseProp(texts[0]!, target).prop?.name ?? '';
  return { files, about: { prop, version: versionOf(texts[0]!) }, missing, folder, hasState };
}

/** What the texts name beside the prop file. */
async function beside(
  folder: string,
  texts: readonly string[],
): Promise<{ found: Packed[]; missing: string[] }> {
  const names = new Set(texts.flatMap((text) => filesNamed(readText(text).raw)));
  const found: Packed[] = [];
  const missing: string[] = [];
  for (const name of [...names].sort()) {
    const read = await readWithin(join(folder, name), besideLimit(name)!);
    if (typeof read === 'string') missing.push(`${name} (${read})`);
    else found.push({ name: besideName(name), bytes: read });
  }
  return { found, missing };
}

/** @throws Refusal where one is there and cannot be read: a backup without it would seem to be whole */
async function stateFiles(folder: string, id: string): Promise<Packed[]> {
  const found: Packed[] = [];
  const logs: { name: string; path: string }[] = [];
  for (const own of LOGS) {
    const numbers = await numbersIn(join(folder, own)).catch((error: NodeJS.ErrnoException) => {
      throw unreadable(join(folder, own), error.code ?? 'unknown');
    });
    for (const file of numbers.map(fileName))
      logs.push({ name: logName(own, file), path: join(folder, own, file) });
  }
  const wanted = [
    ...KEPT.map(({ name, inFolder }) => ({ name, path: join(folder, inFolder(id)) })),
    ...logs,
  ];
  for (const { name, path } of wanted) {
    const read = await readWithin(path, sizeLimit(name));
    if (typeof read !== 'string') found.push({ name, bytes: read });
    else if (read !== 'ENOENT') throw unreadable(path, read);
  }
  return found;
}

function unreadable(path: string, why: string): Refusal {
  return new Refusal(
    'file.unreadable',
    `${path} cannot be read (${why}); run this as the user of the daemon, or as root (sudo)`,
    { file: path },
  );
}

/**
 * The content of a regular file, or why it cannot be had. A link may lead to a secret, and a device or a pipe
 * may be endless.
 */
export async function readWithin(path: string, maxBytes = MAX_BYTES): Promise<Buffer | string> {
  let handle: fs.FileHandle;
  try {
    handle = await fs.open(path, constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
  } catch (error) {
    const { code = 'unknown' } = error as NodeJS.ErrnoException;
    return code === 'ELOOP' ? 'it is a link' : code;
  }
  try {
    const found = await handle.stat();
    if (!found.isFile()) return 'it is not a regular file';
    if (found.size > maxBytes) return 'it is too large';
    const read = await handle.readFile();
    return read.length > maxBytes ? 'it is too large' : read;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code ?? 'unknown';
  } finally {
    await handle.close();
  }
}
