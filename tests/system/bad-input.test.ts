import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Daemon, Peer } from './daemon.ts';

let daemon: Daemon;
let holder: Peer;
beforeAll(async () => {
  daemon = await Daemon.start();
  holder = await Peer.holder(daemon);
});
afterAll(async () => {
  await daemon.cleanUp();
});

async function pulses(): Promise<unknown> {
  const { channels } = (await holder.ask('channel.list')) as {
    channels: Record<string, { pulseUs?: number; value: unknown; target: unknown }>;
  };
  return Object.entries(channels).map(([name, { pulseUs, value, target }]) => [
    name,
    pulseUs,
    value,
    target,
  ]);
}

/** Sends a raw frame; the one answer that follows. */
async function raw(frame: string | Buffer, peer = holder) {
  const before = peer.answers.length;
  peer.send(frame);
  return peer.until(() => peer.answers[before]);
}

const call = (method: string, params: string) =>
  `{"jsonrpc":"2.0","id":900,"method":"${method}","params":${params}}`;

describe('bad input is answered with a reason and its values, and nothing moves', () => {
  const cases: [string, string, number, Record<string, unknown>][] = [
    [
      'unknown channel',
      call('channel.move', '{"channel":"horn","to":5}'),
      -32005,
      { channel: 'horn' },
    ],
    [
      'unknown mark',
      call('channel.move', '{"channel":"beak","to":"ajar"}'),
      -32005,
      { mark: 'ajar' },
    ],
    ['unknown group', call('group.move', '{"group":"horns","to":5}'), -32005, { group: 'horns' }],
    ['unknown pose', call('pose.go', '{"pose":"sulking"}'), -32005, { pose: 'sulking' }],
    ['unknown method', call('channel.explode', '{}'), -32601, {}],
    ['NaN', call('channel.move', '{"channel":"beak","to":NaN}'), -32700, {}],
    [
      '1e308',
      call('channel.move', '{"channel":"beak","to":1e308}'),
      -32002,
      { limit: 35, value: 1e308 },
    ],
    ['infinity by overflow', call('channel.move', '{"channel":"beak","to":1e999}'), -32602, {}],
    [
      'out of limits',
      call('channel.move', '{"channel":"beak","to":35.01}'),
      -32002,
      { limit: 35, value: 35.01 },
    ],
    ['a string for a number', call('channel.jog', '{"channel":"beak","byDeg":"5"}'), -32602, {}],
    [
      'a surplus parameter',
      call('channel.move', '{"channel":"beak","to":5,"fast":true}'),
      -32602,
      {},
    ],
    ['a missing parameter', call('channel.move', '{"channel":"beak"}'), -32602, {}],
    ['params by position', call('channel.move', '["beak",5]'), -32602, {}],
    [
      'a relay told to move',
      call('channel.move', '{"channel":"mist","to":5}'),
      -32602,
      { kind: 'relay' },
    ],
    [
      'a light told a mark',
      call('channel.colour', '{"channel":"eye_left","to":"open"}'),
      -32602,
      {},
    ],
    [
      'a step beyond the limits that is too large',
      call('channel.jog', '{"channel":"beak","byDeg":6,"beyondLimits":true}'),
      -32002,
      { limit: 5 },
    ],
    ['broken JSON', '{"jsonrpc":"2.0",', -32700, {}],
    ['a number for a request', '42', -32600, {}],
    ['an empty batch', '[]', -32600, {}],
    ['another version', '{"jsonrpc":"1.0","id":1,"method":"wake"}', -32600, {}],
    [
      'a batch of 1,000',
      `[${Array(1000).fill('{"jsonrpc":"2.0","id":1,"method":"park"}').join()}]`,
      -32009,
      { count: 1000 },
    ],
  ];

  it.each(cases)('%s', async (_name, frame, code, values) => {
    const before = await pulses();
    const { error } = await raw(frame);
    expect(error).toMatchObject({ code, data: values });
    expect(error!.data.reason).toMatch(/\w+ .*\w+/);
    expect(await pulses()).toEqual(before);
  });

  it('a binary frame', async () => {
    const before = await pulses();
    const { error } = await raw(Buffer.from(call('channel.move', '{"channel":"beak","to":5}')));
    expect(error).toMatchObject({ code: -32600 });
    expect(error!.data.reason).toMatch(/text/);
    expect(await pulses()).toEqual(before);
  });

  it('an oversized frame ends its own session and no other', async () => {
    const other = await Peer.connect(daemon);
    await other.ask('session.open', { client: 'big' });
    const { error } = await raw(`"${'x'.repeat(70_000)}"`, other);
    expect(error).toMatchObject({ code: -32600, data: { bytes: 70_002, limitBytes: 65_536 } });
    expect(await other.until(() => other.closeCode)).toBe(1009);
    await holder.ask('channel.list');
  });

  it('no lease', async () => {
    const other = await Peer.connect(daemon);
    await other.ask('session.open', { client: 'other' });
    const before = await pulses();
    const { error } = await other.call('channel.move', { channel: 'beak', to: 5 });
    expect(error).toMatchObject({ code: -32001, data: { holder: 'holder' } });
    expect(await pulses()).toEqual(before);
    await other.close();
  });

  it('a call before session.open', async () => {
    const other = await Peer.connect(daemon);
    const { error } = await other.call('stop', { category: 0 });
    expect(error).toMatchObject({ code: -32006 });
    await other.close();
    expect(await holder.ask('channel.move', { channel: 'beak', to: 0 })).toBeTruthy();
  });

  it('wrong condition: stopped', async () => {
    expect(await holder.ask('stop', { category: 2 })).toEqual({ condition: 'stopped' });
    const before = await pulses();
    for (const [method, params] of [
      ['channel.move', { channel: 'beak', to: 5 }],
      ['channel.jog', { channel: 'beak', byDeg: 1 }],
      ['channel.switch', { channel: 'fan', on: true }],
      ['channel.dim', { channel: 'lantern', to: 1 }],
      ['wake', {}],
      ['park', {}],
    ] as const) {
      const { error } = await holder.call(method, params);
      expect(error, method).toMatchObject({ code: -32003, data: { condition: 'stopped' } });
    }
    expect(await pulses()).toEqual(before);
    expect(await holder.ask('reset')).toEqual({ condition: 'parked' });
    expect(await pulses()).toEqual(before);
  });
});
