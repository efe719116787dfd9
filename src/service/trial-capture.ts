import type { Edit } from '../prop/edit-text.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { degIn } from '../prop/kinds/servo.ts';
import type { Prop } from '../prop/schema.ts';

/**
 * How far a trial is from what the file says, as a share of the way between limit and park position; and how
 * much further the next one is, as what has been worked out once is kept.
 */
const SHARE = 0.005;
const NEXT = 0.0001;

/**
 * A capture that nobody has asked for, to have the code compiled: a mark, a limit and, twice as often, a
 * park position, of one servo after another. Nothing is written.
 * @returns undefined for a prop without servos
 */
export function trialCapture({ channels }: Prop, time: number): Edit | undefined {
  const servos = Object.entries(channels).flatMap(([name, channel]) => {
    const servo = servoOf(channel);
    return servo ? [[name, servo] as const] : [];
  });
  const [round, index] = [Math.floor(time / servos.length), time % servos.length];
  const found = servos[index];
  if (!found) return undefined;
  const [name, servo] = found;
  const parkDeg = degIn(servo, servo.park.to)!;
  const ends = servo.calibration.map(([, deg]) => deg);
  const [low, high] = servo.limitsDeg ?? [Math.min(...ends), Math.max(...ends)];
  const share = SHARE + NEXT * time;
  const narrower = (deg: number) => deg + share * (parkDeg - deg);
  const park = { path: ['park', 'to'], value: parkDeg + share * ((low + high) / 2 - parkDeg) };
  const kinds = [
    { path: ['marks', `trial_${time}`], value: parkDeg },
    park,
    { path: ['limitsDeg'], value: parkDeg > low ? [narrower(low), high] : [low, narrower(high)] },
    // Every cue is planned once more.
    park,
  ];
  const { path, value } = kinds[(round + index) % kinds.length]!;
  return { path: ['channels', name, ...path], value };
}
