import type { PlannedOutput } from '../../safe/plan.ts';
import { MissingProgram, type Tools } from '../../safe/tools.ts';

/**
 * From memory, not verified on hardware: when a process with pigpio is killed, the DMA engine keeps
 * setting and clearing the pins that had pulses or PWM. Such a pin is made an input, which the DMA cannot
 * change, and its own pull resistor (about 50 kohm) holds it; driving it would not help, as the next DMA
 * cycle would change it again. A relay's pin has no waveform: it is driven to its level. The next start
 * of pigpio sets the DMA engine up again.
 */
export async function safePigpio(
  { outputs }: { outputs: readonly PlannedOutput[] },
  { run }: Tools,
): Promise<string[]> {
  const states = new Map<string, PlannedOutput[]>();
  for (const output of outputs) {
    const how =
      output.kind === 'level'
        ? `op ${output.safe ? 'dh' : 'dl'}`
        : `ip ${output.safe ? 'pu' : 'pd'}`;
    states.set(how, [...(states.get(how) ?? []), output]);
  }
  const set = async (how: string, members: PlannedOutput[]) => {
    const args = ['set', members.map(({ pin }) => pin).join(','), ...how.split(' ')];
    try {
      await run('pinctrl', ...args);
    } catch (error) {
      if (!(error instanceof MissingProgram)) throw error;
      // Its name before 2023; the arguments are the same.
      await run('raspi-gpio', ...args);
    }
    return members.map(({ name, pin }) => `${name} (GPIO ${pin}) ${WORDS[how]}`);
  };
  const results = await Promise.allSettled([...states].map(([how, members]) => set(how, members)));
  const done = results.flatMap((result) => (result.status === 'fulfilled' ? result.value : []));
  const failures = results.flatMap((result) =>
    result.status === 'rejected' ? [(result.reason as Error).message] : [],
  );
  if (failures.length > 0) throw new Error([...new Set(failures), ...done].join('; '));
  return done;
}

const WORDS: Record<string, string> = {
  'op dh': 'high',
  'op dl': 'low',
  'ip pu': 'let go, pulled up',
  'ip pd': 'let go, pulled down',
};
