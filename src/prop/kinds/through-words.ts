/** What may be between a pin and its load. */
export const THROUGH = ['npn', 'n-mosfet', 'driver board', 'nothing'] as const;
export type Through = (typeof THROUGH)[number];

/** Whether it is a switch to ground, which conducts while its pin is high. */
export function isLowSide(through: Through | undefined): boolean {
  return through === 'npn' || through === 'n-mosfet';
}
