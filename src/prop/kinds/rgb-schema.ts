import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';
import { lightParts } from './light-parts.ts';

/** The schema of an rgb light in the prop file. */
export function rgbSchema(parts: Parts) {
  const { z, name, pin, common, measured, maintainEvery, through, pull } = parts;
  const { led, forwardV, resistorOhm, fadeS, guards } = lightParts(parts);
  const three = <T extends z.ZodType>(of: T, doc: string) =>
    z
      .tuple([of, of, of], { error: 'is not three values; give [red, green, blue]' })
      .describe(`${doc}: red, green, blue`);

  const gain = z
    .number({ error: 'is not a number; give a gain above 0, up to 1' })
    .positive({ error: 'leaves this colour dark for good; give a gain above 0, up to 1' })
    .max(1, { error: 'is above 1: nothing is brighter than full; lower the gains of the others' });

  return z.strictObject({
    kind: z.literal('rgb'),
    output: z
      .strictObject({
        board: name('board'),
        pins: z
          .tuple([pin, pin, pin], { error: 'is not three pins; give [red, green, blue]' })
          .describe('pins of red, green and blue'),
        common: z
          .enum(['anode', 'cathode'], {
            error: 'is neither anode nor cathode; write anode or cathode',
          })
          .default('cathode')
          .describe('what its three LEDs have in common: anode (fed) or cathode (to ground)'),
        activeLow: z
          .boolean()
          .optional()
          .describe('of a driver board: a low level lights a colour (default: a high one)'),
        pull,
      })
      .describe('the board and the three pins that drive it'),
    through,
    ...common,
    whiteBalance: z
      .tuple([gain, gain, gain], {
        error: 'is not a white balance; give [red, green, blue], each above 0, up to 1',
      })
      .default([1, 1, 1])
      .describe(
        'scales the linear light of red, green and blue (above 0, up to 1) so that #ffffff looks white',
      ),
    maintainEvery: maintainEvery(['hours']),
    measured: measured({
      colours: 'each pin lights its colour',
      white: 'the white balance, by eye',
      resistors: 'the currents, by the voltage across each resistor',
    }),
    draw: z
      .strictObject({
        fullA: z
          .tuple([z.number().min(0), z.number().min(0), z.number().min(0)], {
            error: 'is not three currents; give [red, green, blue] in A',
          })
          .describe('current of red, green and blue at full duty, before any white balance (A)'),
      })
      .optional()
      .describe('what it takes from its rail'),
    led: z
      .strictObject({
        ...led,
        forwardV: three(forwardV, 'forward voltages (V)'),
        resistorOhm: three(resistorOhm, 'series resistors (ohm)').optional(),
      })
      .optional()
      .describe('its LEDs, to work out or check the series resistors'),
    fadeS,
    ...guards,
    park: z
      .strictObject({ to: z.string().describe('CSS Color 4 string') })
      .default({ to: '#000000' })
      .describe('the safe resting state'),
  });
}

export type RgbChannel = z.output<ReturnType<typeof rgbSchema>>;
