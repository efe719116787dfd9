/** A value that stays as it is until the next sample. */
export interface TimeSeries {
  /** Times (s), rising. */
  tS: readonly number[];
  value: readonly number[];
}

/**
 * A time series in `count` columns of equal time up to `endS`. Each gives the value farthest from the
 * column before, so that even the shortest move shows, and the value at its end.
 */
export function columns(
  { tS, value }: TimeSeries,
  endS: number,
  count: number,
): { far: number; last: number }[] {
  const found: { far: number; last: number }[] = [];
  let last = value[0]!;
  let next = 1;
  for (let column = 1; column <= count; column++) {
    const before = last;
    let far = last;
    const untilS = column === count ? Number.POSITIVE_INFINITY : (column * endS) / count;
    for (; next < tS.length && tS[next]! <= untilS; next++) {
      last = value[next]!;
      if (Math.abs(last - before) > Math.abs(far - before)) far = last;
    }
    found.push({ far, last });
  }
  return found;
}
