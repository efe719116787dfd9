import type { Conductor } from '../show/conductor.ts';
import { LinkedConductor } from '../show/conductor-link.ts';
import type { ShowControl } from '../show/show-file.ts';
import { Unreachable } from './client.ts';
import type { Operator } from './verb.ts';

/**
 * Connects a conductor to the broker of a show, and leaves that once `act` is over.
 * @param onLink as that of `LinkedConductor`
 * @throws Unreachable, and what `act` throws
 */
export async function linked<T>(
  { name, broker }: Pick<ShowControl, 'name' | 'broker'>,
  { options }: Operator,
  onLink: (problem: string | undefined) => void,
  act: (conductor: Conductor) => Promise<T>,
): Promise<T> {
  const link = new LinkedConductor({ show: name, broker, from: options.name, onLink });
  try {
    await link.open();
  } catch (error) {
    throw new Unreachable(`${broker.url}: ${(error as Error).message}`);
  }
  try {
    return await act(link.conductor);
  } finally {
    await link.close();
  }
}
