import type { Life } from './life.ts';

/**
 * What the safe-levels program needs to know of a prop, left behind by the daemon before it claims
 * a pin. It is all that the two programs share.
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

/** A board, with what its driver's way to safe levels needs to find it: src/boards/DRIVER/safe.ts. */
export interface PlannedBoard {
  name: string;
  driver: string;
  outputs: PlannedOutput[];
  [place: string]: unknown;
}

export const PLAN_FILE = 'safe-plan.json';
