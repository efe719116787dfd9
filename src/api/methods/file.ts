import { MAX_EDITS } from '../../prop/edit-limit.ts';
import { CAPTURE, COMMAND, FILE, QUESTION, WORKED_OUT } from '../errors.ts';
import type { Family } from '../method.ts';

const saysOne = (edit: { value?: unknown; rename?: unknown; place?: unknown }) =>
  [edit.value, edit.rename, edit.place].filter((one) => one !== undefined).length <= 1;

/** The prop file: captured values, changes, versions. */
export const file = {
  'mark.capture': {
    summary: 'Name the position where a servo is now; written to the prop file',
    example: { params: { channel: 'beak', mark: 'ajar' }, result: { deg: 25.5, pulseUs: 1783 } },
    by: 'core',
    lease: true,
    errors: CAPTURE,
    params: ({ z, channel, markName, from }) => z.strictObject({ channel, mark: markName, from }),
    result: ({ z, deg, pulseUs }) => z.object({ deg, pulseUs }),
  },
  'limits.capture': {
    summary: 'Make the position where a servo is now a soft limit; written to the prop file',
    example: { params: { channel: 'beak', end: 'high' }, result: { limitsDeg: [-5, 33.5] } },
    by: 'core',
    lease: true,
    errors: [...CAPTURE, 'limits.pushing', 'limits.crossed', 'limits.park-outside'],
    params: ({ z, want, channel, from }) =>
      z.strictObject({
        channel,
        from,
        end: z.enum(['low', 'high'], want('low or high')).describe('which of the two limits'),
      }),
    result: ({ z, range }) => z.object({ limitsDeg: range('soft limits (deg), low then high') }),
  },
  'park.capture': {
    summary: 'Park a servo where it is now, or at one of its marks; written to the prop file',
    example: { params: { channel: 'beak', mark: 'shut' }, result: { to: 'shut', deg: 0 } },
    by: 'core',
    lease: true,
    errors: [...CAPTURE, 'mark.unknown'],
    params: ({ z, channel, markName }) => z.strictObject({ channel, mark: markName.optional() }),
    result: ({ z, deg }) =>
      z.object({ to: z.union([z.number(), z.string()]).describe('angle (deg), or the mark'), deg }),
  },
  'pose.capture': {
    summary:
      'Make a pose of the values of all channels as they are now, or of some; written to the prop file',
    example: {
      params: { pose: 'alert', channels: ['lid_left', 'beak', 'lantern'] },
      result: {
        values: { lid_left: 'open', beak: 12.5, lantern: 0.4 },
        version: '67b6ae089eb7012d',
        left: [],
      },
    },
    by: 'core',
    lease: true,
    errors: CAPTURE,
    params: ({ z, want, name, channel }) =>
      z.strictObject({
        pose: name.describe('the pose: a new one, or one whose values are replaced'),
        channels: z
          .array(channel, want('a list of channels'))
          .min(1, want('at least one channel'))
          .max(1000)
          .optional()
          .describe('which ones; all if not given. Other values of the pose stay'),
      }),
    result: ({ z, version }) =>
      z.object({
        values: z
          .record(z.string(), z.union([z.number(), z.string()]))
          .describe('what the pose says of them: a mark where a servo stands exactly there'),
        version,
        left: z
          .array(z.object({ channel: z.string(), why: z.string() }))
          .describe('channels that were left out, since nobody knows where they are, and why'),
      }),
  },
  'capture.undo': {
    summary: 'Put back what the last capture replaced; written to the prop file',
    example: {
      params: {},
      result: { undone: 'channels.beak.park.to is "shut" again, no longer 0' },
    },
    by: 'core',
    lease: true,
    errors: [...COMMAND, ...FILE, 'capture.nothing', 'file.changed-by-hand', 'file.waits'],
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.object({ undone: z.string().describe('what was put back, in words') }),
  },
  'prop.read': {
    summary:
      'The prop file in use. The answer may be larger than the 64 KiB that a client may send',
    example: { params: {} },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ z, findingInfo }) =>
      z.looseObject({
        text: z.string().describe('the whole text of the file on the disk'),
        version: z.string().describe('the version that it is: what prop.apply asks for'),
        path: z.string().optional().describe("the file's name, without its folder"),
        inUse: z.string().optional().describe('the version in use, where that is another one'),
        pending: z.boolean().optional().describe('it waits until the prop is parked'),
        problem: z.string().optional().describe('why it is not in use, with the remedy'),
        findings: z.array(findingInfo).optional(),
      }),
  },
  'prop.check': {
    summary: 'Check the text of a prop file; changes nothing',
    example: { params: { text: 'sinew: 1' } },
    by: 'service',
    lease: false,
    errors: WORKED_OUT,
    params: ({ z, propText }) => z.strictObject({ text: propText }),
    result: ({ z, findingInfo }) => z.object({ findings: z.array(findingInfo) }),
  },
  'prop.apply': {
    summary:
      'Change the prop file: checked first, written, then in use; what is not safe while live waits until the prop is parked',
    example: {
      params: {
        edits: [{ path: ['channels', 'beak', 'speedDegS'], value: 90 }],
        version: '7c043d0ff5ca6974',
      },
      result: {
        version: '67b6ae089eb7012d',
        changed: ['channels.beak.speedDegS: 120 is now 90'],
        pending: true,
      },
    },
    by: 'core',
    lease: true,
    errors: [...FILE, 'file.other-version', 'file.text-or-edits'],
    params: ({ z, want, propText, version, name }) =>
      z
        .strictObject({
          text: propText.optional(),
          edits: z
            .array(
              z.strictObject({
                path: z
                  .array(
                    z.union([z.string().min(1).max(64), z.int().min(0).max(10_000)]),
                    want('a list of keys and indices'),
                  )
                  .min(1, want('a list of at least one key'))
                  .max(16, want('a list of at most 16 keys'))
                  .describe('place in the file, such as ["channels", "beak", "marks", "open"]'),
                value: z
                  .unknown()
                  .optional()
                  .describe('what stands there from then on; none removes it'),
                rename: name
                  .optional()
                  .describe(
                    'in place of a value: what the key at the end of path is called from then on; its place, value and comments stay',
                  ),
                place: z
                  .int()
                  .min(0)
                  .max(10_000)
                  .optional()
                  .describe(
                    'in place of a value: the place, from 0, that the entry or item has among its siblings from then on',
                  ),
              }),
              want('a list of edits: { path, value }, { path, rename } or { path, place }'),
            )
            .min(1, want('at least one edit'))
            .max(MAX_EDITS, want(`at most ${MAX_EDITS} edits`))
            .optional()
            .describe('changes of single values and names, made in this order; comments are kept'),
          partly: z
            .boolean()
            .optional()
            .describe(
              'write a text that still has errors over a file that has more of them; the prop uses neither',
            ),
          version,
        })
        .refine((params) => (params.text === undefined) !== (params.edits === undefined), {
          error: 'give exactly one of text and edits',
        })
        .refine(({ edits = [] }) => edits.every(saysOne), {
          error: 'give at most one of value, rename and place in an edit',
        }),
    result: ({ changeResult }) => changeResult,
  },
  'prop.history': {
    summary: 'The versions of the prop file that are kept, newest first',
    example: { params: {} },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ z }) =>
      z.looseObject({
        versions: z.array(
          z.looseObject({
            version: z.string(),
            time: z.string().describe('wall-clock time, ISO 8601'),
            who: z.string(),
            what: z.string().describe('what for, in words'),
            current: z.literal(true).optional().describe('it is the file on the disk'),
            inUse: z.literal(true).optional().describe('it is in use'),
          }),
        ),
      }),
  },
  'prop.restore': {
    summary: 'Go back to an earlier version of the prop file, as prop.apply would',
    example: {
      params: { version: '7c043d0ff5ca6974' },
      result: {
        version: '7c043d0ff5ca6974',
        changed: ['channels.beak.speedDegS: 90 is now 120'],
        pending: false,
      },
    },
    by: 'core',
    lease: true,
    errors: [...FILE, 'file.same-version', 'file.other-version', 'version.unknown'],
    params: ({ z, version }) =>
      z.strictObject({
        version,
        base: version
          .optional()
          .describe('the present version, as far as is known: refused if it is another one'),
      }),
    result: ({ changeResult }) => changeResult,
  },
} as const satisfies Family;
