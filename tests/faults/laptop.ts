// A client in a process of its own: takes the lease, wakes the prop, then asks for a move again and
// again, and for the lease and a wake as well when told so (`stubborn`), whatever comes back.
import { WebSocket } from 'ws';
import { RpcClient } from '../../src/api/client.ts';

interface What {
  url: string;
  token: string;
  channel: string;
  marks: string[];
  everyMs: number;
  stubborn: boolean;
}

const { url, token, channel, marks, everyMs, stubborn } = JSON.parse(process.argv[2]!) as What;
const socket = new WebSocket(url);
const rpc = new RpcClient((text) => socket.send(text));
let turn = 0;

socket.on('message', (data) => rpc.receive(String(data)));
socket.on('error', () => {});
// Stays, so that the test alone ends it.
socket.on('close', (code) => process.send!({ closed: code }));
await new Promise((resolve) => socket.once('open', resolve));
await rpc.call('session.open', { token, client: 'laptop' });
await rpc.call('lease.take', {});
await rpc.call('wake', { wait: true, confirm: 'unknown' });
setInterval(() => {
  if (socket.readyState !== WebSocket.OPEN) return;
  if (stubborn) {
    void rpc.ask('lease.take', {});
    void rpc.ask('wake', {});
  }
  void rpc.ask('channel.move', { channel, to: marks[turn++ % marks.length], overS: 2 });
}, everyMs);
process.send!({ ready: true });
