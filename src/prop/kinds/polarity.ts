import type { Channel } from './channel.ts';

/** What may lie between a pin and what it switches. */
export const THROUGH = ['npn', 'n-mosfet', 'driver board', 'nothing'] as const;
export type Through = (typeof THROUGH)[number];

/** A channel that is on or off, or lit or dark: all but servos. */
export type SwitchedChannel = Exclude<Channel, { kind: 'servo' }>;

/** The channel as one that is on or off; undefined for a servo. */
export function switchedOf(channel: Channel | undefined): SwitchedChannel | undefined {
  return channel && channel.kind !== 'servo' ? channel : undefined;
}

/** A switch to ground: it conducts while its pin is high. */
export function isLowSide(through: Through | undefined): boolean {
  return through === 'npn' || through === 'n-mosfet';
}

/**
 * Whether an output is on, or lit, while its pin is low. Everything that depends on the polarity asks
 * here: driver, safe levels, boot pulls, fault-finding. Only what the file says counts, never a guess
 * from the wires.
 */
export function activeLow(channel: SwitchedChannel): boolean {
  if (isLowSide(channel.through)) return false;
  if (channel.kind !== 'rgb') return channel.output.activeLow;
  if (channel.through === 'driver board') return channel.output.activeLow ?? false;
  return channel.output.common === 'anode';
}
