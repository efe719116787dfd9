/** The angle of a phone against gravity, from what its browser reports. */

/** Angles of a DeviceOrientation event (deg). */
export interface Orientation {
  alpha: number;
  beta: number;
  gamma: number;
}

/** A direction in the phone's own axes: x to the right of its screen, y to its top, z out of it. */
interface Direction3 {
  x: number;
  y: number;
  z: number;
}

/**
 * Where the hinge runs, seen from the phone that lies on the flap: along its short edge (x), along its
 * long edge (y), or straight through its screen (z).
 */
export type HingeAlong = 'short edge' | 'long edge' | 'screen';

/** Below this, the hinge is steeper than 60 deg, and gravity says too little of how far it has turned. */
export const LEAST_LEVER = 0.5;

const RAD = Math.PI / 180;

/**
 * Which way is up, in the phone's own axes (length 1). The event's angles turn the phone from lying on its
 * back, by alpha about z, then beta about its own x, then gamma about its own y (W3C, Device Orientation
 * and Motion, section "deviceorientation event"). So phone to earth is R = Rz(alpha) Rx(beta) Ry(gamma),
 * and up in the phone is the third row of R: (-cos b sin g, sin b, cos b cos g). The compass does not
 * matter.
 */
export function upOf({ beta, gamma }: Orientation): Direction3 {
  const [b, g] = [beta * RAD, gamma * RAD];
  return { x: -Math.cos(b) * Math.sin(g), y: Math.sin(b), z: Math.cos(b) * Math.cos(g) };
}

/**
 * How far the phone has turned about an axis of its own from level (deg, -180 to 180), right-handed, and
 * how much of gravity acts across this axis (0 to 1). Level: on its back for the edges, upright for the
 * screen.
 */
export function tiltOf({ x, y, z }: Direction3, along: HingeAlong): { deg: number; lever: number } {
  // A turn by t about an axis turns what is up by -t about the same axis, in the phone's own axes.
  const [across, level] = { 'short edge': [y, z], 'long edge': [-x, z], screen: [x, y] }[along] as [
    number,
    number,
  ];
  // Adding 0 makes a true zero of minus zero.
  return { deg: Math.atan2(across, level) / RAD + 0, lever: Math.hypot(across, level) };
}

/** The turn from one angle to another (deg), the short way: above -180, up to 180. */
export function turnDeg(fromDeg: number, toDeg: number): number {
  const turn = (((toDeg - fromDeg) % 360) + 360) % 360;
  return turn > 180 ? turn - 360 : turn;
}

/** The mean of angles (deg) that are near each other, also across 180: of their directions. */
export function meanDeg(angles: readonly number[]): number {
  let [x, y] = [0, 0];
  for (const deg of angles) {
    x += Math.cos(deg * RAD);
    y += Math.sin(deg * RAD);
  }
  return Math.atan2(y, x) / RAD;
}
