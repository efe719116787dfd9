import type { PlannedOutput } from '../../safe/plan.ts';

/** What the safe plan says about a sound card. */
export interface AlsaPlace {
  device: string;
}

/**
 * Nothing is left to do: the player gets its samples from the daemon through a pipe, a tenth of a second
 * at a time, and ends when the daemon does.
 */
export async function safeAlsa({
  outputs,
}: AlsaPlace & { outputs: readonly PlannedOutput[] }): Promise<string[]> {
  return outputs.map(({ name }) => `${name} is silent: its player ended with the daemon`);
}
