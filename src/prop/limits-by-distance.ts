import { ServoMapping } from '../sums/servo-mapping.ts';
import { type Channel, servoOf } from './kinds/channel.ts';
import { degIn } from './kinds/servo.ts';

/** The soft limits of a servo (deg), first the one farther from its park position. */
export function limitsByDistance(
  channel: Channel,
): readonly [far: number, near: number] | undefined {
  const servo = servoOf(channel);
  const parkDeg = servo && degIn(servo, servo.park.to);
  if (!servo || parkDeg === undefined) return undefined;
  const [low, high] = servo.limitsDeg ?? new ServoMapping(servo).calibrationDeg;
  return parkDeg - low > high - parkDeg ? [low, high] : [high, low];
}
