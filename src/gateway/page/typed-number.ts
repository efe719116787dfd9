/** A number as a person writes it: `0,5` is 0.5, and a true minus counts. NaN for nothing and for all else. */
export function typedNumber(text: string): number {
  const bare = text.trim().replace('−', '-').replace(',', '.');
  return bare === '' ? Number.NaN : Number(bare);
}
