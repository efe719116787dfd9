// A client in a process of its own: takes the lease, wakes the prop, then asks for a move again and
// again, and for the lease and a wake as well when told so (`stubborn`), whatever comes back.
import { WebSocket } from 'ws';

const { url, token, channel, marks, everyMs, stubborn } = JSON.parse(process.argv[2]);
const socket = new WebSocket(url);
let id = 0;
let turn = 0;
const answers = new Map();

const send = (method, params = {}) => {
  id++;
  socket.send(JSON.stringify({ jsonrpc: '2.0', id, method, params }));
  return id;
};
const ask = (method, params) =>
  new Promise((resolve, reject) => {
    answers.set(send(method, params), ({ result, error }) =>
      error ? reject(new Error(`${method}: ${error.data?.reason}`)) : resolve(result),
    );
  });

socket.on('message', (data) => {
  const message = JSON.parse(String(data));
  answers.get(message.id)?.(message);
  answers.delete(message.id);
});
socket.on('error', () => {});
// Stays, so that the test alone ends it.
socket.on('close', (code) => process.send({ closed: code }));
await new Promise((resolve) => socket.once('open', resolve));
await ask('session.open', { token, client: 'laptop' });
await ask('lease.take');
await ask('wake', { wait: true, confirm: 'unknown' });
setInterval(() => {
  if (socket.readyState !== WebSocket.OPEN) return;
  if (stubborn) {
    send('lease.take');
    send('wake');
  }
  send('channel.move', { channel, to: marks[turn++ % marks.length], overS: 2 });
}, everyMs);
process.send({ ready: true });
