import { WORKED_OUT } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** One change of the parts of a prop: what `prop.plan` takes. */
function partChange({ z, want, channel }: Fields) {
  const place = z.int(want('a place, from 0')).min(0).max(10_000);
  const partName = z
    .string(want('a name or label'))
    .min(1)
    .max(64)
    .describe('of a wire, its label');
  const pins = z
    .array(z.int(want('a pin number')).min(0).max(63))
    .min(1)
    .max(3)
    .optional();
  const servos = z
    .array(channel)
    .max(1000)
    .optional()
    .describe('of a mark: the servos that have it, changed together');
  const part = z.enum(['channel', 'rail', 'group', 'pose', 'mark', 'wire', 'sense']);
  const core = z.strictObject({
    role: z.string().min(1).max(32),
    colour: z.string().min(2).max(8),
    from: z.string().min(1).max(64),
    to: z.string().min(1).max(64),
  });
  const adding = { do: z.literal('add') };
  const sense = {
    ...adding,
    what: z.literal('sense'),
    name: partName,
    board: z.string().max(64),
  };
  const input = z.int().min(0).max(63).optional();
  const amount = z.number(want('a number above 0')).gt(0).max(10_000);

  return z
    .union(
      [
        z.strictObject({
          ...adding,
          what: z.literal('channel'),
          name: partName,
          kind: z.string().max(64).describe('servo, relay, rgb, lamp or sound'),
          part: z.string().max(64).optional().describe('a class of part from the library'),
          board: z.string().max(64).optional(),
          pins,
          rail: z.string().max(64).optional(),
          limitsDeg: z.tuple([z.number(), z.number()]).optional(),
          activeLow: z.boolean().optional(),
        }),
        z.strictObject({
          ...adding,
          what: z.literal('board'),
          name: partName,
          part: z.string().max(64).describe('a part on an I2C bus, or the driver of one'),
          bus: z.int().min(0).max(1000).optional(),
          address: z.int().min(0).max(127).optional(),
        }),
        z.strictObject({
          ...sense,
          kind: z.enum(['volts', 'current']),
          input,
          rail: z.string().max(64).optional(),
          limits: z
            .strictObject({
              warnBelow: z.number().optional(),
              warnAbove: z.number().optional(),
              parkBelow: z.number().optional(),
              dipBelow: z.number().optional(),
            })
            .optional(),
        }),
        z.strictObject({
          ...sense,
          kind: z.literal('position'),
          input,
          channel: channel.describe('the servo whose angle it is'),
        }),
        z.strictObject({
          ...sense,
          kind: z.literal('level'),
          input,
          atV: z
            .tuple([z.number(), z.number()])
            .optional()
            .describe('what is read at 0 and at 1 (V)'),
          limits: z
            .strictObject({ warnBelow: z.number().optional(), warnAbove: z.number().optional() })
            .optional(),
        }),
        z.strictObject({
          ...sense,
          kind: z.literal('contact'),
          pin: z.int().min(0).max(63).optional(),
          warnWhen: z.enum(['open', 'closed']).optional(),
        }),
        z.strictObject({
          ...adding,
          what: z.literal('rail'),
          name: partName,
          volts: amount,
          limitA: amount,
        }),
        z.strictObject({
          ...adding,
          what: z.literal('mark'),
          name: partName,
          channels: z.array(channel).min(1).max(1000),
          deg: z.number(),
        }),
        z.strictObject({
          ...adding,
          what: z.literal('group'),
          name: partName,
          members: z.array(channel).min(1).max(1000),
        }),
        z.strictObject({
          ...adding,
          what: z.literal('pose'),
          name: partName,
          values: z.record(z.string().max(64), z.union([z.number(), z.string().max(200)])),
        }),
        z.strictObject({
          ...adding,
          what: z.literal('wire'),
          name: partName.optional(),
          channel: channel.optional(),
          rail: z.string().max(64).optional(),
          gaugeAwg: z.number().optional(),
          lengthM: amount.optional(),
          cores: z.array(core).min(1).max(40),
        }),
        z.strictObject({
          do: z.literal('rename'),
          what: part,
          name: partName,
          to: partName,
          channels: servos,
        }),
        z.strictObject({ do: z.literal('remove'), what: part, name: partName, channels: servos }),
        z.strictObject({
          do: z.literal('move'),
          what: z.literal('channel'),
          name: partName,
          board: z.string().max(64).optional(),
          pins,
          rail: z.string().max(64).optional(),
        }),
        z.strictObject({
          do: z.literal('move'),
          what: z.literal('stage'),
          name: partName,
          stage: z.int().min(-1).max(10_000).describe('of parking, from 0; -1 for none'),
        }),
        z.strictObject({
          do: z.literal('move'),
          what: z.literal('wire'),
          name: partName,
          core: z.int().min(0).max(1000).describe('which of its cores, from 0'),
          end: z.enum(['from', 'to']),
          to: z.string().min(1).max(64).describe('the other cavity, such as TB1-5'),
        }),
        z.strictObject({
          do: z.literal('order'),
          what: z.enum(['channel', 'rail', 'group', 'pose']),
          name: partName,
          place,
        }),
        z.strictObject({
          do: z.literal('order'),
          what: z.literal('stage'),
          stage: place,
          place,
        }),
      ],
      want(
        'a change: { do: add, rename, move, order or remove; what: channel, board, sense, rail, group, pose, mark, wire or stage; ... }',
      ),
    )
    .describe('one change of the parts of a prop');
}

/** The parts of a prop, changed on the page. The change itself is made by `prop.apply`. */
export const parts = {
  'prop.data': {
    summary:
      'What the prop file on the disk says, as JSON, as it is written; and what prop.plan may name',
    example: {
      params: {},
      result: {
        version: '7c043d0ff5ca6974',
        data: { sinew: 1, name: 'Foyer owl', groups: { lids: ['lid_left', 'lid_right'] } },
        parts: { servo: ['servo-9g', 'servo-standard'] },
        places: {
          ...{
            current: [{ board: 'meter', direct: true }],
            volts: [{ board: 'adc', inputs: [0, 1] }],
          },
          ...{ position: [{ board: 'adc', inputs: [0, 1] }], level: [] },
          contact: [{ board: 'head', pins: [26, 27] }],
        },
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'file.has-errors'],
    params: ({ nothing }) => nothing,
    result: ({ z, version }) => {
      const places = z.array(
        z.object({
          board: z.string(),
          inputs: z.array(z.int()).optional().describe('its free analogue inputs'),
          pins: z.array(z.int()).optional().describe('its free pins'),
          direct: z
            .literal(true)
            .optional()
            .describe('it can measure this without an input, as a meter does'),
        }),
      );
      return z.object({
        version,
        data: z.record(z.string(), z.unknown()).describe('by the top-level keys of the file'),
        parts: z
          .record(z.string(), z.array(z.string()))
          .describe(
            'the classes of part in the library, by kind of channel; under board, those on an I2C bus',
          ),
        places: z
          .object({
            current: places,
            volts: places,
            position: places,
            level: places,
            contact: places,
          })
          .describe('where something can still be measured, by the kind of sense'),
      });
    },
  },
  'prop.plan': {
    summary:
      'What it takes to add, rename, move or remove a part of the prop; changes nothing. The edits are for prop.apply',
    example: {
      params: {
        change: { do: 'rename', what: 'channel', name: 'beak', to: 'bill' },
        version: '7c043d0ff5ca6974',
      },
      result: {
        edits: [
          { path: ['poses', 'asleep', 'beak'], rename: 'bill' },
          { path: ['park', 'stages', 1, 0], value: 'bill' },
          { path: ['channels', 'beak'], rename: 'bill' },
        ],
        touches: ['pose asleep', 'park stage 2'],
        reasons: [],
        cautions: [],
        findings: [],
        waits: true,
        version: '7c043d0ff5ca6974',
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'change.refused', 'file.has-errors', 'file.other-version'],
    params: (fields) =>
      fields.z.strictObject({ change: partChange(fields), version: fields.version }),
    result: ({ z, version, editPath, findingInfo }) =>
      z.object({
        edits: z
          .array(
            z.object({
              path: editPath,
              value: z.unknown().optional(),
              rename: z.string().optional(),
              place: z.number().optional(),
            }),
          )
          .describe('for prop.apply, in this order'),
        touches: z
          .array(z.string())
          .describe('what else in the file changes with it, such as "cue wake, step 3"'),
        reasons: z
          .array(z.object({ what: z.string(), value: z.string(), why: z.string() }))
          .describe('what was chosen, and why'),
        cautions: z.array(z.string()).describe('what to know or do before it takes effect'),
        findings: z
          .array(findingInfo)
          .describe('what check would say of the result, and does not say now; no errors'),
        waits: z.boolean().describe('it takes effect only when the prop is parked'),
        version,
      }),
  },
} as const satisfies Family;
