import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';
import { lightParts } from './light-parts.ts';

/** The schema of a lamp in the prop file. */
export function lampSchema(parts: Parts) {
  const { z, atLeast0, common, measured, maintainEvery, through, switchedPin } = parts;
  const { led, forwardV, resistorOhm, fadeS, guards } = lightParts(parts);
  return z.strictObject({
    kind: z.literal('lamp'),
    output: switchedPin,
    through,
    ...common,
    maintainEvery: maintainEvery(['hours']),
    measured: measured({ resistors: 'the current, by the voltage across the resistor' }),
    draw: z
      .strictObject({ fullA: atLeast0('amperes', 'current at full (A)') })
      .optional()
      .describe('what it takes from its rail'),
    led: z
      .strictObject({ ...led, forwardV, resistorOhm: resistorOhm.optional() })
      .optional()
      .describe('its LED, or a string of them, to work out or check the series resistor'),
    fadeS,
    ...guards,
    park: z
      .strictObject({ to: z.number().min(0).max(1).describe('perceived lightness, 0 to 1') })
      .default({ to: 0 })
      .describe('the safe resting state'),
  });
}

export type LampChannel = z.output<ReturnType<typeof lampSchema>>;
