import type { FastifyError, FastifyInstance } from 'fastify';
import type { Log } from '../log.ts';
import { refuseRequest } from '../origin.ts';

/** The page loads nothing from elsewhere, and no page elsewhere may frame it or read from here. */
const HEADERS = {
  'content-security-policy': [
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' data:",
    "connect-src 'self'",
    "base-uri 'none'",
    "form-action 'none'",
    "frame-ancestors 'none'",
  ].join('; '),
  'cross-origin-opener-policy': 'same-origin',
  'cross-origin-resource-policy': 'same-origin',
  'referrer-policy': 'no-referrer',
  'x-content-type-options': 'nosniff',
};

/** What holds for every route: headers, the check of Host and Origin, and errors as JSON. */
export function setUpRoot(
  app: FastifyInstance,
  names: Set<string>,
  log: Log,
  nothing = 'there is nothing here; the bench page is at /, the API at /api',
): void {
  app.addHook('onRequest', async (request, reply) => {
    reply.headers(HEADERS);
    const refused = refuseRequest(request.headers, names, request.raw.rawHeaders);
    if (!refused) return;
    log.warn({ from: request.ip, reason: refused.reason }, 'request refused');
    return reply.code(refused.status).send({ error: refused.reason });
  });

  app.setNotFoundHandler(async (_request, reply) => {
    reply.code(404);
    return { error: nothing };
  });

  app.setErrorHandler(async (error: FastifyError, request, reply) => {
    const status = error.statusCode ?? 500;
    reply.code(status);
    if (status < 500) return { error: error.message };
    log.error({ err: error, path: request.url }, 'a request failed');
    return { error: 'the daemon failed to answer this; its log has the cause' };
  });
}
