import { terminalsOf } from './kinds/contact.ts';
import type { Core } from './loom.ts';
import { splitEnd } from './loom-words.ts';
import type { RelayChannel } from './schema.ts';

/** The terminals of a relay's contact, and which one the wires use. */
export interface ContactEnds {
  common: string;
  open?: string;
  closed?: string;
  /** The one that the load is connected to: the open one if both have wires, undefined if neither has. */
  used?: 'open' | 'closed';
}

/**
 * The terminals as the file gives them, or else by the names that most boards print beside them: COM, NO,
 * NC.
 * @param own cores of the relay's own wire, which end at the relay
 * @param load cores of the wires of the load that it switches
 */
export function contactEnds(
  relay: RelayChannel,
  own: readonly Core[],
  load: readonly Core[],
): ContactEnds | undefined {
  const ends = new Set(load.flatMap(({ from, to }) => [from, to]));
  const named = terminalsOf(relay) ?? printed(own, ends);
  if (!named) return undefined;
  const { common, open, closed } = named;
  const used = [open, closed].findIndex((end) => end !== undefined && ends.has(end));
  return {
    common,
    ...(open !== undefined && { open }),
    ...(closed !== undefined && { closed }),
    ...(used >= 0 && { used: (['open', 'closed'] as const)[used]! }),
  };
}

function printed(own: readonly Core[], ends: ReadonlySet<string>) {
  const relays = new Set(
    own.flatMap(({ from, to }) => [to, from].map((end) => splitEnd(end).connector)),
  );
  for (const relay of relays) {
    const [common, open, closed] = [`${relay}-COM`, `${relay}-NO`, `${relay}-NC`];
    if (ends.has(common!) && (ends.has(open!) || ends.has(closed!)))
      return { common: common!, open: open!, closed: closed! };
  }
  return undefined;
}
