import { parseColour } from '../sums/light.ts';
import type { Channel, Prop, Requirement, ServoChannel } from './schema.ts';

/** Interlocks as the file has them, before anything runs. */

/** The position that a servo's mark or number stands for (deg); undefined without such a mark. */
export function degIn({ marks = {} }: ServoChannel, to: number | string): number | undefined {
  if (typeof to === 'number') return to;
  return Object.hasOwn(marks, to) ? marks[to] : undefined;
}

/** A requirement in words: `lid above 5 deg`, `tail below half`, `wing parked`. */
export function requirementText(needs: Requirement): string {
  const { channel } = needs;
  if ('is' in needs) return `${channel} ${needs.is}`;
  const bound = 'above' in needs ? needs.above : needs.below;
  const deg = typeof bound === 'number' ? `${bound} deg` : bound;
  return `${channel} ${'above' in needs ? 'above' : 'below'} ${deg}`;
}

/**
 * Whether a requirement holds with the other channel, a servo, anywhere from `low` to `high` (deg);
 * undefined where the file does not tell.
 */
export function holdsBetween(
  needs: Requirement,
  other: ServoChannel,
  low: number,
  high: number,
): boolean | undefined {
  if ('is' in needs) {
    const parkDeg = degIn(other, other.park.to);
    if (needs.is !== 'parked' || parkDeg === undefined) return undefined;
    return Math.abs(low - parkDeg) < 1e-6 && Math.abs(high - parkDeg) < 1e-6;
  }
  const deg = degIn(other, 'above' in needs ? needs.above : needs.below);
  if (deg === undefined) return undefined;
  return 'above' in needs ? low > deg : high < deg;
}

/** Whether a requirement holds while everything is parked; undefined where the file does not tell. */
export function holdsParked(prop: Prop, needs: Requirement): boolean | undefined {
  const { channels } = prop;
  const other = Object.hasOwn(channels, needs.channel) ? channels[needs.channel]! : undefined;
  if (!other) return undefined;
  if ('is' in needs && needs.is === 'parked') return true;
  if (other.kind === 'servo') {
    const parkDeg = degIn(other, other.park.to);
    return parkDeg === undefined ? undefined : holdsBetween(needs, other, parkDeg, parkDeg);
  }
  return other.kind === 'relay' && 'is' in needs ? other.park.to === needs.is : undefined;
}

/** Whether a channel is on, or lit, while it is parked. */
export function isOnParked(channel: Channel): boolean {
  if (channel.kind === 'servo') return false;
  if (channel.kind === 'relay') return channel.park.to === 'on';
  return levelOf(channel.park.to) > 0;
}

/** The brightest part of a light's value, 0 to 1. */
export function levelOf(to: number | string): number {
  if (typeof to === 'number') return to;
  const colour = parseColour(to);
  return colour ? Math.max(colour.red, colour.green, colour.blue) : 0;
}
