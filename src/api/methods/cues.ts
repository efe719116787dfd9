import { COMMAND, FILE, INTERLOCK, LEASE, WORKED_OUT } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** Most steps that a cue may have. */
const MAX_STEPS = 10_000;

/** Steps of a cue, as the file has them, and which of those that it has they replace. */
function stepFields({ z, want }: Fields) {
  const place = (right: string) => z.int(want(right)).min(0).max(MAX_STEPS);
  return {
    steps: z
      .array(z.record(z.string(), z.unknown()), want('a list of steps, as prop.data has them'))
      .max(MAX_STEPS, want(`at most ${MAX_STEPS} steps`))
      .describe('steps as the prop file has them: { at, move, overS, ... }'),
    from: place('the place of a step, from 0')
      .optional()
      .describe('they replace only some steps of the cue: the first of these, from 0'),
    count: place('a number of steps')
      .optional()
      .describe('how many steps they replace, from there'),
  };
}

/** Both, or neither. */
const saysBoth = ({ from, count }: { from?: unknown; count?: unknown }) =>
  (from === undefined) === (count === undefined);
const SAYS_BOTH = { error: 'give both from and count, or neither' };

/** A curve: in between, the value goes in a straight line; that of a relay stays. */
function curve({ z }: Fields) {
  return z.object({
    name: z.string(),
    kind: z.string(),
    tS: z.array(z.number()).describe('s after the start of the cue, rising'),
    value: z
      .array(z.union([z.number(), z.string()]))
      .describe(
        'at those times. Servo: deg, lamp: lightness 0..1, rgb: #rrggbb, each in a straight line to the next; relay: 0 or 1, until the next',
      ),
    within: z
      .number()
      .describe(
        'the curve is this near to every tick of the core (deg; lightness; 1 is a step of 255)',
      ),
    cutAtS: z
      .number()
      .optional()
      .describe('of a relay that switches too often: later changes than this (s) are left out'),
  });
}

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
        show: z
          .string()
          .optional()
          .describe(
            'the show of many props that this one takes part in: the page of all of them is at /show/',
          ),
      }),
  },
  'cue.run': {
    summary:
      'Run a cue; its steps pass every limit, interlock and guard. From a time in it, slower, or in a loop until cue.stop, park, stop or the end of the lease',
    example: {
      params: { cue: 'glance', fromS: 1.5, rate: 0.5, loop: true },
      result: { running: true, durationS: null, leftOut: [] },
    },
    by: 'core',
    lease: true,
    errors: [
      ...COMMAND,
      ...INTERLOCK,
      ...WORKED_OUT,
      'cue.unknown',
      'cue.too-long',
      'cue.clash',
      'cue.ended-early',
      'cue.past-end',
      'cue.asked-again',
      'file.taking-effect',
      'jog.feeling',
      'limits.outside',
      'rail.limit',
    ],
    params: ({ z, text, wait, within, flag }) =>
      z.strictObject({
        cue: text('the name of a cue'),
        fromS: within(
          0,
          3600,
          'from this time in the cue (s): servos and lights are first brought, over 1 s or more, to where it has them then; relays close only for what is left of their forS; moves, fades and takes go on with what is left; sounds that have begun are left out',
        ).optional(),
        rate: within(
          0.25,
          1,
          'as fast as in the file (1), or slower: every time of the cue is longer, those of relays too, within their duty guards, which count real time; below 1 sounds are left out',
        ).optional(),
        loop: flag(
          'begin again when it is over, from the same time; a step that is refused in a later round ends it',
        ).optional(),
        wait,
      }),
    result: ({ z, cueState }) =>
      cueState.extend({
        leftOut: z
          .array(z.string())
          .optional()
          .describe('with fromS or rate: what is not played, in words'),
      }),
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
  'cue.save': {
    summary:
      'Write the steps of a cue to the prop file: unchanged steps, comments and order stay as they are. A cue that is not there is added',
    example: {
      params: {
        cue: 'blink',
        steps: [
          { name: 'down', at: 0, move: { lids: 'shut' } },
          { after: 'down', at: 0.2, move: { lids: 'open' } },
        ],
        version: '7c043d0ff5ca6974',
      },
      result: { version: '67b6ae089eb7012d', changed: ['cue blink'], pending: false },
    },
    by: 'core',
    lease: true,
    errors: [...FILE, 'file.other-version', 'cue.no-such-steps'],
    params: (fields) =>
      fields.z
        .strictObject({ cue: fields.name, ...stepFields(fields), version: fields.version })
        .refine(saysBoth, SAYS_BOTH),
    result: ({ changeResult }) => changeResult,
  },
  'cue.remove': {
    summary:
      'Take a cue out of the prop file; refused while it runs, and where something else uses it',
    example: {
      params: { cue: 'blink', version: '7c043d0ff5ca6974' },
      result: { version: '67b6ae089eb7012d', changed: ['cue blink'], pending: false },
    },
    by: 'core',
    lease: true,
    errors: [...FILE, 'file.other-version', 'cue.unknown', 'cue.in-use'],
    params: ({ z, name, version }) => z.strictObject({ cue: name, version }),
    result: ({ changeResult }) => changeResult,
  },
  'cue.rehearse': {
    summary:
      'What a cue will do, computed by the core itself without hardware: with steps as if they were saved, in the present file or in text. Changes nothing',
    example: {
      params: { cue: 'blink', steps: [{ at: 0, move: { lids: 'shut' } }] },
      result: {
        version: '7c043d0ff5ca6974',
        cue: 'blink',
        ran: true,
        durationS: 0.43,
        cutShort: false,
        steps: [{ startS: 0, endS: 0.425 }],
        channels: [
          {
            name: 'lid_left',
            kind: 'servo',
            tS: [0, 0.105, 0.215, 0.425],
            value: [0, 3.2, 20.1, 40],
            within: 0.1,
          },
        ],
        rails: [
          {
            name: 'servo6v',
            limitA: 5,
            peakA: 1.9,
            peakAtS: 0.01,
            tS: [0, 0.005, 0.43],
            amps: [0.1, 1.9, 0.1],
            within: 0.01,
          },
        ],
        closures: [{ channel: 'mist', fromS: 2.5, toS: 6.5, restUntilS: null }],
        moreClosures: 0,
        flashes: { planned: 0, plannedColour: 0, shown: 0, shownColour: 0, channels: {} },
        findings: [
          {
            level: 'warning',
            cue: 'blink',
            step: 0,
            path: 'move.lids',
            atS: 0,
            what: 'slower',
            wrong: 'lid_left cannot do it in 0.1 s',
            right: 'give overS more time, or move less far',
          },
        ],
        more: 0,
      },
    },
    by: 'service',
    lease: false,
    errors: [
      ...WORKED_OUT,
      'file.has-errors',
      'cue.unknown',
      'cue.no-such-steps',
      'cue.newer-question',
    ],
    params: (fields) => {
      const { steps, from, count } = stepFields(fields);
      return fields.z
        .strictObject({
          cue: fields.name.optional(),
          steps: steps.optional(),
          from,
          count,
          text: fields.propText.optional(),
          longestS: fields.within(1, 600, 'time (s) after which it is cut short').optional(),
        })
        .refine(saysBoth, SAYS_BOTH)
        .refine(({ cue, steps: given }) => cue !== undefined || given !== undefined, {
          error: 'give cue, or steps, or both',
        });
    },
    result: (fields) => {
      const { z, amps } = fields;
      return z.object({
        version: z.string().describe('of the file, or of text'),
        cue: z.string(),
        ran: z.boolean().describe('false: it cannot run at all, and findings says why'),
        durationS: z.number().describe('until everything is still again (s)'),
        cutShort: z.boolean().describe('it goes on; only this much was computed'),
        steps: z
          .array(z.object({ startS: z.number().nullable(), endS: z.number().nullable() }))
          .describe('when each step began and ended (s); null: it did not'),
        channels: z.array(curve(fields)).describe('those that the cue changes'),
        rails: z.array(
          z.object({
            name: z.string(),
            limitA: amps('limit'),
            peakA: amps('peak'),
            peakAtS: z.number().describe('when (s)'),
            tS: z.array(z.number()).describe('s'),
            amps: z.array(z.number()).describe('A, in a straight line to the next'),
            within: amps('the curve is this near, but for shorter peaks'),
          }),
        ),
        closures: z
          .array(
            z.object({
              channel: z.string(),
              fromS: z.number(),
              toS: z.number().nullable().describe('null: still closed at the end'),
              restUntilS: z
                .number()
                .nullable()
                .describe('its duty guard has rested enough by then; null without one'),
            }),
          )
          .describe('when relays are closed (s)'),
        moreClosures: z.number().describe('closures that are left out, the last ones'),
        flashes: z
          .object({
            planned: z.number(),
            plannedColour: z.number(),
            shown: z.number(),
            shownColour: z.number(),
            channels: z.record(z.string(), z.object({ flashes: z.number(), red: z.number() })),
          })
          .describe(
            'the most in any second: of all light together as asked for and as shown, and of each light',
          ),
        findings: z
          .array(
            z.object({
              code: z.string().optional().describe('of a finding of the check'),
              level: z.enum(['error', 'warning', 'note']),
              cue: z.string().describe('the cue, or one within it'),
              step: z
                .number()
                .nullable()
                .describe('which of its steps, from 0; null: the cue as a whole'),
              path: z.string().describe('place within the step, such as move.beak; may be empty'),
              channel: z.string().optional(),
              atS: z.number().nullable().describe('when it happens (s); null: the check says so'),
              what: z
                .string()
                .describe('check, refused, delayed, slower, interlock, duty, flash, ...'),
              times: z.number().optional().describe('how often it happens, where more than once'),
              wrong: z.string().describe('what is wrong'),
              right: z.string().describe('what would be right'),
            }),
          )
          .describe('what would be refused, slowed or held back'),
        more: z.number().describe('findings that are left out'),
      });
    },
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
