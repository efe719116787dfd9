import { appendFileSync } from 'node:fs';
import type { PlannedOutput } from '../../safe/plan.ts';
import type { Tools } from '../../safe/tools.ts';

/** A simulated board ends with the daemon, so this only records what would have been done. */
export async function safeSim(
  { name: board, outputs }: { name: string; outputs: readonly PlannedOutput[] },
  { log }: Tools,
): Promise<string[]> {
  const done = outputs.map(
    ({ name, kind, pin, safe }) =>
      `${name} (pin ${pin}) ${kind === 'pulse' ? 'no pulses' : safe ? 'high' : 'low'}`,
  );
  appendFileSync(log, done.map((line) => `${board}: ${line}\n`).join(''));
  return done;
}
