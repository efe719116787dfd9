import type { Channel } from './channel.ts';
import type { RelayChannel } from './relay-schema.ts';

/**
 * A relay is two circuits: its coil, or module, on the channel's rail, and its contact, which may have a
 * rail of its own and need nothing in common with the board.
 */

/** Whether the contact stays as it is put, or closes for a pulse. */
export function contactMode({ contact }: Pick<RelayChannel, 'contact'>): 'held' | 'momentary' {
  return typeof contact === 'string' ? contact : contact.mode;
}

/** The terminals of the contact, where the file names them. */
export function terminalsOf({ contact }: Pick<RelayChannel, 'contact'>) {
  return typeof contact === 'string' ? undefined : contact;
}

/** The rail that the load of a channel draws from: that of a relay's contact, where it has its own. */
export function loadRailOf(channel: Channel): string | undefined {
  if (channel.kind !== 'relay') return channel.rail;
  return terminalsOf(channel)?.rail ?? channel.rail;
}

/**
 * What the coil of a relay, or its module, draws while it is on (A), and from which rail. Undefined
 * where the contact has no rail of its own: then `draw.onA` is all that the relay takes.
 */
export function coilLoadOf(channel: Channel): { rail: string; amps: number } | undefined {
  if (channel.kind !== 'relay' || terminalsOf(channel)?.rail === undefined) return undefined;
  const { rail, coil, draw } = channel;
  const amps = draw?.coilA ?? (coil ? coil.volts / coil.ohm : 0);
  return rail === undefined || amps === 0 ? undefined : { rail, amps };
}

/** What a channel takes from one rail: its load, or the coil of a relay. */
export function railLoadsOf(channel: Channel): { rail: string; part: 'load' | 'coil' }[] {
  const rail = loadRailOf(channel);
  const coil = coilLoadOf(channel);
  return [
    ...(rail === undefined ? [] : [{ rail, part: 'load' as const }]),
    ...(coil ? [{ rail: coil.rail, part: 'coil' as const }] : []),
  ];
}

/** Whether the load is connected to the normally closed contact alone, by the file: it is fed at rest. */
export function isFedAtRest(relay: RelayChannel): boolean {
  const terminals = terminalsOf(relay);
  return terminals !== undefined && terminals.open === undefined && terminals.closed !== undefined;
}
