import type { BoardFacts } from './facts.ts';

/** The facts that all boards without pins share. */
export const NO_PINS = {
  header: false,
  pins: 0,
  word: 'output',
  reservedFor: () => undefined,
  at: () => undefined,
  cavityOf: () => undefined,
  electrics: () => ({ highV: 0, sourceA: 0, sinkA: 0, sumA: 0, maxInputV: 0 }),
  pulseStepUs: () => 1,
  pulseHz: () => 0,
  lightHz: () => undefined,
  pinSpace: (name) => `board ${name}`,
} as const satisfies Partial<BoardFacts<never>>;
