import { createSocket } from 'node:dgram';
import { Client } from 'node-osc';
import pino from 'pino';
import { afterEach, describe, expect, it } from 'vitest';
import { listenOsc } from '../../src/gateway/osc.ts';
import { systemClock } from '../../src/shared/clock.ts';

const host = '127.0.0.1';
const log = pino({ level: 'silent' });
let close: () => void = () => {};
afterEach(() => {
  close();
  close = () => {};
});

async function freePort(): Promise<number> {
  const socket = createSocket('udp4');
  await new Promise<void>((resolve) => socket.bind(0, host, resolve));
  const { port } = socket.address();
  await new Promise<void>((resolve) => socket.close(() => resolve()));
  return port;
}

/** Sends raw bytes, then waits until `count` addresses have come in. */
async function send(port: number, messages: Buffer[]): Promise<void> {
  const socket = createSocket('udp4');
  for (const message of messages)
    await new Promise<void>((resolve) => socket.send(message, port, host, () => resolve()));
  socket.close();
}

async function heard(addresses: string[], count: number): Promise<void> {
  while (addresses.length < count) await new Promise((resolve) => setTimeout(resolve, 5));
}

describe('OSC messages', () => {
  it('pass on their address, whatever they carry', async () => {
    const port = await freePort();
    const addresses: string[] = [];
    close = await listenOsc({ host, port }, systemClock, log, (one) => addresses.push(one));
    const client = new Client(host, port);
    await client.send('/owl/wake', 1, 'loud', 0.5);
    await heard(addresses, 1);
    await client.close();
    expect(addresses).toEqual(['/owl/wake']);
  });

  it('are read as the OSC 1.0 specification writes them', async () => {
    const port = await freePort();
    const addresses: string[] = [];
    close = await listenOsc({ host, port }, systemClock, log, (one) => addresses.push(one));
    // OSC 1.0, "OSC message examples": /oscillator/4/frequency with the float 440.0.
    const example = '2f6f7363696c6c61746f722f342f6672657175656e6379002c66000043dc0000';
    await send(port, [Buffer.from('no OSC at all'), Buffer.from(example, 'hex')]);
    await heard(addresses, 1);
    expect(addresses).toEqual(['/oscillator/4/frequency']);
  });

  it('that come in a flood are passed on no faster than a trigger can use them', async () => {
    const port = await freePort();
    const addresses: string[] = [];
    // It looks at the clock once at the start, and once for every message.
    let looks = 0;
    let nowMs = 0;
    const clock = {
      ...systemClock,
      nowMs: () => {
        looks++;
        return nowMs;
      },
    };
    close = await listenOsc({ host, port }, clock, log, (one) => addresses.push(one));
    const message = Buffer.from('2f6100002c000000', 'hex');
    await send(port, Array(200).fill(message));
    while (looks < 201) await new Promise((resolve) => setTimeout(resolve, 5));
    expect(addresses).toHaveLength(40);
    nowMs = 50;
    await send(port, [message]);
    await heard(addresses, 41);
  });

  it('cannot be had at an address that this machine does not have', async () => {
    // 192.0.2.0/24 is for documentation (RFC 5737): nobody has it.
    await expect(
      listenOsc({ host: '192.0.2.1', port: 9000 }, systemClock, log, () => {}),
    ).rejects.toThrow('192.0.2.1:9000');
  });
});
