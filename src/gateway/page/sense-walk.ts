import { type SensePoints, type Stand, sensePointsOf } from '../../sums/sense-points.ts';
import { HESITATED, HESITATION_MS } from './hold.ts';

/** The walk that calibrates a position sense: a servo goes to several angles while a person holds a button. */

/** How many angles, over the soft limits. */
const ANGLES = 5;
/** A step (deg), and the time from one to the next (ms): 10 deg/s. */
const STEP_DEG = 1;
const STEP_EVERY_MS = 100;
/** At each angle it settles first; then readings are taken (ms). Chosen, no source. */
const SETTLE_MS = 800;
const READINGS = 20;
const READ_EVERY_MS = 50;
/** An older reading (s) says nothing of how it stands now: less than it has settled for. Chosen, no source. */
const FRESH_S = 0.5;
/** Nearer than this (deg) it is there. */
const THERE_DEG = 0.05;

export interface SenseReading {
  /** What the board reads (A or V). */
  raw: number;
  /** How old that is by now (s). */
  ageS: number;
}

/** What is read now (A or V); undefined where that is too old for a calibration. */
export function freshOf(reading: SenseReading | undefined): number | undefined {
  return reading && reading.ageS <= FRESH_S ? reading.raw : undefined;
}

export interface WalkParts {
  limitsDeg: readonly [number, number];
  /** Where the servo is commanded to (deg). */
  commandedDeg(): number;
  /** One step within the limits. @returns where it then goes (deg) @throws Error with the reason */
  jog(byDeg: number): Promise<number>;
  /** What the board reads (V), and how old that is by now (s); undefined where it reads nothing. */
  reading(): SenseReading | undefined;
  sleep(ms: number): Promise<void>;
  say(text: string): void;
  done(points: SensePoints): void;
}

/** It goes on only while the button is held; let go, it goes no further, and begins again the next time. */
export class SenseWalk {
  readonly #parts: WalkParts;
  #run = 0;
  #walking = false;

  constructor(parts: WalkParts) {
    this.#parts = parts;
  }

  press(): void {
    if (this.#walking) return;
    this.#walking = true;
    void this.#walk(++this.#run);
  }

  stop(why = 'It stopped. Hold the button until it says that it is done.'): void {
    if (!this.#walking) return;
    this.#walking = false;
    this.#run++;
    this.#parts.say(why);
  }

  async #walk(run: number): Promise<void> {
    const { limitsDeg, say, done } = this.#parts;
    const [low, high] = limitsDeg;
    const stands: Stand[] = [];
    try {
      for (let i = 0; i < ANGLES; i++) {
        // From the same side each time: gears have play.
        const deg = low + ((high - low) * i) / (ANGLES - 1);
        say(`${i + 1} of ${ANGLES}: on its way to ${deg.toFixed(1)} deg.`);
        if (!(await this.#goTo(deg, run))) return;
        const stand = await this.#stand(deg, run);
        if (!stand) return;
        stands.push(stand);
      }
    } catch (error) {
      if (run === this.#run) this.stop(`It stopped: ${(error as Error).message}.`);
      return;
    }
    this.#walking = false;
    const points = sensePointsOf(stands);
    if ('problem' in points) say(`No calibration: ${points.problem}.`);
    else {
      say('Done: let go. Look at the points before you write them.');
      done(points);
    }
  }

  async #goTo(deg: number, run: number): Promise<boolean> {
    const { commandedDeg, jog, sleep } = this.#parts;
    let atDeg = commandedDeg();
    for (;;) {
      if (run !== this.#run) return false;
      const leftDeg = deg - atDeg;
      if (Math.abs(leftDeg) < THERE_DEG) return true;
      const step = jog(Math.sign(leftDeg) * Math.min(STEP_DEG, Math.abs(leftDeg)));
      const reached = await Promise.race([step, sleep(HESITATION_MS)]);
      if (run !== this.#run) return false;
      if (reached === undefined) {
        this.stop(HESITATED);
        return false;
      }
      atDeg = reached;
      await sleep(STEP_EVERY_MS);
    }
  }

  /** What is read there; undefined where the button was let go. */
  async #stand(deg: number, run: number): Promise<Stand | undefined> {
    const { reading, sleep } = this.#parts;
    await sleep(SETTLE_MS);
    const read: number[] = [];
    for (let i = 0; i < READINGS; i++) {
      if (run !== this.#run) return undefined;
      const now = reading();
      if (now === undefined)
        throw new Error('the sensor gives no reading; look at its board and its wires');
      const volts = freshOf(now);
      if (volts === undefined)
        throw new Error(
          `the last reading of the sensor is ${now.ageS.toFixed(1)} s old; look at its board, its wires and the link, then hold the button again`,
        );
      read.push(volts);
      await sleep(READ_EVERY_MS);
    }
    return { deg, volts: read };
  }
}
