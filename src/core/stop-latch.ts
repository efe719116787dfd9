/** Stop categories of IEC 60204-1: drop the power, decelerate then drop it, decelerate and hold. */
export type StopCategory = 0 | 1 | 2;

/** A latched stop: its category, and until when power is dropped or held. Times in s on the core's clock. */
export class StopLatch {
  /** The pins that enable the outputs of a chip say no: after a stop of category 0, until the reset. */
  cut = false;
  #latched = false;
  #category: StopCategory = 2;
  #dropWhenStill = false;
  #dropByS = 0;
  #holdUntilS = Number.POSITIVE_INFINITY;

  /** A stop of category 1 drops the power when everything has come to rest. */
  get dropsWhenStill(): boolean {
    return this.#dropWhenStill;
  }

  /** When a stop of category 1 drops what still moves (s). */
  get dropByS(): number {
    return this.#dropByS;
  }

  /** When a stop of category 2 no longer holds (s). */
  get holdUntilS(): number {
    return this.#holdUntilS;
  }

  /** The effective category: a latched stop is never weakened. */
  latch(category: StopCategory): void {
    this.#category = this.#latched
      ? (Math.min(this.#category, category) as StopCategory)
      : category;
    this.#latched = true;
    if (this.#category === 0) this.cut = true;
  }

  /**
   * Everything has been told to decelerate.
   * @param still nothing moves any more
   * @param holding some servo has its pulses
   * @returns whether the power is to be dropped now
   */
  begin(
    still: boolean,
    holding: boolean,
    nowS: number,
    { deadlineS, holdS }: { deadlineS: number; holdS: number },
  ): boolean {
    if (!this.#dropWhenStill) this.#dropByS = nowS + deadlineS;
    this.#dropWhenStill = this.#category === 1 && !still;
    // Asking again does not make it hold longer.
    if (this.#category === 2 && holding)
      this.#holdUntilS = Math.min(this.#holdUntilS, nowS + holdS);
    return this.#category === 0 || (this.#category === 1 && still);
  }

  /** The power has been dropped. */
  dropped(): void {
    this.#dropWhenStill = false;
    this.endHold();
  }

  /** No stop holds anything any more. */
  endHold(): void {
    this.#holdUntilS = Number.POSITIVE_INFINITY;
  }

  /** The stop is lifted. */
  reset(): void {
    this.cut = false;
    this.#latched = false;
  }
}
