import { kindOf } from './kinds/registry.ts';
import type { Prop, Requirement } from './schema.ts';

/** Interlocks as far as the file alone can answer. */

/** A requirement in words: `lid above 5 deg`, `tail below half`, `wing parked`. */
export function requirementText(needs: Requirement): string {
  const { channel } = needs;
  if ('is' in needs) return `${channel} ${needs.is}`;
  const bound = 'above' in needs ? needs.above : needs.below;
  const deg = typeof bound === 'number' ? `${bound} deg` : bound;
  return `${channel} ${'above' in needs ? 'above' : 'below'} ${deg}`;
}

/** Whether a requirement holds while everything is parked; undefined if the file does not say. */
export function holdsParked(prop: Prop, needs: Requirement): boolean | undefined {
  const { channels } = prop;
  const other = Object.hasOwn(channels, needs.channel) ? channels[needs.channel]! : undefined;
  if (!other) return undefined;
  if ('is' in needs && needs.is === 'parked') return true;
  return kindOf(other).meets(other, needs, other.park.to);
}

/** Whether a requirement holds with the other channel at a value; without one, at its park position. */
export function holdsWith(
  prop: Prop,
  needs: Requirement,
  value: number | string | undefined,
): boolean | undefined {
  if (value === undefined) return holdsParked(prop, needs);
  const other = Object.hasOwn(prop.channels, needs.channel)
    ? prop.channels[needs.channel]
    : undefined;
  return other && kindOf(other).meets(other, needs, value);
}
