/**
 * A cable with faults, in a process of its own: carries Ethernet frames between the two interfaces
 * that are its arguments, and spoils them as it is told over IPC. In user space, since many kernels
 * come without the network emulator (sch_netem).
 */
import koffi from 'koffi';
import { seeded } from '../../src/sums/random.ts';

/** How the cable is spoiled. "Up" is from the client to the daemon, the first interface to the second. */
export interface Spoilt {
  drop?: 'both' | 'up' | 'down';
  /** Keeps the frames of the client, in their order, until it is set again. */
  hold?: boolean;
  /** Every frame comes so much later (ms). */
  delayMs?: number;
  /** Every frame comes later by a random part of this (ms), so that frames overtake each other. */
  jitterMs?: number;
  /** Share of the frames that is lost, and that comes twice (0 to 1). */
  loss?: number;
  duplicate?: number;
  seed?: number;
}

/** What the cable answers to every change: what it has seen of frames with a payload so far. */
export interface Seen {
  /** When something of the client's came that its program's peer can read: in order, not known before (ms since the epoch). */
  upMs: number[];
  /** Of the client's. */
  passed: number;
  lost: number;
  doubled: number;
  /** Handed on after one that was sent later. */
  overtaken: number;
}

const libc = koffi.load('libc.so.6');
const socket = libc.func('int socket(int domain, int type, int protocol)');
const bind = libc.func('int bind(int fd, void *address, uint32_t length)');
const setsockopt = libc.func(
  'int setsockopt(int fd, int level, int name, void *value, uint32_t n)',
);
const recv = libc.func('long recv(int fd, _Out_ uint8_t *buffer, size_t length, int flags)');
const send = libc.func('long send(int fd, const uint8_t *buffer, size_t length, int flags)');
const if_nametoindex = libc.func('uint32_t if_nametoindex(const char *name)');

// packet(7), if_ether.h, if_packet.h
const AF_PACKET = 17;
const SOCK_RAW = 3;
const ETH_P_ALL = 0x0003;
const SOL_PACKET = 263;
const PACKET_VNET_HDR = 15;
const PACKET_IGNORE_OUTGOING = 23;
/** struct virtio_net_hdr: carries the checksum that the sending kernel has left for later. */
const VNET_HEADER = 10;
const ETHERNET_HEADER = 14;
const ETHERTYPE_IPV4 = 0x0800;
const PROTOCOL_TCP = 6;

let spoilt: Spoilt = {};
let random = seeded(1);
const seen: Seen = { upMs: [], passed: 0, lost: 0, doubled: 0, overtaken: 0 };
const held: (() => void)[] = [];
/** One direction of a connection, by its source port: how far its data has come without a gap. */
const streams = new Map<number, { end: number; early: Segment[] }>();

function open(name: string): number {
  const fd = socket(AF_PACKET, SOCK_RAW, ((ETH_P_ALL & 0xff) << 8) | (ETH_P_ALL >> 8));
  const one = Buffer.alloc(4);
  one.writeInt32LE(1);
  // struct sockaddr_ll: family, protocol (network order), index of the interface.
  const address = Buffer.alloc(20);
  address.writeUInt16LE(AF_PACKET, 0);
  address.writeUInt16BE(ETH_P_ALL, 2);
  address.writeInt32LE(if_nametoindex(name), 4);
  for (const failed of [
    fd < 0,
    setsockopt(fd, SOL_PACKET, PACKET_VNET_HDR, one, 4) < 0,
    setsockopt(fd, SOL_PACKET, PACKET_IGNORE_OUTGOING, one, 4) < 0,
    bind(fd, address, address.length) < 0,
  ])
    if (failed) throw new Error(`no packet socket on ${name}: root is needed`);
  return fd;
}

/** The data of a TCP segment: from the sequence number `start` to the one before `end`. */
interface Segment {
  port: number;
  start: number;
  end: number;
}

/** RFC 9293, 3.4: sequence numbers are compared modulo 2^32. */
const isAfter = (one: number, other: number) => ((one - other) | 0) > 0;

/** Notes what has come; true when the other end can read more than before. */
function extend(data: Segment): boolean {
  const stream = streams.get(data.port);
  if (!stream) {
    streams.set(data.port, { end: data.end, early: [] });
    return true;
  }
  const before = stream.end;
  stream.early.push(data);
  for (const { start, end } of stream.early.sort((a, b) => (a.start - b.start) | 0))
    if (!isAfter(start, stream.end) && isAfter(end, stream.end)) stream.end = end;
  stream.early = stream.early.filter(({ end }) => isAfter(end, stream.end));
  return stream.end !== before;
}

/** The TCP segment of a frame, if it has a payload: RFC 791, 3.1, and RFC 9293, 3.1. */
function segment(frame: Buffer): Segment | undefined {
  const ethernet = frame.subarray(VNET_HEADER);
  if (ethernet.readUInt16BE(12) !== ETHERTYPE_IPV4) return undefined;
  const ip = ethernet.subarray(ETHERNET_HEADER);
  if (ip[9] !== PROTOCOL_TCP) return undefined;
  const ipHeader = (ip[0]! & 0x0f) * 4;
  const tcp = ip.subarray(ipHeader, ip.readUInt16BE(2));
  const payload = tcp.length - (tcp[12]! >> 4) * 4;
  if (payload <= 0) return undefined;
  const start = tcp.readUInt32BE(4);
  return { port: tcp.readUInt16BE(0), start, end: (start + payload) >>> 0 };
}

function carry(from: number, to: number, up: boolean): void {
  const buffer = Buffer.alloc(VNET_HEADER + 0x11000);
  recv.async(from, buffer, buffer.length, 0, (error: Error | null, length: number) => {
    if (error || length < 0) throw error ?? new Error('the cable broke');
    const frame = Buffer.from(buffer.subarray(0, length));
    carry(from, to, up);
    pass(frame, to, up);
  });
}

let count = 0;
const latest = { up: 0, down: 0 };

function pass(frame: Buffer, to: number, up: boolean): void {
  const data = segment(frame);
  // Addresses (ARP) are always found, and connections set up, so that the faults hit the data alone.
  const { drop, hold, delayMs = 0, jitterMs = 0, loss = 0, duplicate = 0 } = spoilt;
  if (drop === 'both' || drop === (up ? 'up' : 'down') || (data && random() < loss)) {
    if (data) seen.lost++;
    return;
  }
  const number = ++count;
  const way = up ? 'up' : 'down';
  const deliver = () => {
    send(to, frame, frame.length, 0);
    if (!data) return;
    if (up) seen.passed++;
    if (number < latest[way]) seen.overtaken++;
    latest[way] = Math.max(latest[way], number);
    if (extend(data) && up) seen.upMs.push(Date.now());
  };
  const copies = data && random() < duplicate ? 2 : 1;
  if (copies === 2) seen.doubled++;
  for (let copy = 0; copy < copies; copy++) {
    const laterMs = delayMs + random() * jitterMs;
    if (hold && up) held.push(deliver);
    else if (laterMs > 0) setTimeout(deliver, laterMs);
    else deliver();
  }
}

const [client, daemon] = process.argv.slice(2).map(open);
carry(client!, daemon!, true);
carry(daemon!, client!, false);
process.on('message', (next: Spoilt) => {
  spoilt = next;
  if (next.seed !== undefined) random = seeded(next.seed);
  if (!next.hold) for (const deliver of held.splice(0)) deliver();
  process.send!(seen);
});
process.on('disconnect', () => process.exit());
process.send!(seen);
