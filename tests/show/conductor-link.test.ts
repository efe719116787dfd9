import { createServer, type Server, type Socket } from 'node:net';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterEach, expect, test, vi } from 'vitest';
import { LinkedConductor } from '../../src/show/conductor-link.ts';
import { topics, write } from '../../src/show/wire.ts';
import { Actor, Troupe } from './troupe.ts';

let cleanUp: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const one of cleanUp.reverse()) await one();
  cleanUp = [];
});

/** A retained message as the broker sends it: MQTT 5, section 3.3, QoS 0, no properties. */
function retained(topic: string, payload: string): Buffer {
  const length = 2 + topic.length + 1 + payload.length;
  const head = Buffer.from([0x31, 0x80 | (length % 128), length >> 7, 0, topic.length]);
  return Buffer.concat([head, Buffer.from(`${topic}\0${payload}`)]);
}

/** A broker that gives out what it has retained together with its answer to the subscription. */
async function hasty(kept: Buffer): Promise<number> {
  const sockets = new Set<Socket>();
  const server: Server = createServer((socket) => {
    sockets.add(socket);
    socket.on('error', () => {});
    socket.on('data', (data) => {
      // MQTT 5, sections 3.2 and 3.9: success, without properties; three topics of QoS 1.
      if (data[0] === 0x10) socket.write(Buffer.from([0x20, 3, 0, 0, 0]));
      // Section 3.13: an answer to a ping.
      if (data[0] === 0xc0) socket.write(Buffer.from([0xd0, 0]));
      if (data[0] === 0x82)
        socket.write(Buffer.concat([Buffer.from([0x90, 6, data[2]!, data[3]!, 0, 1, 1, 1]), kept]));
    });
  });
  cleanUp.push(() => server.close());
  cleanUp.push(() => {
    for (const one of sockets) one.destroy();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return (server.address() as { port: number }).port;
}

test('a status that comes in one piece with the answer to the subscription is heard', async () => {
  const { status } = new Actor('left', new Troupe());
  const port = await hasty(retained(topics.status('foyer', 'left'), write(status)));
  const link = new LinkedConductor({
    show: 'foyer',
    broker: { url: `mqtt://127.0.0.1:${port}` },
    from: 'desk',
  });
  cleanUp.push(() => link.close());
  await link.open();
  expect(await link.conductor.until(() => link.conductor.statuses.has('left'), 500)).toBe(true);
});

test('a program that stood still does not take its broker for silent', async () => {
  const { status } = new Actor('left', new Troupe());
  const port = await hasty(retained(topics.status('foyer', 'left'), write(status)));
  const news: (string | undefined)[] = [];
  const link = new LinkedConductor({
    show: 'foyer',
    broker: { url: `mqtt://127.0.0.1:${port}` },
    from: 'desk',
    onLink: (problem) => news.push(problem),
  });
  cleanUp.push(() => link.close());
  await link.open();
  const now = performance.now.bind(performance);
  const later = vi.spyOn(performance, 'now').mockImplementation(() => now() + 10_000);
  cleanUp.push(() => later.mockRestore());
  // It looks once a second.
  await sleep(1300);
  expect(news.filter((problem) => problem !== undefined)).toEqual([]);
});
