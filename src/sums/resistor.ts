/** Series resistors of LEDs, and preferred values. */

export type Series = 'E12' | 'E24';

/** Preferred values of one decade (IEC 60063). */
const VALUES: Record<Series, readonly number[]> = {
  E12: [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2],
  E24: [
    1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2, 2.2, 2.4, 2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2,
    6.8, 7.5, 8.2, 9.1,
  ],
};

/** Rounding error: 0.1 + 0.2 must count as 0.3. */
const SLACK = 1e-9;

/** The smallest preferred value at or above `ohm`, which is above 0 (IEC 60063). */
export function preferredAbove(ohm: number, series: Series = 'E24'): number {
  const decade = 10 ** Math.floor(Math.log10(ohm) + SLACK);
  const step = VALUES[series].find((value) => value * decade >= ohm * (1 - SLACK)) ?? 10;
  return tidyOhm(step * decade);
}

/** The largest preferred value at or below `ohm`, which is above 0 (IEC 60063). */
export function preferredBelow(ohm: number, series: Series = 'E24'): number {
  const decade = 10 ** Math.floor(Math.log10(ohm) + SLACK);
  const step = VALUES[series].findLast((value) => value * decade <= ohm * (1 + SLACK)) ?? 1;
  return tidyOhm(step * decade);
}

function tidyOhm(ohm: number): number {
  return Number(ohm.toPrecision(3));
}

/** Usual power ratings of resistors (W). Common practice, no source. */
const RATINGS_W = [0.125, 0.25, 0.5, 1, 2, 3, 5, 10];

export interface Led {
  supplyV: number;
  /** Nominal forward voltage at the wanted current (V); for a string, the sum. */
  forwardV: number;
  /** How far one may be below or above nominal (V). */
  spreadV: number;
  /** Wanted current, which it must not exceed (A). */
  currentA: number;
}

/** The largest current (A) through a resistor: Ohm's law with the lowest forward voltage. */
export function ledMaxA({ supplyV, forwardV, spreadV }: Led, ohm: number): number {
  return Math.max(0, supplyV - (forwardV - spreadV)) / ohm;
}

/** The smallest current (A) through a resistor: Ohm's law with the highest forward voltage. */
function ledMinA({ supplyV, forwardV, spreadV }: Led, ohm: number): number {
  return Math.max(0, supplyV - (forwardV + spreadV)) / ohm;
}

export interface SeriesResistor {
  /** By Ohm's law, and the next preferred value above. */
  exactOhm: number;
  ohm: number;
  /** Current with the lowest and the highest forward voltage (A). */
  maxA: number;
  minA: number;
  /** Heat at the largest current, and the rating to buy: at least twice as much (W). */
  heatW: number;
  ratingW: number | undefined;
}

/**
 * The series resistor for an LED: R = (supply - forward voltage) / current, with the lowest forward
 * voltage of the spread so that no LED gets more than its current, then the next preferred value above.
 * The resistor's own tolerance is not counted. The rating is at least twice the heat (common practice, no
 * source). Undefined when the supply is not above the highest forward voltage.
 */
export function ledResistor(led: Led, series: Series = 'E24'): SeriesResistor | undefined {
  const { supplyV, forwardV, spreadV, currentA } = led;
  if (supplyV <= forwardV + spreadV) return undefined;
  const exactOhm = (supplyV - (forwardV - spreadV)) / currentA;
  const ohm = preferredAbove(exactOhm, series);
  const maxA = ledMaxA(led, ohm);
  const heatW = maxA ** 2 * ohm;
  return {
    exactOhm,
    ohm,
    maxA,
    minA: ledMinA(led, ohm),
    heatW,
    ratingW: RATINGS_W.find((rating) => rating >= 2 * heatW),
  };
}

/** A measured current may be off by this much: a resistor of 5 %, and a meter (no source). */
const METER_TOLERANCE = 0.1;

/**
 * What a measured voltage says of a series resistor: `none`, no current flows; `low`, less than it should
 * be; `right`; `unlike`, more than this resistor should let through, and no more than the LED may have;
 * `high`, more than the LED may have.
 */
type ResistorVerdict = 'none' | 'low' | 'right' | 'unlike' | 'high';

export interface ResistorCheck {
  verdict: ResistorVerdict;
  /** Through the resistor and the LED, while it is fully on (A). */
  currentA: number;
  /** What is left for the LED (V). */
  forwardV: number;
  /** What it should be: with the highest and the lowest forward voltage (A). */
  expectedA: readonly [least: number, most: number];
}

/**
 * Checks a series resistor by the voltage across it: the current is V / R (Ohm's law), and what the supply
 * has left is the LED's forward voltage (Kirchhoff's voltage law).
 * @param measuredV across the resistor, with the LED on (V)
 * @param duty share of the time in which the LED is on, above 0, up to 1: a meter shows the average
 */
export function checkResistor(
  led: Led,
  ohm: number,
  measuredV: number,
  duty: number,
): ResistorCheck {
  const { supplyV, currentA: allowedA } = led;
  const acrossV = measuredV / duty;
  const currentA = acrossV / ohm;
  const least = ledMinA(led, ohm);
  const most = ledMaxA(led, ohm);
  const verdict = (): ResistorVerdict => {
    if (currentA < allowedA * 0.02) return 'none';
    if (currentA > allowedA * (1 + METER_TOLERANCE)) return 'high';
    if (currentA < least * (1 - METER_TOLERANCE)) return 'low';
    return currentA > most * (1 + METER_TOLERANCE) ? 'unlike' : 'right';
  };
  return {
    verdict: verdict(),
    currentA,
    forwardV: supplyV - acrossV,
    expectedA: [least, most],
  };
}
