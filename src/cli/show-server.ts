import fastify, { type FastifyInstance } from 'fastify';
import { page } from '../gateway/http/page.ts';
import { setUpRoot } from '../gateway/http/root.ts';
import { silent } from '../gateway/log.ts';
import { ownNames } from '../gateway/origin.ts';
import { hashToken, tokenMatches } from '../gateway/token.ts';
import { systemClock } from '../shared/clock.ts';
import { isLoopback } from '../shared/loopback.ts';
import type { Conductor } from '../show/conductor.ts';
import type { ShowControl } from '../show/show-file.ts';
import { ShowDesk } from '../showpage/desk.ts';
import { showRoutes } from '../showpage/routes.ts';
import { ConductedStage } from '../showpage/stage.ts';

interface ShowPageOptions {
  host: string;
  port: number;
  /** What pages must know; needed where others can reach the address. */
  token: string | undefined;
  control: ShowControl;
  conductor: Conductor;
  /** Why the broker is away; undefined where it is there. */
  brokerProblem: () => string | undefined;
  /** The files of the page. */
  folder: URL;
}

/**
 * Serves the show's page.
 * @returns the server, listening
 * @throws Error where the address is not available, or others can reach it and there is no token
 */
export async function serveShowPage(options: ShowPageOptions): Promise<FastifyInstance> {
  const { host, port, token, conductor, control, folder } = options;
  if (token === undefined && !isLoopback(host))
    throw new Error('an address that others can reach needs a token; give --page-token FILE');
  const hash = token === undefined ? undefined : hashToken(token);
  const stage = new ConductedStage({
    conductor,
    control: () => control,
    brokerProblem: options.brokerProblem,
    user: control.broker.username ?? 'this page',
  });
  stage.control(false);
  const app = fastify({ bodyLimit: 4096, requestTimeout: 5000, forceCloseConnections: true });
  app.server.maxConnections = 64;
  setUpRoot(app, ownNames(host), silent, 'there is nothing here; the page of the show is at /');
  app.register(page, { folder, clock: systemClock });
  app.register(showRoutes, {
    desk: new ShowDesk(stage, systemClock),
    letIn: (given) => hash === undefined || tokenMatches(given, hash),
    shut: 'the token is missing or wrong; open the address that sinew show serve prints',
  });
  await app.listen({ host, port });
  return app;
}
