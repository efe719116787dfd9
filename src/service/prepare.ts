import fs from 'node:fs/promises';
import { formatFinding } from '../prop/finding.ts';
import { systemClock } from '../shared/clock.ts';
import { Keeper } from './keeper.ts';
import type { Prepared, PrepareStart } from './protocol.ts';
import { stateDir, targetOf } from './state-dir.ts';

/** Keeps what is worked out from a prop file for the next start. @param program as `Keeper` has it */
export async function prepare(start: PrepareStart, program: string): Promise<Prepared> {
  let trouble: string | undefined;
  const ignore = () => {};
  const keeper = new Keeper(
    start.file,
    systemClock,
    {
      change: ignore,
      status: ignore,
      journal: ignore,
      trouble: (error, text) => {
        trouble = `${text}: ${(error as Error).message}`;
      },
    },
    new Set<string>(),
    fs,
    undefined,
    program,
  );
  try {
    const target = await targetOf(start.file);
    const folder = stateDir(start.stateDir, target);
    await fs.mkdir(folder, { recursive: true, mode: 0o700 });
    const { findings, refused } = await keeper.open(target, folder, undefined);
    const wrong = refused ?? keeper.status().problem;
    if (wrong !== undefined) {
      const errors = findings
        .filter(({ severity }) => severity === 'error')
        .map((one) => formatFinding(one, start.file));
      return { ready: false, text: [...errors, wrong].join('\n') };
    }
    await keeper.prepare();
  } catch (error) {
    trouble = (error as Error).message;
  } finally {
    keeper.close();
  }
  return trouble === undefined
    ? { ready: true, text: `${start.file} is ready for its next start` }
    : { ready: false, text: `${start.file}: ${trouble}` };
}
