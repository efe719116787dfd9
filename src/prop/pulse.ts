import type { RelayChannel } from './schema.ts';

const DEFAULT_PULSE_MS = 200;

/** Length of a momentary closure (s); undefined for a held contact. */
export function pulseS({ contact, pulseMs = DEFAULT_PULSE_MS }: RelayChannel): number | undefined {
  return contact === 'momentary' ? pulseMs / 1000 : undefined;
}
