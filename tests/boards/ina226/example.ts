/** An entry under `boards:` for the tests that look at every driver. */
export const EXAMPLE = { driver: 'ina226', bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 8 };
