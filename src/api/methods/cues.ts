import { COMMAND, LEASE } from '../errors.ts';
import type { Family } from '../method.ts';

/** What runs by itself. */
export const cues = {
  'cue.list': {
    summary: 'Every cue and idle behaviour: whether it runs, and how long it takes',
    example: {
      params: {},
      result: {
        cues: { glance: { durationS: 4.9, running: false } },
        idle: { awake: { running: false } },
        triggers: { names: [], armed: false },
      },
    },
    by: 'view',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z, cueState, cueUses }) =>
      z.object({
        cues: z.record(z.string(), cueState.extend({ uses: cueUses.optional() })),
        idle: z.record(z.string(), z.object({ running: z.boolean() })),
        triggers: z.object({
          names: z.array(z.string()),
          armed: z.boolean().describe('the holder lets them take effect'),
        }),
      }),
  },
  'cue.run': {
    summary: 'Run a cue; its steps pass every limit, interlock and guard',
    example: { params: { cue: 'glance' }, result: { running: true, durationS: 4.9 } },
    by: 'core',
    lease: true,
    errors: [...COMMAND, 'cue.unknown', 'cue.too-long', 'cue.clash', 'cue.ended-early'],
    params: ({ z, text, wait }) => z.strictObject({ cue: text('the name of a cue'), wait }),
    result: ({ cueState }) => cueState,
  },
  'cue.stop': {
    summary: 'End a cue: its servos decelerate and hold, its relays open',
    example: { params: { cue: 'glance' }, result: { running: false, durationS: 4.9 } },
    by: 'core',
    lease: true,
    whole: true,
    errors: [...LEASE, 'cue.unknown'],
    params: ({ z, text }) => z.strictObject({ cue: text('the name of a cue') }),
    result: ({ cueState }) => cueState,
  },
  'idle.start': {
    summary: 'Start an idle behaviour: small cues at random times that give way to everything else',
    example: { params: { idle: 'awake' }, result: { running: 'awake' } },
    by: 'core',
    lease: true,
    errors: [...COMMAND, 'idle.unknown'],
    params: ({ z, text }) => z.strictObject({ idle: text('the name of an idle behaviour') }),
    result: ({ z }) => z.object({ running: z.string() }),
  },
  'idle.stop': {
    summary: 'End the idle behaviour',
    example: { params: {}, result: { running: null } },
    by: 'core',
    lease: true,
    errors: LEASE,
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.object({ running: z.null() }),
  },
  'trigger.arm': {
    summary: 'Let the triggers take effect while this session holds the lease, or no longer',
    example: { params: { armed: true }, result: { armed: true } },
    by: 'core',
    lease: true,
    errors: LEASE,
    params: ({ z, flag }) => z.strictObject({ armed: flag('true to arm, false to disarm') }),
    result: ({ z }) => z.object({ armed: z.boolean() }),
  },
} as const satisfies Family;
