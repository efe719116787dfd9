import type { Driver } from '../boards/board.ts';
import type { Board as BoardSpec, Channel } from '../prop/schema.ts';
import { Assembling } from './assembly.ts';
import type { ChangeMessage, CoreProp, Outcome } from './core-prop.ts';
import { compileCue, type ReadyCue } from './cues.ts';

type Begin = Extract<ChangeMessage, { t: 'begin' }>;

/** A change of the prop that is coming in. */
interface Incoming {
  begin: Begin;
  /** For a change that waits for parked: everything, put together again. */
  assembling: Assembling | undefined;
  /** For one that takes effect at once: the parts that are new. */
  channels: Map<string, Channel>;
  cues: Map<string, ReadyCue | undefined>;
  cueSpecs: Map<string, { cue: CoreProp['cues'][string] | undefined; durationS: number | null }>;
}

/** A change that is complete. */
export type Change = Pick<Begin, 'id' | 'version' | 'base' | 'changed' | 'view'> &
  (
    | { whenParked: true; assembling: Assembling }
    | ({ whenParked: false; rest: Begin['rest'] } & Pick<
        Incoming,
        'channels' | 'cues' | 'cueSpecs'
      >)
  );

interface ChangesOptions {
  /** The next message, if there is one; asked once a tick. */
  receive: () => ChangeMessage | undefined;
  /** The driver of a board: the one that is open, where its description is the same. */
  driverOf: (name: string, board: BoardSpec) => Promise<Driver>;
  /** What became of a change. */
  reportOutcome: (id: number, outcome: Outcome) => void;
  /** A change is complete: puts it into use, now or when the prop is parked. */
  complete: (change: Change) => void;
}

/** Reads changes of the prop, one small message a tick, so that no tick waits for a large one. */
export class Changes {
  readonly #options: ChangesOptions;
  #incoming: Incoming | undefined;
  /** The drivers of the change that comes in are being made. */
  #busy = false;

  constructor(options: ChangesOptions) {
    this.#options = options;
  }

  /** Once a tick. */
  tick(): void {
    if (this.#busy) return;
    const message = this.#options.receive();
    if (message) this.take(message);
  }

  /** Takes one message of a change. */
  take(message: ChangeMessage): void {
    if (message.t === 'begin') {
      this.#begin(message);
      return;
    }
    const incoming = this.#incoming;
    // The rest of a change that has been rejected.
    if (!incoming) return;
    try {
      this.#part(incoming, message);
    } catch (error) {
      this.#reject(incoming, error as Error);
    }
  }

  #begin(begin: Begin): void {
    const before = this.#incoming;
    if (before) this.#options.reportOutcome(before.begin.id, 'replaced');
    const incoming: Incoming = {
      begin,
      assembling: undefined,
      channels: new Map(),
      cues: new Map(),
      cueSpecs: new Map(),
    };
    this.#incoming = incoming;
    if (!begin.whenParked) return;
    const rest = begin.rest as CoreProp;
    const assembling = new Assembling({ ...rest, channels: {}, cues: {}, cueDurationsS: {} });
    incoming.assembling = assembling;
    this.#busy = true;
    const given = assembling.body.boards.map(async (board) => {
      board.driver = await this.#options.driverOf(board.name, rest.boards[board.name]!);
    });
    Promise.all(given)
      .catch((error: Error) => this.#reject(incoming, error))
      .finally(() => {
        this.#busy = false;
      });
  }

  #part(incoming: Incoming, message: Exclude<ChangeMessage, Begin>): void {
    const { begin, assembling, channels, cues, cueSpecs } = incoming;
    switch (message.t) {
      case 'channel':
        if (assembling) assembling.channel(message.name, message.spec);
        else channels.set(message.name, message.spec);
        break;
      case 'cue': {
        const { name, cue, durationS, takes } = message;
        if (assembling && cue) assembling.cue(name, cue, durationS, takes);
        else {
          cues.set(name, cue && compileCue(name, cue, takes));
          cueSpecs.set(name, { cue, durationS });
        }
        break;
      }
      case 'end': {
        this.#incoming = undefined;
        const { id, version, base, changed, view, rest } = begin;
        this.#options.complete({
          ...{ id, version, base, changed, view },
          ...(assembling
            ? { whenParked: true, assembling }
            : { whenParked: false, rest, channels, cues, cueSpecs }),
        });
      }
    }
  }

  #reject(incoming: Incoming, error: Error): void {
    if (this.#incoming === incoming) this.#incoming = undefined;
    this.#options.reportOutcome(incoming.begin.id, { rejected: error.message });
  }
}
