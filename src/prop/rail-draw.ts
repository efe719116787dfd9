import { coilLoadOf } from './kinds/contact.ts';
import type { Draw } from './kinds/kind.ts';
import { kindOf } from './kinds/registry.ts';
import type { Channel } from './schema.ts';

/** Currents of a load (A): at rest, moving or fully on, stalled. */
export type RailDraw = Pick<Draw, 'idleA' | 'busyA' | 'stallA'>;

/** Currents of a relay's coil, and its rail, if that is not its load's. */
export function coilDraw(channel: Channel): { rail: string; draw: RailDraw } | undefined {
  const coil = coilLoadOf(channel);
  if (!coil) return undefined;
  const { rail, amps } = coil;
  const idleA = kindOf(channel).usedAt(channel, channel.park.to) ? amps : 0;
  return { rail, draw: { idleA, busyA: amps, stallA: amps } };
}
