import { QUESTION, WORKED_OUT } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** The findings of one version, each with its place among all of them. */
function placedFindings({ z, findingInfo }: Fields) {
  const placed = findingInfo.omit({ message: true, remedy: true }).extend({
    at: z.number().describe('its place in the list of all findings of this version'),
    code: z.string().describe('a stable dotted word'),
    wrong: z.string().describe('what is wrong'),
    right: z.string().describe('what would be right'),
    sure: z.literal(true).optional().describe('there is one sure correction: prop.fix'),
  });
  return {
    version: z.string(),
    findings: z.array(placed),
    more: z.number().describe('findings that are left out, the least serious ones'),
  };
}

/** Lines that go and come, with a few around them. */
function lineDifference({ z }: Fields) {
  return {
    hunks: z.array(
      z.object({
        from: z.number().describe('its first line before'),
        to: z.number().describe('its first line after'),
        lines: z.array(z.object({ is: z.enum(['same', 'gone', 'new']), text: z.string() })),
      }),
    ),
    more: z.number().describe('lines that are left out at the end'),
    unlike: z
      .literal(true)
      .optional()
      .describe('the texts have too little in common to be compared line by line'),
  };
}

/** What is wrong with the prop file, what its versions differ in, and what a correction would do. */
export const versions = {
  'prop.findings': {
    summary:
      'What is wrong with the prop file on the disk, and with the version in use where that is another one',
    example: {
      params: {},
      result: {
        name: 'owl.yaml',
        version: '7c043d0ff5ca6974',
        pending: false,
        findings: [
          {
            at: 0,
            code: 'prop.channels',
            level: 'warning',
            line: 120,
            column: 12,
            path: 'channels.mist.duty',
            wrong: 'it rests for less than it runs',
            right: 'make restS longer',
          },
        ],
        more: 0,
      },
    },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: (fields) => {
      const { z } = fields;
      const list = placedFindings(fields);
      return z.object({
        name: z.string().describe("the file's name, without its folder"),
        ...list,
        pending: z.boolean().describe('the file on the disk waits until the prop is parked'),
        problem: z.string().optional().describe('why it is not in use, with the remedy'),
        inUse: z.object(list).optional().describe('the version in use, where it is another one'),
      });
    },
  },
  'prop.rehearse': {
    summary:
      'Rehearse the whole prop without hardware, as sinew check does: waking, cues, triggers, parking; it takes seconds',
    example: {
      params: {},
      result: { version: '7c043d0ff5ca6974', findings: [], more: 0, skipped: [] },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'file.has-errors'],
    params: ({ nothing }) => nothing,
    result: (fields) => {
      const { z } = fields;
      const list = placedFindings(fields);
      return z.object({
        ...list,
        findings: list.findings.describe('what happens on the way, at its step'),
        skipped: z.array(z.string()).describe('parts for which there was no time: cue wake'),
      });
    },
  },
  'prop.fix': {
    summary:
      'What the sure corrections of the file on the disk would change; writes nothing. Its text is for prop.apply',
    example: {
      params: { version: '7c043d0ff5ca6974', only: [2] },
      result: {
        version: '7c043d0ff5ca6974',
        done: [2],
        left: 1,
        text: 'sinew: 1\n...',
        hunks: [
          {
            from: 210,
            to: 210,
            lines: [
              { is: 'gone', text: '  tail: [tail_1, tail_2, tail_1]' },
              { is: 'new', text: '  tail: [tail_1, tail_2]' },
            ],
          },
        ],
        more: 0,
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'version.unknown', 'file.other-version'],
    params: ({ z, want, version }) =>
      z.strictObject({
        version,
        only: z
          .array(z.int().min(0).max(100_000), want('a list of numbers, as prop.findings has in at'))
          .min(1)
          .max(500)
          .optional()
          .describe('findings, as prop.findings numbers them; without it, all that are sure'),
      }),
    result: (fields) => {
      const { z } = fields;
      return z.object({
        version: z.string(),
        done: z.array(z.number()).describe('findings that are corrected'),
        left: z.number().describe('findings that are left'),
        text: z
          .string()
          .optional()
          .describe('the whole text with the corrections, where any can be made'),
        ...lineDifference(fields),
      });
    },
  },
  'prop.version': {
    summary: 'The text of a version that is kept, or some of its lines',
    example: {
      params: { version: '7c043d0ff5ca6974', from: 1, lines: 2 },
      result: {
        version: '7c043d0ff5ca6974',
        from: 1,
        of: 230,
        text: 'sinew: 1\nname: Foyer owl\n',
      },
    },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'version.unknown'],
    params: ({ z, version }) =>
      z.strictObject({
        version,
        from: z.int().min(1).max(2_000_000).optional().describe('the first line; 1 if not given'),
        lines: z.int().min(1).max(2_000_000).optional().describe('how many; all if not given'),
      }),
    result: ({ z }) =>
      z.object({
        version: z.string(),
        from: z.number().describe('the first line of the text'),
        of: z.number().describe('how many lines the version has'),
        text: z.string(),
      }),
  },
  'prop.difference': {
    summary:
      'What another version differs in from the present one, and what going back to it changes',
    example: {
      params: { version: '7c043d0ff5ca6974' },
      result: {
        version: '7c043d0ff5ca6974',
        present: '67b6ae089eb7012d',
        changed: ['speedDegS of beak: 90 becomes 120'],
        whenParked: true,
        hunks: [
          {
            from: 40,
            to: 40,
            lines: [
              { is: 'gone', text: '    speedDegS: 90' },
              { is: 'new', text: '    speedDegS: 120' },
            ],
          },
        ],
        more: 0,
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'version.unknown'],
    params: ({ z, version }) => z.strictObject({ version }),
    result: (fields) => {
      const { z } = fields;
      return z.object({
        version: z.string(),
        present: z.string().describe('the version on the disk, or the one in use without a file'),
        changed: z.array(z.string()).describe('what going back to it changes, in words'),
        whenParked: z.boolean().describe('it waits until the prop is parked'),
        problem: z.string().optional().describe('why it cannot be used'),
        ...lineDifference(fields),
      });
    },
  },
} as const satisfies Family;
