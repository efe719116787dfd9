import { signal } from '@preact/signals';
import type { FileNews } from '../../api/types.ts';
import type { ErrorObject } from '../../shared/errors.ts';

/** How the page stands to the daemon. */
export type LinkState = 'connecting' | 'token' | 'open' | 'lost';

const TOKEN_KEY = 'sinew-token';
const RETRY_MS = 1000;
/** A link that has not come about in this time is tried again: the network may have changed. */
const CONNECT_WITHIN_MS = 4000;
const ROUND_TRIP_EVERY_MS = 1000;
const CHECK_EVERY_MS = 50;
/** Signs of life per link timeout, at most. */
const LIFE_PER_TIMEOUT = 10;

/** A request that the daemon refused: the reason is a sentence for a person. */
export class Refused extends Error {
  readonly code: number;
  readonly data: Record<string, unknown>;

  constructor(error: ErrorObject) {
    super(error.data?.reason ?? error.message);
    this.code = error.code;
    this.data = error.data ?? {};
  }
}

/** The link went while an answer was due. */
export class LinkGone extends Error {
  constructor() {
    super('the link is lost');
  }
}

interface Waiting {
  resolve: (result: never) => void;
  reject: (error: Error) => void;
}

export const linkState = signal<LinkState>('connecting');
/** Why the daemon does not let this page in, in words. */
export const tokenReason = signal('');
/** Round trip of the last small request (ms). */
export const roundTripMs = signal(Number.NaN);
export const linkTimeoutMs = signal(500);
/** Every place is taken: this page can stop and park, and is told little. */
export const stopOnly = signal(false);
/**
 * Who this page is, as others see it. Not kept: a page opened from this one would inherit what is
 * kept for the tab, and take this one's control for its own.
 */
export const clientName = `page ${Math.floor(Math.random() * 9000 + 1000)}`;

let socket: WebSocket | undefined;
let waiting = new Map<number, Waiting>();
let nextId = 1;
let lastFrameMs = 0;
let lastCheckMs = 0;
/** The time of the last state that came in (s), and when the daemon was last told of it (ms). */
let stateS = 0;
let toldMs = Number.NEGATIVE_INFINITY;
let notify: (method: string, params: never) => void = () => {};
let opened: (result: OpenResult) => void = () => {};

export interface OpenResult {
  session: string;
  condition: string;
  /** At rest, but not parked: why. */
  notParked?: string;
  prop: string;
  linkTimeoutMs: number;
  /** Version of the prop file that is in force. */
  version: string;
  /** Every place is taken: this page may call these alone. */
  only?: readonly string[];
  /** How the file on the disk stands to it, where it is another one. */
  file?: FileNews;
}

/** @param onNotice told of every notification; @param onOpen told when a session begins */
export function startLink(
  onNotice: (method: string, params: never) => void,
  onOpen: (result: OpenResult) => void,
): void {
  notify = onNotice;
  opened = onOpen;
  connect();
  setInterval(watchSilence, CHECK_EVERY_MS);
  setInterval(measureRoundTrip, ROUND_TRIP_EVERY_MS);
  document.addEventListener('visibilitychange', tellLife);
}

/** @throws Refused, LinkGone */
export function call<T = Record<string, unknown>>(method: string, params: object = {}): Promise<T> {
  return new Promise((resolve, reject) => {
    if (socket?.readyState !== WebSocket.OPEN) {
      reject(new LinkGone());
      return;
    }
    const id = nextId++;
    waiting.set(id, { resolve, reject });
    socket.send(JSON.stringify({ jsonrpc: '2.0', id, method, params }));
  });
}

/** Remembers the token for this tab, and tries it. */
export function useToken(token: string): void {
  sessionStorage.setItem(TOKEN_KEY, token);
  linkState.value = 'connecting';
  connect();
}

function connect(): void {
  const scheme = location.protocol === 'https:' ? 'wss' : 'ws';
  const mine = new WebSocket(`${scheme}://${location.host}/api`);
  socket = mine;
  mine.onmessage = (event) => {
    if (mine === socket) receive(String(event.data));
  };
  mine.onclose = () => {
    if (mine === socket) drop();
  };
  mine.onopen = () => void open();
  setTimeout(() => {
    if (mine === socket && linkState.value !== 'open') drop();
  }, CONNECT_WITHIN_MS);
}

async function open(): Promise<void> {
  const token = sessionStorage.getItem(TOKEN_KEY);
  try {
    const result = await call<OpenResult>('session.open', {
      client: clientName,
      ...(token && { token }),
    });
    linkTimeoutMs.value = result.linkTimeoutMs;
    stopOnly.value = result.only !== undefined;
    lastFrameMs = performance.now();
    // First: no view may take what it knows from before for what holds now.
    opened(result);
    linkState.value = 'open';
  } catch (error) {
    if (!(error instanceof Refused)) return;
    tokenReason.value = token ? error.message : '';
    linkState.value = 'token';
  }
}

function receive(text: string): void {
  lastFrameMs = performance.now();
  const message = JSON.parse(text);
  if (message.method) {
    if (message.method === 'state') heardState(message.params.t);
    notify(message.method, message.params as never);
    return;
  }
  const answered = waiting.get(message.id);
  if (!answered) return;
  waiting.delete(message.id);
  if (message.error) answered.reject(new Refused(message.error));
  else answered.resolve(message.result as never);
}

/**
 * The daemon counts as this page's life what this script sends, and as a link that works both ways what
 * it says it has received. Told with the frames, as timers of a hidden page come seldom.
 */
function heardState(t: number): void {
  stateS = t;
  if (performance.now() - toldMs >= linkTimeoutMs.value / LIFE_PER_TIMEOUT) tellLife();
}

function tellLife(): void {
  if (socket?.readyState !== WebSocket.OPEN || linkState.value !== 'open') return;
  toldMs = performance.now();
  const params = { t: stateS, hidden: document.hidden };
  socket.send(JSON.stringify({ jsonrpc: '2.0', method: 'session.life', params }));
}

/** State frames come many times a second: silence means that the link is gone, whatever TCP says. */
function watchSilence(): void {
  const nowMs = performance.now();
  const late = nowMs - lastCheckMs > 2 * CHECK_EVERY_MS;
  lastCheckMs = nowMs;
  // A page that was held up itself has frames waiting: it looks again once they are read.
  if (late || linkState.value !== 'open') return;
  const silenceMs = stopOnly.value ? 3 * ROUND_TRIP_EVERY_MS : linkTimeoutMs.value;
  if (nowMs - lastFrameMs > silenceMs) drop();
}

function drop(): void {
  const gone = socket;
  socket = undefined;
  gone?.close();
  for (const { reject } of waiting.values()) reject(new LinkGone());
  waiting = new Map();
  roundTripMs.value = Number.NaN;
  // While a token is asked for, nothing is tried until one is typed.
  if (linkState.value === 'token') return;
  linkState.value = 'lost';
  setTimeout(() => {
    if (!socket) connect();
  }, RETRY_MS);
}

async function measureRoundTrip(): Promise<void> {
  if (linkState.value !== 'open') return;
  const startMs = performance.now();
  try {
    await call('journal.read', { since: Number.MAX_SAFE_INTEGER, limit: 1 });
    roundTripMs.value = performance.now() - startMs;
  } catch {
    // A link that is lost says so by itself.
  }
}
