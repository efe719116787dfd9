import type * as z from 'zod';
import type { BoardFacts, BoardNotes, PinUse, SchemaParts, Z } from '../facts.ts';
import { lintHeaderPin, ON_HEADER } from '../on-header.ts';
import { PWM_PINS, SURE_PWM_PINS } from './pwm-pins.ts';
import type { LinuxPlace } from './safe.ts';

/** Servos take a pulse every 20 ms: common practice, no source. */
export const SERVO_PERIOD_NS = 20_000_000;
/** 1250 Hz: from there on, flicker at full modulation is low-risk (IEEE 1789-2015, from memory). */
export const LIGHT_PERIOD_NS = 800_000;

const schema = (z: Z, _parts: SchemaParts) =>
  z.strictObject({
    driver: z.literal('linux'),
    chip: z.string().min(1).describe('GPIO character device, e.g. gpiochip0'),
    pwmChip: z.int().min(0).describe('number of the chip under /sys/class/pwm'),
    pwmPins: z
      .record(
        z.string().regex(/^\d{1,2}$/, { error: 'is not a GPIO number; give one such as 18' }),
        z
          .int({ error: 'is not a channel; give its number on the PWM chip, 0 or more' })
          .min(0)
          .max(15),
      )
      .optional()
      .describe('GPIO to channel of the PWM chip, where the overlay wires them in another way'),
  });

export type LinuxBoard = z.output<ReturnType<typeof schema>>;

/** A board's own header, through the kernel's interfaces for GPIO and PWM. */
export const linux = {
  schema,
  ...ON_HEADER,
  setUp: {
    about: 'any newer board with a 40-pin header; servos and lights mostly on 16-output boards',
    most: 1,
    entry: () => ({ driver: 'linux', chip: 'gpiochip0', pwmChip: 0 }),
    canBeCut: false,
    surePins: SURE_PWM_PINS,
  },
  pulseStepUs: () => 1,
  pulseHz: () => 1e9 / SERVO_PERIOD_NS,
  lightHz: () => 1e9 / LIGHT_PERIOD_NS,
  pinSpace: () => 'header',
  placeOf: (_name, { chip }, pin) => `${chip} ${pin}`,
  planned: ({ chip, pwmChip, pwmPins }) => ({ chip, pwmChip, ...(pwmPins && { pwmPins }) }),
  locks: ({ name: board, chip: device, pwmChip, outputs }) => {
    const chip = device.slice(device.lastIndexOf('/') + 1);
    return outputs.map(({ name, kind, pin }) => ({
      key: kind === 'level' ? `${chip}-${pin}` : `pwmchip${pwmChip}-${pin}`,
      what: `board ${board} (${chip}, line ${pin}: ${name})`,
    }));
  },
  lintPin(use, board, notes) {
    if (lintHeaderPin(use, notes, true)) lintPwmPin(use, board, notes);
  },
} as const satisfies BoardFacts<LinuxBoard, LinuxPlace>;

function lintPwmPin(
  { pin, path, needs }: PinUse,
  { pwmPins }: LinuxBoard,
  notes: BoardNotes,
): void {
  const pins = pwmPins ? Object.keys(pwmPins).map(Number) : PWM_PINS;
  if (!needs || pins.includes(pin)) return;
  const names = pins.map((one) => `GPIO ${one}`).join(', ') || 'a pin that pwmPins gives a channel';
  notes.error(
    path,
    `GPIO ${pin} has no hardware PWM, and a linux board makes ${needs} with nothing else`,
    `use ${names}, or put it on a pca9685 board`,
  );
}
