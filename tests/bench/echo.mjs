// A bare WebSocket server: sends back what it gets, read and written anew where `json` is given.
import { WebSocketServer } from 'ws';

const json = process.argv[2] === 'json';
const server = new WebSocketServer({ port: 0, host: '127.0.0.1', perMessageDeflate: false }, () =>
  process.stdout.write(`http://127.0.0.1:${server.address().port}/\n`),
);
server.on('connection', (socket) =>
  socket.on('message', (data) =>
    socket.send(json ? JSON.stringify(JSON.parse(data.toString())) : data.toString()),
  ),
);
