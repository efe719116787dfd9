import { coreKind } from '../loom.ts';
import type { Channel } from './channel.ts';
import { activeLow, type SwitchedChannel } from './polarity.ts';
import type { Through } from './through-words.ts';

/**
 * What lies between the pin and what it switches. Where the file does not say: a relay is a module,
 * which has its driver on board, or a bare coil behind a transistor; a light whose own wire has plus
 * and return besides the signal has its driver with it; any other hangs on the pin itself.
 */
export function throughOf(channel: SwitchedChannel): Through {
  if (channel.through) return channel.through;
  if (channel.kind === 'relay') return channel.coil ? 'npn' : 'driver board';
  const kinds = new Set((channel.wire?.cores ?? []).map(coreKind));
  return kinds.has('plus') && kinds.has('return') ? 'driver board' : 'nothing';
}

/** The cores of a light's wire: what lies between has both plus and return, an LED on the pin has one. */
export function lightCores(channel: SwitchedChannel): readonly ('signal' | 'plus' | 'return')[] {
  return channel.through === undefined || channel.through === 'nothing'
    ? ['signal', activeLow(channel) ? 'plus' : 'return']
    : ['signal', 'plus', 'return'];
}

/** Whether a light gets its current from its pins: they carry it, and a high level lights it. */
export function isFedByPin(channel: Channel): boolean {
  if (channel.kind !== 'rgb' && channel.kind !== 'lamp') return false;
  return throughOf(channel) === 'nothing' && !activeLow(channel);
}
