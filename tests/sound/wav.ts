/** Parts of WAV files for tests, put together by hand: Microsoft's RIFF specification. */

export interface WavParts {
  format?: number;
  channels?: number;
  rateHz?: number;
  bits?: number;
  frameBytes?: number;
  bytesPerS?: number;
  /** Chunks between the format and the sound, and after it. */
  between?: Buffer;
  after?: Buffer;
  /** More of the chunk with the format. */
  more?: Buffer;
  /** What the chunk says of its size. */
  dataSize?: number;
  data?: Buffer;
}

export function chunk(id: string, content: Buffer, size = content.length): Buffer {
  const head = Buffer.alloc(8);
  head.write(id, 'latin1');
  head.writeUInt32LE(size, 4);
  return Buffer.concat([head, content, Buffer.alloc(content.length % 2)]);
}

/** What an extensible format adds: its size, valid bits, the places of the loudspeakers, and the real format. */
export function extensible(bits: number, format: number): Buffer {
  const more = Buffer.alloc(24);
  more.writeUInt16LE(22, 0);
  more.writeUInt16LE(bits, 2);
  more.writeUInt32LE(4, 4);
  more.writeUInt16LE(format, 8);
  Buffer.from('000000001000800000aa00389b71', 'hex').copy(more, 10);
  return more;
}

/** Half a second at 8 kHz: a tone of 16 bits. */
export const TONE = Buffer.from(
  Int16Array.from({ length: 4000 }, (_, i) => 12_000 * Math.sin(i / 3)).buffer,
);

export function wavOf(parts: WavParts = {}): Buffer {
  const { format = 1, channels = 1, rateHz = 8000, bits = 16, data = TONE } = parts;
  const { frameBytes = (channels * bits) / 8 } = parts;
  const fmt = Buffer.alloc(16);
  fmt.writeUInt16LE(format, 0);
  fmt.writeUInt16LE(channels, 2);
  fmt.writeUInt32LE(rateHz, 4);
  fmt.writeUInt32LE(parts.bytesPerS ?? (rateHz * frameBytes) % 2 ** 32, 8);
  fmt.writeUInt16LE(frameBytes, 12);
  fmt.writeUInt16LE(bits, 14);
  const none = Buffer.alloc(0);
  const body = Buffer.concat([
    Buffer.from('WAVE'),
    chunk('fmt ', Buffer.concat([fmt, parts.more ?? none])),
    parts.between ?? none,
    chunk('data', data, parts.dataSize),
    parts.after ?? none,
  ]);
  return chunk('RIFF', body);
}
