/**
 * The channel behind a GPIO of the header, by the number of channels of the chip: with two, as the
 * overlay pwm-2chan wires them; with four, as the newest generation has them. From memory.
 */
export const HEADER_PWM: Readonly<Record<number, Readonly<Record<number, number>>>> = {
  2: { 12: 0, 13: 1, 18: 0, 19: 1 },
  4: { 12: 0, 13: 1, 18: 2, 19: 3 },
};

/** The GPIOs that have hardware PWM where the prop file does not say otherwise. */
export const PWM_PINS: readonly number[] = Object.keys(HEADER_PWM[4]!).map(Number);
