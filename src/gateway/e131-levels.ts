import { Packet } from 'sacn';
import { E131_LEAD_MS, E131_LOST_MS, E131_SOURCES } from '../api/limits.ts';
import type { E131View } from '../service/protocol.ts';
import { plain } from '../shared/plain.ts';

/** Octets before the first level, the start code included (ANSI E1.31, table of the data packet; from memory). */
const HEAD_BYTES = 126;
/** Octets that every data packet has, by where they begin (the same table). */
const FIXED: readonly (readonly [at: number, octets: Buffer])[] = (
  [
    // Preamble and postamble size, then the packet identifier.
    [0, '\x00\x10\0\0ASC-E1.17\0\0\0'],
    // The vectors of the root and framing layers.
    [18, '\0\0\0\x04'],
    [40, '\0\0\0\x02'],
    // The vector of the DMP layer, type of address and data, first address, increment.
    [117, '\x02\xa1\0\0\0\x01'],
    // The start code of levels.
    [125, '\0'],
  ] as const
).map(([at, octets]) => [at, Buffer.from(octets, 'latin1')]);
/** Options: levels for a visualiser alone, and the end of a stream. */
const PREVIEW = 0x80;
const TERMINATED = 0x40;
const MAX_PRIORITY = 200;
/** A packet whose number is this little behind the last one, or the same, is late (ANSI E1.31, sequence numbering). */
const LATE_WITHIN = 20;

interface Source {
  name: string;
  priority: number;
  sequence: number;
  levels: Buffer;
  /** When it was heard last (ms). */
  heardMs: number;
}

/** What sources give now: each level 0 to 1; null where they disagree on a servo. */
export interface DeskLevels {
  levels: Record<string, number[] | null>;
  sources: string[];
}

/**
 * One universe of ANSI E1.31: its sources, by priority, merged. Of those with the highest priority the
 * highest level counts for a light; a servo follows only if they agree.
 */
export class Universe {
  readonly #where: E131View;
  /** By the component identifier (CID) of each. */
  readonly #sources = new Map<string, Source>();

  constructor(where: E131View) {
    this.#where = where;
  }

  /** Takes a packet; what is not well formed, late, or for others, is left alone. Returns whether it counts. */
  take(bytes: Buffer, nowMs: number): boolean {
    // The library answers anything else with an error that takes a hundred times as long to make.
    if (bytes.length < HEAD_BYTES || !isData(bytes)) return false;
    let packet: Packet;
    try {
      packet = new Packet(bytes);
    } catch {
      return false;
    }
    const { universe, priority, options, propertyValueCount, sequence } = packet;
    // The start code counts as one.
    const count = propertyValueCount - 1;
    const { payloadAsBuffer } = packet;
    if (universe !== this.#where.universe || priority > MAX_PRIORITY) return false;
    if (priority < this.#where.priority || options & PREVIEW) return false;
    if (!payloadAsBuffer || count < 0 || count > 512 || count > payloadAsBuffer.length)
      return false;
    this.#forgetLost(nowMs);
    const id = packet.cid.toString('hex');
    const known = this.#sources.get(id);
    if (known && isLate(sequence, known.sequence)) return false;
    if (options & TERMINATED) return this.#sources.delete(id);
    if (!known && this.#sources.size === E131_SOURCES) return false;
    this.#sources.set(id, {
      name: plain(packet.sourceName).slice(0, 63),
      priority,
      sequence,
      // The packet's own bytes are the socket's.
      levels: Buffer.from(payloadAsBuffer.subarray(0, count)),
      heardMs: nowMs,
    });
    return true;
  }

  #forgetLost(nowMs: number): void {
    for (const [id, { heardMs }] of this.#sources)
      if (nowMs - heardMs > E131_LOST_MS) this.#sources.delete(id);
  }

  /** What each channel gets now. */
  merged(nowMs: number): DeskLevels {
    this.#forgetLost(nowMs);
    const sources = [...this.#sources.values()];
    const levels: Record<string, number[] | null> = {};
    for (const { name, address, bytes, count, moves } of this.#where.led) {
      const first = address - 1;
      // A source need not send all addresses.
      const reach = sources.filter(({ levels: own }) => own.length >= first + bytes * count);
      const highest = Math.max(...reach.map(({ priority }) => priority));
      const heard = reach.filter(({ priority }) => priority === highest);
      if (heard.length === 0) continue;
      if (moves && heard.some(({ heardMs }) => nowMs - heardMs > E131_LEAD_MS)) continue;
      const given = heard.map(({ levels: own }) =>
        Array.from({ length: count }, (_, i) => levelAt(own, first + i * bytes, bytes)),
      );
      const most = given[0]!.map((_, i) => Math.max(...given.map((one) => one[i]!)));
      const agree = given.every((one) => one.every((level, i) => level === most[i]));
      levels[name] = moves && !agree ? null : most;
    }
    return { levels, sources: sources.map(({ name }) => name) };
  }
}

function isData(bytes: Buffer): boolean {
  return FIXED.every(([at, octets]) => octets.compare(bytes, at, at + octets.length) === 0);
}

/** As the standard says it, in signed 8-bit arithmetic: 0 to 19 behind is late; further behind is a new start. */
function isLate(sequence: number, last: number): boolean {
  const ahead = ((sequence - last) << 24) >> 24;
  return ahead <= 0 && ahead > -LATE_WITHIN;
}

function levelAt(levels: Buffer, at: number, bytes: number): number {
  return levels.readUIntBE(at, bytes) / (2 ** (8 * bytes) - 1);
}
