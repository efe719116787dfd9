/** A tenth of a pixel is as fine as it needs to be. */
export function px(value: number): number {
  return Math.round(value * 10) / 10;
}
