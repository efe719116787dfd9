import { createSocket } from 'node:dgram';
import { Client } from 'node-osc';
import { afterEach, describe, expect, it } from 'vitest';
import { silent as log } from '../../src/gateway/log.ts';
import { listenOsc, OscDoor } from '../../src/gateway/osc.ts';
import { systemClock, VirtualClock } from '../../src/shared/clock.ts';

const host = '127.0.0.1';
let close: () => Promise<void> = async () => {};
afterEach(async () => {
  await close();
  close = async () => {};
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
  it('are heard elsewhere once the prop file says so, and no longer where it was', async () => {
    const [first, second] = [await freePort(), await freePort()];
    const addresses: string[] = [];
    const door = new OscDoor(
      systemClock,
      log,
      (one) => addresses.push(one),
      () => {},
    );
    close = () => door.close();
    await door.follow({ host, port: first });
    // Asked for at once: a port is free again only when it has been closed.
    void door.follow({ host, port: second });
    void door.follow(null);
    await door.follow({ host, port: second });
    const message = (name: string) => Buffer.from(`/${name}\0\0,\0\0\0`);
    await send(first, [message('a')]);
    await send(second, [message('b')]);
    await heard(addresses, 1);
    expect(addresses).toEqual(['/b']);
    await door.follow(null);
    // The port is free: somebody else may have it.
    close = await listenOsc({ host, port: second }, systemClock, log, () => {});
  });

  it('are heard as soon as a port that was in use is free', async () => {
    const port = await freePort();
    const other = createSocket('udp4');
    await new Promise<void>((resolve) => other.bind(port, host, resolve));
    const clock = new VirtualClock();
    const addresses: string[] = [];
    const problems: (string | undefined)[] = [];
    const door = new OscDoor(
      clock,
      log,
      (one) => addresses.push(one),
      (problem) => problems.push(problem),
    );
    close = () => door.close();
    await door.follow({ host, port });
    expect(problems).toEqual([
      expect.stringMatching(new RegExp(`no OSC is heard.*${host}:${port}.*under osc`)),
    ]);
    await new Promise<void>((resolve) => other.close(() => resolve()));
    clock.advance(5000);
    while (problems.length < 2) await new Promise((resolve) => setTimeout(resolve, 5));
    expect(problems[1]).toBeUndefined();
    await send(port, [Buffer.from('2f6100002c000000', 'hex')]);
    await heard(addresses, 1);
    expect(addresses).toEqual(['/a']);
  });
});
