import { WORKED_OUT } from '../errors.ts';
import type { Family } from '../method.ts';

/** The key reference of the prop file. */
export const explain = {
  'prop.explain': {
    summary:
      'What a key of the prop file means, and what it may say; with find, the keys that have those words',
    example: {
      params: { key: 'channels.servo.speedDegS' },
      result: {
        key: {
          name: 'speedDegS',
          path: 'channels.servo.speedDegS',
          parent: 'channels.servo',
          form: 'number, more than 0',
          required: false,
          about: 'speed limit (deg/s)',
          default: 60,
          example: '120',
          keys: [],
          kinds: [],
        },
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'command.unknown-name'],
    params: ({ z, want }) =>
      z.strictObject({
        key: z
          .string(want('a key such as channels.servo.calibration'))
          .max(200, want('a key of at most 200 characters'))
          .optional()
          .describe('keys with dots between; without it, the whole file'),
        find: z
          .string(want('a text'))
          .max(100, want('a text of at most 100 characters'))
          .optional()
          .describe('words of the names or the meaning of keys'),
      }),
    result: ({ z }) => {
      const info = {
        name: z.string(),
        path: z.string(),
        form: z.string().describe('what to write, in words'),
        required: z.boolean().describe('it must be there'),
        about: z.string().optional().describe('what it means'),
        default: z.unknown().optional().describe('what counts without it'),
      };
      return z.object({
        key: z
          .object({
            ...info,
            parent: z.string().nullable().describe('the key that it is within'),
            example: z.string().optional().describe('a value, as it would be written'),
            keys: z.array(z.object(info)).describe('the keys that it may have'),
            kinds: z.array(z.string()).describe('kinds that its keys depend on'),
          })
          .optional(),
        found: z
          .array(z.object({ path: z.string(), about: z.string().optional() }))
          .optional()
          .describe('for find: those named so first, at most 40'),
      });
    },
  },
} as const satisfies Family;
