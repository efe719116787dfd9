/** The value of a rehearsed channel at a time. Pure. */

/** A curve: values in a straight line from one time to the next. */
export interface Curve {
  /** s, rising. */
  tS: readonly number[];
  /** Servo: deg; lamp: 0..1; rgb: #rrggbb; relay: 0 or 1. */
  value: readonly (number | string)[];
}

/** The last index whose time is not after `atS`; 0 before the first. */
export function indexAt(tS: readonly number[], atS: number): number {
  let low = 0;
  let high = tS.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (tS[middle]! <= atS) low = middle;
    else high = middle - 1;
  }
  return low;
}

/**
 * A servo's angle (deg), a lamp's lightness, a colour `#rrggbb`, or whether a relay is on.
 * @param stays each value stays until the next, as that of a relay does
 */
export function valueAt(
  { tS, value }: Curve,
  atS: number,
  stays = false,
): number | string | boolean {
  const i = indexAt(tS, atS);
  const here = value[i] ?? 0;
  if (stays) return here === 1;
  const there = value[i + 1];
  const fromS = tS[i]!;
  if (there === undefined || atS <= fromS) return here;
  const share = (atS - fromS) / (tS[i + 1]! - fromS);
  if (typeof here === 'number' && typeof there === 'number') return here + share * (there - here);
  return mixed(String(here), String(there), share);
}

function mixed(from: string, to: string, share: number): string {
  const byte = (hex: string, at: number) => Number.parseInt(hex.slice(at, at + 2), 16);
  return `#${[1, 3, 5]
    .map((at) => Math.round(byte(from, at) + share * (byte(to, at) - byte(from, at))))
    .map((one) => one.toString(16).padStart(2, '0'))
    .join('')}`;
}
