import { checkParams, methodNamed } from '../api/check.ts';
import {
  BATCH_LIMIT,
  FRAME_LIMIT_BYTES,
  PENDING_LIMIT,
  REFUSED_PARSE_LIMIT_BYTES,
  WRONG_TOKEN_DELAY_MS,
} from '../api/limits.ts';
import type { MethodRecord } from '../api/method.ts';
import { METHODS, type MethodBy, type Params, type Result } from '../api/methods.ts';
import { openRpcDocument, PROTOCOL } from '../api/openrpc.ts';
import type { ToGateway } from '../core/requests.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { isLoopback } from '../shared/loopback.ts';
import { MAX_SESSIONS } from '../shared/telemetry.ts';
import type { CoreLink } from './core-link.ts';
import type { Invites } from './invites.ts';
import type { JournalCopy } from './journal.ts';
import {
  answer,
  type Entry,
  type Id,
  type Message,
  notification,
  type Outcome,
  parseMessage,
  type Request,
  response,
} from './jsonrpc.ts';
import type { Lists } from './lists.ts';
import type { Log } from './log.ts';
import type { Notices } from './notices.ts';
import { pageAddresses } from './origin.ts';
import type { ServiceLink } from './service-link.ts';
import { CLOSE, type Session } from './sessions.ts';
import type { StateFeed, View } from './state.ts';
import { tokenMatches } from './token.ts';

type OwnMethod = MethodBy<'gateway'>;
type Own<M extends OwnMethod> = (
  session: Session,
  params: Params<M>,
) => Result<M> | Promise<Result<M>>;
type KnownMethod = MethodBy<'view'>;
type Known<M extends KnownMethod> = (
  params: Params<M>,
  session: Session,
) => string | Promise<string | Outcome>;

/** The traffic, for the metrics. */
export interface Traffic {
  frames: number;
  /** Error answers by code. */
  refused: Map<number, number>;
}

interface Parts {
  view: View;
  feed: StateFeed;
  core: CoreLink;
  service: ServiceLink;
  lists: Lists;
  journal: JournalCopy;
  notices: Notices;
  invites: Invites;
  /** Gives a session that has shown the token its place. @throws Refusal where there is none */
  place: (session: Session) => void;
  /** The port that the page is served at. */
  listeningAt: () => number;
  /** A session tells that it has received the state of that time (s). */
  heardState: (session: Session, tS: number) => void;
  clock: Clock;
  log: Log;
}

/** From a frame to its answer: limits, JSON-RPC, the methods of the gateway, the way to the core. */
export class Dispatcher {
  readonly traffic: Traffic = { frames: 0, refused: new Map() };
  readonly #parts: Parts;
  readonly #journalFollowers = new Set<Session>();
  /** Sessions that have shown the token itself. */
  readonly #mayInvite = new WeakSet<Session>();

  constructor(parts: Parts) {
    this.#parts = parts;
  }

  async frame(session: Session, data: Buffer, isBinary: boolean): Promise<void> {
    this.traffic.frames++;
    if (session.refused) return;
    if (!session.admit(1)) return this.#tooOften(session, 1, idsOf(data, isBinary));
    if (data.length > FRAME_LIMIT_BYTES) {
      const reason = `a frame of ${data.length} bytes; at most ${FRAME_LIMIT_BYTES} are read`;
      const values = { bytes: data.length, limitBytes: FRAME_LIMIT_BYTES };
      this.#refuse(session, null, new Refusal('request.too-large', reason, values));
      session.close(CLOSE.messageTooBig, 'frame over 64 KiB');
      return;
    }
    if (isBinary) {
      const reason = 'a binary frame; send JSON-RPC 2.0 as text frames';
      this.#refuse(session, null, new Refusal('request.binary', reason, { bytes: data.length }));
      return;
    }

    const message = parseMessage(data.toString(), BATCH_LIMIT);
    const more = message.entries.length - 1;
    if (more > 0 && !session.admit(more)) return this.#tooOften(session, more, [null]);
    for (const entry of message.entries) {
      if ('refused' in entry) this.#count(entry.refused.code);
    }
    const text = await answer(message, (request) => this.#call(session, request));
    if (text !== undefined) session.send(text);
    if (session.refused) session.close(CLOSE.policyViolation, 'not authorised');
  }

  /** A session that is gone follows nothing and waits for nothing. */
  ended(session: Session): void {
    this.#parts.feed.unfollow(session);
    this.#journalFollowers.delete(session);
    this.#parts.view.asks.delete(session.id);
    this.#parts.core.forget(session.id);
    this.#parts.service.forget(session.id);
  }

  /** Passes a journal entry to those who asked for it. */
  event({ entry, again }: Extract<ToGateway, { t: 'event' }>): void {
    if (this.#journalFollowers.size === 0) return;
    const text = notification('event', { entry, ...(again && { again }) });
    for (const session of [...this.#journalFollowers]) session.send(text);
  }

  #refuse(session: Session, id: Id, refusal: Refusal): void {
    this.#count(refusal.code);
    session.send(response(id, { error: refusal.toObject() }));
  }

  #count(code: number): void {
    this.traffic.refused.set(code, (this.traffic.refused.get(code) ?? 0) + 1);
  }

  #tooOften(session: Session, count: number, ids: Id[]): void {
    const retryMs = session.retryMs(count);
    const reason = `too many requests from this session; try again in ${retryMs} ms`;
    for (const id of ids)
      this.#refuse(session, id, new Refusal('request.too-many', reason, { retryMs }));
    if (session.countRefusals(count)) session.close(CLOSE.policyViolation, 'flood of requests');
  }

  async #call(session: Session, request: Request): Promise<Outcome> {
    let outcome: Outcome;
    try {
      outcome = await this.#carryOut(session, request);
    } catch (error) {
      if (!(error instanceof Refusal)) {
        this.#parts.log.error({ err: error, method: request.method }, 'a method failed');
      }
      const refusal =
        error instanceof Refusal
          ? error
          : new Refusal(
              'daemon.fault',
              'the gateway failed to carry this out; its log has the cause',
            );
      outcome = { error: refusal.toObject() };
    }
    if ('error' in outcome) this.#count(outcome.error.code);
    return outcome;
  }

  async #carryOut(session: Session, { method, params }: Request): Promise<Outcome> {
    if (session.ended || session.refused) {
      throw new Refusal('session.ended', 'the session has ended');
    }
    if (session.client === null && method !== 'session.open') {
      throw new Refusal('session.not-open', 'session.open must be the first call of a session');
    }
    if (session.stopOnly && !isForStopOnly(method))
      throw new Refusal(
        'session.stop-only',
        `the ${MAX_SESSIONS} places are taken: this session may only stop and park; close another one, then open this again`,
        { only: STOP_ONLY },
      );
    const name = methodNamed(method);
    const record: MethodRecord = METHODS[name];
    const checked = checkParams(name, params);
    if (record.local) this.#mustBeLoopback(name);
    switch (record.by) {
      case 'gateway': {
        const own = this.#own[name as OwnMethod] as Own<never>;
        return { result: await own(session, checked as never) };
      }
      case 'view': {
        // A client that does not wait for its answers is still told what they have begun.
        if (session.pending > 0) {
          await this.#parts.core.fence(session.id);
          this.#parts.view.answered();
        }
        const known = this.#known[name as KnownMethod] as Known<never>;
        const made = await known(checked as never, session);
        return typeof made === 'string' ? { text: made } : made;
      }
      case 'service':
        return this.#parts.service.ask(
          session.id,
          name as MethodBy<'service'>,
          checked,
          this.#parts.view.weakWires,
        );
      case 'core':
        return this.#ofCore(session, name as MethodBy<'core'>, checked);
    }
  }

  async #ofCore(session: Session, method: MethodBy<'core'>, params: object): Promise<Outcome> {
    if (session.pending >= PENDING_LIMIT) {
      throw new Refusal(
        'request.unanswered',
        `${PENDING_LIMIT} calls of this session are not answered yet; wait for their answers`,
        { pending: session.pending, limit: PENDING_LIMIT },
      );
    }
    session.pending++;
    try {
      const outcome = await this.#parts.core.call(session.id, method, params);
      if ('text' in outcome) this.#parts.view.answered();
      return outcome;
    } finally {
      session.pending--;
    }
  }

  /** Simulated inputs are for tests on this machine, never for the network. */
  #mustBeLoopback(method: string): void {
    const { host } = this.#parts.view.start;
    if (isLoopback(host)) return;
    throw new Refusal(
      'sim.not-local',
      `${method} works only while the daemon listens on this machine alone, and it listens on ${host}; start it with --listen 127.0.0.1:7420`,
      { host },
    );
  }

  readonly #own: { [M in OwnMethod]: Own<M> } = {
    'session.open': (session, params) => this.#open(session, params),
    'token.invite': (session, { forS }) => this.#invite(session, forS),
    'state.follow': (session, { hz, journal }) => {
      this.#parts.feed.follow(session, hz);
      if (journal) this.#journalFollowers.add(session);
      else this.#journalFollowers.delete(session);
      return { hz };
    },
    'lease.ask': ({ id, client }, { wanted }) => {
      const { asks } = this.#parts.view;
      asks.delete(id);
      if (wanted && client !== null) asks.set(id, client);
      return { asks: [...new Set(asks.values())] };
    },
    'state.unfollow': (session) => {
      this.#parts.feed.unfollow(session);
      this.#journalFollowers.delete(session);
      return { hz: 0 };
    },
    'session.life': (session, { t, hidden }) => {
      if (hidden !== undefined) session.hidden = hidden;
      if (t !== undefined) this.#parts.heardState(session, t);
      else this.#parts.view.refresh();
      return { t: this.#parts.view.tS };
    },
    'rpc.discover': () => openRpcDocument(),
  };

  /** What the gateway knows as well as the core does; the results are JSON. */
  readonly #known: { [M in KnownMethod]: Known<M> } = {
    'channel.list': () => this.#parts.lists.channels(),
    'cue.list': () => this.#parts.lists.cues(),
    'board.list': () => this.#parts.lists.boards(),
    'sense.list': () => this.#parts.lists.senses(),
    'journal.read': ({ since, limit, ...more }, session) => {
      // The newest are at hand; what is searched for, or older, is on the disk.
      const isPlain = Object.values(more).every((value) => value === undefined);
      if (isPlain) return this.#parts.journal.read({ since, limit });
      return this.#parts.service.ask(session.id, 'journal.read', { since, limit, ...more });
    },
  };

  async #open(
    session: Session,
    { token, invite, client }: Params<'session.open'>,
  ): Promise<Result<'session.open'>> {
    const { view, core, notices, log, clock } = this.#parts;
    const { tokenHash } = view.start;
    if (session.client !== null) {
      throw new Refusal(
        'session.already-open',
        `this session is open already, as ${session.client}`,
      );
    }
    let ownToken: string | undefined;
    try {
      ownToken = tokenHash === null ? undefined : this.#admit(session, tokenHash, token, invite);
    } catch (refusal) {
      session.refused = true;
      session.stopOpenTimer();
      log.warn({ session: session.id, client }, 'session refused: wrong or no token');
      await new Promise<void>((resume) => clock.after(WRONG_TOKEN_DELAY_MS, resume));
      throw refusal;
    }
    this.#parts.place(session);
    session.stopOpenTimer();
    session.client = client;
    core.post({ t: 'open', session: session.id, slot: session.slot, client });
    log.info({ session: session.id, client }, 'session opened');
    view.refresh();
    const { name, linkTimeoutMs, version } = view.prop;
    const file = notices.news();
    return {
      session: session.id,
      condition: view.condition,
      ...(view.notParked !== undefined && { notParked: view.notParked }),
      prop: name,
      protocol: PROTOCOL,
      linkTimeoutMs,
      version,
      ...(session.stopOnly && { only: STOP_ONLY }),
      ...(ownToken !== undefined && { token: ownToken }),
      ...(file && { file }),
    };
  }

  /**
   * Looks at what a client shows of itself.
   * @returns the token of its own that it gets for an invite
   * @throws Refusal `token.missing`, `token.wrong`, `invite.void`
   */
  #admit(
    session: Session,
    tokenHash: Uint8Array,
    token: string | undefined,
    invite: string | undefined,
  ): string | undefined {
    if (token !== undefined && tokenMatches(token, tokenHash)) {
      this.#mayInvite.add(session);
      return undefined;
    }
    if (token !== undefined && this.#parts.invites.knows(token)) return undefined;
    if (invite !== undefined) return this.#parts.invites.use(invite);
    throw token === undefined
      ? new Refusal(
          'token.missing',
          'this daemon asks for a token; give the content of its token file as "token"',
        )
      : new Refusal(
          'token.wrong',
          'wrong token; give the content of the daemon\'s token file as "token"',
        );
  }

  #invite(session: Session, forS: number): Result<'token.invite'> {
    const { start } = this.#parts.view;
    if (start.tokenHash === null)
      throw new Refusal(
        'invite.no-token',
        'this daemon asks for no token; other devices reach it where it is started with --listen and --token-file',
      );
    if (!this.#mayInvite.has(session))
      throw new Refusal(
        'invite.not-yours',
        'this device was let in by a link itself; whoever has the token makes the next one',
      );
    const code = this.#parts.invites.make(forS);
    this.#parts.log.info({ session: session.id, client: session.client }, 'invited a device');
    const links = pageAddresses(start.host, this.#parts.listeningAt()).map(
      (page) => `${page}#invite=${code}`,
    );
    return { links, expiresInS: forS };
  }
}

/** What a session may ask for that came when every place was taken. */
const STOP_ONLY = ['stop', 'park'] as const;
const isForStopOnly = (method: string) =>
  method.startsWith('session.') || (STOP_ONLY as readonly string[]).includes(method);

/** The ids to refuse in a frame that is not carried out; large frames are not parsed for them. */
function idsOf(data: Buffer, isBinary: boolean): Id[] {
  if (isBinary || data.length > REFUSED_PARSE_LIMIT_BYTES) return [null];
  const message: Message = parseMessage(data.toString(), BATCH_LIMIT);
  if (message.batch) return [null];
  const idOf = (entry: Entry) => ('refused' in entry ? entry.id : entry.request.id);
  // A notification is not answered, not even with a refusal (4.1).
  return message.entries.map(idOf).filter((id) => id !== undefined);
}
