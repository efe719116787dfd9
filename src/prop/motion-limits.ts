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

/** How long a motion takes (s); 0 for one that cannot be planned, which is reported elsewhere. */
export function secondsOf(plan: () => { durationS: number }): number {
  try {
    return plan().durationS;
  } catch (error) {
    if (error instanceof RangeError) return 0;
    throw error;
  }
}
