import fs from 'node:fs/promises';
import { basename, dirname, join, sep } from 'node:path';
import { factsOf } from '../boards/registry.ts';
import { PropDisk } from '../prop/file/prop-disk.ts';
import { fileId } from '../prop/file/version.ts';
import { parseProp } from '../prop/load.ts';
import { journalFolder, numbersIn } from '../record/read.ts';
import type { PlannedBoard } from '../safe/plan.ts';
import { putBeside } from '../service/beside-file.ts';
import { Locks, lockablesOf } from '../service/locks.ts';
import { targetOf } from '../service/state-dir.ts';
import { stateAfterRestore } from '../service/state-file.ts';
import { Refusal } from '../shared/errors.ts';
import { type About, unpack } from './archive.ts';
import { readWithin, stateFolder } from './collect.ts';
import { besideFile, KEPT, logFile, PROP, STATE, versionNumber } from './names.ts';

/** What was restored. */
export interface RestoredProp {
  about: About;
  target: string;
  folder: string;
  /** How many files were written. */
  files: number;
  /** Where the prop file that was there before is kept. */
  kept: string | undefined;
  /** The board has a journal of its own, which goes on instead of the one in the archive. */
  journalStays: boolean;
}

interface Wanted {
  /** The prop file to write. */
  file: string;
  stateDir: string | undefined;
  /** What is there may be replaced. */
  replace: boolean;
}

/**
 * Puts a prop from an archive in its place. Everything is read and checked before anything is written. What
 * the state says of positions and duty guards is not restored: nobody knows where the servos stand, and
 * relays with a duty guard rest first; locks and a latched stop stay.
 * Each file is replaced whole, the state first and the prop file last: after a power cut between them the
 * prop file is the one of before, with unknown positions.
 * @throws Refusal `backup.unusable`, `backup.exists`, `backup.running`, or what the file system refuses
 */
export async function restore(
  archive: Uint8Array,
  { file, stateDir: given, replace }: Wanted,
  env: NodeJS.ProcessEnv,
  locks = new Locks(),
): Promise<RestoredProp> {
  const { about, files } = unpack(archive);
  const content = new Map(files.map(({ name, bytes }) => [name, bytes]));
  const prop = content.get(PROP);
  if (!prop)
    throw new Refusal('backup.unusable', 'this backup cannot be used: it has no prop file', {});
  await fs.mkdir(dirname(file), { recursive: true });
  const target = await targetOf(file);
  const home = dirname(target);
  const folder = await stateFolder(given, target, env);
  const id = fileId(target);
  // Root restores for the daemon's user: whoever owns the folder owns what is put into it.
  const owner = await ownerOf(home);
  const stateOwner = await ownerOf(folder).catch(() => owner);
  await fs.mkdir(folder, { recursive: true, mode: 0o700 });

  const disk = new PropDisk(target);
  const before = await disk.look();
  const present = before.bytes?.toString();
  const text = Buffer.from(prop).toString();
  try {
    await locks.takeFolder(folder);
    await locks.hold([...boardsOf(present, target), ...boardsOf(text, target)]);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    throw new Refusal(
      'backup.running',
      `nothing was restored: ${error.message.split(';')[0]}; end it first (sudo systemctl stop sinewd), then restore`,
      { state: folder },
    );
  }
  try {
    const placed = KEPT.map((one) => ({ ...one, path: join(folder, one.inFolder(id)) }));
    const asides = files.flatMap(({ name, bytes }) => {
      const own = besideFile(name);
      return own === undefined ? [] : [{ own, bytes }];
    });
    const old = await readWithin(join(folder, 'state.json'));
    if (!replace) {
      const paths = [
        target,
        ...asides.map(({ own }) => join(home, own)),
        ...placed.map(({ path }) => path),
      ];
      const there: string[] = [];
      for (const path of paths) if (await exists(path)) there.push(path);
      if (there.length > 0)
        throw new Refusal(
          'backup.exists',
          `nothing was restored: there is ${listed(there)}; give another FILE, or --replace: then the prop file that is there stays as a version`,
          { files: there },
        );
    }
    if (before.error && before.error.code !== 'ENOENT')
      throw new Refusal('file.unreadable', `${target} cannot be read (${before.error.code})`, {});

    await give(folder, stateOwner);
    const archived = content.get(STATE);
    const state = stateAfterRestore(
      archived && Buffer.from(archived).toString(),
      // One that is there and cannot be read counts as damaged.
      typeof old === 'string' ? (old === 'ENOENT' ? undefined : '') : old.toString(),
    );
    let written = 0;
    const put = async (path: string, bytes: Uint8Array | string, to: Owner): Promise<void> => {
      // What the daemon keeps for itself names people and their devices: no other user reads it.
      const mode = path.startsWith(folder + sep) ? 0o600 : 0o644;
      await putBeside(path, basename(path), bytes, fs, mode);
      await give(path, to);
      written++;
    };
    await put(join(folder, 'state.json'), state, stateOwner);
    for (const { name, path } of placed) {
      const bytes = content.get(name);
      if (name !== STATE && bytes) await put(path, bytes, stateOwner);
    }
    // The journal of this board goes on where there is one: two cannot be one.
    const logs = files.flatMap(({ name, bytes }) => {
      const log = logFile(name);
      return log ? [{ folder: join(folder, log.folder), file: log.file, bytes }] : [];
    });
    const journalStays = logs.length > 0 && (await numbersIn(journalFolder(folder))).length > 0;
    // What was measured before a stop is numbered by the journal, and stays with it.
    for (const log of journalStays ? [] : logs) {
      await fs.mkdir(log.folder, { recursive: true, mode: 0o700 });
      await give(log.folder, stateOwner);
      await put(join(log.folder, log.file), log.bytes, stateOwner);
    }
    for (const { own, bytes } of asides) await put(join(home, own), bytes, owner);
    const versions = files.flatMap(({ name, bytes, time }) => {
      const number = versionNumber(name);
      return number === undefined ? [] : [{ number, bytes, time }];
    });
    for (const { bytes, time } of versions.toSorted((a, b) => a.number - b.number)) {
      const path = await disk.keepText(bytes);
      await give(path, owner);
      if (time !== undefined) await fs.utimes(path, new Date(time), new Date(time));
      written++;
    }
    const done = await disk.replace(before.bytes, text);
    if (!done)
      throw new Refusal(
        'file.changed-by-hand',
        `${target} was changed meanwhile and stays as it is; restore again`,
        { file: target },
      );
    if (done.unsure) throw done.unsure;
    await give(target, owner);
    await disk.trim();
    return { about, target, folder, files: written + 1, kept: done.kept?.path, journalStays };
  } finally {
    await locks.keepOnly([]);
  }
}

/** What no other daemon may drive while a prop of this text is restored. */
function boardsOf(text: string | undefined, file: string): ReturnType<typeof lockablesOf> {
  const { prop } = text === undefined ? { prop: undefined } : parseProp(text, file);
  const boards = Object.entries(prop?.boards ?? {}).map(
    ([name, spec]): PlannedBoard => ({
      ...{ name, driver: spec.driver, ...factsOf(spec).planned(spec) },
      outputs: [],
    }),
  );
  return lockablesOf(boards);
}

async function exists(path: string): Promise<boolean> {
  return fs.lstat(path).then(
    () => true,
    () => false,
  );
}

function listed(paths: readonly string[]): string {
  const more = paths.length > 3 ? ` and ${paths.length - 3} more` : '';
  return paths.slice(0, 3).join(', ') + more;
}

interface Owner {
  uid: number;
  gid: number;
}

async function ownerOf(path: string): Promise<Owner> {
  const { uid, gid } = await fs.stat(path);
  return { uid, gid };
}

async function give(path: string, { uid, gid }: Owner): Promise<void> {
  if (process.getuid?.() === 0) await fs.lchown(path, uid, gid);
}
