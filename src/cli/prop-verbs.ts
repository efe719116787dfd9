import { readFile, stat } from 'node:fs/promises';
import { fitsFrame } from '../api/frame.ts';
import { FRAME_LIMIT_BYTES } from '../api/limits.ts';
import type { Result } from '../api/methods.ts';
import type { LineDifference } from '../prop/line-difference.ts';
import { Refusal } from '../shared/errors.ts';
import { RESTORE_OPTIONS, type RestoreOptions, restoreBackup } from './backup.ts';
import { table, UsageError } from './output.ts';
import { versionOfFile } from './values.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** @throws UsageError */
function versionGiven(text: string): string {
  try {
    return versionOfFile(text);
  } catch (error) {
    const { message } = error as Error;
    throw new UsageError(`${message} For a backup, name the prop file to write as well.`);
  }
}

/** Verbs for the prop file of a running daemon: what it was, and how to change it as a whole. */

function changedText(
  what: string,
  { version, changed, pending }: Result<'prop.apply'>,
): Outcome['text'] {
  const state = pending
    ? 'it waits until the prop is parked (sinew park)'
    : changed.length > 0
      ? 'it is in use'
      : 'it changes nothing';
  return [`${what} as version ${version}: ${state}`, ...changed.map((one) => `  ${one}`)].join(
    '\n',
  );
}

/** What going back to a version would do. */
async function backText({ version, present, ...back }: Result<'prop.difference'>): Promise<string> {
  if (version === present) return `version ${version} is the present one`;
  // Loaded only here: `stop` must not wait for the library that compares texts.
  const { differenceText } = await import('../prop/line-difference.ts');
  const lines = differenceText(back as LineDifference);
  const effect =
    back.problem !== undefined
      ? `version ${version} cannot be used: ${back.problem}`
      : back.changed.length === 0
        ? 'going back to it changes nothing that the prop uses'
        : `going back to it changes${back.whenParked ? ', once the prop is parked' : ''}:`;
  return [...lines, '', effect, ...back.changed.map((one) => `  ${one}`)].join('\n');
}

/** @throws Refusal where the file cannot be read, or is too large for a frame */
async function textOf(file: string): Promise<string> {
  const tooLarge = () =>
    new Refusal(
      'file.too-large',
      `${file} is too large to be sent (64 KiB at most); copy it over the prop file on the board instead: the daemon notices, checks and takes it`,
      { file },
    );
  let text: string;
  try {
    if ((await stat(file)).size > FRAME_LIMIT_BYTES) throw tooLarge();
    text = await readFile(file, 'utf8');
  } catch (error) {
    if (error instanceof Refusal) throw error;
    throw new Refusal('file.unreadable', `cannot read ${file}: ${(error as Error).message}`, {
      file,
    });
  }
  if (!fitsFrame(text)) throw tooLarge();
  return text;
}

export const propVerbs = [
  verb<{ diff?: string }>({
    name: 'history',
    summary: 'show the versions of the prop file that are kept: when, who, what',
    where: 'both',
    args: [],
    options: [
      {
        flags: '--diff <VERSION>',
        doc: 'show instead what going back to this version would change, line by line',
        parse: versionOfFile,
      },
    ],
    async run({ diff }, operator) {
      if (diff !== undefined) {
        const result = await operator.call('prop.difference', { version: diff });
        return { result, text: await backText(result) };
      }
      const result = await operator.call('prop.history', {});
      const rows = result.versions.map(({ version, time, who, what, current, inUse }) => [
        version,
        time,
        who,
        what,
        current ? 'present' : inUse ? 'in use' : '',
      ]);
      const text = rows.length > 0 ? table(['version', 'time', 'who', 'what', ''], rows) : 'none';
      return { result, text };
    },
  }),
  verb<{ what: string; file?: string } & RestoreOptions>({
    name: 'restore',
    summary:
      'go back to an earlier version of the prop file, as history lists them; or, with FILE, restore a backup',
    where: 'both',
    args: [
      { name: 'what', doc: 'a version, from history; or what "sinew backup" has written' },
      {
        name: 'file',
        doc: 'for a backup: the prop file to write, such as /var/lib/sinew/prop.yaml; its daemon must not run',
        optional: true,
      },
    ],
    options: RESTORE_OPTIONS,
    changesFile: true,
    async run({ what, file, ...options }, operator: Operator) {
      if (file !== undefined) return restoreBackup(what, file, options, operator);
      if (options.stateDir !== undefined || options.replace)
        throw new UsageError('--state-dir and --replace are for a backup; give the FILE to write');
      const version = versionGiven(what);
      await operator.lease();
      const result = await operator.write(`version ${version}`, 'prop.restore', { version });
      return { result, text: changedText('restored', result) };
    },
  }),
  verb<{ file: string; base?: string }>({
    name: 'apply',
    summary: 'make a file of this computer the prop file of the daemon, once it passes the check',
    where: 'both',
    args: [{ name: 'file', doc: 'a prop file' }],
    options: [
      {
        flags: '--base <VERSION>',
        doc: 'the version that FILE was made from: refused, with the difference, if it is no longer the present one (without it: whatever is present)',
        parse: versionOfFile,
      },
    ],
    changesFile: true,
    async run({ file, base }, operator: Operator) {
      const text = await textOf(file);
      await operator.lease();
      const version = base ?? (await operator.call('prop.read', {})).version;
      const result = await operator.write(file, 'prop.apply', { text, version });
      return { result, text: changedText(`${file} was written`, result) };
    },
  }),
];
