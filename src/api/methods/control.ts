import { COMMAND, LEASE } from '../errors.ts';
import type { Family } from '../method.ts';

/** Who has control, and the condition of the whole prop. */
export const control = {
  'lease.take': {
    summary: 'Take the control lease; observing needs none',
    example: { params: {}, result: { holder: 'desk' } },
    by: 'core',
    lease: false,
    errors: ['lease.held', 'lease.no-place'],
    params: ({ nothing }) => nothing,
    result: ({ z }) =>
      z.object({ holder: z.string().describe('name of the client that holds the lease') }),
  },
  'lease.ask': {
    summary: 'Ask the holder for control, or no longer; takes nothing. Every state names who asks',
    example: { params: { wanted: true }, result: { asks: ['phone'] } },
    by: 'gateway',
    lease: false,
    errors: [],
    params: ({ z, flag }) => z.strictObject({ wanted: flag('true to ask, false to ask no more') }),
    result: ({ z }) => z.object({ asks: z.array(z.string()).describe('all that ask') }),
  },
  'lease.release': {
    summary: 'Give the lease back: park at once, or after a time of grace for the next holder',
    example: { params: { graceS: 30 }, result: { holder: null } },
    by: 'core',
    lease: false,
    errors: LEASE,
    params: ({ z, within }) =>
      z.strictObject({
        graceS: within(0, 300, 'time in which the prop stays live and still (s)').optional(),
      }),
    result: ({ z }) => z.object({ holder: z.null() }),
  },
  wake: {
    summary: 'Wake the parked prop, channel by channel',
    example: { params: { wait: true }, result: { condition: 'live' } },
    by: 'core',
    lease: true,
    whole: true,
    errors: [
      ...COMMAND,
      'wake.unknown-servos',
      'file.taking-effect',
      'rail.limit',
      'sense.low',
      'condition.changed',
    ],
    params: ({ z, want, wait }) =>
      z.strictObject({
        wait,
        confirm: z
          .literal('unknown', want('the word unknown'))
          .optional()
          .describe(
            'needed while the position of a servo is unknown: a person has seen to it that all hands are clear, as they move one at a time, at their own speed, to their park position',
          ),
      }),
    result: ({ conditionResult }) => conditionResult,
  },
  park: {
    summary: 'Bring every actuator to rest, in stages; from any session, lease or not',
    example: { params: { wait: true }, result: { condition: 'parked' } },
    by: 'core',
    lease: false,
    whole: true,
    errors: ['condition.forbids', 'lockout.set', 'guard.broken', 'condition.changed'],
    params: ({ z, wait }) => z.strictObject({ wait }),
    result: ({ conditionResult }) => conditionResult,
  },
  reset: {
    summary: 'Lift a latched stop or fault; moves nothing',
    example: {
      params: { confirm: 'phone' },
      result: { condition: 'parked', notParked: 'beak is at 25.5 deg' },
    },
    by: 'core',
    lease: true,
    whole: true,
    errors: [
      ...LEASE,
      'condition.forbids',
      'reset.confirm',
      'reset.too-soon',
      'reset.under-way',
      'reset.still-moving',
      'reset.stop-pressed',
      'reset.stopped-again',
      'reset.board-fails',
    ],
    params: ({ z, want }) =>
      z.strictObject({
        confirm: z
          .string(want('the name of whoever stopped the prop'))
          .max(200)
          .optional()
          .describe(
            'needed after the stop of somebody else: their name, as the refusal tells it; refused in the first 2 s',
          ),
      }),
    result: ({ conditionResult }) => conditionResult,
  },
  stop: {
    summary: 'Stop; latches until reset. From any session, lease or not',
    example: { params: { category: 1 }, result: { condition: 'stopped' } },
    by: 'core',
    lease: false,
    errors: [],
    params: ({ z, want }) =>
      z.strictObject({
        category: z
          .literal([0, 1, 2], want('0, 1 or 2'))
          .describe(
            'IEC 60204-1 stop category: 0 drop power, 1 decelerate then drop, 2 decelerate and hold',
          ),
      }),
    result: ({ conditionResult }) => conditionResult,
  },
  'lockout.set': {
    summary:
      '"Hands in the prop": stops what moves (category 1); nothing wakes or moves until it is cleared, across restarts. From any session',
    example: {
      params: { reason: 'new horn on the beak' },
      result: {
        lockout: { by: 'desk', reason: 'new horn on the beak', time: '2026-05-04T10:15:00.000Z' },
      },
    },
    by: 'core',
    lease: false,
    errors: ['lockout.too-many'],
    params: ({ z, lockReason }) => z.strictObject({ reason: lockReason.optional() }),
    result: ({ lockoutResult }) => lockoutResult,
  },
  'lockout.clear': {
    summary: 'Clear the lockout that this client has set, or any by force; moves nothing',
    example: { params: {}, result: { lockout: null } },
    by: 'core',
    lease: false,
    errors: ['lockout.set', 'lockout.no-reason'],
    params: ({ z, flag, lockReason }) =>
      z.strictObject({
        force: flag("clear everybody's; needs a reason, which goes into the journal").optional(),
        reason: lockReason.optional(),
      }),
    result: ({ lockoutResult }) => lockoutResult,
  },
} as const satisfies Family;
