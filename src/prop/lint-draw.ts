import { tidy } from '../shared/units.ts';
import type { Notes } from './notes.ts';
import type { ServoChannel } from './schema.ts';

/**
 * Checks that the currents of a servo rise from rest to stall: its motor's current is proportional to its
 * torque, which is largest when it is blocked.
 */
export function lintDraw(notes: Notes, name: string, { draw }: ServoChannel): void {
  if (!draw) return;
  const path = ['channels', name, 'draw'];
  if (notes.given.broken(path)) return;
  const given = [
    { key: 'idleA', amps: draw.idleA },
    { key: 'movingA', amps: draw.movingA },
    { key: 'stallA', amps: draw.stallA },
  ].filter(({ key }) => notes.given.has([...path, key]));
  for (const [i, { key, amps = 0 }] of given.entries()) {
    const before = given[i - 1];
    if (!before || amps >= before.amps!) continue;
    notes.error(
      [...path, key],
      `${key} ${tidy(amps)} A is below ${before.key} ${tidy(before.amps!)} A, and a servo draws more the harder it works`,
      'give idleA at rest, movingA no less than idleA and stallA no less than movingA, from the data sheet or a meter',
    );
  }
}
