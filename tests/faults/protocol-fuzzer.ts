import { deflateRawSync } from 'node:zlib';
import { Dice } from './dice.ts';
import { type Api, apiOf, message } from './protocol-grammar.ts';
import { closing, frame, OP, RawSocket } from './protocol-socket.ts';

/**
 * Attacks a daemon with connection after connection, each of which follows from its seed: first sound
 * frames with messages of all kinds, then one breach of RFC 6455 or another end. Tells what the daemon
 * did wrong, a line of JSON for each chunk of connections.
 */

const ANSWER_MS = 8000;
/** Codes of JSON-RPC 2.0 and of this API; -32603, an internal error, is a finding. */
const CODES = new Set([
  -32700, -32600, -32601, -32602, -32001, -32002, -32003, -32004, -32005, -32006, -32007, -32008,
  -32009,
]);

export interface Outcome {
  frames: number;
  connections: number;
  /** Frames and ends by kind. */
  kinds: Record<string, number>;
  wrong: string[];
}

interface End {
  name: string;
  bytes: (dice: Dice) => Buffer[];
  /** The close codes that the daemon may answer with; none where it need not answer. */
  codes: number[];
}

const text = (payload: string | Buffer) => frame({ op: OP.text, payload: Buffer.from(payload) });
const one = (form: Parameters<typeof frame>[0]) => () => [frame(form)];
const HI = Buffer.from('"hi"');
/** A megabyte of zeros, compressed to a thousandth (RFC 7692). */
const BOMB = deflateRawSync(Buffer.alloc(1024 * 1024));

/** How a connection may end; sections of RFC 6455. */
const ENDS: readonly End[] = [
  {
    name: 'close 1000 (7.1.2)',
    bytes: one({ op: OP.close, payload: closing(1000, 'bye') }),
    codes: [1000],
  },
  { name: 'close without a code (7.1.5)', bytes: one({ op: OP.close }), codes: [0, 1000, 1005] },
  {
    name: 'close 3000 and 4999 (7.4.2)',
    bytes: (dice) => [frame({ op: OP.close, payload: closing(dice.pick([3000, 4999])) })],
    codes: [3000, 4999],
  },
  { name: 'no mask (5.1)', bytes: one({ op: OP.text, payload: HI, masked: false }), codes: [1002] },
  {
    name: 'reserved bit (5.2)',
    bytes: (dice) => [frame({ op: OP.text, payload: HI, rsv: dice.whole(1, 7) })],
    codes: [1002],
  },
  {
    name: 'reserved bit on a ping (5.2)',
    bytes: (dice) => [frame({ op: OP.ping, rsv: dice.whole(1, 7) })],
    codes: [1002],
  },
  {
    name: 'reserved opcode (5.2)',
    bytes: (dice) => [frame({ op: dice.pick([3, 4, 5, 6, 7, 11, 12, 13, 14, 15]), payload: HI })],
    codes: [1002],
  },
  {
    name: 'compressed bomb that nobody agreed to (5.2; RFC 7692, 6)',
    bytes: one({ op: OP.text, payload: BOMB, rsv: 4 }),
    codes: [1002],
  },
  {
    name: 'fragmented control frame (5.5)',
    bytes: (dice) => [frame({ op: dice.pick([OP.ping, OP.pong, OP.close]), fin: false })],
    codes: [1002],
  },
  {
    name: 'control frame over 125 bytes (5.5)',
    bytes: (dice) => [
      frame({ op: dice.pick([OP.ping, OP.pong, OP.close]), payload: Buffer.alloc(126, 97) }),
    ],
    codes: [1002],
  },
  {
    name: 'continuation of nothing (5.4)',
    bytes: one({ op: OP.continuation, payload: HI }),
    codes: [1002],
  },
  {
    name: 'a new message within a message (5.4)',
    bytes: () => [frame({ op: OP.text, payload: HI, fin: false }), text('"x"')],
    codes: [1002],
  },
  {
    name: 'a message that never ends (5.4)',
    bytes: () => [frame({ op: OP.text, payload: HI, fin: false })],
    codes: [],
  },
  {
    name: 'fragments past the limit',
    bytes: () => [
      frame({ op: OP.text, payload: HI, fin: false }),
      ...Array.from({ length: 34 }, () =>
        frame({ op: OP.continuation, payload: Buffer.alloc(32_768, 97), fin: false }),
      ),
    ],
    codes: [1009],
  },
  {
    name: 'close code that may not be sent (7.4.1)',
    bytes: (dice) => [
      frame({
        op: OP.close,
        payload: closing(dice.pick([0, 999, 1004, 1005, 1006, 1015, 1016, 2999, 5000, 65_535])),
      }),
    ],
    codes: [1002],
  },
  {
    name: 'close payload of one byte (5.5.1)',
    bytes: one({ op: OP.close, payload: Buffer.from([3]) }),
    codes: [1002],
  },
  {
    name: 'close reason that is not UTF-8 (5.5.1)',
    bytes: one({ op: OP.close, payload: closing(1000, Buffer.from([0xc3, 0x28])) }),
    codes: [1007],
  },
  {
    name: 'text that is not UTF-8 (8.1)',
    bytes: (dice) => [
      frame({
        op: OP.text,
        payload: Buffer.from(
          dice.pick([
            [0xff],
            [0xc0, 0xaf],
            [0xed, 0xa0, 0x80],
            [0xf4, 0x90, 0x80, 0x80],
            [0x22, 0xe2, 0x82],
          ]),
        ),
      }),
    ],
    codes: [1007],
  },
  {
    name: 'length above the limit (5.2)',
    bytes: (dice) => [
      frame({ op: OP.text, claims: dice.pick([1024n * 1024n + 1n, 1n << 40n, 1n << 62n]) }),
    ],
    codes: [1009],
  },
  {
    name: 'length with its top bit set (5.2)',
    bytes: one({ op: OP.text, claims: 1n << 63n }),
    codes: [1002, 1009],
  },
  { name: 'over 64 KiB', bytes: () => [text(`"${'x'.repeat(70_000)}"`)], codes: [1009] },
  {
    name: 'half a frame, then gone',
    bytes: (dice) => [text('"abcdefgh"').subarray(0, dice.whole(1, 12))],
    codes: [],
  },
  {
    name: 'noise',
    bytes: (dice) => [
      Buffer.from(Array.from({ length: dice.whole(2, 400) }, () => dice.whole(0, 255))),
    ],
    codes: [],
  },
  { name: 'gone without a word', bytes: () => [], codes: [] },
];

export class Fuzzer {
  readonly outcome: Outcome = { frames: 0, connections: 0, kinds: {}, wrong: [] };
  readonly #port: number;
  readonly #api: Api;

  constructor(port: number, api: Api) {
    this.#port = port;
    this.#api = api;
  }

  /** Everything that the connection of `seed` does. */
  async connection(seed: number): Promise<void> {
    const dice = new Dice(seed);
    const wrong = (what: string) => this.outcome.wrong.push(`seed ${seed}: ${what}`);
    let raw: RawSocket;
    try {
      raw = await RawSocket.open(this.#port);
    } catch (error) {
      wrong((error as Error).message);
      return;
    }
    try {
      this.outcome.connections++;
      if (raw.extensions !== undefined) wrong(`agreed to ${raw.extensions}`);
      const waiting = new Set<string>();
      raw.onText = (answer) => judge(answer, waiting, wrong);
      const sent = await this.#talk(dice, raw, waiting);
      if (!(await raw.until(() => waiting.size === 0 || raw.ended, ANSWER_MS)) || raw.ended)
        wrong(
          `${waiting.size} of ${sent} requests unanswered, ${raw.ended ? `closed with ${raw.closeCode}` : 'open'}`,
        );
      else await this.#end(dice, raw, wrong);
      for (const breach of raw.breaches) wrong(breach);
    } finally {
      raw.socket.destroy();
    }
  }

  /** Sound frames, cut up and packed in any way. Fewer than the rate limit allows at once. */
  async #talk(dice: Dice, raw: RawSocket, waiting: Set<string>): Promise<number> {
    const chunks: Buffer[] = [];
    const add = (bytes: Buffer, kind: string) => {
      chunks.push(bytes);
      this.#count(kind);
      this.outcome.frames++;
    };
    if (dice.chance(0.85)) {
      const client = JSON.stringify(dice.pick(['a', 'b\u001b[31m', 'c\nforged', '💡', 'd']));
      add(
        text(`{"jsonrpc":"2.0","id":"open","method":"session.open","params":{"client":${client}}}`),
        'text',
      );
      waiting.add('open');
    }
    let left = dice.pick([10, 60, 300, 1200]);
    let frames = 0;
    while (left > 0) {
      const id = `r${frames++}`;
      const { text: json, id: expected, requests } = message(dice, this.#api, id);
      left -= requests;
      // Too large to be read: one of the ends.
      if (json.length > 60_000) continue;
      if (expected !== undefined) waiting.add(expected);
      this.#pack(dice, Buffer.from(json), add);
      if (dice.chance(0.02)) add(frame({ op: OP.binary, payload: Buffer.from(json) }), 'binary');
      if (dice.chance(0.05)) add(frame({ op: OP.pong }), 'pong');
    }
    const payload = Buffer.from(`p${dice.whole(0, 1e9)}`);
    add(frame({ op: OP.ping, payload }), 'ping');
    for (const piece of cut(dice, Buffer.concat(chunks))) {
      raw.write(piece);
      await raw.drained();
    }
    const echoed = () => raw.pongs.some((pong) => pong.equals(payload)) || raw.ended;
    if (!(await raw.until(echoed, ANSWER_MS)))
      this.outcome.wrong.push('a ping was not answered (5.5.2)');
    return frames;
  }

  /** A text message in one frame or in fragments, with control frames in between (5.4). */
  #pack(dice: Dice, json: Buffer, add: (bytes: Buffer, kind: string) => void): void {
    const lengthForm = dice.chance(0.9) ? 'least' : dice.pick(['16 bits', '64 bits'] as const);
    const key = dice.chance(0.1) ? Buffer.alloc(4) : undefined;
    if (!dice.chance(0.12)) {
      add(frame({ op: OP.text, payload: json, lengthForm, ...(key && { key }) }), 'text');
      return;
    }
    const pieces = dice.whole(2, 6);
    for (let i = 0; i < pieces; i++) {
      const from = Math.floor((json.length * i) / pieces);
      const to = Math.floor((json.length * (i + 1)) / pieces);
      const fin = i === pieces - 1;
      const op = i === 0 ? OP.text : OP.continuation;
      add(frame({ op, payload: json.subarray(from, to), fin }), 'fragment');
      if (!fin && dice.chance(0.3)) add(frame({ op: OP.ping, payload: HI }), 'ping');
    }
  }

  async #end(dice: Dice, raw: RawSocket, wrong: (what: string) => void): Promise<void> {
    const { name, bytes, codes } = dice.pick(ENDS);
    this.#count(name);
    const frames = bytes(dice);
    this.outcome.frames += Math.max(1, frames.length);
    for (const piece of frames) raw.write(piece);
    if (codes.length === 0) return;
    if (!(await raw.until(() => raw.closeCode !== undefined || raw.ended, ANSWER_MS)))
      wrong(`${name}: the connection goes on`);
    else if (!codes.includes(raw.closeCode ?? -1))
      wrong(`${name}: closed with ${raw.closeCode}, not ${codes.join(' or ')}`);
    // 5.5.1: the other end answers a close frame, then the server closes the connection.
    raw.write(frame({ op: OP.close, payload: closing(1000) }));
    if (!(await raw.until(() => raw.ended, 3000))) wrong(`${name}: the connection is not closed`);
  }

  #count(kind: string): void {
    this.outcome.kinds[kind] = (this.outcome.kinds[kind] ?? 0) + 1;
  }
}

/** What comes in must be JSON-RPC 2.0: an answer, an array of answers, or a notification. */
function judge(answer: string, waiting: Set<string>, wrong: (what: string) => void): void {
  let parsed: unknown;
  try {
    parsed = JSON.parse(answer);
  } catch {
    wrong(`not JSON: ${answer.slice(0, 100)}`);
    return;
  }
  for (const each of Array.isArray(parsed) ? parsed : [parsed]) {
    const { jsonrpc, id, method, error } = each as Record<string, unknown>;
    if (jsonrpc !== '2.0') wrong(`not JSON-RPC 2.0: ${answer.slice(0, 100)}`);
    if (method !== undefined) continue;
    if (Object.hasOwn(each, 'result') === Object.hasOwn(each, 'error') || id === undefined)
      wrong(`no answer of JSON-RPC 2.0: ${answer.slice(0, 100)}`);
    const { code } = (error ?? { code: -32600 }) as { code: number };
    if (!CODES.has(code)) wrong(`error ${code}: ${answer.slice(0, 300)}`);
    // Other ids come from messages that were damaged on purpose.
    if (typeof id === 'string' && /^(r\d+|open)$/.test(id) && !waiting.delete(id))
      wrong(`an answer to ${id} that nobody waits for`);
  }
}

/** Bytes as the network might deliver them: all at once, or cut anywhere. */
function cut(dice: Dice, bytes: Buffer): Buffer[] {
  if (dice.chance(0.6)) return [bytes];
  const pieces: Buffer[] = [];
  for (let at = 0; at < bytes.length; ) {
    const size = dice.pick([1, 3, 100, 1400, 4096, 60_000]);
    // A whole connection byte by byte is slow and tells no more than its first part.
    const end = pieces.length > 200 ? bytes.length : at + size;
    pieces.push(bytes.subarray(at, end));
    at = end;
  }
  return pieces;
}

/** The methods of the daemon, as it describes them itself. */
export async function describeApi(port: number): Promise<Api> {
  const response = await fetch(`http://127.0.0.1:${port}/openrpc.json`);
  return apiOf((await response.json()) as object);
}
