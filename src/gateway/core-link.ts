import type { CoreMethod } from '../api/methods.ts';
import type { ToCore, ToGateway } from '../core/requests.ts';
import { Refusal } from '../shared/errors.ts';
import type { Outcome } from './jsonrpc.ts';

/** The channel to the core: a worker's `parentPort`, or one end of a MessageChannel. */
export interface CorePort {
  postMessage(message: ToCore): void;
  on(event: 'message', listener: (message: ToGateway) => void): unknown;
}

interface Pending {
  session: string;
  settle: (outcome: Outcome) => void;
}

/** Calls to the core and the way back of their answers. */
export class CoreLink {
  readonly #port: CorePort;
  readonly #pending = new Map<number, Pending>();
  #lastId = 0;

  constructor(port: CorePort) {
    this.#port = port;
  }

  post(message: ToCore): void {
    this.#port.postMessage(message);
  }

  call(session: string, method: CoreMethod, params: unknown): Promise<Outcome> {
    const id = ++this.#lastId;
    return new Promise((settle) => {
      this.#pending.set(id, { session, settle });
      this.post({ t: 'call', id, session, method, params });
    });
  }

  /** Resolves when all that a session asked for before has begun, answered or not. */
  async fence(session: string): Promise<void> {
    const id = ++this.#lastId;
    await new Promise<Outcome>((settle) => {
      this.#pending.set(id, { session, settle });
      this.post({ t: 'fence', id, session });
    });
  }

  /** An answer of the core; one for a session that is gone finds nobody and is dropped. */
  settle(message: Extract<ToGateway, { t: 'done' | 'fail' }>): void {
    const pending = this.#pending.get(message.id);
    if (!pending) return;
    this.#pending.delete(message.id);
    pending.settle(message.t === 'done' ? { text: message.text } : { error: message.error });
  }

  /** Ends what a session still waits for. */
  forget(session: string): void {
    const error = new Refusal('session.ended', 'the session has ended').toObject();
    for (const [id, pending] of this.#pending) {
      if (pending.session !== session) continue;
      this.#pending.delete(id);
      pending.settle({ error });
    }
  }
}
