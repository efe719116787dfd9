import type { TakeTrack } from '../sums/take-track.ts';
import type { Body } from './body.ts';
import type { Gate } from './gate.ts';
import type { Servo } from './servo.ts';

/** A servo, and what it follows. */
export interface TakePart {
  servo: Servo;
  track: TakeTrack;
}

interface Part extends TakePart {
  /** The count of its plans by which to see that somebody else has sent it elsewhere. */
  plans: number;
}

/** Closer than this (deg) a servo stands where its track begins. */
const THERE_DEG = 1e-6;

/**
 * A take that plays: its servos go to where it begins, together; as soon as all are there they follow it,
 * and then, where it is repeated, from its beginning again. A servo that somebody else takes over is left
 * out from then on.
 */
export class TakeRun {
  readonly #peaksA: Readonly<Record<string, number>>;
  readonly #gate: Gate;
  readonly #body: Body;
  readonly #who: string;
  readonly #report: (why: string) => void;
  #parts: Part[];
  /** How often it plays yet, this time included. */
  timesLeft: number;
  /** Since when its servos follow it (s); undefined before. */
  followsS: number | undefined;
  #stage: 'goes' | 'waits' | 'plays' = 'waits';
  #reported = false;

  /**
   * Starts it.
   * @param peaksA by rail, the most that they draw above their current at rest
   * @param report told why it has to wait
   * @throws Refusal as the gate does; nothing has moved then
   */
  constructor(
    parts: readonly TakePart[],
    peaksA: Readonly<Record<string, number>>,
    times: number,
    who: string,
    body: Body,
    gate: Gate,
    report: (why: string) => void,
  ) {
    this.#peaksA = peaksA;
    this.timesLeft = times;
    this.#who = who;
    this.#body = body;
    this.#gate = gate;
    this.#report = report;
    this.#parts = parts.map((part) => ({ ...part, plans: 0 }));
    if (parts.length > 0) this.#begin();
  }

  /** Once a tick: whether it goes on. @throws Refusal as the gate does; it is over then */
  goesOn(): boolean {
    this.#parts = this.#parts.filter(({ servo, plans }) => servo.delayed || servo.plans === plans);
    if (this.#parts.length === 0) return false;
    if (this.#stage !== 'waits' && this.#parts.some(({ servo }) => servo.isBusy)) return true;
    if (this.#stage === 'plays') {
      this.timesLeft--;
      if (this.timesLeft < 1) return false;
      this.#begin();
      return true;
    }
    this.#follow();
    return true;
  }

  #begin(): void {
    const away = this.#parts.filter(
      ({ servo, track }) =>
        servo.isBusy || Math.abs(servo.setpoint.pos - track.startDeg) > THERE_DEG,
    );
    if (away.length === 0) {
      this.#follow();
      return;
    }
    const moves = away.map(({ servo, track }) => ({ servo, targetDeg: track.startDeg }));
    const { delayed } = this.#gate.move(moves, 0, this.#who, this.#body.nowS);
    if (delayed !== undefined) this.#report(delayed);
    this.#stage = 'goes';
    this.followsS = undefined;
    this.#note();
  }

  #follow(): void {
    const full = this.#gate.perform(this.#parts, this.#peaksA);
    this.#stage = full ? 'waits' : 'plays';
    this.followsS = full ? undefined : this.#body.nowS;
    if (full && !this.#reported) {
      const moves = this.#parts.map(({ servo, track }) => ({
        servo,
        targetDeg: track.trajectory.endPos,
      }));
      this.#report(this.#gate.reportWaiting(moves, this.#who, full));
      this.#reported = true;
    }
    this.#note();
  }

  /** From now on another plan than the present one, or the one that waits, is somebody else's. */
  #note(): void {
    for (const part of this.#parts) part.plans = part.servo.plans + (part.servo.delayed ? 1 : 0);
  }
}
