import { CHANNEL, COMMAND, INTERLOCK, LEASE } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** What a measurement may propose, one by one. */
export const MEASURE_PARTS = ['current', 'limits', 'envelope', 'marks', 'push'] as const;
export type MeasurePart = (typeof MEASURE_PARTS)[number];

function state({ z, deg }: Fields) {
  const end = (which: string) =>
    z
      .object({
        deg,
        stop: z.boolean().describe('it met something there; if not, the pulse envelope ends there'),
      })
      .describe(`the ${which} end`);
  return z.object({
    run: z.number().describe('the number of this measurement'),
    channel: z.string(),
    what: z.enum(['current', 'ends']),
    running: z.boolean(),
    ranS: z.number().describe('for so long (s)'),
    value: deg.describe('where the servo is commanded to be (deg)'),
    ended: z
      .object({ code: z.string(), reason: z.string() })
      .optional()
      .describe('why it has ended without a result'),
    current: z
      .object({
        risingA: z.number(),
        fallingA: z.number(),
        standingA: z.number(),
        pushOverA: z.number().describe('what is proposed above that (A)'),
        sense: z.string(),
      })
      .optional()
      .describe('measured: what it draws running free (A)'),
    ends: z
      .object({
        low: end('low'),
        high: end('high'),
        creepingA: z.number(),
        standingA: z.number(),
        pushingA: z.number().optional().describe('where it met something (A)'),
        torqueMargin: z
          .number()
          .optional()
          .describe('its stall current by what it draws creeping, less what it draws at rest'),
      })
      .optional()
      .describe('measured: where it can turn no further'),
    proposed: z
      .object({
        limitsDeg: z.array(z.number()).length(2).optional(),
        envelopeUs: z.array(z.number()).length(2).optional(),
        marks: z.record(z.string(), z.number()).optional(),
        pushAboveA: z.number().optional(),
      })
      .optional()
      .describe('of the ends: what measure.accept writes'),
    accepted: z.array(z.enum(MEASURE_PARTS)).optional().describe('what is written already'),
  });
}

const RUNS = {
  run: 1,
  channel: 'beak',
  what: 'ends',
  running: true,
  ranS: 12.4,
  value: 31.25,
};
const FOUND = {
  ...RUNS,
  running: false,
  ranS: 84.1,
  value: 0,
  ends: {
    low: { deg: -8.25, stop: true },
    high: { deg: 38.5, stop: true },
    creepingA: 0.12,
    standingA: 0.02,
    pushingA: 0.46,
    torqueMargin: 8.8,
  },
  proposed: {
    limitsDeg: [-6.25, 36.5],
    envelopeUs: [1409, 1927],
    marks: { shut: -6.25, open: 36.5 },
    pushAboveA: 0.36,
  },
};

const number = ({ z }: Fields) => z.int().describe('the number that measure.begin has answered');

/** A servo measured by itself, while a person holds a button: hold-to-run. */
export const measure = {
  'measure.begin': {
    summary:
      'Measure a servo while a person holds a button: its current running free between its limits, or where it can turn no further both ways. It goes on only while measure.hold comes, at least every 0.25 s; else it stops and backs off. Nothing else moves meanwhile, and nothing is written',
    example: {
      params: { channel: 'beak', what: 'ends', marginDeg: 2 },
      result: { ...RUNS, ranS: 0, value: 0 },
    },
    by: 'core',
    lease: true,
    errors: [
      ...COMMAND,
      ...CHANNEL,
      ...INTERLOCK,
      'jog.others-move',
      'jog.moving',
      'rail.limit',
      'measure.running',
      'measure.no-sensor',
    ],
    params: ({ z, channel }) =>
      z.strictObject({
        channel,
        what: z
          .enum(['current', 'ends'])
          .describe('current: what it draws running free; ends: where it can turn no further'),
        marginDeg: z
          .number()
          .min(0.5)
          .max(10)
          .optional()
          .describe('from an end to the proposed limit (deg); default 2'),
      }),
    result: state,
  },
  'measure.hold': {
    summary: 'The button is still held. Once a measurement has ended, nothing starts it again',
    example: { params: { run: 1 }, result: RUNS },
    by: 'core',
    lease: true,
    streamed: true,
    errors: [...LEASE, 'measure.unknown'],
    params: (fields) => fields.z.strictObject({ run: number(fields) }),
    result: state,
  },
  'measure.release': {
    summary: 'The button is released: it stops and backs off. Also tells how one has ended',
    example: { params: { run: 1 }, result: FOUND },
    by: 'core',
    lease: true,
    errors: [...LEASE, 'measure.unknown'],
    params: (fields) => fields.z.strictObject({ run: number(fields) }),
    result: state,
  },
  'measure.accept': {
    summary: 'Write what was measured into the prop file, all of it or some parts',
    example: {
      params: { run: 1, parts: ['limits', 'envelope'], date: '2026-11-26' },
      result: {
        ...FOUND,
        accepted: ['limits', 'envelope'],
        version: '6f0c9e3a1b2d',
        pending: true,
      },
    },
    by: 'core',
    lease: true,
    errors: [
      ...LEASE,
      'measure.unknown',
      'measure.nothing',
      'measure.outdated',
      'file.other-version',
      'file.unusable',
      'file.restless',
      'file.cannot-edit',
      'file.would-be-wrong',
      'file.not-saved',
      'file.boards-cannot',
      'file.too-large',
      'file.taking-effect',
      'session.gone',
      'service.dead',
    ],
    params: (fields) =>
      fields.z.strictObject({
        run: number(fields),
        parts: fields.z
          .array(fields.z.enum(MEASURE_PARTS))
          .min(1)
          .optional()
          .describe('default: all that is proposed'),
        date: fields.z
          .string()
          .regex(/^\d{4}-\d{2}-\d{2}$/)
          .describe('the day on which it was measured'),
      }),
    result: (fields) =>
      state(fields).extend({
        version: fields.z.string(),
        pending: fields.z.boolean().describe('it counts once the prop is parked'),
      }),
  },
} as const satisfies Family;
