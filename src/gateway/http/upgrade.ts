import { type IncomingMessage, STATUS_CODES } from 'node:http';
import type { Duplex } from 'node:stream';
import type { FastifyInstance } from 'fastify';
import { WebSocketServer } from 'ws';
import { FRAME_HARD_LIMIT_BYTES } from '../../api/limits.ts';
import type { Log } from '../log.ts';
import { refuseRequest } from '../origin.ts';
import type { Sessions } from '../sessions.ts';

const PATH = '/api';

/** The WebSocket at /api (RFC 6455, section 4.2). */
export function acceptUpgrades(
  app: FastifyInstance,
  sessions: Sessions,
  names: Set<string>,
  log: Log,
): void {
  const sockets = new WebSocketServer({
    noServer: true,
    maxPayload: FRAME_HARD_LIMIT_BYTES,
    perMessageDeflate: false,
    // One frame of each session in turn: a flood of one must not keep the signs of life of another waiting.
    allowSynchronousEvents: false,
  });

  app.server.on('upgrade', (request, socket, head) => {
    const from = request.socket.remoteAddress ?? 'unknown';
    const refused = refuseUpgrade(request, names);
    if (refused) {
      log.warn({ from, reason: refused.reason }, 'upgrade refused');
      answerRefusal(socket, refused.status, refused.reason);
      return;
    }
    sockets.handleUpgrade(request, socket, head, (ws) =>
      sessions.accept(ws, socket, from, request.headers.origin !== undefined),
    );
  });

  app.get(PATH, async (_request, reply) => {
    reply.code(426).headers({ upgrade: 'websocket', connection: 'upgrade' });
    return { error: 'this is the WebSocket API: connect with ws://' };
  });
}

function refuseUpgrade(
  request: IncomingMessage,
  names: Set<string>,
): { status: number; reason: string } | null {
  const refused = refuseRequest(request.headers, names, request.rawHeaders);
  if (refused) return refused;
  const path = request.url?.split('?')[0];
  return path === PATH ? null : { status: 404, reason: `the WebSocket is at ${PATH}` };
}

/** An HTTP answer in place of the handshake (RFC 6455, 4.2.2). */
function answerRefusal(socket: Duplex, status: number, reason: string): void {
  const body = JSON.stringify({ error: reason });
  socket.on('error', () => {});
  socket.end(
    `HTTP/1.1 ${status} ${STATUS_CODES[status]}\r\n` +
      'connection: close\r\ncontent-type: application/json; charset=utf-8\r\n' +
      `content-length: ${Buffer.byteLength(body)}\r\n\r\n${body}`,
  );
}
