import { spawnSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Daemon } from '../system/daemon.ts';
import type { Row } from './table.ts';

const SAFE_LEVELS = fileURLToPath(new URL('../../dist/safe-levels.js', import.meta.url));
const RUNS = 21;

/** The whole run of the safe-levels program after a daemon's death, against Node that does nothing. */
export async function safeRow(): Promise<Row> {
  const daemon = await Daemon.start();
  await daemon.kill();
  const plan = join(daemon.folder, 'state', 'safe-plan.json');
  const empty: number[] = [];
  const safe: number[] = [];
  const timed = (args: string[]): number => {
    const startedMs = performance.now();
    const { status, stderr } = spawnSync(process.execPath, args, { encoding: 'utf8' });
    if (status !== 0) throw new Error(stderr);
    return performance.now() - startedMs;
  };
  // In turn, so that whatever else the machine does falls on both.
  for (let run = 0; run < RUNS; run++) {
    empty.push(timed(['-e', '0']));
    safe.push(timed([SAFE_LEVELS, '--plan', plan]));
  }
  rmSync(daemon.folder, { recursive: true });
  return {
    measure: 'safe levels after a death, from cold (ms)',
    values: safe,
    baselines: empty,
    baselineName: 'node -e 0',
    target: { ratio: 1.5 },
  };
}
