import type { MotionLimits } from '../sums/profile.ts';
import type { ServoChannel } from './schema.ts';

/** What no move of a servo exceeds (deg/s, deg/s2, deg/s3). */
export function motionLimits({
  speedDegS: speed,
  accelDegS2: accel,
  jerkDegS3: jerk,
}: ServoChannel): MotionLimits {
  return jerk === undefined ? { speed, accel } : { speed, accel, jerk };
}
