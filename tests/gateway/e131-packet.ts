/**
 * A data packet of ANSI E1.31, octet by octet from the standard's table of its layers (from memory), so that
 * the library that reads it is checked against something else than itself.
 */
export interface PacketFields {
  universe?: number;
  levels?: readonly number[];
  cid?: string;
  name?: string;
  priority?: number;
  sequence?: number;
  options?: number;
  startCode?: number;
}

export function e131Packet({
  universe = 1,
  levels = [],
  cid = 'desk',
  name = 'Desk',
  priority = 100,
  sequence = 0,
  options = 0,
  startCode = 0,
}: PacketFields = {}): Buffer {
  const bytes = Buffer.alloc(126 + levels.length);
  // The length in the lower 12 bits counts from here to the end; the upper 4 are 0x7.
  const flagsAndLength = (at: number) => bytes.writeUInt16BE(0x7000 | (bytes.length - at), at);
  // Root layer: preamble and postamble size, packet identifier, vector, CID.
  bytes.writeUInt16BE(0x0010, 0);
  bytes.writeUInt16BE(0x0000, 2);
  bytes.write('ASC-E1.17\0\0\0', 4, 'latin1');
  flagsAndLength(16);
  bytes.writeUInt32BE(0x00000004, 18);
  bytes.write(cid.padEnd(16, '.').slice(0, 16), 22, 'latin1');
  // Framing layer: vector, source name, priority, synchronisation address, sequence, options, universe.
  flagsAndLength(38);
  bytes.writeUInt32BE(0x00000002, 40);
  bytes.write(name, 44, 63, 'utf8');
  bytes[108] = priority;
  bytes.writeUInt16BE(0, 109);
  bytes[111] = sequence;
  bytes[112] = options;
  bytes.writeUInt16BE(universe, 113);
  // DMP layer: vector, type of address and data, first address, increment, count, then start code and levels.
  flagsAndLength(115);
  bytes[117] = 0x02;
  bytes[118] = 0xa1;
  bytes.writeUInt16BE(0x0000, 119);
  bytes.writeUInt16BE(0x0001, 121);
  bytes.writeUInt16BE(1 + levels.length, 123);
  bytes[125] = startCode;
  bytes.set(levels, 126);
  return bytes;
}
