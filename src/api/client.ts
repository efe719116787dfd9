import type { ErrorData } from '../shared/errors.ts';
import type { Method, Params, Result } from './methods.ts';
import type { NoticeParams, NotificationName } from './notifications.ts';

/** The daemon answered a call with an error (JSON-RPC 2.0, section 5.1). */
export class RpcError extends Error {
  /** The number of its class. */
  readonly code: number;
  /** The name of its class. */
  readonly title: string;
  readonly data: ErrorData | undefined;

  /** Its message is the sentence for a person, where the daemon gives one. */
  constructor(code: number, title: string, data?: ErrorData) {
    super(data?.reason ?? title);
    this.name = 'RpcError';
    this.code = code;
    this.title = title;
    this.data = data;
  }
}

/** A notification, told apart by its name. */
export type Notice = {
  [N in NotificationName]: { method: N; params: NoticeParams<N> };
}[NotificationName];

/** A response object: a result or an error. */
export interface Answer {
  id: number;
  result?: unknown;
  error?: { code: number; message: string; data?: ErrorData };
}

interface Waiting {
  resolve: (answer: Answer) => void;
  reject: (error: Error) => void;
}

/**
 * A JSON-RPC 2.0 client for whatever carries text frames: it numbers the calls, finds the answers to them
 * and hands on notifications. It opens no link, keeps none alive and tries nothing again: the command
 * line and the page each have their own rules for that.
 */
export class RpcClient {
  readonly #send: (text: string) => void;
  readonly #notified: (notice: Notice) => void;
  readonly #waiting = new Map<number, Waiting>();
  #lastId = 0;
  #ended: Error | undefined;

  /** @param send puts a frame on the link */
  constructor(send: (text: string) => void, notified: (notice: Notice) => void = () => {}) {
    this.#send = send;
    this.#notified = notified;
  }

  /** Calls a method. Params that are undefined are left out. @throws RpcError, or what it was ended with */
  async call<M extends Method>(method: M, params: Params<M>): Promise<Result<M>> {
    const { result, error } = await this.ask(method, params);
    if (error) throw new RpcError(error.code, error.message, error.data);
    return result as Result<M>;
  }

  /** The answer to a call, an error or not. @throws what it was ended with */
  ask(method: string, params?: object): Promise<Answer> {
    if (this.#ended) return Promise.reject(this.#ended);
    const id = ++this.#lastId;
    return new Promise((resolve, reject) => {
      this.#waiting.set(id, { resolve, reject });
      this.#send(JSON.stringify({ jsonrpc: '2.0', id, method, params }));
    });
  }

  /** Sends a notification: no answer comes (section 4.1). */
  notify(method: Method, params: object): void {
    if (!this.#ended) this.#send(JSON.stringify({ jsonrpc: '2.0', method, params }));
  }

  /** Takes a frame from the link. @returns whether it was JSON-RPC */
  receive(text: string): boolean {
    let message: unknown;
    try {
      message = JSON.parse(text);
    } catch {
      return false;
    }
    if (typeof message !== 'object' || message === null) return false;
    if ('method' in message) this.#notified(message as Notice);
    else this.#answered(message as Answer);
    return true;
  }

  /** The link is gone: nothing more is sent, and every waiting call gets this error. */
  end(error: Error): void {
    if (this.#ended) return;
    this.#ended = error;
    for (const { reject } of this.#waiting.values()) reject(error);
    this.#waiting.clear();
  }

  #answered(answer: Answer): void {
    const waiting = this.#waiting.get(answer.id);
    if (!waiting) return;
    this.#waiting.delete(answer.id);
    waiting.resolve(answer);
  }
}
