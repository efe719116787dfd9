/** Sums over a few readings. */

export function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/** Standard deviation of values about their mean. */
export function deviation(values: readonly number[]): number {
  const middle = mean(values);
  return Math.sqrt(mean(values.map((value) => (value - middle) ** 2)));
}

/**
 * The scatter of readings (a standard deviation) about whatever they follow: from the median difference of
 * neighbours, which for normal noise is 0.954 of it (0.6745 times the square root of 2).
 */
export function scatter(values: readonly number[]): number {
  if (values.length < 2) return 0;
  const apart = values.slice(1).map((value, i) => Math.abs(value - values[i]!));
  return quantile(apart, 0.5) / 0.954;
}

/** The value below which `share` of the values lie. */
export function quantile(values: readonly number[], share: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(share * (sorted.length - 1))]!;
}
