import type { CoreProp } from '../../src/core/core-prop.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { takesOfCues } from '../../src/prop/take/played.ts';
import type { Take } from '../../src/prop/take/take-text.ts';
import { makeProp, servo } from './rig.ts';

export const JERKY = { jerkDegS3: 6000 };

/** A prop whose cue `wave` plays a take, as the service gives it to the core. */
export function playing(
  take: Take,
  step: Record<string, unknown> = {},
  channels: Record<string, Record<string, unknown>> = { neck: servo(JERKY), beak: servo(JERKY) },
  over: Record<string, unknown> = {},
): Prop & Pick<CoreProp, 'cueTakes'> {
  const prop = makeProp(channels, {
    takes: { wave: 'wave.take' },
    cues: { wave: [{ at: 0, take: 'wave', ...step }] },
    ...over,
  });
  return { ...prop, cueTakes: takesOfCues({ ...prop, performed: { wave: { take } } }) };
}
