import type { ChannelState } from '../../api/types.ts';
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
};

/** Nobody can say where it stands, or whether it is on. */
export const isUnknown = ({ value, flags }: ChannelState): boolean =>
  value === null || flags.includes('unknown');
