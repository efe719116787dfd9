import type { MotionLimits } from '../sums/profile.ts';
import type { ServoChannel } from './schema.ts';

/** The limits of a servo's moves (deg/s, deg/s2, deg/s3). */
export function motionLimits({
  speedDegS: speed,
  accelDegS2: accel,
  jerkDegS3: jerk,
}: ServoChannel): MotionLimits {
  return jerk === undefined ? { speed, accel } : { speed, accel, jerk };
}

/** Duration of a motion (s); 0 if it cannot be planned, which is reported elsewhere. */
export function secondsOf(plan: () => { durationS: number }): number {
  try {
    return plan().durationS;
  } catch (error) {
    if (error instanceof RangeError) return 0;
    throw error;
  }
}
