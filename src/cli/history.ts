import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { homedir } from 'node:os';
import { dirname, isAbsolute, join } from 'node:path';

/** Lines typed in earlier sessions, oldest first in the file, one a line. */

export const KEPT_LINES = 500;

/** `$XDG_STATE_HOME/sinew/history`, as the XDG Base Directory Specification has it. */
function historyFile(env: Record<string, string | undefined>): string {
  const given = env.XDG_STATE_HOME;
  // The specification: a relative path is invalid and to be ignored.
  const state = given && isAbsolute(given) ? given : join(env.HOME ?? homedir(), '.local', 'state');
  return join(state, 'sinew', 'history');
}

/** Newest first, as readline wants it. Empty when there is no history yet. */
export async function loadHistory(env: Record<string, string | undefined>): Promise<string[]> {
  try {
    const text = await readFile(historyFile(env), 'utf8');
    return text.split('\n').filter(Boolean).slice(-KEPT_LINES).reverse();
  } catch {
    return [];
  }
}

/** Takes lines newest first. @throws what the file system throws */
export async function saveHistory(
  env: Record<string, string | undefined>,
  lines: readonly string[],
): Promise<void> {
  const file = historyFile(env);
  await mkdir(dirname(file), { recursive: true, mode: 0o700 });
  const text = lines.slice(0, KEPT_LINES).toReversed().join('\n');
  await writeFile(file, `${text}\n`, { mode: 0o600 });
}
