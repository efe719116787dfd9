/** What may lie between a pin and what it switches. */
export const THROUGH = ['npn', 'n-mosfet', 'driver board', 'nothing'] as const;
export type Through = (typeof THROUGH)[number];

/** A switch to ground: it conducts while its pin is high. */
export function isLowSide(through: Through | undefined): boolean {
  return through === 'npn' || through === 'n-mosfet';
}
