/** An entry under `boards:` for the tests that look at every driver. */
export const EXAMPLE = { driver: 'pca9685', bus: 1, address: 0x40, frequencyHz: 61 };
