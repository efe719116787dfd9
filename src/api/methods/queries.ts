import { LEASE, QUESTION, WORKED_OUT } from '../errors.ts';
import type { Family } from '../method.ts';

const WORN = {
  cycles: 1200,
  travelDeg: 72_000,
  starts: 2400,
  onS: 7200,
  pushingS: 0,
  closures: 0,
  lightS: 0,
};

const STOP = {
  seq: 32,
  time: '2026-05-04T14:32:07.000Z',
  who: 'desk',
  what: 'stop',
  text: 'stop category 1: asked for',
  line: 'stop category 1: asked for, by desk, while live: beak at 12 deg on its way to 30',
  entries: [],
};

/** Methods that move nothing: wires, boards, currents, the journal, wear. */
export const queries = {
  'loom.find': {
    summary:
      'Wires that match a label, colour, end, role or channel; all of them for an empty text',
    example: {
      params: { text: 'W08' },
      result: {
        wires: [
          {
            label: 'W08',
            gaugeAwg: 24,
            lengthM: 0.5,
            cores: [{ role: 'signal', colour: 'YE', from: 'J1-40', to: 'SV4-1' }],
            channel: 'lid_left',
          },
        ],
      },
    },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ z, want }) =>
      z.strictObject({
        text: z.string(want('a text')).max(200, want('a text of at most 200 characters')),
      }),
    result: ({ z, loomWire, measuringPart }) =>
      z.object({
        wires: z.array(loomWire),
        parts: z
          .array(measuringPart)
          .optional()
          .describe('shunts and dividers on the way to them, or that match themselves'),
      }),
  },
  'loom.trace': {
    summary: 'What to check when a channel fails: step by step, with what a meter should show',
    example: { params: { channel: 'beak', symptom: 'dead' } },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'channel.unknown', 'symptom.wrong'],
    params: ({ z, channel, symptom }) =>
      z.strictObject({
        channel,
        symptom: symptom.optional().describe('what is wrong with it; dead if not given'),
      }),
    result: ({ trace }) => trace,
  },
  'board.list': {
    summary: 'Every board with its pins: used, free and reserved',
    example: { params: {} },
    by: 'view',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z, boardInfo }) => z.object({ boards: z.record(z.string(), boardInfo) }),
  },
  'board.scan': {
    summary:
      'Look for boards on the I2C buses of the machine, by reading alone, while the prop is at rest; those in use are listed and not asked',
    example: {
      params: {},
      result: {
        buses: [{ bus: 1, simulated: false }],
        chips: [{ bus: 1, simulated: false, address: 0x4a, drivers: [], parts: [] }],
      },
    },
    by: 'core',
    lease: true,
    errors: [...LEASE, 'scan.not-at-rest', 'scan.busy', 'service.dead'],
    params: ({ nothing }) => nothing,
    result: ({ z }) => {
      const bus = {
        bus: z.int().describe('I2C bus number'),
        simulated: z.boolean().describe('of a simulated board: it is not on this machine'),
      };
      return z.object({
        buses: z.array(
          z.object({
            ...bus,
            trouble: z.string().optional().describe('why it was not scanned to its end'),
          }),
        ),
        chips: z.array(
          z.object({
            ...bus,
            address: z.int(),
            drivers: z
              .array(z.string())
              .describe('those whose board it may be; none: no driver knows it'),
            parts: z.array(z.string()).describe('what it may be added as: part of prop.plan'),
            board: z
              .string()
              .optional()
              .describe('the board of the prop in use there; it was not asked'),
            trouble: z.string().optional().describe('why it could not be asked'),
          }),
        ),
      });
    },
  },
  'sense.list': {
    summary: 'Everything that is measured, with its limits; and rails, estimated and measured',
    example: {
      params: {},
      result: {
        senses: {
          battery: {
            ...{ value: 7.21, unit: 'V', raw: 1.789, ageS: 0.02, kind: 'volts', board: 'adc' },
            ...{ input: 0, rail: 'servo6v', limits: { parkBelow: 6.2, warnBelow: 6.6 }, forS: 0.5 },
          },
        },
        rails: { servo6v: { amps: 0.8, measuredV: 7.21, limitA: 5 } },
      },
    },
    by: 'view',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z, senseInfo, rail }) =>
      z.object({ senses: z.record(z.string(), senseInfo), rails: z.record(z.string(), rail) }),
  },
  'budget.read': {
    summary:
      'Currents of every rail and the voltage at every channel, worked out from the prop file',
    example: { params: {} },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'file.has-errors'],
    params: ({ nothing }) => nothing,
    result: ({ budget }) => budget,
  },
  'budget.cue': {
    summary: 'The load of every rail during a cue, rehearsed without hardware',
    example: { params: { cue: 'glance' } },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'cue.unknown', 'cue.too-long', 'file.has-errors'],
    params: ({ z, text }) => z.strictObject({ cue: text('the name of a cue') }),
    result: ({ cueLoad }) => cueLoad,
  },
  'wear.read': {
    summary: 'What has worn each channel since counting began, and when it was maintained',
    example: {
      params: {},
      result: {
        since: '2026-05-04T10:15:00.000Z',
        channels: [{ name: 'beak', kind: 'servo', counts: WORN }],
      },
    },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ z, wearInfo }) => z.object({ since: z.string(), channels: z.array(wearInfo) }),
  },
  'wear.done': {
    summary: 'Note that a channel was maintained: what has worn it is counted from there as well',
    example: {
      params: { channel: 'beak', note: 'new horn' },
      result: {
        ...{ channel: 'beak', time: '2026-05-04T10:15:00.000Z', who: 'Ann', note: 'new horn' },
        counts: WORN,
      },
    },
    by: 'core',
    lease: true,
    errors: [...QUESTION, ...LEASE, 'channel.unknown'],
    params: ({ z, want, channel }) =>
      z.strictObject({
        channel,
        note: z
          .string(want('a text'))
          .max(200, want('a text of at most 200 characters'))
          .optional()
          .describe('what was done'),
      }),
    result: ({ z, wearDone }) => wearDone.extend({ channel: z.string() }),
  },
  'incident.list': {
    summary: 'The stops, faults and lost links of which the ten seconds before are kept',
    example: { params: {}, result: { incidents: [{ ...STOP }] } },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ z, incidentHead }) => z.object({ incidents: z.array(incidentHead) }),
  },
  'incident.read': {
    summary: 'What stood where in the ten seconds before a stop, a fault or a lost link',
    example: {
      params: { seq: 32 },
      result: {
        ...STOP,
        body: {
          t: [-0.2, -0.1],
          condition: ['live', 'live'],
          linkMs: [40, 60],
          channels: { beak: { value: [10, 12], target: 30 } },
          rails: { servo6v: { amps: 0.25 } },
          senses: {},
        },
      },
    },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'incident.unknown'],
    params: ({ z, want }) =>
      z.strictObject({ seq: z.int(want('the seq of an incident, a whole number')) }),
    result: ({ incident }) => incident,
  },
  'journal.read': {
    summary: 'The last events: who asked, what moved, what was refused and why',
    example: {
      params: { since: 31, limit: 100 },
      result: {
        entries: [
          {
            seq: 32,
            time: '2026-05-04T10:15:00.000Z',
            tick: 2820,
            who: 'desk',
            what: 'park.capture',
            text: 'beak parks at 0',
            values: { channel: 'beak', to: 0 },
          },
        ],
      },
    },
    by: 'view',
    lease: false,
    errors: QUESTION,
    params: ({ z, want, flag, time }) =>
      z.strictObject({
        since: z
          .int(want('the seq of an entry, a whole number'))
          .min(0, want('the seq of an entry, 0 or more'))
          .optional()
          .describe('only entries with a seq above this'),
        limit: z
          .int(want('a whole number, 1 to 1000'))
          .min(1, want('1 to 1000'))
          .max(1000, want('1 to 1000'))
          .optional()
          .describe('at most so many entries, the newest'),
        before: z
          .int(want('the seq of an entry, a whole number'))
          .min(1, want('the seq of an entry, 1 or more'))
          .optional()
          .describe('only entries with a seq below this, from the disk too'),
        from: time('only entries that are not older').optional(),
        until: time('only entries that are older').optional(),
        refused: flag('only what was refused').optional(),
        search: z
          .string(want('a text'))
          .max(200, want('a text of at most 200 characters'))
          .optional()
          .describe('only entries that have each of these words'),
      }),
    result: ({ z, journalEntry }) =>
      z.object({
        entries: z.array(journalEntry),
        lost: z.number().optional().describe('so many entries could not be kept'),
        damaged: z.number().optional().describe('so many lines on the disk are damaged'),
      }),
  },
} as const satisfies Family;
