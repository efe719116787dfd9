import fs from 'node:fs/promises';
import { homedir } from 'node:os';
import { basename, dirname, extname, join, resolve } from 'node:path';
import { fileId } from '../prop/file/version.ts';

/** The prop file with all links followed, as far as it is there. */
export async function targetOf(file: string): Promise<string> {
  try {
    return await fs.realpath(file);
  } catch {
    // A file that is gone must lead to the same place as before.
  }
  try {
    return resolve(dirname(resolve(file)), await fs.readlink(file));
  } catch {
    const folder = dirname(resolve(file));
    return join(await fs.realpath(folder).catch(() => folder), basename(file));
  }
}

/** Where a prop's state is kept: given, systemd's, or the user's own place for such things. */
export function stateDir(
  given: string | undefined,
  target: string,
  env: NodeJS.ProcessEnv = process.env,
): string {
  if (given) return resolve(given);
  if (env.STATE_DIRECTORY) return env.STATE_DIRECTORY;
  const home = env.XDG_STATE_HOME || join(homedir(), '.local', 'state');
  return join(home, 'sinew', `${basename(target, extname(target))}-${fileId(target)}`);
}
