import { isLoopback } from '../shared/loopback.ts';
import { kindOf } from './kinds/registry.ts';
import type { Limits, Notes } from './notes.ts';

/** Addresses of a universe: ANSI E1.31, as in a DMX512 packet. */
const ADDRESSES = 512;

/** Checks what the levels of a lighting desk lead. */
export function lintE131(notes: Notes, limits: Limits): void {
  const { e131 } = notes.prop;
  if (!e131) return;
  const taken = new Map<number, string>();
  for (const [name, { address, bits, allowMotion, from, to }] of Object.entries(e131.map)) {
    const at = ['e131', 'map', name];
    const channel = notes.find('channels', name, at);
    if (!channel) continue;
    const { levels, moves } = kindOf(channel);
    if (!levels) {
      notes.error(
        at,
        `${name} is a ${channel.kind}, and a lighting desk leads lights and servos only`,
        'remove it, or use a trigger with a cue',
      );
      continue;
    }
    if (moves && !allowMotion && !notes.given.broken([...at, 'allowMotion']))
      notes.error(
        at,
        `${name} moves, and a level from a lighting desk would move it`,
        'add allowMotion: true if nobody can be near it then, or remove it',
      );
    for (const [key, end] of Object.entries({ from, to })) {
      if (end === undefined) continue;
      if (moves) notes.checkPosition(name, end, [...at, key], limits);
      else notes.error([...at, key], `${name} is not a servo, and has no position`, 'remove it');
    }
    if (notes.given.broken([...at, 'address']) || notes.given.broken([...at, 'bits'])) continue;
    const last = address + (levels.length * bits) / 8 - 1;
    if (last > ADDRESSES)
      notes.error(
        [...at, 'address'],
        `${name} would take addresses ${address} to ${last}, and a universe ends at ${ADDRESSES}`,
        `give ${ADDRESSES - (last - address)} or less`,
      );
    let shared: string | undefined;
    for (let one = address; one <= last; one++) {
      shared ??= taken.get(one);
      taken.set(one, name);
    }
    if (shared !== undefined)
      notes.warning(
        [...at, 'address'],
        `${name} and ${shared} take the same address`,
        'give one of them another, unless both are to follow the same levels',
      );
  }
  if (!notes.given.broken(['e131', 'interface']) && !isLoopback(e131.interface))
    notes.warning(
      ['e131', 'interface'],
      `E1.31 has no token: whoever reaches UDP port ${e131.port} at ${e131.interface} can set these lights${Object.values(e131.map).some(({ allowMotion }) => allowMotion) ? ', and lead servos while they are armed' : ''}`,
      'use 127.0.0.1, or keep that network closed to others',
    );
}
