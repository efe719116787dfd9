import { CHANNEL, COMMAND } from '../errors.ts';
import type { Family } from '../method.ts';

/** Servos that a person turns by hand, while their angles are measured. */
export const teach = {
  'teach.begin': {
    summary:
      'Stop the pulses of servos, so that a person can turn them by hand to marks and limits; nothing else moves meanwhile',
    example: { params: { channels: ['beak'] }, result: { channels: ['beak'] } },
    by: 'core',
    lease: true,
    errors: [...COMMAND, ...CHANNEL, 'teach.moving', 'teach.not-measured'],
    params: ({ z, want, channel }) =>
      z.strictObject({
        channels: z
          .array(channel, want('a list of servos'))
          .min(1, want('at least one servo'))
          .max(64, want('64 servos at most'))
          .describe('servos, each with a position sense that has proven itself'),
      }),
    result: ({ z }) => z.object({ channels: z.array(z.string()).describe('those that are limp') }),
  },
  'teach.end': {
    summary: 'Give them their pulses again where they are measured, one at a time',
    example: { params: { confirm: 'clear', wait: true }, result: { condition: 'live' } },
    by: 'core',
    lease: true,
    errors: [...COMMAND, 'teach.not-measured', 'teach.outside'],
    params: ({ z, want, wait }) =>
      z.strictObject({
        confirm: z
          .literal('clear', want('the word clear'))
          .describe(
            'a person has seen to it that all hands are clear: if a sensor is wrong, a servo jumps',
          ),
        wait,
      }),
    result: ({ conditionResult }) => conditionResult,
  },
} as const satisfies Family;
