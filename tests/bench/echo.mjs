// A bare WebSocket server that sends back what it gets: as it is (raw), read and written again (json), or
// by way of another thread (hop).
import { isMainThread, parentPort, Worker } from 'node:worker_threads';
import { WebSocketServer } from 'ws';

if (isMainThread) serve(process.argv[2]);
else parentPort.on('message', (text) => parentPort.postMessage(text));

function serve(mode) {
  const server = new WebSocketServer({ port: 0, host: '127.0.0.1', perMessageDeflate: false }, () =>
    process.stdout.write(`http://127.0.0.1:${server.address().port}/\n`),
  );
  const thread = mode === 'hop' ? new Worker(new URL(import.meta.url)) : undefined;
  server.on('connection', (socket) => {
    thread?.on('message', (text) => socket.send(text));
    socket.on('message', (data) => {
      const text = data.toString();
      if (thread) thread.postMessage(text);
      else socket.send(mode === 'json' ? JSON.stringify(JSON.parse(text)) : text);
    });
  });
}
