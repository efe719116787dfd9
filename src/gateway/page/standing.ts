import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import type { FlagName } from '../../shared/telemetry.ts';

/** The flags of a channel in a maker's words. */
export const FLAG_WORDS: Record<FlagName, string> = {
  moving: 'moving',
  released: 'limp',
  unknown: 'position unknown',
  beyond: 'beyond its limits',
  pushing: 'pushing',
  interlocked: 'held by an interlock',
  resting: 'duty rest',
  delayed: 'waiting for the rail',
  flashHeld: 'held back: too many flashes',
  astray: 'measured elsewhere than commanded',
};

/** Nobody can say where it stands, or whether it is on. */
export const isUnknown = ({ value, flags }: ChannelState): boolean =>
  value === null || flags.includes('unknown');

/** Two angles that differ by less than this are the same to a person (deg). */
export const SAME_DEG = 0.05;

/**
 * The value of a channel at park: deg, 0 to 1, on or off; a colour as the file writes it. Undefined for a
 * mark that is not there.
 */
export const parkValue = ({ marks, park }: ChannelInfo): number | boolean | string | undefined =>
  typeof park.to === 'string' && marks ? marks[park.to] : park.to;
