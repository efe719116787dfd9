import { FILE, LEASE, QUESTION } from '../errors.ts';
import type { Family } from '../method.ts';

/** What a picture itself may be refused for. */
const CONTENT = [
  'picture.not-a-picture',
  'picture.damaged',
  'picture.too-many-pixels',
  'picture.unsafe',
] as const;

/** The picture of the prop: a photo or drawing that is kept beside the prop file. */
export const picture = {
  'picture.begin': {
    summary: 'Begin to send a picture, in parts; one at a time, within five minutes',
    example: {
      params: { name: 'owl.jpg', bytes: 240_000 },
      result: { upload: 1, partBytes: 45_000 },
    },
    by: 'core',
    lease: true,
    errors: [
      ...LEASE,
      'picture.bad-name',
      'picture.too-large',
      'picture.busy',
      'session.gone',
      'service.dead',
    ],
    params: ({ z, want, uploadBytes }) =>
      z.strictObject({
        name: z
          .string(want('the name of the picture'))
          .min(1, want('the name of the picture'))
          .max(200, want('a name of at most 200 characters'))
          .describe('name of the file, without a folder'),
        bytes: uploadBytes,
      }),
    result: ({ uploadBegun }) => uploadBegun,
  },
  'picture.part': {
    summary: 'Send the next part of a picture',
    example: {
      params: { upload: 1, at: 0, data: '/9j/4AAQSkZJRg==' },
      result: { received: 10 },
    },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'picture.no-upload', 'picture.wrong-part'],
    params: ({ uploadPart }) => uploadPart,
    result: ({ uploadReceived }) => uploadReceived,
  },
  'picture.end': {
    summary:
      'Check the picture that was sent and keep it beside the prop file, under a name of its own. prop.apply then names it in picture.file',
    example: {
      params: { upload: 1 },
      result: { file: 'owl.jpg', width: 1600, height: 1200, leftOut: [] },
    },
    by: 'core',
    lease: true,
    errors: [
      ...FILE,
      ...CONTENT,
      'picture.no-upload',
      'picture.wrong-part',
      'picture.not-saved',
      'picture.too-many',
      'service.busy',
      'service.memory',
    ],
    params: ({ z, uploadId }) => z.strictObject({ upload: uploadId }),
    result: ({ z }) =>
      z.object({
        file: z.string().describe('its name beside the prop file, for picture.file'),
        width: z.int().describe('as it is shown (pixels)'),
        height: z.int().describe('as it is shown (pixels)'),
        leftOut: z.array(z.string()).describe('what was not kept of it, in words'),
      }),
  },
  'picture.cancel': {
    summary: 'Give up the picture that this session sends',
    example: { params: {}, result: { cancelled: true } },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ uploadCancelled }) => uploadCancelled,
  },
  'picture.read': {
    summary:
      'The picture of the prop and the places of its channels. The address works while the daemon runs, for whoever knows it',
    example: {
      params: {},
      result: {
        file: 'owl.jpg',
        places: { beak: [0.5, 0.42] },
        address: '/picture/yZ9lYlWYtPz0L0dR5cVSzI1m1bVjC1kZ5vA2nZcIhV8',
        width: 1600,
        height: 1200,
      },
    },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'session.gone'],
    params: ({ nothing }) => nothing,
    result: ({ z }) =>
      z.looseObject({
        file: z.string().optional().describe('its name; none without a picture'),
        places: z
          .record(z.string(), z.tuple([z.number(), z.number()]))
          .describe('of each channel, [x, y] from 0 to 1, from the top left'),
        address: z.string().optional().describe('where it is, on this daemon'),
        width: z.int().optional().describe('as it is shown (pixels)'),
        height: z.int().optional().describe('as it is shown (pixels)'),
        problem: z.string().optional().describe('why it cannot be shown, with the remedy'),
      }),
  },
} as const satisfies Family;
