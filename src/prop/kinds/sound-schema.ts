import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';

/** The word for no sound, in a step. */
export const NO_SOUND = 'off';

/** The schema of a channel that plays sounds. */
export function soundSchema({ z, name, atLeast0, common }: Parts) {
  // The library has no loudspeakers.
  const { part: _, ...shared } = common;
  return z.strictObject({
    kind: z.literal('sound'),
    output: z
      .strictObject({ board: name('board') })
      .describe('the board with the sound card (driver alsa); it has no pins'),
    ...shared,
    draw: z
      .strictObject({
        maxA: atLeast0('amperes', 'current of its amplifier at its loudest (A)'),
      })
      .optional()
      .describe('what its amplifier takes from its rail; it counts all the time'),
    ceiling: z
      .number({ error: 'is not a number; give the loudest amplitude, above 0 and up to 1' })
      .positive({ error: 'is not above 0; give the loudest amplitude, such as 0.3' })
      .max(1, { error: 'is above 1; give the loudest amplitude, 1 at most' })
      .default(0.3)
      .describe(
        'the loudest that it may ever be: its amplitude as a share of full scale, so that 0.5 is 6 dB below full. Loud sound damages hearing, at once near a loudspeaker and over hours at 85 dB(A): begin low, and measure with a sound level meter where ears can be',
      ),
    fadeOutS: atLeast0('seconds', 'time from full volume to silence when it is faded out (s)')
      .max(10, { error: 'is above 10; give seconds, 10 or less' })
      .default(0.5)
      .describe(
        'least time from full volume to silence, and for any other change of volume (s); a stop silences it at once',
      ),
    park: z
      .strictObject({ to: z.literal(0, { error: 'is not 0; a sound is silent when parked' }) })
      .default({ to: 0 })
      .describe('the safe resting state: silence'),
  });
}

export type SoundChannel = z.output<ReturnType<typeof soundSchema>> & {
  part?: undefined;
  maintainEvery?: undefined;
};
