import { coreKind } from '../loom.ts';
import { type Channel, lightOf } from './channel.ts';
import { activeLow, type SwitchedChannel } from './polarity.ts';
import type { Through } from './through-words.ts';

/**
 * What is between the pin and its load. By default a relay is a module with its own driver, or a bare
 * coil behind a transistor; a light whose own wire has plus and return besides the signal has a driver
 * with it; any other light is connected directly to the pin.
 */
export function throughOf(channel: SwitchedChannel): Through {
  if (channel.through) return channel.through;
  if (channel.kind === 'relay') return channel.coil ? 'npn' : 'driver board';
  const kinds = new Set((channel.wire?.cores ?? []).map(coreKind));
  return kinds.has('plus') && kinds.has('return') ? 'driver board' : 'nothing';
}

/** The cores of a light's wire: a driver needs plus and return, an LED on the pin needs one of them. */
export function lightCores(channel: SwitchedChannel): readonly ('signal' | 'plus' | 'return')[] {
  return channel.through === undefined || channel.through === 'nothing'
    ? ['signal', activeLow(channel) ? 'plus' : 'return']
    : ['signal', 'plus', 'return'];
}

/** Whether a light's pins supply its current, so that a high level lights it. */
export function isFedByPin(channel: Channel): boolean {
  const light = lightOf(channel);
  return light !== undefined && throughOf(light) === 'nothing' && !activeLow(light);
}
