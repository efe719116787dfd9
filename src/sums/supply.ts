/** What a supply or a battery must give. Currents in A, all of one rail. */

/** The currents of one load. */
export interface Load {
  /** At rest, awake. */
  idleA: number;
  /** Moving or fully on. */
  movingA: number;
  /** Blocked while it should move; for a load without a motor, fully on. */
  stallA: number;
}

/** All loads added up (A): at rest, all moving, all stalled. */
export function totals(loads: readonly Load[]): Load {
  const sum = { idleA: 0, movingA: 0, stallA: 0 };
  for (const { idleA, movingA, stallA } of loads) {
    sum.idleA += idleA;
    sum.movingA += movingA;
    sum.stallA += stallA;
  }
  return sum;
}

/** How loads are switched on: one after the other. */
interface Stagger {
  /** Between one and the next (s); 0 is all at once. */
  everyS: number;
  /** How long each draws its stall current: a motor at rest has no back-EMF (s). */
  startS: number;
  /** How long it draws its moving current after that, before it idles (s). */
  settleS: number;
}

/** How a prop that wakes starts its servos. Common practice, no source. */
export const WAKE: Stagger = { everyS: 0.05, startS: 0.05, settleS: 0.15 };

/** Times this close (s) differ only by a rounding error, as in 3 x 0.05. */
const SAME_S = 1e-9;

/**
 * The largest current (A) while loads are switched on one after the other, in their order. A motor that
 * starts draws its stall current, as its back-EMF is proportional to its speed. Loads that wait draw
 * nothing. Where one start ends as another begins, they do not overlap. Capacitors charging at the first
 * switch-on are not counted.
 */
export function inrushA(loads: readonly Load[], { everyS, startS, settleS }: Stagger): number {
  const steps: { atS: number; moreA: number }[] = [];
  const begins: { atS: number; moreA: number }[] = [];
  for (const [i, { idleA, movingA, stallA }] of loads.entries()) {
    const atS = i * everyS;
    begins.push({ atS, moreA: stallA });
    steps.push({ atS: atS + startS, moreA: movingA - stallA });
    steps.push({ atS: atS + startS + settleS, moreA: idleA - movingA });
  }
  steps.sort((a, b) => a.atS - b.atS);
  let amps = 0;
  let peakA = 0;
  let next = 0;
  for (const [i, { atS, moreA }] of begins.entries()) {
    for (; next < steps.length && steps[next]!.atS <= atS + SAME_S; next++) {
      amps += steps[next]!.moreA;
      peakA = Math.max(peakA, amps);
    }
    amps += moreA;
    // Check the peak only when all loads that begin at this time have begun.
    const following = begins[i + 1];
    if (!following || following.atS > atS + SAME_S) peakA = Math.max(peakA, amps);
  }
  for (; next < steps.length; next++) {
    amps += steps[next]!.moreA;
    peakA = Math.max(peakA, amps);
  }
  return peakA;
}

/** Room that a supply keeps above the largest current. Common practice, no source. */
const SUPPLY_MARGIN = 0.25;

/**
 * The supply to look for (A): the largest continuous current and a margin, but no less than the momentary
 * current of the largest stall or of servos that start.
 */
export function wantedSupplyA(continuousA: number, momentA = 0, margin = SUPPLY_MARGIN): number {
  return Math.max(continuousA * (1 + margin), momentA);
}

interface Battery {
  /** Rated capacity (Ah). */
  capacityAh: number;
  /** The discharge time at which it is rated (h). */
  ratedH: number;
  /** Peukert's exponent: 1 counts only ampere-hours; lead-acid 1.1 to 1.3, lithium near 1.05. */
  peukert: number;
}

/**
 * How long (h) a battery feeds a constant current: t = H (C / (I H))^k (Peukert 1897). For currents from
 * the rated one up to about C per hour, one temperature and a new battery; below the rated current the
 * result is C / I. Infinity without a current.
 */
export function runTimeH({ capacityAh, ratedH, peukert }: Battery, amps: number): number {
  if (amps <= 0) return Number.POSITIVE_INFINITY;
  const share = capacityAh / (amps * ratedH);
  return ratedH * (share > 1 ? share : share ** peukert);
}

/**
 * The largest dip of a rail (share of its voltage) that a capacitor is chosen for. Common practice, no
 * source.
 */
export const DIP_SHARE = 0.1;

/**
 * The capacitor (F) that supplies a current (A) beyond the supply's for a time (s) while the voltage
 * falls by no more than a dip (V): C = I dt / dV, from the definition of capacitance.
 */
export function capacitorF(amps: number, forS: number, dipV: number): number {
  return (Math.max(0, amps) * forS) / dipV;
}
