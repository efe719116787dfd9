import type { Parts } from '../schema-parts.ts';

/** How far forward voltages of LEDs differ from nominal, where the file does not say (V). */
export const USUAL_SPREAD_V = 0.2;

/** What the schemas of all lights share. */
export function lightParts({ positive, atLeast0, flash, flicker, lightWeight }: Parts) {
  /** What every colour of an LED shares. */
  const led = {
    currentA: positive('amperes', 'current that each LED may have (A)'),
    spreadV: atLeast0('volts', 'how far forward voltages differ from nominal (V)').default(
      USUAL_SPREAD_V,
    ),
    supplyV: positive(
      'volts',
      'supply of the LED (V); default: the rail, or the pin where that feeds it',
    ).optional(),
  };
  const forwardV = positive('volts', 'nominal forward voltage (V)');
  const resistorOhm = positive('ohms', 'series resistor (ohm)');
  return {
    led,
    forwardV,
    resistorOhm,
    fadeS: atLeast0('seconds', 'least time for a full-scale change (s)').default(0),
    guards: {
      light: lightWeight.optional(),
      flash: flash.optional(),
      flicker: flicker.optional(),
    },
  };
}

/** The longest fade (s) to a park level, 0 to 1: from dark or from full. */
export function maxParkFadeS(fadeS: number, parkLevel: number): number {
  return fadeS * Math.max(parkLevel, parkLevel > 0 ? 1 - parkLevel : 1);
}
