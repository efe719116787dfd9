import { EXIT, print, UsageError } from './output.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** The prop and all that belongs to it, in one file; and onto another board. */

const STATE_DIR = {
  flags: '--state-dir <DIR>',
  doc: 'the state folder of its daemon, where it is not the usual one',
};

const NOT_TAKEN =
  'not in it: the token, the password of a broker, the certificates, and anything else in /etc/sinew';

interface BackupInputs {
  file: string;
  out: string;
  stateDir?: string;
}

async function backup({ file, out, stateDir }: BackupInputs, operator: Operator): Promise<Outcome> {
  const { collect } = await import('../backup/collect.ts');
  const { pack } = await import('../backup/archive.ts');
  const { writeArchive } = await import('../backup/archive-file.ts');
  const { files, about, missing, folder, hasState } = await collect(
    file,
    stateDir,
    operator.io.env,
  );
  const archive = pack(files, { ...about, program: operator.options.program });
  await writeArchive(out, archive);
  const bytes = archive.length;
  const names = files.map(({ name }) => name);
  const lines = [
    `written to ${out}: ${files.length} files, ${Math.ceil(bytes / 1000)} kB`,
    ...missing.map((one) => `warning: not in it, though the prop file names it: ${one}`),
    ...(hasState ? [] : [`note: no state in it: there is none in ${folder} (see --state-dir)`]),
    NOT_TAKEN,
  ];
  return {
    result: { written: out, ...about, bytes, files: names, missing, hasState },
    text: lines.join('\n'),
    ...(missing.length > 0 && { exit: EXIT.refused }),
  };
}

/** What may be said of restoring a backup. */
export interface RestoreOptions {
  stateDir?: string;
  replace?: true;
}

export const RESTORE_OPTIONS = [
  STATE_DIR,
  { flags: '--replace', doc: 'replace what is there; its prop file stays as a version' },
];

/** `sinew restore ARCHIVE FILE`. @throws Refusal as `restore` of src/backup does, UsageError */
export async function restoreBackup(
  archive: string,
  file: string,
  { stateDir, replace }: RestoreOptions,
  operator: Operator,
): Promise<Outcome> {
  if (operator.inSession)
    throw new UsageError('a backup is restored without a session: sinew restore ARCHIVE FILE');
  const { readArchive } = await import('../backup/archive-file.ts');
  const backups = await import('../backup/restore.ts');
  const bytes = await readArchive(archive);
  const done = await backups.restore(
    bytes,
    { file, stateDir, replace: replace === true },
    operator.io.env,
  );
  const { target, folder, files, about, kept, journalStays } = done;
  const { loadProp } = await import('../prop/load.ts');
  const { findings } = await loadProp(target);
  const errors = findings.filter(({ severity }) => severity === 'error').length;
  const lines = [
    `restored ${about.prop || 'a prop'} as ${target}: ${files} files`,
    `its state is in ${folder}${stateDir === undefined ? '' : ': start its daemon with the same --state-dir'}`,
    ...(kept === undefined ? [] : [`the prop file that was there is kept as ${kept}`]),
    ...(journalStays
      ? ['this board keeps its own journal; the one in the backup stays there']
      : []),
    'nobody knows where its servos stand: the first wake asks for a confirmation, and moves them one at a time. Keep all hands clear. Relays with a duty guard rest first',
    `before you switch on the actuators of a new board: sinew check ${target} --first-power`,
    'the token and the password of a broker were not in the backup',
  ];
  if (errors > 0) {
    lines.push(`the prop file has ${errors} errors for this Sinew: sinew check ${target}`);
    print(operator.io.stderr, `sinew: the restored prop file has errors`);
  }
  return {
    result: { ...about, file: target, stateDir: folder, files, ...(kept && { kept }), errors },
    text: lines.join('\n'),
    ...(errors > 0 && { exit: EXIT.refused }),
  };
}

export const backupVerb = verb<BackupInputs>({
  name: 'backup',
  summary:
    'put a prop into one file: prop file, versions, takes, sounds, picture, state, wear, journal',
  where: 'line',
  args: [{ name: 'file', doc: 'its prop file, on this computer' }],
  options: [{ flags: '--out <ARCHIVE>', doc: 'the ZIP file to write', required: true }, STATE_DIR],
  run: backup,
});
