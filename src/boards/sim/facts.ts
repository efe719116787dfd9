import type * as z from 'zod';
import type { BoardFacts, BoardNotes, SchemaParts, Z } from '../facts.ts';
import { lintHeaderPin, ON_HEADER } from '../on-header.ts';

/** How often a servo gets a pulse (Hz): common practice, no source. */
export const SERVO_HZ = 50;

function schema(z: Z, { name, positive, atLeast0 }: SchemaParts) {
  const servoPlant = z.strictObject({
    stopsDeg: z
      .tuple([z.number(), z.number()])
      .optional()
      .describe('mechanical end stops (deg), low then high'),
    lagS: atLeast0('seconds', 'dead time plus time constant of the servo (s)').optional(),
    speedDegS: positive('deg/s', 'fastest speed of the servo (deg/s)').optional(),
  });
  return z.strictObject({
    driver: z.literal('sim'),
    plant: z
      .record(name('channel'), servoPlant)
      .optional()
      .describe('how the simulated servos behave, where the default will not do'),
  });
}

export type SimBoard = z.output<ReturnType<typeof schema>>;

/** A board without hardware, with the pins of a header. */
export const sim = {
  schema,
  ...ON_HEADER,
  // Meter and converter in one; its inputs take whatever the file says comes to them.
  measures: () => ({
    quantities: ['current', 'volts'],
    inputs: 16,
  }),
  setUp: {
    about: 'no hardware yet: everything is simulated, on the pins of a 40-pin header',
    most: 1,
    entry: () => ({ driver: 'sim' }),
    canBeCut: false,
  },
  pulseStepUs: () => 1,
  pulseHz: () => SERVO_HZ,
  lightHz: () => undefined,
  pinSpace: (name) => `board ${name}`,
  placeOf: (name, _board, pin) => `${name} ${pin}`,
  planned: () => ({}),
  locks: () => [],
  lintBoard: lintPlant,
  lintPin: (use, _board, notes) => void lintHeaderPin(use, notes),
} as const satisfies BoardFacts<SimBoard>;

function lintPlant(name: string, { plant }: SimBoard, notes: BoardNotes): void {
  for (const [servo, { stopsDeg: stops }] of Object.entries(plant ?? {})) {
    const path = ['boards', name, 'plant', servo];
    const channel = notes.channel(servo, path);
    if (channel && channel.kind !== 'servo')
      notes.keyError(path, `${servo} is a ${channel.kind}`, 'describe servos only');
    if (stops && stops[0] >= stops[1])
      notes.error(
        [...path, 'stopsDeg'],
        `the low stop ${stops[0]} deg is not below the high stop ${stops[1]} deg`,
        'give the lower one first',
      );
  }
}
