import { tidy } from '../shared/units.ts';
import { show } from './finding.ts';

/** Numbers as people often write them, and what to write instead. */

/** A share written as a percentage: `60%`, or 60 (5 or more); undefined for any other value. */
export function percentOf(value: unknown): number | undefined {
  if (typeof value === 'string') {
    const [, number] = /^(\d+(?:[.,]\d+)?)\s*%$/.exec(value) ?? [];
    return number === undefined ? undefined : withinOne(Number(number.replace(',', '.')));
  }
  return typeof value === 'number' && value >= 5 ? withinOne(value) : undefined;
}

function withinOne(percent: number): number | undefined {
  return percent <= 100 ? tidy(percent / 100, 6) : undefined;
}

/** By the unit that a key ends with: the factor of each other unit (SI prefixes, minutes). */
const UNITS: Record<string, Record<string, number>> = {
  A: { A: 1, mA: 1e-3 },
  S: { s: 1, ms: 1e-3, min: 60 },
  Ms: { ms: 1, s: 1e3 },
  Us: { us: 1, µs: 1, ms: 1e3 },
  M: { m: 1, cm: 1e-2, mm: 1e-3 },
  Mm: { mm: 1, cm: 10, m: 1e3 },
  V: { V: 1, mV: 1e-3 },
  volts: { V: 1, mV: 1e-3 },
  Kg: { kg: 1, g: 1e-3 },
  Hz: { Hz: 1, kHz: 1e3 },
  Ohm: { ohm: 1, Ohm: 1, Ω: 1, kOhm: 1e3, kΩ: 1e3, k: 1e3 },
  Ah: { Ah: 1, mAh: 1e-3 },
  Ml: { ml: 1, l: 1e3 },
  Deg: { deg: 1, '°': 1 },
  DegS: { 'deg/s': 1, '°/s': 1 },
};

/** What is wrong with a text where a number belongs; undefined if it is not a common slip. */
export function numberSlip(
  text: string,
  key: string | number | undefined,
): [wrong: string, right: string, meant?: number] | undefined {
  const [, number, unit] = /^([-+]?\d+(?:[.,]\d+)?)\s*(\S.{0,8})?$/.exec(text.trim()) ?? [];
  if (number === undefined || (unit !== undefined && !/^[A-Za-z\u00b5\u03a9\u00b0%]/.test(unit)))
    return undefined;
  const plain = Number(number.replace(',', '.'));
  if (unit === undefined) {
    if (!number.includes(',')) return undefined;
    return [`${show(text)} has a comma where a decimal point belongs`, `write ${plain}`, plain];
  }
  const known = UNITS[endOf(String(key))];
  const factor = known && Object.hasOwn(known, unit) ? known[unit]! : undefined;
  const wrong = `${show(text)} is not a number`;
  if (factor === undefined) return [wrong, 'write the number alone, without its unit'];
  const meant = tidy(plain * factor, 9);
  return [wrong, `write ${meant}`, meant];
}

/** The unit that a key ends with, or the key itself. */
function endOf(key: string): string {
  return Object.keys(UNITS)
    .filter((end) => key === end || key.endsWith(end))
    .reduce((longest, end) => (end.length > longest.length ? end : longest), '');
}
