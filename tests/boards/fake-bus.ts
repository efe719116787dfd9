/** A bus with models of chips: each transfer takes place in a later turn of the event loop. */
export abstract class FakeBus<Chip> {
  /** Transfers under way at once, at most. */
  most = 0;
  closed = 0;
  #underWay = 0;
  /** While set, transfers wait for it. */
  #held: Promise<void> | undefined;
  #failure: { code: string; times: number } | undefined;

  /** The chip that answers; undefined where none does. */
  protected abstract chipAt(address: number): Chip | undefined;

  /** The next transfers fail, for good without `times`. */
  fail(code = 'EREMOTEIO', times = Number.POSITIVE_INFINITY): void {
    this.#failure = { code, times };
  }

  mend(): void {
    this.#failure = undefined;
  }

  /** Holds every transfer until the function returned is called. */
  hold(): () => void {
    let release = () => {};
    this.#held = new Promise((resolve) => {
      release = () => {
        this.#held = undefined;
        resolve();
      };
    });
    return release;
  }

  async close(): Promise<void> {
    this.closed++;
  }

  /** Makes a transfer; `act` is called when it takes place. @throws Error with `code`, as the kernel's */
  protected async transfer<T>(address: number, act: (chip: Chip) => T): Promise<T> {
    this.most = Math.max(this.most, ++this.#underWay);
    try {
      await this.#held;
      await new Promise(setImmediate);
      this.failIfBroken();
      const chip = this.chipAt(address);
      if (!chip) throw remoteIo('EREMOTEIO');
      return act(chip);
    } finally {
      this.#underWay--;
    }
  }

  /** @throws Error with `code` while transfers are to fail */
  protected failIfBroken(): void {
    if (!this.#failure) return;
    const { code } = this.#failure;
    if (--this.#failure.times <= 0) this.#failure = undefined;
    throw remoteIo(code);
  }
}

function remoteIo(code: string): Error {
  return Object.assign(new Error(`${code}, remote I/O`), { code });
}
