import { readFile } from 'node:fs/promises';
import { underVoltageFile } from '../boards/under-voltage.ts';
import type { Clock } from '../shared/clock.ts';

/** The kernel asks the computer's firmware every two seconds. */
const EVERY_MS = 2000;
/** A supply that comes and goes is reported no more often than this (ms). */
const TOLD_EVERY_MS = 60_000;

const TOO_LOW =
  "the computer's own supply is too low, and it may reset: use a stronger supply and a short, thick cable, and another supply for servos";
const FINE = "the computer's own supply is no longer too low";

/** Whether the computer's own supply is too low, for the journal; only where the computer watches that. */
export class SupplyWatch {
  readonly #clock: Clock;
  readonly #tell: (text: string, isLow: boolean) => void;
  readonly #read: (path: string) => Promise<string | undefined>;
  #file: string | undefined;
  #isLow = false;
  #toldMs = Number.NEGATIVE_INFINITY;
  #cancel: () => void = () => {};
  #over = false;

  /** @param read the text of a file; undefined where it cannot be read */
  constructor(clock: Clock, tell: (text: string, isLow: boolean) => void, read = textOf) {
    this.#clock = clock;
    this.#tell = tell;
    this.#read = read;
  }

  /** Begins to watch. Never rejects. */
  async begin(): Promise<void> {
    this.#file = await underVoltageFile(this.#read);
    if (this.#file !== undefined) await this.#look();
  }

  close(): void {
    this.#over = true;
    this.#cancel();
  }

  async #look(): Promise<void> {
    const text = await this.#read(this.#file!);
    if (this.#over) return;
    const isLow = text?.trim() === '1';
    const nowMs = this.#clock.nowMs();
    if (isLow !== this.#isLow && (!isLow || nowMs - this.#toldMs >= TOLD_EVERY_MS)) {
      this.#isLow = isLow;
      if (isLow) this.#toldMs = nowMs;
      this.#tell(isLow ? TOO_LOW : FINE, isLow);
    }
    this.#cancel = this.#clock.after(EVERY_MS, () => void this.#look());
  }
}

function textOf(path: string): Promise<string | undefined> {
  return readFile(path, 'utf8').catch(() => undefined);
}
