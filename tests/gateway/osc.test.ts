import { createSocket } from 'node:dgram';
import { Client } from 'node-osc';
import { afterEach, describe, expect, it } from 'vitest';
import { silent as log } from '../../src/gateway/log.ts';
import { listenOsc, OscDoor, type OscEars, type OscValues } from '../../src/gateway/osc.ts';
import { systemClock, VirtualClock } from '../../src/shared/clock.ts';

const host = '127.0.0.1';

/** Hears addresses of triggers alone. */
const triggers = (trigger: (address: string) => void = () => {}): OscEars => ({
  trigger,
  performs: () => false,
  perform: () => {},
});
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
    close = await listenOsc(
      { host, port },
      systemClock,
      log,
      triggers((one) => addresses.push(one)),
    );
    const client = new Client(host, port);
    await client.send('/owl/wake', 1, 'loud', 0.5);
    await heard(addresses, 1);
    await client.close();
    expect(addresses).toEqual(['/owl/wake']);
  });

  it('are read as the OSC 1.0 specification writes them', async () => {
    const port = await freePort();
    const addresses: string[] = [];
    close = await listenOsc(
      { host, port },
      systemClock,
      log,
      triggers((one) => addresses.push(one)),
    );
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
    close = await listenOsc(
      { host, port },
      clock,
      log,
      triggers((one) => addresses.push(one)),
    );
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
      listenOsc({ host: '192.0.2.1', port: 9000 }, systemClock, log, triggers()),
    ).rejects.toThrow('192.0.2.1:9000');
  });
  it('are heard elsewhere once the prop file says so, and no longer where it was', async () => {
    const [first, second] = [await freePort(), await freePort()];
    const addresses: string[] = [];
    const door = new OscDoor(
      systemClock,
      log,
      triggers((one) => addresses.push(one)),
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
    close = await listenOsc({ host, port: second }, systemClock, log, triggers());
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
      triggers((one) => addresses.push(one)),
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

describe('OSC messages that lead servos', () => {
  /** Listens with a clock that stands; whatever leads begins with /lead. */
  async function listening() {
    const port = await freePort();
    const heardValues: OscValues[] = [];
    const addresses: string[] = [];
    const clock = new VirtualClock();
    let looked = 0;
    close = await listenOsc({ host, port }, clock, log, {
      trigger: (one) => addresses.push(one),
      performs: (address) => {
        looked++;
        return address.startsWith('/lead');
      },
      perform: (values) => heardValues.push(values),
    });
    const client = new Client(host, port);
    const came = async (count: number) => {
      while (looked < count) await new Promise((resolve) => setTimeout(resolve, 5));
    };
    return { client, clock, came, values: heardValues, addresses };
  }

  it('pass their newest values on, of all addresses together, once in 20 ms', async () => {
    const { client, clock, came, values, addresses } = await listening();
    await client.send('/lead/beak', 0.25);
    await came(1);
    expect(values).toEqual([{ '/lead/beak': 0.25 }]);
    for (let i = 1; i <= 200; i++) await client.send('/lead/beak', i / 200);
    await client.send('/lead/neck', 1);
    await came(202);
    expect(values).toHaveLength(1);
    clock.advance(20);
    expect(values.slice(1)).toEqual([{ '/lead/beak': 1, '/lead/neck': 1 }]);
    // Nothing new is nothing to pass on: it is the silence that counts.
    clock.advance(1000);
    expect(values).toHaveLength(2);
    expect(addresses).toEqual([]);
    await client.send('/lead/beak', 0);
    await came(203);
    expect(values.at(-1)).toEqual({ '/lead/beak': 0 });
    await client.close();
  });

  it('say where there is no one number', async () => {
    const { client, clock, came, values } = await listening();
    const float = (value: number) => ({ type: 'float', value }) as const;
    const wrong: [string, ...(number | string | boolean | ReturnType<typeof float>)[]][] = [
      ['/lead/none'],
      ['/lead/word', 'up'],
      ['/lead/yes', true],
      ['/lead/two', 0.5, 0.5],
      ['/lead/nan', float(Number.NaN)],
      ['/lead/endless', float(Number.POSITIVE_INFINITY)],
    ];
    for (const [address, ...args] of wrong) await client.send(address, ...args);
    await came(wrong.length);
    clock.advance(20);
    const all = Object.assign({}, ...values);
    expect(Object.keys(all).sort()).toEqual(wrong.map(([address]) => address).sort());
    for (const value of Object.values(all)) expect(value).toBeNull();
    await client.close();
  });

  it('take nothing from the triggers, also in a flood', async () => {
    const { client, came, addresses } = await listening();
    for (let i = 0; i < 100; i++) await client.send('/lead/beak', 0.5);
    await client.send('/owl/wake');
    await came(101);
    expect(addresses).toEqual(['/owl/wake']);
    await client.close();
  });
});
