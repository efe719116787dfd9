import type { AddressInfo } from 'node:net';
import fastify, { type FastifyInstance } from 'fastify';
import {
  BEAT_MS,
  CONNECTIONS,
  CORE_STALL_MS,
  HEADERS_WITHIN_MS,
  REQUEST_WITHIN_MS,
  WRONG_TOKEN_DELAY_MS,
} from '../api/limits.ts';
import type { GatewayStart, ToGateway } from '../core/requests.ts';
import { type Clock, systemClock } from '../shared/clock.ts';
import { isLoopback } from '../shared/loopback.ts';
import { ShowDesk } from '../showpage/desk.ts';
import { StageHost } from '../showpage/host.ts';
import { showRoutes } from '../showpage/routes.ts';
import { causeOf } from './cause.ts';
import { CoreLink, type CorePort } from './core-link.ts';
import { Dispatcher } from './dispatch.ts';
import { E131Door } from './e131.ts';
import { Doors } from './http/doors.ts';
import { health } from './http/health.ts';
import { metrics } from './http/metrics.ts';
import { openrpc } from './http/openrpc.ts';
import { page } from './http/page.ts';
import { Pictures, picture } from './http/picture.ts';
import { setUpRoot } from './http/root.ts';
import { acceptUpgrades } from './http/upgrade.ts';
import { Invites } from './invites.ts';
import { JournalCopy } from './journal.ts';
import { Lists } from './lists.ts';
import { type Log, makeLog } from './log.ts';
import { Notices } from './notices.ts';
import { ownNames } from './origin.ts';
import { OscDoor } from './osc.ts';
import { ServiceLink } from './service-link.ts';
import { type Session, Sessions } from './sessions.ts';
import { StateFeed, View } from './state.ts';
import { tokenMatches } from './token.ts';

export interface Gateway {
  /** Settles when the gateway has ended: told to by the core, by `close`, or unable to listen. */
  readonly closed: Promise<void>;
  close(): Promise<void>;
}

/** For tests. */
interface GatewayOptions {
  clock?: Clock;
  log?: Log;
  /** The files of the show's page, and what starts its thread. */
  showFolder?: URL;
  spawnStage?: ConstructorParameters<typeof StageHost>[1];
}

function noSchemas(): never {
  throw new Error('no route has a schema');
}

/** Serves the API, the page, /health and /metrics; answers the core with `listening` or why not. */
export async function startGateway(
  start: GatewayStart,
  port: CorePort,
  options: GatewayOptions = {},
): Promise<Gateway> {
  const { clock = systemClock } = options;
  const view = new View(start, clock);
  const pictures = new Pictures();
  const journal = new JournalCopy();
  const service = new ServiceLink(start.service, clock, (message) => {
    if (message.t === 'picture') pictures.take(message);
    else for (const entry of message.entries) journal.takeOld(entry);
  });
  const log =
    options.log ??
    makeLog(start.logLevel, (level, values, text) => service.log(level, values, text));
  const core = new CoreLink(port);
  const feed = new StateFeed(view, clock);
  const lists = new Lists(view);
  const invites = new Invites(() => clock.nowMs());
  const notices = new Notices(view, (text) => sessions.notifyAll(text));
  const place = (session: Session) => {
    sessions.place(session);
    doors.letIn(session.stream);
  };
  const heardState = (session: Session, tS: number) => {
    view.refresh();
    sessions.heardState(session, tS, view.tS);
  };
  const listeningAt = () => (app.server.address() as AddressInfo).port;
  const parts = {
    listeningAt,
    ...{
      view,
      feed,
      core,
      service,
      lists,
      journal,
      notices,
      invites,
      place,
      heardState,
      clock,
      log,
    },
  };
  const dispatcher = new Dispatcher(parts);
  const sessions = new Sessions(view.prop.linkTimeoutMs, view.telemetry, clock, log, {
    frame(session, data, isBinary) {
      // Where the gateway gets little processor time, many requests at once take long: none of them hangs.
      view.telemetry.beatGateway();
      dispatcher.frame(session, data, isBinary).catch((error) => {
        log.error({ err: error, session: session.id }, 'a frame failed');
        session.cut('the gateway failed');
      });
    },
    moves: () => view.moves(),
    ended(session, why) {
      dispatcher.ended(session);
      if (session.client === null) return;
      core.post({ t: 'gone', session: session.id, why });
      log.info({ session: session.id, client: session.client, why }, 'session ended');
    },
  });
  const beat = startBeat(view, clock);

  const names = ownNames(start.host);
  const app = fastify({
    bodyLimit: 1024,
    connectionTimeout: 10_000,
    requestTimeout: REQUEST_WITHIN_MS,
    keepAliveTimeout: 5000,
    forceCloseConnections: true,
    // No route has a schema of fastify's: the usual compilers would be loaded without need.
    schemaController: {
      compilersFactory: { buildValidator: () => noSchemas, buildSerializer: () => noSchemas },
    },
    http: {
      headersTimeout: HEADERS_WITHIN_MS,
      connectionsCheckingInterval: 500,
      maxHeaderSize: 8192,
    },
  });
  app.server.maxConnections = CONNECTIONS;
  const doors = new Doors(app.server);
  setUpRoot(app, names, log);
  acceptUpgrades(app, sessions, names, log);
  app.register(health, { view, notices, coreStands: beat.coreStands });
  app.register(metrics, { view, sessions, traffic: dispatcher.traffic });
  app.register(openrpc);
  app.register(picture, { pictures });
  app.register(page, { folder: new URL('./page/', import.meta.url), clock });
  const stage = new StageHost(clock, options.spawnStage);
  const followShow = () => stage.follow(view.prop.show ?? undefined);
  followShow();
  const letIn = async (token: string) => {
    const { tokenHash } = start;
    if (tokenHash === null || tokenMatches(token, tokenHash) || invites.knows(token)) return true;
    log.warn({}, 'a page of the show refused: wrong or no token');
    await new Promise<void>((resume) => clock.after(WRONG_TOKEN_DELAY_MS, resume));
    return false;
  };
  app.register(
    async (show) => {
      const { showFolder = new URL('./show-page/', import.meta.url) } = options;
      show.register(page, { folder: showFolder, clock });
      show.register(showRoutes, {
        desk: new ShowDesk(stage, clock),
        letIn,
        shut: 'the token is missing or wrong; open this page by its link on the page of the prop',
      });
    },
    { prefix: '/show' },
  );

  const osc = new OscDoor(
    clock,
    log,
    {
      trigger: (address) => core.post({ t: 'osc', address }),
      performs: (address) => Object.hasOwn(view.prop.osc?.perform ?? {}, address),
      perform: (values) => core.post({ t: 'osc-perform', values }),
    },
    (problem) => {
      view.oscProblem = problem;
      notices.file();
    },
  );
  const desk = new E131Door(
    clock,
    log,
    (now) => core.post({ t: 'e131', ...now }),
    (problem) => {
      view.e131Problem = problem;
      notices.file();
    },
  );
  let resolveClosed: () => void = () => {};
  const closed = new Promise<void>((resolve) => {
    resolveClosed = resolve;
  });
  let closing: Promise<void> | undefined;
  const close = () => {
    closing ??= (async () => {
      beat.stop();
      feed.close();
      sessions.close();
      await Promise.all([app.close(), osc.close(), desk.close(), stage.close()]);
      service.close();
      resolveClosed();
    })();
    return closing;
  };

  port.on('message', (message: ToGateway) => {
    switch (message.t) {
      case 'done':
      case 'fail':
        return core.settle(message);
      case 'lost':
        return sessions.byId(message.session)?.cut('link lost');
      case 'holder':
        view.holder = message.holder;
        for (const [id, name] of view.asks) if (name === message.holder) view.asks.delete(id);
        return;
      case 'safety':
        view.safety = message.safety;
        return;
      case 'event':
        journal.take(message.entry, message.again);
        dispatcher.event(message);
        if (message.again) return;
        view.note(message.entry);
        notices.entry(message.entry);
        return;
      case 'entries':
        for (const entry of message.entries) {
          journal.take(entry);
          view.cause = causeOf(entry) ?? view.cause;
        }
        return;
      case 'running':
        view.running = message;
        return;
      case 'prop':
        view.replace(message.view, message.body);
        sessions.useLinkTimeout(view.prop.linkTimeoutMs);
        followShow();
        notices.adopted(message.changed);
        void osc.follow(view.prop.osc);
        void desk.follow(view.prop.e131 ?? null);
        return;
      case 'file':
        view.status = message.status;
        notices.file();
        return;
      case 'service':
        return service.use(message.port);
      case 'close':
        void close();
    }
  });

  try {
    const at = await listen(app, start);
    await Promise.all([osc.follow(view.prop.osc), desk.follow(view.prop.e131 ?? null)]);
    core.post({ t: 'listening', ...at });
  } catch (error) {
    core.post({ t: 'cannot-listen', reason: whyNotListening(error as Error, start) });
    await close();
  }
  return { closed, close };
}

/** The gateway's sign of life, and its watch on the core's. */
function startBeat(view: View, clock: Clock) {
  const { telemetry } = view;
  let coreBeat = telemetry.coreBeat;
  let movedMs = clock.nowMs();
  let stop = () => {};
  const beat = () => {
    telemetry.beatGateway();
    if (telemetry.coreBeat !== coreBeat) {
      coreBeat = telemetry.coreBeat;
      movedMs = clock.nowMs();
    }
    stop = clock.after(BEAT_MS, beat);
  };
  beat();
  return {
    stop: () => stop(),
    coreStands: () => telemetry.coreBeat === coreBeat && clock.nowMs() - movedMs > CORE_STALL_MS,
  };
}

async function listen(app: FastifyInstance, { host, port, tokenHash }: GatewayStart) {
  if (tokenHash === null && !isLoopback(host)) {
    throw new Error('an address that others can reach needs a token; give --token-file FILE');
  }
  await app.listen({ host, port });
  return { host, port: (app.server.address() as AddressInfo).port };
}

function whyNotListening(error: NodeJS.ErrnoException, { host, port }: GatewayStart): string {
  const where = `cannot listen on ${host}:${port}: `;
  switch (error.code) {
    case 'EADDRINUSE':
      return `${where}the port is in use, perhaps by another sinewd; end that program, or choose another port with --listen ${host}:PORT`;
    case 'EACCES':
      return `${where}not allowed; choose a port above 1023 with --listen ${host}:PORT`;
    case 'EADDRNOTAVAIL':
    case 'ENOTFOUND':
      return `${where}this machine has no such address; see "ip address" for those it has`;
    default:
      return where + error.message;
  }
}
