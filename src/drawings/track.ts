import type { Track } from '../rehearsal/rehearse.ts';
import { luminanceToLightness, relativeLuminance } from '../sums/light.ts';
import type { TimeSeries } from '../sums/time-series.ts';

/** A track as numbers: deg, 0 or 1, or the perceived lightness 0..1. */
export function timeSeriesOf({ tS, value }: Track): TimeSeries {
  const number = (one: number | string) => (typeof one === 'string' ? lightnessOf(one) : one);
  return { tS, value: value.map(number) };
}

/** Perceived lightness 0..1 of `#rrggbb`. */
function lightnessOf(hex: string): number {
  const part = (at: number) => Number.parseInt(hex.slice(at, at + 2), 16) / 255;
  const luminance = relativeLuminance({ red: part(1), green: part(3), blue: part(5) });
  return luminanceToLightness(luminance);
}

/** Returns a function that gives the value at a time (s); times must rise from call to call. */
export function reader<T>(tS: readonly number[], value: readonly T[]): (atS: number) => T {
  let next = 1;
  return (atS) => {
    while (next < tS.length && tS[next]! <= atS + 1e-9) next++;
    return value[next - 1]!;
  };
}

/** The values at which a track stays for a while, in order, including the first and the last. */
export function stops({ tS, value }: Track): (number | string)[] {
  const restS = 0.1;
  return value.filter((_, i) => i === 0 || i === tS.length - 1 || tS[i + 1]! - tS[i]! > restS);
}

/** How often a relay closes. */
export function closures({ value }: Track): number {
  return value.filter((one) => one === 1).length;
}

/** Whether its value changes at all. */
export function changes({ value }: Track): boolean {
  return value.length > 1;
}
