import type { Finding } from '../doctor.ts';

export { SIMULATED_CHIPS as simulatedChips } from './chips.ts';

/** A simulated board needs nothing from this machine. */
export async function questions(): Promise<Finding[]> {
  return [{ what: 'sim', state: 'fine', text: 'needs nothing' }];
}
