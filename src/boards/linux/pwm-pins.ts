/**
 * The channel of each GPIO of the header, by the number of channels of the chip: two, as in the overlay
 * pwm-2chan; four, on the newest generation. From memory.
 */
export const HEADER_PWM: Readonly<Record<number, Readonly<Record<number, number>>>> = {
  2: { 12: 0, 13: 1, 18: 0, 19: 1 },
  4: { 12: 0, 13: 1, 18: 2, 19: 3 },
};

/** The GPIOs that have hardware PWM unless the prop file says otherwise. */
export const PWM_PINS: readonly number[] = Object.keys(HEADER_PWM[4]!).map(Number);

/** Those that have a channel of their own on every chip, one with two channels included. */
export const SURE_PWM_PINS: readonly number[] = Object.entries(HEADER_PWM[2]!).flatMap(
  ([pin, channel], i, all) =>
    all.findIndex(([, other]) => other === channel) === i ? [Number(pin)] : [],
);
