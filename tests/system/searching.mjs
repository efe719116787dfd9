// Holds the button of a search for both ends, until it is stopped or killed from outside. usage: PORT
// Plain JavaScript, so that it starts at once.
import { WebSocket } from 'ws';

const socket = new WebSocket(`ws://127.0.0.1:${process.argv[2]}/api`);
const waiting = new Map();
let id = 0;
socket.on('message', (data) => {
  const answer = JSON.parse(data);
  waiting.get(answer.id)?.(answer);
  waiting.delete(answer.id);
});
function ask(method, params = {}) {
  socket.send(JSON.stringify({ jsonrpc: '2.0', id: ++id, method, params }));
  return new Promise((resolve, reject) =>
    waiting.set(id, ({ result, error }) =>
      error ? reject(new Error(error.message)) : resolve(result),
    ),
  );
}

await new Promise((resolve) => socket.once('open', resolve));
await ask('session.open', { client: 'searcher' });
await ask('lease.take');
await ask('wake', { wait: true, confirm: 'unknown' });
const { run } = await ask('measure.begin', { channel: 'flap', what: 'ends' });
setInterval(() => ask('measure.hold', { run }), 50);
