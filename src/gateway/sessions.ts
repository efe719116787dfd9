import { randomUUID } from 'node:crypto';
import type { Duplex } from 'node:stream';
import type { RawData, WebSocket } from 'ws';
import type { Clock } from '../shared/clock.ts';
import { MAX_SESSIONS, type Telemetry } from '../shared/telemetry.ts';
import { Bucket } from './bucket.ts';
import {
  BUFFER_LIMIT_BYTES,
  CLOSE_GRACE_MS,
  FLOOD_REFUSALS,
  FLOOD_WINDOW_MS,
  LEAST_SILENCE_MS,
  OPEN_WITHIN_MS,
  PINGS_PER_TIMEOUT,
  REQUESTS_BURST,
  REQUESTS_PER_S,
} from './limits.ts';
import type { Log } from './log.ts';

/** Status codes of RFC 6455, section 7.4.1, and of IANA's registry (1013). */
export const CLOSE = {
  goingAway: 1001,
  policyViolation: 1008,
  messageTooBig: 1009,
  tryAgainLater: 1013,
} as const;

export interface SessionEvents {
  frame(session: Session, data: Buffer, isBinary: boolean): void;
  /** Told once, as soon as the session may no longer command. */
  ended(session: Session, why: string): void;
}

/** One WebSocket connection that has a slot. */
export class Session {
  readonly id = randomUUID();
  readonly slot: number;
  /** Name of the client once `session.open` has succeeded. */
  client: string | null = null;
  /** A wrong token was given: nothing more is heard. */
  deaf = false;
  /** Calls that the core has not answered yet. */
  pending = 0;
  lastHeardMs: number;
  ended = false;
  readonly #socket: WebSocket;
  /** The connection under it. */
  readonly #stream: Duplex;
  #gathering = false;
  readonly #clock: Clock;
  readonly #events: SessionEvents;
  readonly #bucket: Bucket;
  #refusals = 0;
  #refusalsSinceMs = 0;
  readonly #cancelOpenTimer: () => void;

  constructor(
    socket: WebSocket,
    stream: Duplex,
    slot: number,
    clock: Clock,
    events: SessionEvents,
  ) {
    this.slot = slot;
    this.#socket = socket;
    this.#stream = stream;
    this.#clock = clock;
    this.#events = events;
    this.lastHeardMs = clock.nowMs();
    this.#bucket = new Bucket(REQUESTS_PER_S, REQUESTS_BURST, this.lastHeardMs);
    this.#cancelOpenTimer = clock.after(OPEN_WITHIN_MS, () => {
      const seconds = OPEN_WITHIN_MS / 1000;
      this.close(CLOSE.policyViolation, `session.open did not come within ${seconds} s`);
    });
  }

  /** The client has shown who it is, or has failed to: the time for it no longer runs. */
  stopOpenTimer(): void {
    this.#cancelOpenTimer();
  }

  /** Whether `count` more requests are within this session's rate. */
  admit(count: number): boolean {
    return this.#bucket.take(count, this.#clock.nowMs());
  }

  /** Time until `count` requests would be admitted (ms). */
  retryMs(count: number): number {
    return this.#bucket.waitMs(count);
  }

  /** Counts refusals for asking too often; true when they make a flood. */
  countRefusals(count: number): boolean {
    const nowMs = this.#clock.nowMs();
    if (nowMs - this.#refusalsSinceMs > FLOOD_WINDOW_MS) {
      this.#refusals = 0;
      this.#refusalsSinceMs = nowMs;
    }
    this.#refusals += count;
    return this.#refusals >= FLOOD_REFUSALS;
  }

  send(data: string | Buffer): void {
    if (this.ended || this.#tooSlow()) return;
    this.#gather();
    this.#socket.send(data, { binary: false });
  }

  /** What is sent in one turn of the event loop goes to the kernel in one call. */
  #gather(): void {
    if (this.#gathering) return;
    this.#gathering = true;
    this.#stream.cork();
    setImmediate(() => {
      this.#gathering = false;
      this.#stream.uncork();
    });
  }

  ping(): void {
    if (this.ended || this.#tooSlow()) return;
    this.#socket.ping();
  }

  #tooSlow(): boolean {
    if (this.#socket.bufferedAmount <= BUFFER_LIMIT_BYTES) return false;
    this.cut('slow reader: it does not read what it asked for');
    return true;
  }

  /** Ends the session with a closing handshake (RFC 6455, 7.1.2) that must not take long. */
  close(code: number, why: string): void {
    if (this.ended) return;
    this.end(why);
    this.#socket.close(code, why);
    hurry(this.#socket, this.#clock);
  }

  /** Ends the session at once, without a handshake. */
  cut(why: string): void {
    this.end(why);
    this.#socket.terminate();
  }

  /** Marks the session as ended; the socket is somebody else's care. */
  end(why: string): void {
    if (this.ended) return;
    this.ended = true;
    this.#cancelOpenTimer();
    this.#events.ended(this, why);
  }
}

/** Drops the connection where the other end does not finish a closing handshake in time. */
function hurry(socket: WebSocket, clock: Clock): void {
  const cancel = clock.after(CLOSE_GRACE_MS, () => socket.terminate());
  socket.once('close', cancel);
}

/** All sessions: slots, signs of life, and the search for the silent. */
export class Sessions {
  readonly #telemetry: Telemetry;
  readonly #clock: Clock;
  readonly #log: Log;
  readonly #events: SessionEvents;
  /** By slot. A slot is free again when its socket is closed. */
  readonly #slots: (Session | null)[] = Array.from({ length: MAX_SESSIONS }, () => null);
  #pingPeriodMs = 0;
  #silenceMs = 0;
  #pingDueMs: number;
  #cancelPing: () => void = () => {};
  #closed = false;

  constructor(
    linkTimeoutMs: number,
    telemetry: Telemetry,
    clock: Clock,
    log: Log,
    events: SessionEvents,
  ) {
    this.#telemetry = telemetry;
    this.#clock = clock;
    this.#log = log;
    this.#events = events;
    this.#pingDueMs = clock.nowMs();
    this.useLinkTimeout(linkTimeoutMs);
  }

  /** Pings go by another link timeout from now on. */
  useLinkTimeout(linkTimeoutMs: number): void {
    this.#cancelPing();
    this.#pingPeriodMs = linkTimeoutMs / PINGS_PER_TIMEOUT;
    this.#silenceMs = Math.max(linkTimeoutMs, LEAST_SILENCE_MS);
    this.#pingDueMs = this.#clock.nowMs() + this.#pingPeriodMs;
    this.#armPing();
  }

  /** Sends a notification to every session that is open. */
  tellAll(text: string): void {
    for (const session of this.#live()) if (session.client !== null) session.send(text);
  }

  /** Connections that have a slot. */
  get count(): number {
    return this.#live().length;
  }

  #live(): Session[] {
    return this.#slots.filter((session) => session !== null);
  }

  byId(id: string): Session | undefined {
    return this.#live().find((session) => session.id === id);
  }

  /** Gives a new connection a slot, or closes it where there is none. */
  accept(socket: WebSocket, stream: Duplex, from: string): void {
    if (this.#closed) {
      socket.terminate();
      return;
    }
    const slot = this.#slots.indexOf(null);
    if (slot < 0) {
      this.#log.warn({ from }, 'connection refused: all sessions are taken');
      socket.on('error', () => {});
      socket.close(CLOSE.tryAgainLater, `all ${MAX_SESSIONS} sessions are taken; try again later`);
      hurry(socket, this.#clock);
      return;
    }
    const session = new Session(socket, stream, slot, this.#clock, this.#events);
    this.#slots[slot] = session;
    this.#log.debug({ session: session.id, slot, from }, 'connected');

    const heard = () => {
      if (session.ended) return;
      session.lastHeardMs = this.#clock.nowMs();
      this.#telemetry.markLife(slot);
    };
    socket.on('message', (data: RawData, isBinary) => {
      // What still comes in after the end is not carried out.
      if (session.ended) return;
      heard();
      // With the default binaryType every message is one Buffer.
      this.#events.frame(session, data as Buffer, isBinary);
    });
    socket.on('ping', heard);
    socket.on('pong', heard);
    socket.on('error', (error) => {
      // ws answers a breach of the protocol with a close frame of its own (RFC 6455, 7.1.7).
      session.end(`connection error: ${error.message}`);
      hurry(socket, this.#clock);
    });
    socket.on('close', (code) => {
      this.#slots[slot] = null;
      session.end(code === 1006 ? 'connection broke' : `closed by the client (${code})`);
    });
  }

  #armPing(): void {
    this.#cancelPing = this.#clock.after(this.#pingDueMs - this.#clock.nowMs(), () => {
      const nowMs = this.#clock.nowMs();
      this.#pingDueMs = Math.max(this.#pingDueMs + this.#pingPeriodMs, nowMs);
      this.#armPing();
      for (const session of this.#live()) {
        if (nowMs - session.lastHeardMs >= this.#silenceMs) session.cut('silent');
        else session.ping();
      }
    });
  }

  close(): void {
    this.#closed = true;
    this.#cancelPing();
    for (const session of this.#live()) session.close(CLOSE.goingAway, 'the daemon ends');
  }
}
