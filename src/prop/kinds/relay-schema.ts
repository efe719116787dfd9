import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';

/** The schema of a relay in the prop file. */
export function relaySchema({
  z,
  name,
  positive,
  atLeast0,
  end,
  onOff,
  common,
  measured,
  maintainEvery,
  through,
  switchedPin,
  flash,
  lightWeight,
}: Parts) {
  /** The coil of a bare relay that a pin switches through a transistor; not for a module. */
  const coil = z
    .strictObject({
      volts: positive('volts', 'supply of the coil (V)'),
      ohm: positive('ohms', 'resistance of the coil (ohm)'),
      gain: positive('the gain', 'least current gain of the transistor, hFE').default(100),
      driveV: positive('volts', 'voltage of the pin (V); default: that of its board').optional(),
      baseOhm: positive('ohms', 'base resistor (ohm)').optional(),
    })
    .describe('coil of a bare relay, switched by a pin through a transistor');

  const mode = z.enum(['held', 'momentary'], {
    error: 'is neither held nor momentary; write held or momentary',
  });

  /** The second circuit of a relay: its contact. */
  const terminals = z
    .strictObject({
      mode: mode
        .default('held')
        .describe('held: stays closed while on; momentary: a press of pulseMs'),
      rail: name('rail')
        .optional()
        .describe('the supply of what the contact switches, where it is not the rail of the relay'),
      common: end.describe('the terminal that moves: COM'),
      open: end.optional().describe('joined to common while the coil is on: NO, normally open'),
      closed: end
        .optional()
        .describe('joined to common while the coil is off: NC, normally closed'),
    })
    .refine(({ open, closed }) => open !== undefined || closed !== undefined, {
      error: 'has one terminal; give open (NO), closed (NC) or both besides common',
    })
    .describe('the contact as a circuit of its own; held or momentary alone where that is all');

  return z.strictObject({
    kind: z.literal('relay'),
    output: switchedPin,
    through,
    ...common,
    contact: z
      .union([mode, terminals], {
        error:
          'is neither held nor momentary; write held or momentary, or its terminals: { common: K1-1, open: K1-2 }',
      })
      .default('held')
      .describe(
        'held: stays closed while on; momentary: a press of pulseMs; or its terminals, as a circuit of its own',
      ),
    maintainEvery: maintainEvery(['closures', 'hours']),
    measured: measured({
      contact: 'it clicks, it is on when it should be, and it is this contact that feeds the load',
    }),
    pulseMs: positive('milliseconds', 'length of a momentary closure (ms)').optional(),
    draw: z
      .strictObject({
        onA: atLeast0('amperes', 'current of what it switches, while closed (A)'),
        coilA: atLeast0(
          'amperes',
          'current of the coil or module while on (A), for a contact with a rail of its own; default: by coil',
        ).optional(),
      })
      .optional()
      .describe('what it takes from its rail'),
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
      'shortest closure (s), except for safety; default: 0.1, or the pulse of a momentary contact',
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
    park: z.strictObject({ to: onOff }).default({ to: 'off' }).describe('the safe resting state'),
  });
}

export type RelayChannel = z.output<ReturnType<typeof relaySchema>>;
