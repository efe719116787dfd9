/** An entry under `boards:` for the tests that look at every driver. */
export const EXAMPLE = { driver: 'ina219', bus: 1, address: 0x41, shuntOhm: 0.1, maxA: 3.2 };
