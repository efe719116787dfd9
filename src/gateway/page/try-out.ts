/**
 * Hold-to-run between two angles at values that are tried out. Each leg is one move of the daemon, within
 * the limits in use; the next one is sent only while somebody holds. Released, it stops on its way.
 */

/** The speed and acceleration that are tried (deg/s, deg/s2), and the jerk limit in use, if any (deg/s3). */
export interface Tried {
  speedDegS: number;
  accelDegS2: number;
  jerkDegS3?: number | undefined;
}

/**
 * The time of a move from rest to rest (s): the closed form of the trapezoid, d / v + v / a, or of the
 * triangle, 2 sqrt(d / a), where it never reaches its speed; with a / j more where jerk is limited, which is
 * exact where the profile reaches speed and acceleration and a little long elsewhere (Biagiotti &
 * Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sections 3.2 and 3.4,
 * from memory).
 */
export function moveTimeS(
  deg: number,
  { speedDegS: v, accelDegS2: a, jerkDegS3: j }: Tried,
): number {
  const d = Math.abs(deg);
  if (d === 0) return 0;
  const time = d >= (v * v) / a ? d / v + v / a : 2 * Math.sqrt(d / a);
  return time + (j === undefined ? 0 : a / j);
}

/** An answer that takes this much longer than the move ends the try-out (ms). */
const LATE_MS = 1500;

export interface TryParts {
  /** Moves there in that time; resolves when it has arrived. */
  move(toDeg: number, overS: number): Promise<unknown>;
  /** Comes to rest from where it is. */
  halt(): Promise<unknown>;
  /** @param why for a person; empty on release */
  changed(running: boolean, why: string): void;
  after(ms: number, work: () => void): () => void;
}

/** Goes back and forth while somebody holds. */
export class TryRun {
  readonly #parts: TryParts;
  /** Counts up with each press and release: what belongs to an earlier one is void. */
  #run = 0;
  #running = false;
  #cancel: () => void = () => {};

  constructor(parts: TryParts) {
    this.#parts = parts;
  }

  get running(): boolean {
    return this.#running;
  }

  /** Goes from where it stands to the one end, then to the other, and so on. */
  press(ends: readonly [number, number], fromDeg: number, tried: Tried): void {
    if (this.#running) return;
    this.#running = true;
    this.#parts.changed(true, '');
    const far = Math.abs(ends[0] - fromDeg) > Math.abs(ends[1] - fromDeg) ? 0 : 1;
    void this.#legs(++this.#run, ends, fromDeg, far, tried);
  }

  /** Let go, or anything else that must end it. */
  stop(why = ''): void {
    if (!this.#running) return;
    this.#run++;
    this.#running = false;
    this.#cancel();
    this.#parts.changed(false, why);
    this.#parts.halt().catch(() => {});
  }

  async #legs(
    run: number,
    ends: readonly [number, number],
    fromDeg: number,
    first: 0 | 1,
    tried: Tried,
  ): Promise<void> {
    let at = fromDeg;
    for (let i: 0 | 1 = first; run === this.#run; i = i === 0 ? 1 : 0) {
      const to = ends[i];
      const overS = moveTimeS(to - at, tried);
      this.#cancel = this.#parts.after(1000 * overS + LATE_MS, () => {
        if (run === this.#run)
          this.stop('The link hesitated, so it stopped. Let go, then press again.');
      });
      try {
        await this.#parts.move(to, overS);
      } catch (error) {
        if (run === this.#run) this.stop((error as Error).message);
        return;
      }
      this.#cancel();
      at = to;
    }
  }
}
