import type { Params, Result } from '../../api/methods.ts';
import type { Clock } from '../../shared/clock.ts';
import { tidy } from '../../shared/units.ts';

/** How a cue is played on the prop. */
export interface How {
  /** From this time in it (s). */
  fromS: number;
  /** 1 is as the file has it. */
  rate: number;
  loop: boolean;
}

/** A cue that this page has started on the prop. */
export interface Played extends How {
  cue: string;
  /** It is still being asked for. */
  asking: boolean;
  /** What is not played, in words. */
  leftOut: readonly string[];
}

/** A cue that is not listed as running by then has ended already (ms). */
export const LISTED_MS = 2000;

interface PropPlayParts {
  clock: Pick<Clock, 'after'>;
  /** Undefined where it was refused, which is shown elsewhere. */
  run(params: Params<'cue.run'>): Promise<Result<'cue.run'> | undefined>;
  stop(cue: string): Promise<unknown>;
  /** What this page has on the prop now. */
  changed(now: Played | undefined): void;
}

/**
 * A cue on the prop, started from this page: from a time in it, slower, or in a loop. Whoever leaves the
 * view leaves no loop behind.
 */
export class PropPlay {
  readonly #parts: PropPlayParts;
  #now: Played | undefined;
  /** It has been listed as running since it was started. */
  #isListed = false;
  #cancel: () => void = () => {};

  constructor(parts: PropPlayParts) {
    this.#parts = parts;
  }

  async start(cue: string, how: How): Promise<void> {
    if (this.#now?.asking) return;
    const mine: Played = { ...how, cue, asking: true, leftOut: [] };
    this.#isListed = false;
    this.#set(mine);
    const { fromS, rate, loop } = how;
    const result = await this.#parts.run({
      cue,
      ...(fromS > 0 && { fromS }),
      ...(rate < 1 && { rate }),
      ...(loop && { loop }),
    });
    if (this.#now !== mine) {
      // Ended while it was asked for: an answer that crossed the order to end it.
      if (result?.running && this.#now?.cue !== cue) void this.#parts.stop(cue);
      return;
    }
    if (!result?.running) {
      this.#set(undefined);
      return;
    }
    this.#set({ ...mine, asking: false, leftOut: result.leftOut ?? [] });
    this.#cancel = this.#parts.clock.after(LISTED_MS, () => {
      if (!this.#isListed) this.#set(undefined);
    });
  }

  /** Ends it, also while it is still being asked for. */
  end(): void {
    if (!this.#now) return;
    const { cue } = this.#now;
    this.#set(undefined);
    void this.#parts.stop(cue);
  }

  /** The view is left: a loop ends with it, and so does what is still being asked for. */
  leave(): void {
    if (this.#now?.loop || this.#now?.asking) this.end();
  }

  /** The link, or control, is lost: the daemon ends it by itself. */
  lost(): void {
    this.#set(undefined);
  }

  /** Which cues run now, as the daemon lists them. */
  listed(running: ReadonlySet<string>): void {
    if (!this.#now || this.#now.asking) return;
    if (running.has(this.#now.cue)) this.#isListed = true;
    else if (this.#isListed) this.#set(undefined);
  }

  #set(now: Played | undefined): void {
    this.#cancel();
    if (this.#now === now) return;
    this.#now = now;
    this.#parts.changed(now);
  }
}

/** Speeds to choose from, with their words. */
export const SPEEDS: readonly (readonly [rate: string, words: string])[] = [
  ['1', 'as in the file'],
  ['0.75', 'three quarters'],
  ['0.5', 'half'],
  ['0.25', 'a quarter'],
];

/** How a cue is played, in words: `from 1.5 s, at half speed, in a loop`. */
export function howWords({ fromS, rate, loop }: How): string {
  return [
    fromS > 0 && `from ${tidy(fromS, 2)} s`,
    rate < 1 && `at ${Math.round(rate * 100)} % of its speed`,
    loop && 'in a loop',
  ]
    .filter(Boolean)
    .join(', ');
}
