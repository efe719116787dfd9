import type { Servo } from './servo.ts';

/** A servo that is asked to go somewhere. */
export interface Move {
  servo: Servo;
  /** In degrees of the channel: of the flap, where there is a linkage. */
  toDeg: number;
}
