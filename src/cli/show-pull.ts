import { execFile } from 'node:child_process';
import { appendFile, mkdir, readFile, writeFile } from 'node:fs/promises';
import { dirname, join, resolve } from 'node:path';
import { promisify } from 'node:util';
import { readTokenFile } from '../gateway/token.ts';
import { difference } from '../prop/line-difference.ts';
import type { ShowFile } from '../show/show-file.ts';
import { Client } from './client.ts';
import { EXIT, UsageError } from './output.ts';
import { readShow, type ShowInputs } from './show-read.ts';
import { address } from './values.ts';
import type { Operator, Outcome } from './verb.ts';

/**
 * Copies of what the daemons of a show have, in a folder under git: only reads there, and never sends
 * anything back.
 */

const exec = promisify(execFile);
/** The most entries of a journal that are fetched at once. */
const ENTRIES = 1000;
const FILES = { prop: 'prop.yaml', versions: 'versions.json', journal: 'journal.jsonl' } as const;

/** What a daemon has. */
interface Found {
  text: string;
  version: string;
  versions: object[];
  entries: { seq: number; time: string }[];
}

/** What became of one prop. */
interface Line {
  prop: string;
  ok: boolean;
  text: string;
}

/** `sinew show pull`: fetches prop files, versions and journals of all props into a folder. */
export async function pullAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const read = await readShow(inputs.file);
  if ('refused' in read) return read.refused;
  const { show } = read;
  const folder = folderOf(inputs, 'pull');
  const lines = await eachProp(show, inputs.file, operator, async (prop, found) => {
    const own = join(folder, prop);
    await mkdir(own, { recursive: true });
    await writeFile(join(own, FILES.prop), found.text);
    await writeFile(join(own, FILES.versions), `${JSON.stringify(found.versions, null, 1)}\n`);
    const added = await addEntries(join(own, FILES.journal), found.entries);
    return { ok: true, text: `version ${found.version}, ${added} new entries of the journal` };
  });
  const good = lines.flatMap(({ prop, ok }) => (ok ? [prop] : []));
  const kept = good.length > 0 ? await commit(folder, good, show.name) : 'nothing was fetched';
  return outcome(lines, [kept]);
}

/** `sinew show diff`: what the daemons have now, against the folder. */
export async function diffAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  const read = await readShow(inputs.file);
  if ('refused' in read) return read.refused;
  const folder = folderOf(inputs, 'diff');
  const lines = await eachProp(read.show, inputs.file, operator, async (prop, { text }) => {
    const before = await readFile(join(folder, prop, FILES.prop), 'utf8').catch(() => undefined);
    if (before === undefined) return { ok: false, text: `not in ${folder} yet; sinew show pull` };
    if (before === text) return { ok: true, text: 'the same' };
    return { ok: false, text: ['differs:', ...difference(before, text)].join('\n  ') };
  });
  return outcome(lines, []);
}

function folderOf({ words = '' }: ShowInputs, what: string): string {
  if (words !== '') return words;
  throw new UsageError(`say which folder: sinew show ${what} SHOW.yaml DIR`);
}

function outcome(lines: readonly Line[], more: readonly string[]): Outcome {
  const sorted = [...lines].sort((a, b) => Number(a.ok) - Number(b.ok));
  return {
    result: { props: sorted },
    text: [...sorted.map(({ prop, text }) => `${prop}: ${text}`), ...more].join('\n'),
    exit: lines.every(({ ok }) => ok) ? EXIT.done : EXIT.refused,
  };
}

/** One after the other; what cannot be had of one prop does not keep the others. */
async function eachProp(
  show: ShowFile,
  file: string,
  operator: Operator,
  act: (prop: string, found: Found) => Promise<Omit<Line, 'prop'>>,
): Promise<Line[]> {
  const lines: Line[] = [];
  for (const [prop, entry] of Object.entries(show.props)) {
    try {
      lines.push({ prop, ...(await act(prop, await fetchOf(entry, file, operator))) });
    } catch (error) {
      lines.push({ prop, ok: false, text: (error as Error).message });
    }
  }
  return lines;
}

/** @throws Error where the daemon cannot be reached, or refuses */
async function fetchOf(
  { address: where, tokenFile }: ShowFile['props'][string],
  file: string,
  { io, options }: Operator,
): Promise<Found> {
  if (where === undefined) throw new Error('the show has no address of it; add address: HOST:PORT');
  const { host, port } = address(where);
  const token =
    tokenFile === undefined ? undefined : readTokenFile(resolve(dirname(file), tokenFile));
  const client = await Client.connect({
    url: `ws://${host}:${port}/api`,
    token,
    clientName: options.name,
    clock: io.clock,
  });
  try {
    const { text, version } = await client.call('prop.read', {});
    const { versions } = await client.call('prop.history', {});
    const { entries } = await client.call('journal.read', { limit: ENTRIES });
    return { text, version, versions, entries };
  } finally {
    await client.close();
  }
}

/** Adds those entries that are newer than the last one there. @returns how many */
async function addEntries(path: string, entries: Found['entries']): Promise<number> {
  const kept = await readFile(path, 'utf8').catch(() => '');
  const last = kept.trimEnd().split('\n').at(-1);
  const after = last ? (JSON.parse(last) as Found['entries'][number]) : undefined;
  const fresh = entries.filter(
    ({ seq, time }) => !after || time > after.time || (time === after.time && seq > after.seq),
  );
  await appendFile(path, fresh.map((entry) => `${JSON.stringify(entry)}\n`).join(''));
  return fresh.length;
}

/** Commits what was fetched, and nothing else that is in the folder. */
async function commit(folder: string, props: readonly string[], show: string): Promise<string> {
  const git = (...args: string[]) => exec('git', ['-C', folder, ...args]);
  const paths = props.flatMap((prop) => Object.values(FILES).map((file) => join(prop, file)));
  try {
    await git('rev-parse', '--git-dir').catch(() => git('init', '-q'));
    await git('add', '--', ...paths);
    const { stdout } = await git('status', '--porcelain', '--', ...paths);
    if (stdout === '') return 'nothing has changed';
    // Whoever has no name at git gets this one.
    const named = await git('config', 'user.email').then(
      () => [],
      () => ['-c', 'user.name=sinew', '-c', 'user.email=sinew@localhost'],
    );
    await git(...named, 'commit', '-q', '-m', `Show ${show}: ${props.join(', ')}`, '--', ...paths);
    return `committed in ${folder}`;
  } catch (error) {
    const { code, stderr } = error as { code?: unknown; stderr?: string };
    const why = code === 'ENOENT' ? 'git is not installed' : (stderr ?? String(error)).trim();
    return `the files are in ${folder}, but not committed: ${why}`;
  }
}
