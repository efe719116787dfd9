import { contactMode } from './kinds/contact.ts';
import type { RelayChannel } from './schema.ts';

const DEFAULT_PULSE_MS = 200;

/** Length of a momentary closure (s); undefined for a held contact. */
export function pulseS(relay: RelayChannel): number | undefined {
  return contactMode(relay) === 'momentary'
    ? (relay.pulseMs ?? DEFAULT_PULSE_MS) / 1000
    : undefined;
}
