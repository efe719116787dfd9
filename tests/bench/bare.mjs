// What the gateway is made of and nothing else: fastify, ws and pino in one process.
import fastify from 'fastify';
import pino from 'pino';
import { WebSocketServer } from 'ws';

const log = pino(pino.destination(2));
const app = fastify();
app.get('/', async (_request, reply) => reply.type('text/html').send('<!doctype html><p>bare'));
const sockets = new WebSocketServer({ server: app.server, perMessageDeflate: false });
sockets.on('connection', (socket) => {
  log.info('connected');
  const timer = setInterval(() => socket.send('{"t":1}'), 50);
  socket.on('close', () => clearInterval(timer));
  socket.on('message', (data) => socket.send(String(data)));
});
process.stdout.write(`${await app.listen({ host: '127.0.0.1', port: 0 })}/\n`);
