import { signal } from '@preact/signals';
import { type Notice, RpcClient, RpcError } from '../../api/client.ts';
import type { Method, Params, Result } from '../../api/methods.ts';
import { TOKEN_KEY, tabKept } from './kept.ts';
import { me } from './who.ts';

/** How the page stands to the daemon. */
type LinkState = 'connecting' | 'token' | 'open' | 'lost';

const RETRY_MS = 1000;
/** A link that has not come about in this time is tried again: the network may have changed. */
const CONNECT_WITHIN_MS = 4000;
const ROUND_TRIP_EVERY_MS = 1000;
const CHECK_EVERY_MS = 50;
/** Signs of life per link timeout, at most. */
const LIFE_PER_TIMEOUT = 10;

/** The link went while an answer was due. */
export class LinkGone extends Error {
  constructor() {
    super('the link is lost');
  }
}

export const linkState = signal<LinkState>('connecting');
/** Why the daemon does not let this page in, in words. */
export const tokenReason = signal('');
/** Round trip of the last small request (ms). */
export const roundTripMs = signal(Number.NaN);
export const linkTimeoutMs = signal(500);
/** Every place is taken: this page can stop and park, and is told little. */
export const stopOnly = signal(false);
let socket: WebSocket | undefined;
let rpc: RpcClient | undefined;
let lastFrameMs = 0;
let lastCheckMs = 0;
/** The time of the last state that came in (s), and when the daemon was last told of it (ms). */
let stateS = 0;
let lifeSentMs = Number.NEGATIVE_INFINITY;
let notify: (notice: Notice) => void = () => {};
let opened: (result: Opened) => void = () => {};

export type Opened = Result<'session.open'>;

/** @param onNotice told of every notification; @param onOpen told when a session begins */
export function startLink(
  onNotice: (notice: Notice) => void,
  onOpen: (result: Opened) => void,
): void {
  notify = onNotice;
  opened = onOpen;
  connect();
  setInterval(watchSilence, CHECK_EVERY_MS);
  setInterval(measureRoundTrip, ROUND_TRIP_EVERY_MS);
  document.addEventListener('visibilitychange', sendLife);
}

/** @throws RpcError, LinkGone */
export async function call<M extends Method>(method: M, params: Params<M>): Promise<Result<M>> {
  if (!rpc || socket?.readyState !== WebSocket.OPEN) throw new LinkGone();
  return rpc.call(method, params);
}

/** Remembers the token for this tab, and tries it. */
export function useToken(token: string): void {
  tabKept.setItem(TOKEN_KEY, token);
  linkState.value = 'connecting';
  connect();
}

function connect(): void {
  const scheme = location.protocol === 'https:' ? 'wss' : 'ws';
  const mine = new WebSocket(`${scheme}://${location.host}/api`);
  socket = mine;
  rpc?.end(new LinkGone());
  rpc = new RpcClient((text) => mine.send(text), heard);
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

/** The code in the page's address, where it was opened by a link that lets a device in. */
let invite = /^#invite=([\w-]+)$/.exec(location.hash)?.[1];
// It works once: it need not stand in the address, nor in the history.
if (invite) history.replaceState(null, '', location.pathname);

async function open(): Promise<void> {
  const token = tabKept.getItem(TOKEN_KEY);
  const shown = token ?? invite;
  try {
    const result = await call('session.open', {
      client: me.peek(),
      ...(token && { token }),
      ...(invite && { invite }),
    });
    invite = undefined;
    if (result.token) tabKept.setItem(TOKEN_KEY, result.token);
    linkTimeoutMs.value = result.linkTimeoutMs;
    stopOnly.value = result.only !== undefined;
    lastFrameMs = performance.now();
    // First: no view may take what it knows from before for what holds now.
    opened(result);
    linkState.value = 'open';
  } catch (error) {
    if (!(error instanceof RpcError)) return;
    tokenReason.value = shown ? error.message : '';
    invite = undefined;
    linkState.value = 'token';
  }
}

function receive(text: string): void {
  lastFrameMs = performance.now();
  rpc?.receive(text);
}

function heard(notice: Notice): void {
  if (notice.method === 'state') heardState(notice.params.t);
  notify(notice);
}

/**
 * The daemon counts as this page's life what this script sends, and as a link that works both ways what
 * it says it has received. Sent with the frames, as timers of a hidden page come seldom.
 */
function heardState(t: number): void {
  stateS = t;
  if (performance.now() - lifeSentMs >= linkTimeoutMs.value / LIFE_PER_TIMEOUT) sendLife();
}

function sendLife(): void {
  if (socket?.readyState !== WebSocket.OPEN || linkState.value !== 'open') return;
  lifeSentMs = performance.now();
  rpc?.notify('session.life', { t: stateS, hidden: document.hidden });
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
  rpc?.end(new LinkGone());
  rpc = undefined;
  roundTripMs.value = Number.NaN;
  // While a token is asked for, nothing is tried until one is typed.
  if (linkState.value === 'token') return;
  linkState.value = 'lost';
  setTimeout(() => {
    if (!socket) connect();
  }, RETRY_MS);
}

/** Opens the link again, under the name that this page has now. */
export function reconnect(): void {
  socket?.close();
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
