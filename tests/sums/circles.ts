import type { FourBar } from '../../src/sums/linkage.ts';

// A linkage drawn with compasses: where two circles meet, by the textbook construction along the line
// between their centres (the radical line). It knows nothing of Freudenstein's equation.

export const RAD = Math.PI / 180;
export type Point = [x: number, y: number];

/** An angle without whole turns (deg). */
export const turn = (deg: number) => deg - 360 * Math.round(deg / 360);

export const distance = ([x, y]: Point, [u, v]: Point) => Math.hypot(x - u, y - v);

export function circlesMeet(p: Point, r: number, q: Point, s: number): Point[] {
  const d = distance(p, q);
  const along = (r * r - s * s + d * d) / (2 * d);
  const off2 = r * r - along * along;
  if (off2 < 0) return [];
  const off = Math.sqrt(off2);
  const [ux, uy] = [(q[0] - p[0]) / d, (q[1] - p[1]) / d];
  return [1, -1].map((side) => [
    p[0] + along * ux - side * off * uy,
    p[1] + along * uy + side * off * ux,
  ]);
}

/** The pin in the horn, with the shaft in the origin and the hinge on the x axis. */
export const hornPin = ({ hornMm }: FourBar, deg: number): Point => [
  hornMm * Math.cos(deg * RAD),
  hornMm * Math.sin(deg * RAD),
];

export const flapPin = ({ groundMm, flapMm }: FourBar, deg: number): Point => [
  groundMm + flapMm * Math.cos(deg * RAD),
  flapMm * Math.sin(deg * RAD),
];

/** Angle of the flap arm (deg) whose pin lies to the left, or right, seen from the horn's pin to the hinge. */
export function drawnFlapDeg(bar: FourBar, hornDeg: number, toRight = false): number {
  const { couplerMm, groundMm, flapMm } = bar;
  const [left, right] = circlesMeet(hornPin(bar, hornDeg), couplerMm, [groundMm, 0], flapMm);
  const [x, y] = (toRight ? right : left)!;
  return Math.atan2(y, x - groundMm) / RAD;
}
