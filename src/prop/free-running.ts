import { measuredOf } from '../shared/measured.ts';
import type { ServoChannel } from './kinds/servo-schema.ts';

/** The current of a servo running free, as long as it is what was measured. */
export function freeRunningOf(servo: ServoChannel): ServoChannel['freeRunning'] {
  const one = servo.measured?.freeRunning;
  return one?.of === measuredOf('freeRunning', servo) ? servo.freeRunning : undefined;
}
