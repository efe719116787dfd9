import { clamp } from '../shared/units.ts';

/** What is kept of a duty guard across a restart. Times in s on the clock that runs since boot. */
export interface DutyRecord {
  usedS: number;
  on: boolean;
  /** When the relay last opened or closed. */
  changedS: number;
}

/**
 * The duty guard of one relay: it may be closed for `maxOnS` in total before it has stayed open for
 * `restS` without a break. Short closures add up, so that toggling does not defeat the guard.
 * All times in s on one monotonic clock.
 */
export class DutyGuard {
  readonly maxOnS: number;
  readonly restS: number;
  #usedS = 0;
  #on = false;
  #changedS = Number.NEGATIVE_INFINITY;

  constructor(maxOnS: number, restS: number) {
    this.maxOnS = maxOnS;
    this.restS = restS;
  }

  /** Closed time that is left (s); 0 when it must rest first. */
  leftS(nowS: number): number {
    const sinceS = nowS - this.#changedS;
    if (this.#on) return Math.max(0, this.maxOnS - this.#usedS - sinceS);
    return sinceS >= this.restS ? this.maxOnS : Math.max(0, this.maxOnS - this.#usedS);
  }

  /** Seconds until it may close again; 0 when it may close now. */
  restLeftS(nowS: number): number {
    if (this.#on || this.leftS(nowS) > 0) return 0;
    return Math.max(0, this.restS - (nowS - this.#changedS));
  }

  /** The relay closes or opens. */
  change(on: boolean, nowS: number): void {
    if (on === this.#on) return;
    const sinceS = nowS - this.#changedS;
    if (on) {
      if (sinceS >= this.restS) this.#usedS = 0;
    } else {
      // The guard acts in ticks: a closure that ran into it has used up the whole time.
      this.#usedS = Math.min(this.maxOnS, this.#usedS + sinceS);
      if (this.maxOnS - this.#usedS < 1e-6) this.#usedS = this.maxOnS;
    }
    this.#on = on;
    this.#changedS = nowS;
  }

  /** A rest that is over is saved as such: after another boot nobody could tell how long it was. */
  record(nowS: number): DutyRecord {
    const rested = !this.#on && nowS - this.#changedS >= this.restS;
    return { usedS: rested ? 0 : this.#usedS, on: this.#on, changedS: this.#changedS };
  }

  /** It has rested as long as it needs to. */
  beRested(): void {
    this.#usedS = 0;
    this.#on = false;
    this.#changedS = Number.NEGATIVE_INFINITY;
  }

  /** Continues where the guard of the same relay stands; its times may have been different. */
  resume(other: DutyGuard): void {
    this.#usedS = clamp(other.#usedS, 0, this.maxOnS);
    this.#on = other.#on;
    this.#changedS = other.#changedS;
  }

  /**
   * Takes up what an earlier run left behind. When it cannot be known how long the relay was
   * closed or has been open (`trusted` is false, or it was closed when the run died), the full
   * rest is due from now on.
   */
  restore(record: DutyRecord, trusted: boolean, nowS: number): void {
    if (record.usedS === 0 && !record.on) return;
    this.#on = false;
    if (trusted && !record.on) {
      this.#usedS = clamp(record.usedS, 0, this.maxOnS);
      this.#changedS = Math.min(record.changedS, nowS);
    } else this.demandRest(nowS);
  }

  /** The full rest is due from now on. */
  demandRest(nowS: number): void {
    this.#on = false;
    this.#usedS = this.maxOnS;
    this.#changedS = nowS;
  }
}
