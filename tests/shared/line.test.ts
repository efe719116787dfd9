import { MessageChannel, receiveMessageOnPort } from 'node:worker_threads';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { LineIn, LineOut, makeRing } from '../../src/shared/line.ts';

// Both ends in one thread.

type Message = { n: number; text?: string };
const LONG = 'x'.repeat(100_000);

let channel: MessageChannel;
let out: LineOut<Message>;
let inward: LineIn<Message>;
let woken: number;
beforeEach(() => {
  channel = new MessageChannel();
  const ring = makeRing();
  woken = 0;
  out = new LineOut(ring, (message, given) => channel.port2.postMessage(message, given));
  inward = new LineIn(ring);
  channel.port1.on('message', (message) => {
    woken++;
    inward.arrived(message);
  });
});
afterEach(() => channel.port1.close());

const passing = () => new Promise((resume) => setTimeout(resume, 5));

it('a short message wakes nobody: it lies there until it is taken', async () => {
  for (let n = 0; n < 100; n++) out.send({ n });
  await passing();
  expect(woken).toBe(0);
  expect(Array.from({ length: 100 }, () => inward.take()?.n)).toEqual(
    Array.from({ length: 100 }, (_, n) => n),
  );
  expect(inward.take()).toBeUndefined();
});

it('a long one that has not come yet is waited for, and nothing overtakes it', async () => {
  out.send({ n: 1 });
  out.send({ n: 2, text: LONG });
  out.send({ n: 3 });
  expect(inward.take()).toEqual({ n: 1 });
  expect(inward.take()).toBeUndefined();
  expect(inward.take()).toBeUndefined();
  await passing();
  expect(inward.take()).toEqual({ n: 2, text: LONG });
  expect(inward.take()).toEqual({ n: 3 });
});

it('a long one is fetched where the port can be asked, and its buffers are handed over', () => {
  const { port1, port2 } = new MessageChannel();
  const ring = makeRing();
  const sender = new LineOut<{ bytes: Uint8Array }>(ring, (message, given) =>
    port2.postMessage(message, given),
  );
  const receiver = new LineIn<{ bytes: Uint8Array }>(
    ring,
    () => receiveMessageOnPort(port1)?.message,
  );
  const bytes = new Uint8Array(100_000).fill(7);
  sender.send({ bytes }, [bytes.buffer]);
  expect(bytes.length).toBe(0);
  expect(receiver.take()?.bytes).toEqual(new Uint8Array(100_000).fill(7));
  port1.close();
});

it('a buffer of a short message stays with its sender', () => {
  const bytes = new Uint8Array([1, 2, 3]);
  out.send({ n: 1, text: 'short' }, [bytes.buffer]);
  expect(bytes).toEqual(new Uint8Array([1, 2, 3]));
  expect(inward.take()).toEqual({ n: 1, text: 'short' });
});
