import { createSocket, type Socket } from 'node:dgram';
import { once } from 'node:events';
import { readFile } from 'node:fs/promises';
import { endianness, networkInterfaces } from 'node:os';
import { Packet } from 'sacn';
import { afterEach, describe, expect, it } from 'vitest';
import { listenE131 } from '../../src/gateway/e131.ts';
import { type DeskLevels, Universe } from '../../src/gateway/e131-levels.ts';
import { silent as log } from '../../src/gateway/log.ts';
import { systemClock } from '../../src/shared/clock.ts';
import fc from '../fast-check.ts';
import { e131Packet, type PacketFields } from './e131-packet.ts';

const LED = [
  { name: 'lantern', address: 1, bytes: 1, count: 1, moves: false },
  { name: 'eye', address: 2, bytes: 2, count: 3, moves: false },
  { name: 'beak', address: 8, bytes: 1, count: 1, moves: true },
];
const where = { universe: 1, host: '127.0.0.1', port: 5568, priority: 0, led: LED };
/** The lantern's level, the eye's three of two octets, the beak's. */
const levels = (lantern: number, beak = 0) => [lantern, 0xff, 0xff, 0x80, 0, 0, 1, beak];

/** A universe that is sent packets, at a time in ms. */
function listening(over: Partial<typeof where> = {}) {
  const universe = new Universe({ ...where, ...over });
  return {
    universe,
    send: (fields: PacketFields, atMs = 0) => universe.take(e131Packet(fields), atMs),
    at: (atMs = 0) => universe.merged(atMs).levels,
  };
}

describe('a packet of E1.31', () => {
  it('is written by the test as the library writes it', () => {
    const ours = e131Packet({ universe: 7, levels: Array(512).fill(255), sequence: 9, name: 'A' });
    const payload = Object.fromEntries(Array.from({ length: 512 }, (_, i) => [i + 1, 255]));
    const cid = Buffer.from('desk............');
    const options = { universe: 7, sequence: 9, sourceName: 'A', cid, payload };
    expect(ours).toEqual(new Packet({ ...options, useRawDmxValues: true }).buffer);
  });

  it('carries levels of 8 and 16 bit', () => {
    const { send, at } = listening();
    expect(send({ levels: levels(51, 255) })).toBe(true);
    expect(at()).toEqual({ lantern: [0.2], eye: [1, 0x8000 / 0xffff, 1 / 0xffff], beak: [1] });
  });

  it('leaves alone what it has no levels for', () => {
    const { send, at } = listening();
    send({ levels: levels(255).slice(0, 6) });
    expect(at()).toEqual({ lantern: [1] });
  });

  it.each([
    ['of another universe', { universe: 2 }],
    ['with another start code', { startCode: 0xdd }],
    ['for a visualiser alone', { options: 0x80 }],
    ['of an impossible priority', { priority: 201 }],
  ])('%s counts for nothing', (_what, fields) => {
    const { send, at } = listening();
    expect(send({ levels: levels(255), ...fields })).toBe(false);
    expect(at()).toEqual({});
  });

  it('that claims more levels than it has counts for nothing', () => {
    const bytes = e131Packet({ levels: [1, 2, 3] });
    for (const count of [0, 5, 513, 65_535]) {
      bytes.writeUInt16BE(count, 123);
      expect(new Universe(where).take(bytes, 0)).toBe(false);
    }
  });

  it('that is late or was here before counts for nothing; one from far behind is a new start', () => {
    const { send, at } = listening();
    send({ levels: levels(10), sequence: 250 });
    // ANSI E1.31, sequence numbering: discarded where new minus last is 0 to -19, in signed 8 bit.
    expect(send({ levels: levels(20), sequence: 250 })).toBe(false);
    expect(send({ levels: levels(20), sequence: 231 })).toBe(false);
    expect(send({ levels: levels(255), sequence: 230 })).toBe(true);
    expect(at().lantern).toEqual([1]);
    send({ levels: levels(0), sequence: 255 });
    expect(send({ levels: levels(51), sequence: 0 })).toBe(true);
  });

  it('of any octets neither throws nor is believed unless it is whole', () => {
    const whole = e131Packet({ levels: levels(255) });
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.nat(whole.length - 1), fc.nat(255)), { maxLength: 4 }),
        fc.nat(whole.length),
        fc.uint8Array({ maxLength: 700 }),
        (changes, length, rubbish) => {
          const { universe, at } = listening();
          const bytes = Buffer.from(whole);
          for (const [place, octet] of changes) bytes[place] = octet;
          universe.take(bytes.subarray(0, length), 0);
          universe.take(Buffer.from(rubbish), 0);
          for (const given of Object.values(at()))
            for (const level of given ?? []) expect(level >= 0 && level <= 1).toBe(true);
          if (length < whole.length) expect(at()).toEqual({});
        },
      ),
    );
  });
});

describe('sources of E1.31', () => {
  it('of the highest priority count, and of these the highest level for each light', () => {
    const { send, at } = listening();
    send({ cid: 'a', levels: levels(102) });
    send({ cid: 'b', levels: levels(51) });
    send({ cid: 'low', levels: levels(255), priority: 99 });
    expect(at().lantern).toEqual([0.4]);
    send({ cid: 'high', levels: levels(0), priority: 101 });
    expect(at().lantern).toEqual([0]);
  });

  it('merge 16 bits as one number', () => {
    const { send, at } = listening();
    send({ cid: 'a', levels: [0, 1, 0, 0, 0, 0, 0] });
    send({ cid: 'b', levels: [0, 0, 255, 0, 0, 0, 0] });
    expect(at().eye![0]).toBe(256 / 65_535);
  });

  it('that disagree on a servo lead it nowhere', () => {
    const { send, at } = listening();
    send({ cid: 'a', levels: levels(0, 10) });
    send({ cid: 'b', levels: levels(0, 10) });
    expect(at().beak).toEqual([10 / 255]);
    send({ cid: 'b', levels: levels(0, 11), sequence: 1 });
    expect(at().beak).toBeNull();
  });

  it('below the priority in the prop file are ignored', () => {
    const { send } = listening({ priority: 150 });
    expect(send({ levels: levels(255) })).toBe(false);
    expect(send({ levels: levels(255), priority: 150 })).toBe(true);
  });

  it('are lost after 2.5 s of silence, for a servo earlier, and by their own word at once', () => {
    const { send, at } = listening();
    send({ levels: levels(255, 255) });
    expect(Object.keys(at(1250))).toEqual(['lantern', 'eye', 'beak']);
    expect(Object.keys(at(1251))).toEqual(['lantern', 'eye']);
    expect(Object.keys(at(2500))).toEqual(['lantern', 'eye']);
    expect(at(2501)).toEqual({});
    send({ levels: levels(255) }, 3000);
    send({ levels: levels(255), options: 0x40, sequence: 1 }, 3001);
    expect(at(3001)).toEqual({});
  });

  it('that fall silent hand a servo to no lower priority before they are lost', () => {
    const { send, at } = listening();
    send({ cid: 'high', levels: levels(0, 255), priority: 150 });
    send({ cid: 'low', levels: levels(0, 10) }, 2000);
    expect(at(2000)).not.toHaveProperty('beak');
    expect(at(2501).beak).toEqual([10 / 255]);
  });

  it('come in any number, and only so many are followed', () => {
    const { universe, send, at } = listening();
    for (let i = 0; i < 1000; i++) send({ cid: `source ${i}`, levels: levels(51) });
    expect(universe.merged(0).sources).toHaveLength(16);
    send({ cid: 'late', levels: levels(255) }, 2501);
    expect(at(2501).lantern).toEqual([1]);
  });
});

let close: () => Promise<void> = async () => {};
const sockets: Socket[] = [];
afterEach(async () => {
  await close();
  close = async () => {};
  for (const socket of sockets.splice(0)) socket.close();
});

/** A UDP port of an interface that nobody has now. */
async function freePort(host: string): Promise<number> {
  const free = createSocket('udp4').bind(0, host);
  await once(free, 'listening');
  const { port } = free.address();
  await new Promise<void>((resolve) => free.close(() => resolve()));
  return port;
}

async function until(condition: () => boolean, what: string): Promise<void> {
  // Real time only bounds a failing test.
  const deadlineMs = performance.now() + 20_000;
  while (!condition()) {
    if (performance.now() > deadlineMs) throw new Error(`within 20 s there was not ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}

describe('the port for E1.31', () => {
  it('passes a flood on no faster than lights follow, and tells when the source ends', async () => {
    const port = await freePort('127.0.0.1');
    const heard: DeskLevels[] = [];
    let nowMs = 0;
    const later: (() => void)[] = [];
    const clock = {
      ...systemClock,
      nowMs: () => nowMs,
      after: (_ms: number, run: () => void) => {
        later.push(run);
        return () => {};
      },
    };
    close = await listenE131({ ...where, port }, clock, log, (now) => heard.push(now));
    const socket = createSocket('udp4');
    sockets.push(socket);
    const send = (bytes: Buffer) =>
      new Promise<void>((resolve) => socket.send(bytes, port, '127.0.0.1', () => resolve()));
    await send(Buffer.from('ASC-E1.17'));
    for (let i = 0; i < 100; i++) await send(e131Packet({ levels: levels(i), sequence: i }));
    await until(() => heard.length > 0, 'a set of levels');
    expect(heard).toHaveLength(1);
    // Until the last one has come in: each pass has at most one set of levels.
    for (let passes = 1; heard.at(-1)!.levels.lantern![0] !== 99 / 255; passes++) {
      expect(heard.length).toBeLessThanOrEqual(passes);
      await until(() => later.length > 0, 'a pass');
      later.shift()!();
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    nowMs = 2501;
    later.shift()!();
    expect(heard.at(-1)).toEqual({ levels: {}, sources: [] });
    expect(later).toHaveLength(0);
  });
});

/** An interface that others could reach. What is sent to it with TTL 0 stays on this machine. */
function ownInterface(): string {
  const all = Object.values(networkInterfaces()).flatMap((some) => some ?? []);
  const found = all.find(({ internal, family }) => !internal && family === 'IPv4');
  if (!found)
    throw new Error(
      'multicast cannot be tested: this machine has no IPv4 interface but loopback, where no daemon joins a group; bring one up ("ip address")',
    );
  return found.address;
}

/** The groups that this machine has joined, by the kernel's own account (proc(5), /proc/net/igmp: hexadecimal). */
async function joinedGroups(): Promise<string[]> {
  const text = await readFile('/proc/net/igmp', 'utf8');
  return [...text.matchAll(/^\s+([0-9A-F]{8}) /gm)].map(([, hex]) => {
    const octets = [...Buffer.from(hex!, 'hex')];
    return (endianness() === 'LE' ? octets.reverse() : octets).join('.');
  });
}

/** What fails where multicast is impossible. */
const LOOPED =
  'the datagram that this machine sent to a multicast group of its own; is there a firewall rule, or an interface without MULTICAST ("ip link")?';

describe('the multicast group of a universe', () => {
  // ANSI E1.31, 9.3.1: 239, 255, the high octet of the universe, the low one. Worked out by hand.
  const GROUPS = [
    [1, '239.255.0.1', '239.255.1.0'],
    [255, '239.255.0.255', '239.255.255.0'],
    [256, '239.255.1.0', '239.255.0.1'],
    [63_999, '239.255.249.255', '239.255.255.249'],
  ] as const;

  it.each(GROUPS)(
    'of universe %i is %s: a light follows what is sent there, and nowhere else',
    async (universe, group, other) => {
      const host = ownInterface();
      const port = await freePort(host);
      const heard: DeskLevels[] = [];
      const view = { ...where, host, port, universe };
      close = await listenE131(view, systemClock, log, (now) => heard.push(now));
      expect(await joinedGroups()).toContain(group);

      // Another program of this machine has joined another group at the same port.
      const neighbour = createSocket({ type: 'udp4', reuseAddr: true });
      const source = createSocket('udp4');
      sockets.push(neighbour, source);
      neighbour.bind(port, other);
      source.bind(0, host);
      await Promise.all([once(neighbour, 'listening'), once(source, 'listening')]);
      neighbour.addMembership(other, host);
      let passedBy = 0;
      neighbour.on('message', () => passedBy++);
      source.setMulticastInterface(host);
      source.setMulticastTTL(0);
      source.setMulticastLoopback(true);
      const send = (bytes: Buffer, to: string) =>
        new Promise<void>((resolve, reject) => {
          source.send(bytes, port, to, (error) => (error ? reject(error) : resolve()));
        });

      await send(e131Packet({ universe, levels: [255], sequence: 1 }), other);
      await until(() => passedBy > 0, LOOPED);
      // Datagrams of one socket keep their order on one machine: what comes next has passed that one.
      await send(e131Packet({ universe, levels: [51], sequence: 2 }), group);
      await until(() => heard.length > 0, LOOPED);
      expect(heard[0]).toEqual({ levels: { lantern: [51 / 255] }, sources: ['Desk'] });
      await send(e131Packet({ universe, levels: [0], sequence: 3 }), group);
      await until(() => heard.at(-1)!.levels.lantern![0] === 0, LOOPED);
    },
  );
});
