import type { OutputSpec } from '../../src/boards/board.ts';

/** Outputs of each kind, named by their pins. */
export const pulse = (pin: number): OutputSpec => ({
  name: `servo${pin}`,
  kind: 'pulse',
  pin,
  safe: 0,
});
export const level = (pin: number, safe: 0 | 1 = 0): OutputSpec => ({
  name: `relay${pin}`,
  kind: 'level',
  pin,
  safe,
});
export const duty = (pin: number, safe = 0): OutputSpec => ({
  name: `lamp${pin}`,
  kind: 'duty',
  pin,
  safe,
});
