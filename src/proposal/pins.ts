import type { BoardNotes, PinUse } from '../boards/facts.ts';
import { type Board, factsOf } from '../boards/registry.ts';

/**
 * Which pins a board has for a use, by the driver's own facts: what its check says of each pin decides,
 * so that a proposal never gets a finding that check knows of.
 */

/** A use of a pin, without the pin. */
export type Use = Omit<PinUse, 'pin' | 'path' | 'boardPath' | 'board'>;

/** What check would say of a pin for a use. */
export interface Verdict {
  /** A sentence; undefined where there is nothing to say. */
  trouble: string | undefined;
  /** It cannot be used at all. */
  impossible: boolean;
}

/** A board of the new prop, with the pins that are taken. */
export class PinBoard {
  readonly name: string;
  readonly entry: Board;
  readonly taken = new Set<number>();
  readonly #boards: Readonly<Record<string, Board>>;
  readonly #surePins: ReadonlySet<number> | undefined;

  /** @param boards all boards of the prop: some take pins of the header for themselves */
  constructor(
    name: string,
    entry: Board,
    boards: Readonly<Record<string, Board>>,
    surePins?: readonly number[],
  ) {
    this.name = name;
    this.entry = entry;
    this.#boards = boards;
    this.#surePins = surePins && new Set(surePins);
  }

  get #facts() {
    return factsOf(this.entry);
  }

  /** `GPIO 5`, `output 3`. */
  word(pin: number): string {
    return `${this.#facts.word} ${pin}`;
  }

  get pins(): number[] {
    return Array.from({ length: this.#facts.pins }, (_, pin) => pin);
  }

  /** What check says of this pin for this use. */
  verdict(pin: number, use: Use): Verdict {
    if (!Number.isInteger(pin) || pin < 0 || pin >= this.#facts.pins)
      return { trouble: `there is no ${this.word(pin)}`, impossible: true };
    const said: string[] = [];
    let impossible = false;
    const boards = this.#boards;
    const error: BoardNotes['error'] = (_path, wrong) => {
      impossible = true;
      said.push(wrong);
    };
    const notes: BoardNotes = {
      prop: { boards },
      error,
      keyError: error,
      warning: (_path, wrong, right) => said.push(`${wrong}; ${right}`),
      channel: () => undefined,
      userOf: (what) =>
        Object.entries(boards).find(([, board]) => factsOf(board).uses === what)?.[0],
    };
    const place = { board: this.name, pin, path: ['pin'], boardPath: ['board'] };
    this.#facts.lintPin({ ...use, ...place }, this.entry, notes);
    return { trouble: said[0], impossible };
  }

  /** The pins that check has nothing to say about, taken or not. */
  goodFor(use: Use): number[] {
    return this.pins.filter(
      (pin) =>
        (use.needs === undefined || (this.#surePins?.has(pin) ?? true)) &&
        this.verdict(pin, use).trouble === undefined,
    );
  }

  /**
   * Free pins for a use, so many of them: those that the fewest other uses could have, lowest first.
   * @param others uses whose pins are to be spared
   * @returns undefined where there are not as many, and nothing is taken
   */
  take(use: Use, count: number, others: readonly Use[]): number[] | undefined {
    const wanted = others.map((other) => new Set(this.goodFor(other)));
    const worth = (pin: number) => wanted.filter((pins) => pins.has(pin)).length;
    const free = this.goodFor(use)
      .filter((pin) => !this.taken.has(pin))
      .sort((a, b) => worth(a) - worth(b) || a - b);
    if (free.length < count) return undefined;
    const pins = free.slice(0, count).sort((a, b) => a - b);
    for (const pin of pins) this.taken.add(pin);
    return pins;
  }
}

/** The uses of a new prop, for the facts of the drivers. */
export const USES = {
  servo: (owner: string, pulses: readonly [number, number]): Use => ({
    owner,
    needs: 'pulses',
    pulses: { us: pulses, path: ['calibration'] },
  }),
  /** @param pull the resistor that is fitted */
  relay: (owner: string, activeLow: boolean, pull?: 'up' | 'down'): Use => ({
    owner,
    relay: { activeLow, pull },
  }),
  light: (owner: string, activeLow: boolean, between: boolean, pull?: 'up' | 'down'): Use => ({
    owner,
    needs: 'PWM',
    ...(between && { light: { activeLow, pull } }),
  }),
  enable: (owner: string, board: string): Use => ({ owner, enables: board }),
  input: (owner: string): Use => ({ owner, input: 'the stop button' }),
  contact: (owner: string): Use => ({ owner, input: 'the contact' }),
} as const;
