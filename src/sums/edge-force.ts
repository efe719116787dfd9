/**
 * Force (N) of a torque (N m) at the edge of what a hinge turns: F = T / r, the definition of torque, with
 * the arm from hinge to edge in mm. What the moving mass adds when it strikes is not in it.
 */
export function edgeForceN(torqueNm: number, armMm: number): number {
  return Math.abs(torqueNm) / (armMm / 1000);
}

/**
 * The share of its stall torque that a direct-current motor gives at a current (A), from 0 to 1: torque is
 * proportional to the current above that at no load (equations of the direct-current motor, any handbook of
 * electrical machines; from memory). With the current at rest for that at no load the share comes out high,
 * which is the safe side.
 */
export function torqueShare(amps: number, noLoadA: number, stallA: number): number {
  if (!(stallA > noLoadA)) return 1;
  return Math.min(Math.max((amps - noLoadA) / (stallA - noLoadA), 0), 1);
}

/**
 * Lasting forces on adults at work that ISO/TS 15066:2016, table A.2, gives as bearable (N): from memory,
 * for orientation. The standard bounds the pressure as well, doubles them for the first half second, and has
 * none for children.
 */
export const ORIENTATION_N = { 'hands and fingers': 140, face: 65 } as const;

/** The same in words. */
export const ORIENTATION_TEXT = `for orientation, from memory: ISO/TS 15066 has ${ORIENTATION_N['hands and fingers']} N on fingers and ${ORIENTATION_N.face} N on a face, for adults at work, with a limit of pressure besides and none for children, which is no claim to conform`;
