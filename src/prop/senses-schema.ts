import type * as z from 'zod';
import type { Parts } from './schema-parts.ts';

/** The entries of `senses:`, one form for each kind of measured value. */
export function senseSchema({ z, name, positive, atLeast0, pin, end }: Parts) {
  const finite = (doc: string) =>
    z.number({ error: 'is not a number; give a finite number' }).describe(doc);
  const input = z
    .int({ error: 'is not an input; give its number, from 0' })
    .min(0, { error: 'is not an input; give its number, from 0' })
    .max(63, { error: 'is not an input; give its number, from 0' });
  const common = {
    board: name('board').describe('the board that measures it'),
    filterS: atLeast0(
      'seconds',
      'time constant of the low pass that the readings go through (s); 0: none',
    )
      .max(60, { error: 'is above 60; give seconds, 60 or less' })
      .default(0),
    staleS: positive('seconds', 'without a good reading for so long, it counts as not measured (s)')
      .max(60, { error: 'is above 60; give seconds, 60 or less' })
      .default(1),
    forS: atLeast0('seconds', 'a limit counts once it has been passed for so long (s)')
      .max(600, { error: 'is above 600; give seconds, 600 or less' })
      .default(0.5),
  };
  const limits = (unit: string) => ({
    warnBelow: finite(`a warning is shown below this (${unit})`).optional(),
    warnAbove: finite(`a warning is shown above this (${unit})`).optional(),
    hysteresis: atLeast0(
      'how far it must come back',
      `a limit no longer counts once the value is back by this much (${unit}); default: 3 % of the limit`,
    ).optional(),
  });
  const trim = {
    gain: finite('the measured value is multiplied by this, then offset is added; default 1')
      .refine((gain) => gain !== 0, { error: 'is 0; give the factor, such as 1.02' })
      .optional(),
    offset: finite('added to the measured value, after gain; default 0').optional(),
  };
  const points = (unit: string) =>
    z
      .array(
        z.tuple([finite('voltage at the input (V)'), finite(`what it stands for (${unit})`)], {
          error: `is not a point; give [V, ${unit}]`,
        }),
      )
      .min(2, { error: 'has fewer than 2 points; give 2 or more' })
      .describe(
        `points [voltage at the input (V), ${unit}], strictly monotonic in both; straight lines between them`,
      );
  const maxV = positive(
    'volts',
    'the highest voltage at the input itself (V), by which the converter sets its range',
  ).optional();

  return z.discriminatedUnion(
    'kind',
    [
      z.strictObject({
        kind: z.literal('current').describe('the current of a rail or of one channel (A)'),
        ...common,
        input: input
          .optional()
          .describe('analogue input of the board, for a current sensor with a voltage output'),
        rail: name('rail').optional().describe('the rail whose current flows through it'),
        channel: name('channel')
          .optional()
          .describe('the channel whose current alone flows through it'),
        calibration: points('A').optional(),
        maxV,
        ...trim,
        ...limits('A'),
        pushAboveA: positive(
          'amperes',
          'a servo that draws more for pushS while the prop is live pushes against something: it backs off (A)',
        ).optional(),
        pushOverA: positive(
          'amperes',
          "as pushAboveA, counted from the channel's freeRunning current in the direction in which it moves (A)",
        ).optional(),
        pushS: z
          .number({ error: 'is not a number; give seconds, 0.1 to 5' })
          .min(0.1, { error: 'is below 0.1; give seconds, 0.1 to 5' })
          .max(5, { error: 'is above 5; give seconds, 0.1 to 5' })
          .default(0.3)
          .describe(
            'how long it draws more before it backs off (s); a motor that starts draws more',
          ),
        backOffDeg: positive('degrees', 'how far it backs off from where it is stuck (deg)')
          .max(45, { error: 'is above 45; give degrees, 45 or less' })
          .default(2),
      }),
      z.strictObject({
        kind: z.literal('volts').describe('the voltage of a rail or a battery (V)'),
        ...common,
        input: input.optional().describe('analogue input of the board; none for a meter'),
        rail: name('rail').optional().describe('the rail that it measures'),
        at: z
          .strictObject({
            plus: end.describe('the end of a wire at which it measures, such as TB1-1'),
            return: end.describe('the end against which it measures, such as TB1-7'),
          })
          .optional()
          .describe(
            "where along the rail's wires it measures; without it, at the supply. The drop up to there is compared with what the wires explain",
          ),
        divider: z
          .tuple(
            [
              positive('ohms', 'from the measured voltage to the input (ohm)'),
              positive('ohms', 'from the input to ground (ohm)'),
            ],
            { error: 'is not a divider; give [ohm to the source, ohm to ground]' },
          )
          .optional()
          .describe('resistors of a voltage divider: [to the source, to ground] (ohm)'),
        maxV,
        ...trim,
        ...limits('V'),
        dipBelow: finite(
          'a dip below this, however short, is journalled, with what started then, and warned of for a minute (V)',
        ).optional(),
        parkBelow: finite(
          'below this the prop parks, and does not wake until the voltage is back (V)',
        ).optional(),
      }),
      z.strictObject({
        kind: z
          .literal('position')
          .describe('the angle of a servo, by its feedback potentiometer (deg)'),
        ...common,
        input: input.describe('analogue input of the board'),
        channel: name('channel').describe('the servo whose angle it is'),
        calibration: points('deg'),
        maxV,
        ...limits('deg'),
        arriveWithinDeg: positive(
          'degrees',
          'measured further from the commanded angle than this, the servo did not arrive (deg)',
        )
          .max(45, { error: 'is above 45; give degrees, 45 or less' })
          .default(5),
        settleS: atLeast0('seconds', 'how long after the end of a move it may take to arrive (s)')
          .max(10, { error: 'is above 10; give seconds, 10 or less' })
          .default(0.5),
        lagS: positive(
          'seconds',
          'how far behind it may be on its way: what it is commanded to turn in this time, and arriveWithinDeg (s)',
        )
          .max(5, { error: 'is above 5; give seconds, 5 or less' })
          .default(0.3),
        wakeUnasked: z
          .boolean({ error: 'is not true or false; write true or false' })
          .default(false)
          .describe(
            'a limp servo that is measured where it was commanded to last wakes without a question; a sensor that sticks there while the flap is moved would not be noticed',
          ),
        slipDeg: positive(
          'degrees',
          'when the difference of measured and commanded angle at rest has changed by more over days, the horn may have slipped (deg)',
        )
          .max(45, { error: 'is above 45; give degrees, 45 or less' })
          .default(4),
      }),
      z.strictObject({
        kind: z.literal('level').describe('how much there is of something, from 0 to 1'),
        ...common,
        input: input.describe('analogue input of the board'),
        calibration: points('0 to 1'),
        maxV,
        ...limits('0 to 1'),
      }),
      z.strictObject({
        kind: z
          .literal('contact')
          .describe('a contact to ground that is only shown: open or closed'),
        board: common.board,
        pin,
        forS: common.forS,
        warnWhen: z
          .enum(['open', 'closed'], {
            error: 'is neither open nor closed; write open or closed',
          })
          .optional()
          .describe('a warning is shown while it is like this'),
      }),
    ],
    { error: 'is not a sense; use current, volts, position, level or contact' },
  );
}

/** An entry under `senses:` of a prop file. */
export type SenseEntry = z.output<ReturnType<typeof senseSchema>>;
export type SenseKind = SenseEntry['kind'];
