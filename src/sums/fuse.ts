/** Fuses by their standard ratings. */

export type FuseStandard = 'ISO 8820' | 'IEC 60127';

/** R10 series of preferred numbers (ISO 3), one decade. */
const R10 = [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8] as const;

/**
 * Standard ratings (A), rising. ISO 8820-3: blade fuses of the common size (from memory). IEC 60127-2:
 * cartridges 5 x 20 mm, 32 mA to 10 A in steps of R10, the first rounded to 32 mA (from memory).
 */
export const FUSE_RATINGS_A: Record<FuseStandard, readonly number[]> = {
  'ISO 8820': [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40],
  'IEC 60127': [
    0.032,
    ...R10.slice(6).map((step) => step / 100),
    ...R10.map((step) => step / 10),
    ...R10,
    10,
  ],
};

/** How a fuse of a standard behaves at an ambient temperature of 23 to 25 C. */
export interface FuseRule {
  /** The largest continuous load, as a share of its rating. */
  continuousShare: number;
  /** It carries this multiple of its rating for at least this time (s). */
  carries: { times: number; s: number };
  /** It opens at this multiple of its rating within this time (s). */
  opens: { times: number; s: number };
}

/**
 * The rule of each standard, from memory. ISO 8820-3, blade fuses: 1.1 times the rating for at least 100
 * h, 1.35 times within 600 s; makers advise a continuous load of 70 to 80 % of the rating. IEC 60127-2,
 * cartridges, quick-acting and time-lag: 1.5 times for at least 60 min, 2.1 times within 30 min; the
 * rating itself is a continuous current.
 */
export const FUSE_RULES: Record<FuseStandard, FuseRule> = {
  'ISO 8820': {
    continuousShare: 0.8,
    carries: { times: 1.1, s: 360_000 },
    opens: { times: 1.35, s: 600 },
  },
  'IEC 60127': {
    continuousShare: 1,
    carries: { times: 1.5, s: 3600 },
    opens: { times: 2.1, s: 1800 },
  },
};

/**
 * A wire may carry this multiple of its capacity until its fuse opens: I2 <= 1.45 Iz, IEC 60364-4-43,
 * 433.1 (from memory).
 */
const WIRE_OVERLOAD = 1.45;

/** The ambient temperature (C) for which a fuse is rated: 23 in ISO 8820, 25 in IEC 60127. */
const FUSE_AMBIENT_C = 25;
/** Share of its rating that a fuse loses per kelvin above that: makers' curves, from memory. */
const FUSE_PER_K = 0.002;

/**
 * The share of its rating that a fuse keeps at an ambient temperature (C): 0.2 % less per kelvin above 25
 * C, and never more than 1. For 25 to 85 C; common practice, from memory. The data sheet has the curve.
 */
export function fuseRerating(ambientC: number): number {
  return 1 - FUSE_PER_K * Math.max(0, ambientC - FUSE_AMBIENT_C);
}

/** The largest rating (A) that protects a wire of this capacity (A): IEC 60364-4-43, 433.1. */
export function protectingA(wireA: number, standard: FuseStandard): number {
  return wireA * Math.min(1, WIRE_OVERLOAD / FUSE_RULES[standard].opens.times);
}

/** Rounding in sums of currents (A). */
const SLACK_A = 1e-9;

/** The currents that a fuse is chosen by (A). */
interface FuseWindow {
  /** The largest continuous current in normal use. */
  loadA: number;
  /** What may flow for some seconds: a servo stalls, or servos start. */
  momentA?: number;
  /** What the thinnest wire behind the fuse may carry. */
  wireA: number;
  /** Ambient temperature of the fuse (C). */
  ambientC?: number;
}

/**
 * The smallest standard rating (A) that carries the load with a margin and still protects the wire: one
 * whose continuous share covers the load or, failing that, one that is no smaller than the load. It is
 * never below the momentary current, and never above what protects the wire. Undefined where none fits:
 * use thicker wire, a smaller load or several fuses.
 */
export function fuseFor(window: FuseWindow, standard: FuseStandard): number | undefined {
  const { loadA, wireA } = window;
  const most = protectingA(wireA, standard) + SLACK_A;
  const { continuousShare } = FUSE_RULES[standard];
  const ratings = FUSE_RATINGS_A[standard].filter(
    (rating) => rating <= most && carries(rating, window) === undefined,
  );
  const full = fuseRerating(window.ambientC ?? FUSE_AMBIENT_C);
  return ratings.find((rating) => rating * full * continuousShare >= loadA - SLACK_A) ?? ratings[0];
}

export type FuseVerdict =
  | 'fits'
  | 'blows in normal use'
  | 'blows when a servo stalls'
  | 'does not protect the wire';

/** Whether a rating (A) carries the load and protects the wire. */
export function fuseVerdict(
  ratingA: number,
  window: FuseWindow,
  standard: FuseStandard = 'ISO 8820',
): FuseVerdict {
  if (ratingA > protectingA(window.wireA, standard) + SLACK_A) return 'does not protect the wire';
  return carries(ratingA, window) ?? 'fits';
}

/** Which current it does not carry; undefined where it carries both. */
function carries(
  ratingA: number,
  { loadA, momentA = 0, ambientC = FUSE_AMBIENT_C }: FuseWindow,
): FuseVerdict | undefined {
  const hotA = ratingA * fuseRerating(ambientC);
  if (hotA < loadA - SLACK_A) return 'blows in normal use';
  return hotA < momentA - SLACK_A ? 'blows when a servo stalls' : undefined;
}

/** Whether the standard has this rating. */
export function isFuseRating(ratingA: number, standard: FuseStandard): boolean {
  return FUSE_RATINGS_A[standard].some((rating) => Math.abs(rating - ratingA) < SLACK_A);
}
