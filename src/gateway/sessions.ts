import { randomUUID } from 'node:crypto';
import type { Duplex } from 'node:stream';
import type { RawData, WebSocket } from 'ws';
import {
  BUFFER_LIMIT_BYTES,
  CLOSE_GRACE_MS,
  FLOOD_REFUSALS,
  FLOOD_WINDOW_MS,
  MIN_SILENCE_MS,
  OPEN_WITHIN_MS,
  PINGS_PER_TIMEOUT,
  REQUESTS_BURST,
  REQUESTS_PER_S,
  STOP_PLACE_MS,
  STOP_PLACES,
} from '../api/limits.ts';
import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { MAX_SESSIONS, type Telemetry } from '../shared/telemetry.ts';
import type { Log } from './log.ts';

/** Status codes of RFC 6455, section 7.4.1, and of IANA's registry (1013). */
export const CLOSE = {
  goingAway: 1001,
  policyViolation: 1008,
  messageTooBig: 1009,
  tryAgainLater: 1013,
} as const;

interface SessionEvents {
  frame(session: Session, data: Buffer, isBinary: boolean): void;
  /** Called once, as soon as the session may no longer command. */
  ended(session: Session, why: string): void;
  /** Whether something moves, or a cue runs. */
  moves(): boolean;
}

/** `slot` of a session that has no place: it can have no lease. */
const NO_SLOT = -1;

/** One WebSocket connection. */
export class Session {
  readonly id = randomUUID();
  /** Its place in the shared signs of life, once it is open. */
  slot = NO_SLOT;
  /** It came when every place was taken: it may only stop and park. */
  stopOnly = false;
  /** A browser's: it answers pings by itself while the page's script hangs, so that they say little. */
  readonly ofPage: boolean;
  /** It tells what it has received by `session.life`: then pongs no longer say so. */
  reportsLife = false;
  /** Its page is out of sight. */
  hidden = false;
  /** When the last frame was sent that it has shown to have received (ms, or s of the state for a page). */
  receivedAt = Number.NEGATIVE_INFINITY;
  /** Name of the client once `session.open` has succeeded. */
  client: string | null = null;
  /** A wrong token was given: nothing more from it is read. */
  refused = false;
  /** Calls that the core has not answered yet. */
  pending = 0;
  lastHeardMs: number;
  ended = false;
  readonly #socket: WebSocket;
  /** The connection under it. */
  readonly stream: Duplex;
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
    ofPage: boolean,
    clock: Clock,
    events: SessionEvents,
  ) {
    this.ofPage = ofPage;
    this.#socket = socket;
    this.stream = stream;
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
    this.stream.cork();
    setImmediate(() => {
      this.#gathering = false;
      this.stream.uncork();
    });
  }

  ping(): void {
    if (this.ended || this.#tooSlow()) return;
    // It comes back with the pong (RFC 6455, 5.5.3) and tells how old what is answered is.
    this.#socket.ping(String(this.#clock.nowMs()));
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

  /** Marks the session as ended; the socket is closed elsewhere. */
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
  /** Every connection, open as a session or not. */
  readonly #all = new Set<Session>();
  /** By slot. A slot is given when the session opens, and free again when its socket is closed. */
  readonly #slots: (Session | null)[] = Array.from({ length: MAX_SESSIONS }, () => null);
  /** Those that may only stop and park, and since when (ms). */
  readonly #reserved = new Map<Session, number>();
  #pingPeriodMs = 0;
  #silenceMs = 0;
  #linkTimeoutMs = 0;
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

  /** Pings use another link timeout from now on. */
  useLinkTimeout(linkTimeoutMs: number): void {
    this.#cancelPing();
    this.#linkTimeoutMs = linkTimeoutMs;
    this.#pingPeriodMs = linkTimeoutMs / PINGS_PER_TIMEOUT;
    this.#silenceMs = Math.max(linkTimeoutMs, MIN_SILENCE_MS);
    this.#pingDueMs = this.#clock.nowMs() + this.#pingPeriodMs;
    this.#armPing();
  }

  /** Sends a notification to every session that is open. */
  notifyAll(text: string): void {
    for (const session of [...this.#all]) if (session.client !== null) session.send(text);
  }

  /** Sessions that are open. */
  get count(): number {
    return this.#slots.filter((session) => session !== null).length + this.#reserved.size;
  }

  byId(id: string): Session | undefined {
    for (const session of this.#all) if (session.id === id) return session;
    return undefined;
  }

  /**
   * Gives a session that has shown the token its place; one of those for stop and park where all others
   * are taken. @throws Refusal `tooMany` where even these are
   */
  place(session: Session): void {
    const slot = this.#slots.indexOf(null);
    if (slot >= 0) {
      session.slot = slot;
      this.#slots[slot] = session;
      return;
    }
    const nowMs = this.#clock.nowMs();
    if (this.#reserved.size >= STOP_PLACES) {
      const [oldest, sinceMs] = this.#reserved.entries().next().value!;
      if (nowMs - sinceMs < STOP_PLACE_MS)
        throw new Refusal(
          'session.no-place',
          `all ${MAX_SESSIONS} sessions are taken, and those for stop and park as well; try again in ${STOP_PLACE_MS / 1000} s`,
          { sessions: MAX_SESSIONS, retryMs: STOP_PLACE_MS },
        );
      this.#reserved.delete(oldest);
      oldest.close(CLOSE.tryAgainLater, 'its place for stop and park goes to another session');
    }
    session.stopOnly = true;
    this.#reserved.set(session, nowMs);
    this.#log.warn({ session: session.id }, 'every place is taken: it may stop and park alone');
  }

  /** Takes on a new connection; it gets its place when it opens its session. */
  accept(socket: WebSocket, stream: Duplex, from: string, ofPage: boolean): void {
    if (this.#closed) {
      socket.terminate();
      return;
    }
    const session = new Session(socket, stream, ofPage, this.#clock, this.#events);
    this.#all.add(session);
    this.#log.debug({ session: session.id, from }, 'connected');

    const heard = (byScript: boolean) => {
      if (session.ended) return;
      session.lastHeardMs = this.#clock.nowMs();
      if (session.slot === NO_SLOT || (session.ofPage && !byScript)) return;
      // Nobody looks at a hidden page: what moves must not rely on it.
      if (session.hidden && this.#events.moves()) return;
      this.#telemetry.markSent(session.slot);
    };
    socket.on('message', (data: RawData, isBinary) => {
      // What still comes in after the end is not carried out.
      if (session.ended) return;
      heard(true);
      // With the default binaryType every message is one Buffer.
      this.#events.frame(session, data as Buffer, isBinary);
    });
    socket.on('ping', () => heard(false));
    socket.on('pong', (payload: Buffer) => {
      heard(false);
      if (!session.reportsLife)
        this.#received(session, Number(payload.toString() || Number.NaN), 1);
    });
    socket.on('error', (error) => {
      // ws answers a breach of the protocol with a close frame of its own (RFC 6455, 7.1.7).
      session.end(`connection error: ${error.message}`);
      hurry(socket, this.#clock);
    });
    socket.on('close', (code) => {
      this.#all.delete(session);
      this.#reserved.delete(session);
      if (session.slot !== NO_SLOT) this.#slots[session.slot] = null;
      session.end(code === 1006 ? 'connection broke' : `closed by the client (${code})`);
    });
  }

  /**
   * A page tells that it has received the state of the time `tS` (s); `nowS` is the present one.
   */
  heardState(session: Session, tS: number, nowS: number): void {
    if (!session.reportsLife) session.receivedAt = Number.NEGATIVE_INFINITY;
    session.reportsLife = true;
    this.#received(session, tS, 1000, nowS);
  }

  /** What was sent at `at` has come to the session: proof that it receives, unless that is long ago. */
  #received(session: Session, at: number, msPerUnit: number, now = this.#clock.nowMs()): void {
    // Each counts once, and none of the future.
    if (!(at > session.receivedAt && at <= now)) return;
    session.receivedAt = at;
    if (session.slot === NO_SLOT || session.ended) return;
    if ((now - at) * msPerUnit <= this.#linkTimeoutMs) this.#telemetry.markReceived(session.slot);
  }

  #armPing(): void {
    this.#cancelPing = this.#clock.after(this.#pingDueMs - this.#clock.nowMs(), () => {
      const nowMs = this.#clock.nowMs();
      this.#pingDueMs = Math.max(this.#pingDueMs + this.#pingPeriodMs, nowMs);
      this.#armPing();
      for (const session of [...this.#all]) {
        if (nowMs - session.lastHeardMs >= this.#silenceMs) session.cut('silent');
        else session.ping();
      }
    });
  }

  close(): void {
    this.#closed = true;
    this.#cancelPing();
    for (const session of [...this.#all]) session.close(CLOSE.goingAway, 'the daemon ends');
  }
}
