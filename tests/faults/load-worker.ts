import { setPriority } from 'node:os';
import { WebSocket } from 'ws';
import { frame, OP } from './protocol-socket.ts';

/**
 * Load on the daemon at PORT, of one KIND, by COUNT clients, for SECONDS; tells what it did as JSON at
 * the end. Clients belong on other machines: this process takes what the daemon leaves of the cores.
 * Its frames are its own: answers are not read, or not waited for, which `RpcClient` would keep a place for.
 */
const [kind, ...numbers] = process.argv.slice(2);
const [port, count, seconds] = numbers.map(Number) as [number, number, number];
setPriority(19);

const counts: Record<string, number> = {};
const add = (what: string, n = 1) => {
  counts[what] = (counts[what] ?? 0) + n;
};
const endMs = performance.now() + 1000 * seconds;
const goesOn = () => performance.now() < endMs;
const sleep = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** An open session, or undefined where the daemon has no room. */
async function open(): Promise<WebSocket | undefined> {
  const socket = new WebSocket(`ws://127.0.0.1:${port}/api`);
  socket.on('error', () => {});
  const opened = await new Promise<boolean>((resolve) => {
    socket.once('open', () => resolve(true));
    socket.once('close', () => resolve(false));
  });
  if (!opened) return undefined;
  add('connections');
  ask(socket, 'session.open', { client: kind });
  return socket;
}

function ask(socket: WebSocket, method: string, params: object = {}): void {
  if (socket.readyState === WebSocket.OPEN)
    socket.send(JSON.stringify({ jsonrpc: '2.0', id: 1, method, params }));
}

const closed = (socket: WebSocket) =>
  new Promise<number>((resolve) => {
    if (socket.readyState === WebSocket.CLOSED) resolve(0);
    socket.once('close', resolve);
  });

/** Follows at 50 Hz and asks for something five times a second. */
async function follow(): Promise<void> {
  const socket = await open();
  if (!socket) return add('turned away');
  socket.on('message', () => add('frames in'));
  void closed(socket).then((code) => goesOn() && add(`closed with ${code}`));
  ask(socket, 'state.follow', { hz: 50 });
  while (goesOn() && socket.readyState === WebSocket.OPEN) {
    ask(socket, 'channel.list');
    await sleep(200);
  }
  socket.terminate();
}

/** Asks for much and reads none of it, until it is cut off; then comes again. */
async function neverRead(): Promise<void> {
  while (goesOn()) {
    const socket = await open();
    if (!socket) {
      await sleep(50);
      continue;
    }
    const end = closed(socket);
    ask(socket, 'state.follow', { hz: 50 });
    socket.pause();
    while (goesOn() && socket.readyState === WebSocket.OPEN) {
      for (let i = 0; i < 10; i++) ask(socket, 'rpc.discover');
      await Promise.race([end, sleep(100)]);
      // A paused socket does not see its own end: what cannot be written tells it.
      if (socket.bufferedAmount > 0) socket.resume();
    }
    add('slow readers ended');
    socket.terminate();
  }
}

/** Comes and goes as fast as it can, sometimes without a word. */
async function storm(): Promise<void> {
  for (let i = 0; goesOn(); i++) {
    const socket = await open();
    if (!socket) add('turned away');
    else if (i % 3 === 0) socket.terminate();
    else socket.close();
    if (socket) await closed(socket);
  }
}

/** 20,000 frames a second on one connection; closed as a flood, it comes again. */
async function flood(): Promise<void> {
  const payload = Buffer.from('{"jsonrpc":"2.0","id":1,"method":"channel.list","params":{}}');
  const bytes = frame({ op: OP.text, payload });
  const perBurst = 100;
  const burst = Buffer.concat(Array.from({ length: perBurst }, () => bytes));
  while (goesOn()) {
    const socket = await open();
    if (!socket) {
      await sleep(20);
      continue;
    }
    const raw = (socket as unknown as { _socket: import('node:net').Socket })._socket;
    let dueMs = performance.now();
    while (goesOn() && socket.readyState === WebSocket.OPEN) {
      raw.write(burst);
      add('frames out', perBurst);
      dueMs += (1000 * perBurst) / 20_000;
      const leftMs = dueMs - performance.now();
      if (raw.writableLength > 1e6) await Promise.race([sleep(100), closed(socket)]);
      else await sleep(Math.max(0, leftMs));
    }
    add('closed as a flood');
    socket.terminate();
  }
}

const run = { follow, neverRead, storm, flood }[kind!]!;
await Promise.all(Array.from({ length: count }, run));
process.stdout.write(JSON.stringify(counts));
process.exit(0);
