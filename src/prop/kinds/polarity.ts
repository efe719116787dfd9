import type { Channel } from './channel.ts';
import { isLowSide } from './through-words.ts';

/** A channel that is on or off, or lit or dark: any kind but a servo and a sound. */
export type SwitchedChannel = Exclude<Channel, { kind: 'servo' | 'sound' }>;

/** The channel if it is on or off, or lit or dark; undefined for a servo and a sound. */
export function switchedOf(channel: Channel | undefined): SwitchedChannel | undefined {
  return channel && channel.kind !== 'servo' && channel.kind !== 'sound' ? channel : undefined;
}

/**
 * Whether an output is on, or lit, while its pin is low. Everything that depends on the polarity asks
 * here: driver, safe levels, boot pulls, fault-finding. Only the file counts, never a guess from the
 * wires.
 */
export function activeLow(channel: SwitchedChannel): boolean {
  if (isLowSide(channel.through)) return false;
  if (channel.kind !== 'rgb') return channel.output.activeLow;
  if (channel.through === 'driver board') return channel.output.activeLow ?? false;
  return channel.output.common === 'anode';
}
