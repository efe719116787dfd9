/** Voltage of a 12 V lead-acid battery at rest by what is left (BCI's table for flooded cells, from memory). */
export const LEAD: [number, number][] = [
  [11.89, 0],
  [12.06, 0.25],
  [12.24, 0.5],
  [12.45, 0.75],
  [12.65, 1],
];
