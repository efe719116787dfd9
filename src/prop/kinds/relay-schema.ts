import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';

/** The schema of a relay in the prop file. */
export function relaySchema({
  z,
  name,
  positive,
  atLeast0,
  pin,
  onOff,
  common,
  through,
  pull,
  flash,
  lightWeight,
}: Parts) {
  /** The coil of a bare relay that a pin switches through a transistor; a module brings its own. */
  const coil = z
    .strictObject({
      volts: positive('volts', 'supply of the coil (V)'),
      ohm: positive('ohms', 'resistance of the coil (ohm)'),
      gain: positive('the gain', 'least current gain of the transistor, hFE').default(100),
      driveV: positive('volts', 'voltage of the pin (V); default: that of its board').optional(),
      baseOhm: positive('ohms', 'base resistor (ohm)').optional(),
    })
    .describe('coil of a bare relay, switched by a pin through a transistor');

  return z.strictObject({
    kind: z.literal('relay'),
    output: z.strictObject({
      board: name('board'),
      pin,
      activeLow: z.boolean().default(false),
      pull,
    }),
    through,
    ...common,
    contact: z
      .enum(['held', 'momentary'], {
        error: 'is neither held nor momentary; write held or momentary',
      })
      .default('held'),
    pulseMs: positive('milliseconds', 'length of a momentary closure (ms)').optional(),
    draw: z.strictObject({ onA: atLeast0('amperes', 'current while closed (A)') }).optional(),
    coil: coil.optional(),
    duty: z
      .strictObject({
        maxOnS: positive('seconds', 'longest time closed (s)'),
        restS: positive('seconds', 'rest after it (s)'),
      })
      .optional()
      .describe('duty guard: total closed time without a rest'),
    minOnS: atLeast0(
      'seconds',
      'shortest closure (s), but for safety; default: 0.1, or the pulse of a momentary contact',
    ).optional(),
    minOffS: atLeast0(
      'seconds',
      'shortest time open between closures (s); default: 0.1',
    ).optional(),
    vapour: z
      .strictObject({
        tankMl: positive('millilitres', 'water that may be used before the unit runs dry (ml)'),
        rateMlPerH: positive('ml/h', 'water that the unit takes while it is on (ml/h)'),
      })
      .optional()
      .describe('a unit that turns water into vapour'),
    light: z
      .union([z.literal(true), lightWeight], {
        error: 'is not a light; give true, { share: 0.3 } or { lumens: 400 }',
      })
      .optional()
      .describe('it switches a light: it counts when flashes are judged, and may have to wait'),
    flash: flash.optional(),
    safe: onOff
      .optional()
      .describe(
        'the state that is safe (default: off); on: what must stay closed, such as a brake, so that a stop, a fault or the death of the daemon leaves it closed',
      ),
    park: z.strictObject({ to: onOff }).default({ to: 'off' }),
  });
}

export type RelayChannel = z.output<ReturnType<typeof relaySchema>>;
