import { CHANNEL, COMMAND, INTERLOCK, LEASE } from '../errors.ts';
import type { Family } from '../method.ts';

/** Channels that play sounds. */
export const sounds = {
  'sound.play': {
    summary: 'Play a sound of the prop file on a channel of kind sound, from its beginning',
    example: {
      params: { channel: 'voice', sound: 'hoot', volume: 0.5 },
      result: { durationS: 1.8 },
    },
    by: 'core',
    lease: true,
    errors: [...COMMAND, ...CHANNEL, ...INTERLOCK, 'sound.unknown'],
    params: ({ z, want, text, channel }) =>
      z.strictObject({
        channel,
        sound: text('the name of a sound'),
        volume: z
          .number(want('a number'))
          .min(0, want('0 to 1'))
          .max(1, want('0 to 1'))
          .optional()
          .describe('0 to 1 of the ceiling of the channel; 1 without it'),
      }),
    result: ({ z }) =>
      z.object({
        durationS: z.number().describe('how long it takes (s); 0 where it is not known'),
      }),
  },
  'sound.stop': {
    summary: 'Fade out what a channel of kind sound plays',
    example: { params: { channel: 'voice' }, result: { playing: null } },
    by: 'core',
    lease: true,
    whole: true,
    errors: [...LEASE, ...CHANNEL],
    params: ({ z, channel }) => z.strictObject({ channel }),
    result: ({ z }) => z.object({ playing: z.string().nullable() }),
  },
} as const satisfies Family;
