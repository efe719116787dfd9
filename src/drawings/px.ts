/** Rounds to a tenth of a pixel, which is fine enough. */
export function px(value: number): number {
  return Math.round(value * 10) / 10;
}
