import type { Channel } from './channel.ts';
import type { RelayChannel } from './relay-schema.ts';

/**
 * A relay has two circuits: its coil or module, on the channel's rail, and its contact, which may have a
 * rail of its own, even one without a common ground with the board.
 */

/** Whether the contact stays as it was set, or closes only for a pulse. */
export function contactMode({ contact }: Pick<RelayChannel, 'contact'>): 'held' | 'momentary' {
  return typeof contact === 'string' ? contact : contact.mode;
}

/** The terminals of the contact, if the file names them. */
export function terminalsOf({ contact }: Pick<RelayChannel, 'contact'>) {
  return typeof contact === 'string' ? undefined : contact;
}

/** The rail of a channel's load: for a relay, that of its contact if it has its own. */
export function loadRailOf(channel: Channel): string | undefined {
  if (channel.kind !== 'relay') return channel.rail;
  return terminalsOf(channel)?.rail ?? channel.rail;
}

/**
 * The current of a relay's coil or module while it is on (A), and its rail. Undefined if the contact has
 * no rail of its own: `draw.onA` is then the relay's whole current.
 */
export function coilLoadOf(channel: Channel): { rail: string; amps: number } | undefined {
  if (channel.kind !== 'relay' || terminalsOf(channel)?.rail === undefined) return undefined;
  const { rail, coil, draw } = channel;
  const amps = draw?.coilA ?? (coil ? coil.volts / coil.ohm : 0);
  return rail === undefined || amps === 0 ? undefined : { rail, amps };
}

/** The rails of a channel, each with the part on it: its load, or a relay's coil. */
export function railLoadsOf(channel: Channel): { rail: string; part: 'load' | 'coil' }[] {
  const rail = loadRailOf(channel);
  const coil = coilLoadOf(channel);
  return [
    ...(rail === undefined ? [] : [{ rail, part: 'load' as const }]),
    ...(coil ? [{ rail: coil.rail, part: 'coil' as const }] : []),
  ];
}

/** Whether the file connects the load only to the normally closed contact: it is then fed at rest. */
export function isFedAtRest(relay: RelayChannel): boolean {
  const terminals = terminalsOf(relay);
  return terminals !== undefined && terminals.open === undefined && terminals.closed !== undefined;
}
