/** Fuses by their standard ratings. */

export type FuseStandard = 'ISO 8820' | 'IEC 60127';

/** R10 series of preferred numbers (ISO 3), one decade. */
const R10 = [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8] as const;

/**
 * Standard ratings (A), rising. ISO 8820-3: blade fuses of the common size (from memory). IEC 60127-2:
 * cartridges 5 x 20 mm, 32 mA to 10 A in steps of R10.
 */
export const FUSE_RATINGS_A: Record<FuseStandard, readonly number[]> = {
  'ISO 8820': [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40],
  'IEC 60127': [
    ...R10.slice(5).map((step) => step / 100),
    ...R10.map((step) => step / 10),
    ...R10,
    10,
  ],
};

/** The share of its rating that a fuse is loaded with all the time. Common practice, no source. */
const FUSE_LOAD_SHARE = 0.8;

/** Rounding in sums of currents (A). */
const SLACK_A = 1e-9;

/** What a fuse stands between (A). */
interface FuseWindow {
  /** The largest current in normal use. */
  loadA: number;
  /** What the thinnest wire behind the fuse may carry. */
  wireA: number;
}

/**
 * The next standard rating (A) that carries the load with a margin and still protects the wire: the
 * least one of at least load / 0.8, or else of at least the load, and at most the wire's capacity.
 * Undefined where none fits: thicker wire, a smaller load or several fuses are needed. For
 * continuous currents; short inrush is for the fuse's time characteristic, which its data sheet has.
 */
export function fuseFor({ loadA, wireA }: FuseWindow, standard: FuseStandard): number | undefined {
  const ratings = FUSE_RATINGS_A[standard].filter((rating) => rating <= wireA + SLACK_A);
  return (
    ratings.find((rating) => rating * FUSE_LOAD_SHARE >= loadA - SLACK_A) ??
    ratings.find((rating) => rating >= loadA - SLACK_A)
  );
}

export type FuseVerdict = 'fits' | 'blows in normal use' | 'does not protect the wire';

/** Whether a rating (A) stands between the load and the wire. */
export function fuseVerdict(ratingA: number, { loadA, wireA }: FuseWindow): FuseVerdict {
  if (ratingA > wireA + SLACK_A) return 'does not protect the wire';
  return ratingA < loadA - SLACK_A ? 'blows in normal use' : 'fits';
}

/** Whether the standard has this rating. */
export function isFuseRating(ratingA: number, standard: FuseStandard): boolean {
  return FUSE_RATINGS_A[standard].some((rating) => Math.abs(rating - ratingA) < SLACK_A);
}
