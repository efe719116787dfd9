import { QUESTION } from '../errors.ts';
import type { Family } from '../method.ts';

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
      },
    },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'service.memory', 'session.gone', 'file.has-errors'],
    params: ({ nothing }) => nothing,
    result: ({ z, version }) =>
      z.object({
        version,
        data: z.record(z.string(), z.unknown()).describe('by the top-level keys of the file'),
        parts: z
          .record(z.string(), z.array(z.string()))
          .describe('the classes of part in the library, by kind of channel'),
      }),
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
    errors: [
      ...QUESTION,
      'service.memory',
      'session.gone',
      'change.refused',
      'file.has-errors',
      'file.other-version',
    ],
    params: ({ z, version, partChange }) => z.strictObject({ change: partChange, version }),
    result: ({ z, version, findingInfo }) =>
      z.object({
        edits: z
          .array(
            z.object({
              path: z.array(z.union([z.string(), z.number()])),
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
