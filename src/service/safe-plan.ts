import fs from 'node:fs/promises';
import { join } from 'node:path';
import { factsOf } from '../boards/registry.ts';
import type { Board } from '../core/boards.ts';
import type { Prop } from '../prop/schema.ts';
import { lifeOf } from '../safe/life.ts';
import { PLAN_FILE, type SafePlan } from '../safe/plan.ts';
import { Refusal } from '../shared/errors.ts';

/** What writing the plan needs from the file system; tests put faults in. */
export type PlanFs = Pick<typeof fs, 'open' | 'rename'>;

/** The plan of a prop for the safe-levels program, signed by the process `pid`. */
export function safePlan(prop: Prop, boards: readonly Board[], pid: number): SafePlan {
  return {
    version: 1,
    prop: prop.name,
    // The rest is read from files, where the plan is written.
    daemon: { pid, startTicks: 0, bootId: '' },
    boards: boards.map(({ name, outputs }) => {
      const spec = prop.boards[name]!;
      return {
        name,
        driver: spec.driver,
        ...factsOf(spec).planned(spec),
        outputs: outputs.map(({ name: output, kind, pin, safe }) => ({
          name: output,
          kind,
          pin,
          safe,
        })),
      };
    }),
  };
}

/**
 * Puts the plan into `folder`, whole or not at all.
 * @throws Refusal when it cannot be written: without it the last defence would be missing
 */
export async function writePlan(
  plan: SafePlan,
  folder: string,
  fileSystem: PlanFs = fs,
): Promise<void> {
  const path = join(folder, PLAN_FILE);
  // Another system than Linux has no /proc; nobody is kept from making the prop safe there.
  const signed = { ...plan, daemon: lifeOf(plan.daemon.pid) ?? plan.daemon };
  try {
    const file = await fileSystem.open(`${path}.new`, 'w', 0o644);
    try {
      await file.writeFile(`${JSON.stringify(signed)}\n`);
      // Else a power cut could leave the new name with no content.
      await file.sync();
    } finally {
      await file.close();
    }
    await fileSystem.rename(`${path}.new`, path);
  } catch (error) {
    throw new Refusal(
      'safe-plan.not-saved',
      `the plan for sinew-safe-levels cannot be written: ${(error as Error).message}; make ${folder} writable`,
      { file: path },
    );
  }
}
