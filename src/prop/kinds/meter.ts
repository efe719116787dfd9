/** What a meter shows at a pin, on direct voltage. */

/** A pin of the header drives 3.3 V; under load a high level is still above 2.6 V (from memory). */
const HIGH_V = 3.3;
const MIN_HIGH_V = 2.6;
const MAX_LOW_V = 0.4;

/** An average (V), and its tolerance. */
interface Average {
  volts: number;
  low: number;
  high: number;
}

/** A level, and how to set it. */
export interface Level extends Average {
  command: string;
}

/** A steady level. */
export function steady(high: boolean): Average {
  return high
    ? { volts: HIGH_V, low: MIN_HIGH_V, high: HIGH_V * 1.05 }
    : { volts: 0, low: 0, high: MAX_LOW_V };
}

/** A rectangular wave that is high for a share of the time, 0 to 1: a meter shows its mean. */
export function average(share: number): Average {
  const volts = HIGH_V * share;
  return { volts, low: volts * 0.8, high: volts * 1.1 };
}

/** The same for a board with another high level (V): everything in proportion. */
export function atHighV(level: Level, highV: number): Level {
  const share = highV / HIGH_V;
  const { command, volts, low, high } = level;
  return { command, volts: volts * share, low: low * share, high: high * share };
}
