/** An entry under `boards:` for the tests that look at every driver. */
export const EXAMPLE = { driver: 'alsa', device: 'default' };
