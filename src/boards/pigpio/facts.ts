import type * as z from 'zod';
import type { BoardFacts, BoardNotes, PinUse, SchemaParts, Z } from '../facts.ts';
import { lintHeaderPin, ON_HEADER } from '../on-header.ts';

/** Pulse widths (us) that gpioServo takes, besides 0. Source: pigpio C interface, gpioServo. */
export const SERVO_US = [500, 2500] as const;
/** How often the library repeats servo pulses (Hz; same source). */
export const SERVO_HZ = 50;
/**
 * Steps from dark to full. Eyes perceive ratios of brightness, so a slow fade near black needs steps of a
 * thousandth; larger ones are visible.
 */
export const PWM_STEPS = 1000;

/**
 * The fastest PWM frequency (Hz) that still has `PWM_STEPS`: a period is a whole number of samples, so f
 * = 1 / (steps x sample). Each is one of the library's 18 frequencies for its sample period (pigpio C
 * interface, table at gpioSetPWMfrequency): 1000 Hz at 1 us, 200 Hz at 5 us, 100 Hz at 10 us. An eye at
 * rest sees none of these flicker; a camera, or an eye or a lamp that moves fast, may see 200 Hz as
 * separate dots. IEEE 1789-2015 requires 1250 Hz for low risk at full modulation (from memory);
 * `sampleUs: 1` comes closest.
 */
export function pwmFrequencyHz(sampleUs: number): number {
  return 1e6 / (PWM_STEPS * sampleUs);
}

const schema = (z: Z, _parts: SchemaParts) =>
  z.strictObject({
    driver: z.literal('pigpio'),
    sampleUs: z
      .union(
        [z.literal(1), z.literal(2), z.literal(4), z.literal(5), z.literal(8), z.literal(10)],
        {
          error: 'is not a sample period; use 1, 2, 4, 5, 8 or 10 (us)',
        },
      )
      .default(5)
      .describe('sample period (us)'),
  });

export type PigpioBoard = z.output<ReturnType<typeof schema>>;

/** A board's own header, through the pigpio library. */
export const pigpio = {
  schema,
  ...ON_HEADER,
  setUp: {
    about: 'a board with a 40-pin header, up to the fourth generation: pulses on any pin',
    most: 1,
    entry: () => ({ driver: 'pigpio' }),
    canBeCut: false,
  },
  // The DMA can place an edge only at a sample, so a pulse is a whole number of samples.
  pulseStepUs: ({ sampleUs }) => sampleUs,
  pulseHz: () => SERVO_HZ,
  lightHz: ({ sampleUs }) => pwmFrequencyHz(sampleUs),
  pinSpace: () => 'header',
  placeOf: (_name, _board, pin) => `pigpio ${pin}`,
  planned: () => ({}),
  locks: ({ name }) => [{ key: 'pigpio', what: `board ${name} (pigpio)` }],
  lintPin(use, _board, notes) {
    if (lintHeaderPin(use, notes)) lintPulses(use, notes);
  },
} as const satisfies BoardFacts<PigpioBoard>;

function lintPulses({ pulses }: PinUse, notes: BoardNotes): void {
  if (!pulses) return;
  const [low, high] = SERVO_US;
  for (const us of pulses.us)
    if (us < low || us > high)
      notes.error(
        pulses.path,
        `pigpio cannot send a pulse of ${us} us`,
        `stay within ${low} and ${high}, or put this servo on another board`,
      );
}
