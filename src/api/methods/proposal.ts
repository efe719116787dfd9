import { WORKED_OUT } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** What is proposed to a maker: a new prop, its wiring, what to buy. Nothing here changes anything. */

const choiceList = ({ z }: Fields) => z.array(z.object({ value: z.string(), about: z.string() }));

/** Something that is added to the wiring. */
const addition = ({ z }: Fields) =>
  z.object({
    what: z.string(),
    why: z.string(),
    for: z
      .object({ kind: z.enum(['board', 'rail', 'channel', 'contact']), name: z.string() })
      .describe('what it belongs to'),
  });

export const proposal = {
  'proposal.ask': {
    summary: 'The next question about a new prop, by the answers so far; an empty one is the usual',
    example: {
      params: { given: { name: 'Crab', computer: '' } },
      result: {
        question: {
          id: 'moves.0.name',
          ask: 'What moves? Give it a name.',
          why: 'such as claw or lid; two that are alike are asked about once',
          usual: 'flap',
        },
        answers: { name: 'Crab', moves: [] },
        choices: {
          computers: [],
          servos: [{ value: 'servo-9g', about: 'a small servo' }],
          rgb: [{ value: 'led-5mm', about: 'a 5 mm LED' }],
          lamps: [{ value: 'led-5mm-white', about: 'a white 5 mm LED' }],
          wired: [{ value: 'pin', about: 'nothing but a resistor' }],
          loads: [{ value: 'fan', about: 'a fan', rated: true }],
        },
      },
    },
    by: 'service',
    lease: false,
    errors: WORKED_OUT,
    params: ({ z, want }) =>
      z.strictObject({
        given: z
          .record(
            z.string().max(64),
            z.string(want('a text')).max(200, want('a text of at most 200 characters')),
            want('answers, by the id of their questions'),
          )
          .describe('answers by the id of their questions, such as "moves.0.name"'),
      }),
    result: (fields) => {
      const { z } = fields;
      const list = choiceList(fields);
      return z.object({
        question: z
          .object({
            id: z.string().describe('what its answer is given by, such as "moves.0.part"'),
            ask: z.string(),
            why: z.string().describe('what it is good for, in a few words'),
            usual: z.string().describe('what an empty answer stands for'),
            options: list.optional(),
          })
          .nullable()
          .describe('null once everything is answered'),
        answers: z
          .record(z.string(), z.unknown())
          .describe('the answers so far, as proposal.prop takes them'),
        wrong: z
          .object({ id: z.string(), wrong: z.string() })
          .optional()
          .describe('what is wrong with the answer to the question'),
        choices: z
          .looseObject({
            computers: list,
            servos: list,
            rgb: list,
            lamps: list,
            wired: list,
            loads: z.array(
              z.object({
                value: z.string(),
                about: z.string(),
                rated: z.boolean().describe('its voltage and current are known'),
              }),
            ),
          })
          .describe('everything that may be answered, for a form that shows it at once'),
      });
    },
  },
  'proposal.prop': {
    summary: 'A prop file proposed from answers: each value with its reason; nothing is written',
    example: {
      params: {
        answers: { moves: [{ name: 'flap', count: 4 }] },
        changes: { 'flap_1.name': 'lid' },
      },
      result: { wrong: ['moves[0].count is below 1; give how many, 1 to 64'], proposal: null },
    },
    by: 'service',
    lease: false,
    errors: WORKED_OUT,
    params: ({ z, want }) =>
      z.strictObject({
        answers: z
          .record(z.string().max(64), z.unknown(), want('answers, as proposal.ask gives them'))
          .describe(
            'what is on the table: name, computer, moves, lights, relays, sounds, supplies, ...',
          ),
        changes: z
          .record(
            z.string().max(80),
            z.string(want('a text')).max(400),
            want('changes by their id'),
          )
          .optional()
          .describe('what the maker wants instead, by the id of the decision'),
      }),
    result: (fields) => {
      const { z, findingInfo } = fields;
      return z.object({
        wrong: z
          .array(z.string())
          .describe('what is wrong with the answers; nothing is proposed then'),
        proposal: z
          .object({
            text: z.string().describe('the prop file'),
            findings: z.array(findingInfo).describe('what check finds in it'),
            decisions: z.array(
              z.object({
                id: z.string().describe('for "changes"'),
                what: z.string(),
                value: z.string(),
                why: z.string(),
                options: z.array(z.string()).readonly().optional(),
              }),
            ),
            cautions: z.array(z.string()),
            problems: z
              .array(z.object({ id: z.string(), wrong: z.string() }))
              .describe('answers and changes that cannot be, and what is taken instead'),
            added: z.array(addition(fields)).describe('wires, plugs, blocks and fuses'),
            left: z.array(z.string()).describe('what only a person can decide'),
            lengthsM: z
              .record(z.string(), z.number())
              .describe('cable from the board to each channel (m)'),
            supplies: z.array(
              z.object({
                id: z.string(),
                volts: z.number(),
                amps: z.number(),
                toBuy: z.boolean(),
              }),
            ),
          })
          .nullable(),
      });
    },
  },
  'proposal.loom': {
    summary: 'What the wiring lacks, as edits for prop.apply that only add, each with its reason',
    example: {
      params: { lengthM: 0.5, lengthsM: { beak: 0.6 }, leaveOut: ['mist'] },
      result: { version: '7c043d0ff5ca6974', edits: [], added: [], left: [], findings: [] },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'file.has-errors', 'channel.unknown', 'file.would-be-wrong'],
    params: ({ z, want }) => {
      const say = want('metres, above 0 and up to 20');
      const metres = z.number(say).positive(say).max(20, say);
      return z.strictObject({
        lengthM: metres
          .optional()
          .describe('cable from the board to a channel, where nothing else is said (m)'),
        lengthsM: z
          .record(z.string().max(64), metres, want('lengths by the name of the channel'))
          .optional()
          .describe('the same for single channels (m)'),
        leaveOut: z
          .array(z.string().max(64), want('a list of names'))
          .max(300, want('at most 300 names'))
          .optional()
          .describe('channels and contacts that get nothing'),
      });
    },
    result: (fields) => {
      const { z, version, editPath, findingInfo } = fields;
      return z.object({
        version,
        edits: z.array(z.object({ path: editPath, value: z.unknown() })),
        added: z.array(addition(fields)),
        left: z.array(z.string()).describe('what only a person can decide'),
        findings: z.array(findingInfo).describe('what check finds once all of it is added'),
      });
    },
  },
  'proposal.shopping': {
    summary: 'What the prop is made of, to buy: parts, metres of wire, sleeves of bundles',
    example: {
      params: {},
      result: {
        items: [
          { item: 'wire', size: '24 AWG, RD (red)', quantity: 2.2, unit: 'm', for: ['W07', 'W08'] },
        ],
        csv: 'quantity,unit,item,size,for\r\n2.2,m,wire,"24 AWG, RD (red)",W07 W08',
      },
    },
    by: 'service',
    lease: false,
    errors: [...WORKED_OUT, 'file.has-errors'],
    params: ({ nothing }) => nothing,
    result: ({ z }) =>
      z.object({
        items: z.array(
          z.object({
            item: z.string(),
            size: z.string(),
            quantity: z.number(),
            unit: z.enum(['pieces', 'm']),
            for: z.array(z.string()).describe('labels, channels, rails or places'),
          }),
        ),
        csv: z.string().describe('the same for a spreadsheet (RFC 4180)'),
      }),
  },
} as const satisfies Family;
