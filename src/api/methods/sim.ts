import type { Family } from '../method.ts';

/** Simulated inputs, in place of fingers on the real thing, for tests. */
export const sim = {
  'sim.set': {
    summary:
      'Press inputs of a sim board, change what it measures, or break it; only where the daemon listens on this machine alone',
    example: { params: { board: 'head', inputs: { '4': 0 } } },
    by: 'core',
    lease: false,
    local: true,
    errors: [
      'board.unknown',
      'board.not-simulated',
      'sim.no-input',
      'sim.no-sense',
      'sim.no-battery',
      'sim.no-wire',
      'sim.no-servo',
      'sim.not-local',
    ],
    params: ({ z, want, text, pinLevel }) =>
      z.strictObject({
        board: text('the name of a board with the sim driver'),
        inputs: z
          .record(
            z.string().regex(/^\d{1,3}$/, want('the number of a pin')),
            pinLevel.nullable(),
            want('levels by pin: { "4": 1 }'),
          )
          .optional()
          .describe('levels of input pins, by pin: 0 or 1; null lets go'),
        senses: z
          .record(
            z.string(),
            z
              .strictObject({
                value: z
                  .number(want('a finite number'))
                  .optional()
                  .describe('what there is to be measured, in the unit of the sense'),
                noise: z
                  .number(want('0 or more'))
                  .min(0, want('0 or more'))
                  .optional()
                  .describe('standard deviation of the readings, in V or A at the board'),
                stuck: z.boolean().optional().describe('it stays as it is, and seems to go on'),
                gone: z.boolean().optional().describe('it does not answer any more'),
                nan: z.boolean().optional().describe('its readings are not numbers'),
                as: z.string().optional().describe('it answers for this other sense of the board'),
              })
              .nullable(),
            want('senses by name: { "battery": { "value": 6.1 } }'),
          )
          .optional()
          .describe('how senses on the board measure, by name; null: as they should'),
        turned: z
          .record(
            z.string(),
            z.number(want('a finite number of deg')),
            want('angles (deg) by servo: { "beak": 12 }'),
          )
          .optional()
          .describe('a hand turns these servos to these angles (deg), as long as they are limp'),
        batteries: z
          .record(
            z.string(),
            z
              .number(want('a share from 0 to 1'))
              .min(0, want('a share from 0 to 1'))
              .max(1, want('a share from 0 to 1')),
            want('shares by rail: { "servo6v": 0.2 }'),
          )
          .optional()
          .describe('the batteries of these rails have so much left, 0 (empty) to 1 (full)'),
        crimps: z
          .record(
            z.string(),
            z.number(want('ohms, 0 or more')).min(0, want('ohms, 0 or more')),
            want('ohms by wire: { "W01": 0.2 }'),
          )
          .optional()
          .describe('a bad crimp of so many ohms in these wires; 0 mends it'),
        fault: z
          .string(want('what is wrong, in words, or null'))
          .min(1, want('what is wrong, in words'))
          .max(200, want('what is wrong, in at most 200 characters'))
          .nullable()
          .optional()
          .describe('the board fails from now on with this message; null makes it work again'),
      }),
    result: ({ z, pinLevel }) =>
      z.object({
        board: z.string(),
        inputs: z.record(z.string(), pinLevel).describe('levels that are set, by pin'),
        fault: z
          .string()
          .nullable()
          .describe('the message that it fails with; null while it works'),
      }),
  },
} as const satisfies Family;
