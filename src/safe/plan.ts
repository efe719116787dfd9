import type { Life } from './life.ts';

/**
 * What the safe-levels program needs to know about a prop. The daemon writes it before it claims a pin;
 * it is all that the two programs share.
 */
export interface SafePlan {
  version: 1;
  prop: string;
  /** The daemon that wrote this. */
  daemon: Life;
  boards: PlannedBoard[];
}

export interface PlannedOutput {
  name: string;
  /** `pulse`: a servo's pulses; `level`: a relay's level; `duty`: a dimmed light. */
  kind: 'pulse' | 'level' | 'duty';
  pin: number;
  /** The electrical level, 0 or 1, that makes a relay or a light safe; 0 for pulses. */
  safe: number;
}

/** A board, with what src/boards/DRIVER/safe.ts needs to find it. */
export interface PlannedBoard {
  name: string;
  driver: string;
  outputs: PlannedOutput[];
  [place: string]: unknown;
}

export const PLAN_FILE = 'safe-plan.json';
