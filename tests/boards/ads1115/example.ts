/** An entry under `boards:` for the tests that look at every driver. */
export const EXAMPLE = { driver: 'ads1115', bus: 1, address: 0x48, vddV: 3.3 };
