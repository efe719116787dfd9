import { EventEmitter } from 'node:events';
import { type RawData, WebSocket } from 'ws';
import { type Notice, RpcClient, RpcError } from '../api/client.ts';
import type { Method, Params, Result } from '../api/methods.ts';
import type { NoticeParams } from '../api/notifications.ts';
import type { JournalEntry } from '../api/types.ts';
import { type Clock, systemClock } from '../shared/clock.ts';
import { CODES } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';

/** No daemon answers at this address. */
export class Unreachable extends Error {
  override readonly name = 'Unreachable';
}

/** The link was there and is gone. */
export class LinkLost extends Error {
  override readonly name = 'LinkLost';
}

interface ConnectOptions {
  /** `ws://127.0.0.1:7420/api`. */
  url: string;
  token?: string | undefined;
  /** The name that the journal and other sessions see. */
  clientName: string;
  /** How long the connection, and then the answer to `session.open`, may take (ms). */
  timeoutMs?: number;
  clock?: Clock;
}

/** What `session.open` answers. */
export type Opened = Result<'session.open'>;
/** The params of a `prop.changed` notification; with neither pending nor problem the file is in use. */
export type ChangeParams = NoticeParams<'prop.changed'>;
/** The params of a `state` notification: the first holds every channel, then those that changed. */
export type StateParams = NoticeParams<'state'>;

interface ClientEvents {
  state: [StateParams];
  event: [JournalEntry];
  change: [ChangeParams];
  /** The link is gone; the reason in words. */
  close: [string];
}

/** Checks for signs of life per link timeout; the link is lost after two timeouts without any. */
const CHECKS_PER_TIMEOUT = 4;
/** How long the daemon may take to answer a close frame (ms). */
const CLOSE_MS = 500;

/** One session with the daemon: JSON-RPC 2.0 over a WebSocket, supervised from this end too. */
export class Client extends EventEmitter<ClientEvents> {
  readonly #socket: WebSocket;
  readonly #clock: Clock;
  readonly #rpc: RpcClient;
  #lost: LinkLost | undefined;
  #opened: Opened | undefined;
  #missed = 0;
  #stopWatching = () => {};

  private constructor(socket: WebSocket, clock: Clock) {
    super();
    this.#socket = socket;
    this.#clock = clock;
    this.#rpc = new RpcClient(
      (text) =>
        socket.send(text, (error) => {
          if (error) this.#lose(error.message);
        }),
      (notice) => this.#hear(notice),
    );
    socket.on('message', (data, isBinary) => this.#receive(data, isBinary));
    // `ws` answers pings by itself; here they only count as life.
    socket.on('ping', () => {
      this.#missed = 0;
    });
    // An error is always followed by `close`, which carries the consequences.
    socket.on('error', () => {});
    socket.on('close', (code, reason) => this.#lose(closeReason(code, reason.toString())));
  }

  /**
   * Connects and opens the session.
   * @throws Unreachable when nobody answers in time; RpcError when the daemon refuses the session.
   */
  static async connect(options: ConnectOptions): Promise<Client> {
    const { url, token, clientName, timeoutMs = 3000, clock = systemClock } = options;
    const where = new URL(url).host;
    const socket = new WebSocket(url, { handshakeTimeout: timeoutMs, perMessageDeflate: false });
    const client = new Client(socket, clock);
    await opening(socket, where);
    const cancel = clock.after(timeoutMs, () => {
      client.#lose(`it did not answer within ${timeoutMs} ms`);
      socket.terminate();
    });
    try {
      client.#opened = await client.call('session.open', { client: clientName, token });
    } catch (error) {
      await client.close();
      if (!(error instanceof LinkLost)) throw error;
      throw new Unreachable(`cannot open a session with the daemon at ${where}: ${error.message}`);
    } finally {
      cancel();
    }
    client.#superviseLink();
    return client;
  }

  /** What `session.open` answered, brought up to date when the prop file changes. */
  get opened(): Opened {
    return this.#opened!;
  }

  /** Why the link is gone; undefined while it is there. */
  get lost(): LinkLost | undefined {
    return this.#lost;
  }

  /**
   * Calls a method and waits for its answer, for as long as the link lives. Params that are
   * undefined are left out.
   * @throws RpcError when it is refused, LinkLost when the link goes first.
   */
  call<M extends Method>(method: M, params: Params<M>): Promise<Result<M>> {
    return this.#rpc.call(method, params);
  }

  /** Closes the link; the daemon takes this for a lost link if the session still holds the lease. */
  async close(): Promise<void> {
    if (this.#socket.readyState === WebSocket.CLOSED) return;
    const closed = new Promise<void>((resolve) => this.#socket.once('close', () => resolve()));
    const cancel = this.#clock.after(CLOSE_MS, () => this.#socket.terminate());
    this.#socket.close(1000);
    await closed;
    cancel();
  }

  #receive(data: RawData, isBinary: boolean): void {
    this.#missed = 0;
    if (!isBinary && this.#rpc.receive(data.toString())) return;
    this.#lose('it sent something that is not JSON-RPC');
    this.#socket.terminate();
  }

  #hear({ method, params }: Notice): void {
    if (method === 'state') this.emit('state', params);
    // An entry that is sent again, because more like it have come, is not printed twice.
    else if (method === 'event') {
      if (!params.again) this.emit('event', params.entry);
    } else if (method === 'prop.changed') this.#change(params);
  }

  #change(params: ChangeParams): void {
    // It may come before the answer to session.open, which then says the same.
    if (this.#opened) {
      const { version, prop, linkTimeoutMs, ...news } = params;
      const { file: _, ...opened } = this.#opened;
      const differs = news.pending === true || news.problem !== undefined;
      this.#opened = { ...opened, version, prop, linkTimeoutMs, ...(differs && { file: news }) };
    }
    this.emit('change', params);
  }

  /**
   * Counts checks without life instead of comparing times: when this process itself was late,
   * one check falls due, then the frames that arrived meanwhile are read.
   */
  #superviseLink(): void {
    this.#missed = 0;
    const check = () => {
      // It may change with the prop file.
      const { linkTimeoutMs } = this.opened;
      if (++this.#missed > 2 * CHECKS_PER_TIMEOUT) {
        this.#lose(`the daemon was silent for ${2 * linkTimeoutMs} ms`);
        this.#socket.terminate();
      } else this.#stopWatching = this.#clock.after(linkTimeoutMs / CHECKS_PER_TIMEOUT, check);
    };
    check();
  }

  #lose(reason: string): void {
    if (this.#lost) return;
    this.#lost = new LinkLost(reason);
    this.#stopWatching();
    this.#rpc.end(this.#lost);
    this.emit('close', reason);
  }
}

function opening(socket: WebSocket, where: string): Promise<void> {
  return new Promise((resolve, reject) => {
    socket.once('open', resolve);
    socket.once('error', (error: NodeJS.ErrnoException) => {
      reject(new Unreachable(`cannot reach the daemon at ${where}: ${connectReason(error)}`));
    });
    socket.once('unexpected-response', (request, response) => {
      const status = response.statusCode;
      const refused = status === 401 || status === 403;
      const reason = `the daemon at ${where} refused the connection (HTTP ${status})`;
      reject(
        refused
          ? new RpcError(CODES.notAuthorised, 'Not authorised', {
              code: 'origin.refused' satisfies RefusalCode,
              reason,
            })
          : new Unreachable(`what answers at ${where} is not sinewd (HTTP ${status})`),
      );
      request.destroy();
    });
  });
}

function connectReason(error: NodeJS.ErrnoException): string {
  if (error.code === 'ECONNREFUSED') return 'connection refused; is sinewd running there?';
  if (error.code === 'ENOTFOUND' || error.code === 'EAI_AGAIN') return 'no such host';
  return error.message || (error.code ?? 'no reason given');
}

/** Close codes as in RFC 6455, section 7.4.1. */
function closeReason(code: number, reason: string): string {
  if (reason) return `the daemon closed the link: ${reason}`;
  if (code === 1006) return 'the connection broke off';
  if (code === 1005 || code === 1000 || code === 1001) return 'the daemon closed the link';
  return `the daemon closed the link (code ${code})`;
}
