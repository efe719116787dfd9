import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { hashToken } from '../../../src/gateway/token.ts';
import { Refusal } from '../../../src/shared/errors.ts';
import { type Client, done, expectError, Rig, until } from '../helpers.ts';

// Error codes: JSON-RPC 2.0, section 5.1; -32001 to -32009 are Sinew's own. Close codes: RFC 6455,
// section 7.4.1.

let rig: Rig;
let client: Client;
beforeEach(async () => {
  rig = await Rig.start();
  client = await rig.open();
});
afterEach(() => rig.end());

const request = (method: string, params?: object, id: unknown = 'x') => ({
  jsonrpc: '2.0',
  id,
  method,
  params,
});

describe('bad input is answered with a reason and never reaches the core', () => {
  afterEach(() => expect(rig.calls()).toEqual([]));

  it.each<[string, string, number, RegExp]>([
    ['broken JSON', '{"jsonrpc":', -32700, /not JSON/],
    ['an empty batch', '[]', -32600, /empty batch/],
    ['a number', '5', -32600, /JSON object/],
    ['an old version', '{"method":"park","id":1}', -32600, /"2\.0"/],
  ])('%s', async (_name, text, code, reason) => {
    expectError(await client.ask(text), code, reason);
  });

  const move = { channel: 'beak', to: 5 };
  it.each<[string, string, unknown, RegExp]>([
    ['parameters by position', 'channel.move', ['beak', 5], /by name/],
    ['a missing parameter', 'channel.move', { channel: 'beak' }, /"to" is missing; give an angle/],
    ['an object for an angle', 'channel.move', { ...move, to: {} }, /"to" must be an angle/],
    ['a number for a name', 'channel.move', { ...move, channel: 3 }, /"channel" must be the name/],
    ['an unknown parameter', 'channel.move', { ...move, sped: 1 }, /"sped" is unknown; .*overS/],
    ['overS 0', 'channel.move', { ...move, overS: 0 }, /"overS" must be .*above 0/],
    ['overS 3601', 'channel.move', { ...move, overS: 3601 }, /"overS" must be .*at most 3600/],
    ['wait "yes"', 'channel.move', { ...move, wait: 'yes' }, /"wait" must be true or false/],
    ['a string for byDeg', 'channel.jog', { channel: 'beak', byDeg: '1' }, /"byDeg" must be/],
    ['neither step', 'channel.jog', { channel: 'beak' }, /exactly one of byDeg and byUs/],
    ['both steps', 'channel.jog', { channel: 'beak', byDeg: 1, byUs: 1 }, /exactly one/],
    ['on: "on"', 'channel.switch', { channel: 'mist', on: 'on' }, /"on" must be true or false/],
    [
      'a mark with a space',
      'mark.capture',
      { channel: 'beak', mark: 'half open' },
      /"mark".*letter/,
    ],
    ['grace over 300 s', 'lease.release', { graceS: 301 }, /"graceS" must be .* 0 to 300/],
    ['grace below 0', 'lease.release', { graceS: -1 }, /"graceS"/],
    ['category 3', 'stop', { category: 3 }, /"category" must be 0, 1 or 2/],
    ['category "0"', 'stop', { category: '0' }, /"category" must be 0, 1 or 2/],
    ['no category', 'stop', {}, /"category" is missing; give 0, 1 or 2/],
    ['hz 0', 'state.follow', { hz: 0 }, /"hz" must be 1 to 50/],
    ['hz 51', 'state.follow', { hz: 51 }, /"hz" must be 1 to 50/],
    ['hz 1.5', 'state.follow', { hz: 1.5 }, /"hz" must be a whole number/],
    [
      'end middle',
      'limits.capture',
      { channel: 'beak', end: 'middle' },
      /"end" must be low or high/,
    ],
    ['a park position without its servo', 'park.capture', {}, /"channel" is missing/],
    [
      'a mark to park at, with a space',
      'park.capture',
      { channel: 'beak', mark: 'half open' },
      /"mark".*letter/,
    ],
    ['an undo of something', 'capture.undo', { mark: 'open' }, /capture\.undo takes no parameters/],
    ['no text', 'loom.find', {}, /"text" is missing; give a text/],
    ['a number for a text', 'loom.find', { text: 7 }, /"text" must be a text/],
    ['no such symptom', 'loom.trace', { channel: 'beak', symptom: 'sad' }, /one of dead, buzzing/],
    ['a text of 201', 'loom.find', { text: 'a'.repeat(201) }, /at most 200 characters/],
    ['a board', 'board.list', { board: 'head' }, /board\.list takes no parameters/],
    ['no text to check', 'prop.check', {}, /"text" is missing; give the text of a prop file/],
    [
      'a text and edits',
      'prop.apply',
      { text: 'a', edits: [{ path: ['a'] }], version: '0123456789abcdef' },
      /exactly one of text and edits/,
    ],
    ['neither', 'prop.apply', { version: '0123456789abcdef' }, /exactly one of text and edits/],
    ['a change of no version', 'prop.apply', { text: 'a' }, /"version" is missing; give a version/],
    [
      'an edit nowhere',
      'prop.apply',
      { edits: [{ path: [] }], version: '0123456789abcdef' },
      /at least one key/,
    ],
    [
      '1001 edits',
      'prop.apply',
      { edits: Array(1001).fill({ path: ['a'] }), version: '0123456789abcdef' },
      /at most 1000 edits/,
    ],
    ['a version that is none', 'prop.restore', { version: 'latest' }, /16 hexadecimal digits/],
    ['a level of 2', 'sim.set', { board: 'head', inputs: { 4: 2 } }, /0 or 1/],
    ['a pin that is none', 'sim.set', { board: 'head', inputs: { door: 1 } }, /"inputs/],
    ['an empty fault', 'sim.set', { board: 'head', fault: '' }, /what is wrong, in words/],
    ['since -1', 'journal.read', { since: -1 }, /"since"/],
    ['parameters where none are', 'wake', { now: true }, /"now" is unknown; wake takes wait/],
    ['the same without any', 'lease.take', { x: 1 }, /lease.take takes no parameters/],
    ['a confirmation that is none', 'wake', { confirm: 'yes' }, /the word unknown/],
    ['a long name', 'channel.move', { ...move, channel: 'b'.repeat(65) }, /1 to 64 characters/],
  ])('%s', async (_name, method, params, reason) => {
    const answer = await client.ask(request(method, params as object));
    expectError(answer, -32602, reason);
    expect(answer.id).toBe('x');
    expect(answer.error.data.reason).toContain(method);
  });

  it('1e999, which JSON allows and no number holds, is told as Infinity', async () => {
    const text =
      '{"jsonrpc":"2.0","id":1,"method":"channel.jog","params":{"channel":"beak","byDeg":1e999}}';
    const answer = await client.ask(text);
    expectError(answer, -32602, /"byDeg" must be a finite number/);
    expect(answer.error.data.issues[0]).toMatchObject({ parameter: 'byDeg', got: 'Infinity' });
  });

  it('NaN is not JSON', async () => {
    const answer = await client.ask('{"jsonrpc":"2.0","id":1,"method":"wake","params":{"a":NaN}}');
    expectError(answer, -32700, /not JSON/);
  });

  it('a prototype is not a parameter', async () => {
    const answer = await client.ask(
      '{"jsonrpc":"2.0","id":1,"method":"reset","params":{"__proto__":{"a":1}}}',
    );
    expectError(answer, -32602, /"__proto__" is unknown/);
  });

  it('all issues are listed, and a long value is shortened', async () => {
    const { error } = await client.call('channel.move', { channel: 'b'.repeat(9000), overS: 'a' });
    expect(error.data.issues.map((issue: { parameter: string }) => issue.parameter)).toEqual([
      'channel',
      'to',
      'overS',
    ]);
    expect(JSON.stringify(error).length).toBeLessThan(1000);
  });

  it.each<[string, RegExp]>([
    ['channel.mov', /did you mean channel\.move\?/],
    ['Lease.Take', /did you mean lease\.take\?/],
    ['xyzzy', /rpc\.discover lists/],
    ['constructor', /rpc\.discover lists/],
    ['toString', /rpc\.discover lists/],
    ['cue.rum', /did you mean cue\.run\?/],
    ['loom.fnd', /did you mean loom\.find\?/],
  ])('unknown method %s', async (method, reason) => {
    expectError(await client.call(method, {}), -32601, reason);
  });

  it('a batch of 1,000 is one error', async () => {
    const answer = await client.ask(Array(1000).fill(request('park')));
    expectError(answer, -32009, /1000 requests; at most 100/);
    expect(answer.error.data).toMatchObject({ count: 1000, limit: 100 });
    expect(answer.id).toBeNull();
  });

  it('a binary frame is refused, and the session stays', async () => {
    const before = client.messages.length;
    client.socket.send(Buffer.from(JSON.stringify(request('park'))), { binary: true });
    await until(() => client.messages.length > before, 'an answer');
    expectError(client.messages[before], -32600, /binary frame/);
    expect((await client.call('state.unfollow')).result).toEqual({ hz: 0 });
  });

  it('a frame over 64 KiB is answered, then closes that session alone', async () => {
    const other = await rig.open('other');
    const frame = JSON.stringify(request('park')).padEnd(65_537);
    const answer = await client.ask(frame);
    expectError(answer, -32600, /65537 bytes; at most 65536/);
    expect(answer.error.data).toMatchObject({ bytes: 65_537, limitBytes: 65_536 });
    expect((await client.end()).code).toBe(1009);
    await until(() => rig.of('gone').length === 1, 'gone');
    expect(rig.of('gone')[0]).toMatchObject({ session: client.session });
    expect((await other.call('state.unfollow')).result).toEqual({ hz: 0 });
  });

  it('a frame over 1 MiB is closed without an answer', async () => {
    client.send('x'.repeat(1024 * 1024 + 1));
    expect((await client.end()).code).toBe(1009);
  });

  it('text that is not UTF-8 closes the session (RFC 6455, 8.1)', async () => {
    client.socket.send(Buffer.from([0xff, 0xfe, 0xfd]), { binary: false });
    expect((await client.end()).code).toBe(1007);
  });
});

describe('calls', () => {
  it('a frame of just 64 KiB is carried out', async () => {
    const answer = await client.ask(JSON.stringify(request('park')).padEnd(65_536));
    expect(answer.result).toEqual({ method: 'park' });
  });

  it('the core gets the checked parameters, and its answers come back', async () => {
    const params = { channel: 'beak', to: 'open', overS: 1.5, wait: true };
    const answer = await client.call('channel.move', params);
    expect(answer).toEqual({ jsonrpc: '2.0', id: answer.id, result: { method: 'channel.move' } });
    expect(rig.calls()).toEqual([
      { t: 'call', id: 1, session: client.session, method: 'channel.move', params },
    ]);
  });

  it.each<[string, object]>([
    ['prop.apply', { text: 'sinew: 1', version: '0123456789abcdef' }],
    [
      'prop.apply',
      {
        edits: [
          { path: ['channels', 'beak', 'limitsDeg', 0], value: -4 },
          { path: ['poses', 'a'] },
        ],
        version: '0123456789abcdef',
      },
    ],
    ['prop.restore', { version: '0123456789abcdef' }],
    ['sim.set', { board: 'head', inputs: { 4: 1, 5: null }, fault: null }],
    ['park.capture', { channel: 'beak' }],
    ['park.capture', { channel: 'beak', mark: 'shut' }],
    ['capture.undo', {}],
  ])('%s %j reaches the core', async (method, params) => {
    expect((await client.call(method, params)).result).toEqual({ method });
    expect(rig.calls()).toMatchObject([{ method, params }]);
    expect(rig.calls()[0]!.params).toEqual(params);
  });

  it('left out params are none', async () => {
    await client.call('wake');
    expect(rig.calls()[0]).toMatchObject({ method: 'wake', params: {} });
  });

  it('a refusal of the core is passed on whole', async () => {
    const refusal = new Refusal('limits.outside', 'beak: 90 deg is above 35 deg', { limit: 35 });
    rig.reply = ({ id }) => ({ t: 'fail', id, error: refusal.toObject() });
    const { error } = await client.call('channel.move', { channel: 'beak', to: 90 });
    expect(error).toEqual({
      code: -32002,
      message: 'Out of limits',
      data: { code: 'limits.outside', reason: 'beak: 90 deg is above 35 deg', limit: 35 },
    });
  });

  it('notifications are carried out and not answered, not even with an error', async () => {
    client.send({ jsonrpc: '2.0', method: 'park' });
    client.send({ jsonrpc: '2.0', method: 'nonsense' });
    client.send([{ jsonrpc: '2.0', method: 'reset' }]);
    const before = client.messages.length;
    await client.call('wake');
    expect(client.messages.length).toBe(before + 1);
    expect(rig.calls().map((call) => call.method)).toEqual(['park', 'reset', 'wake']);
  });

  it('a batch is carried out in order, with each fault answered in its place', async () => {
    const answers = await client.ask([
      request('wake', {}, 1),
      request('channel.move', { channel: 'beak' }, 2),
      { jsonrpc: '2.0', method: 'reset' },
      7,
      request('park', {}, 3),
    ]);
    expect(answers).toMatchObject([
      { id: 1, result: { method: 'wake' } },
      { id: 2, error: { code: -32602 } },
      { id: null, error: { code: -32600 } },
      { id: 3, result: { method: 'park' } },
    ]);
    expect(rig.calls().map((call) => call.method)).toEqual(['wake', 'reset', 'park']);
  });

  it('a stop overtakes a move that is waited for', async () => {
    rig.reply = ({ id, method }) => (method === 'stop' ? done(id, {}) : undefined);
    client.send(request('channel.move', { channel: 'beak', to: 5, wait: true }, 'move'));
    expect((await client.call('stop', { category: 0 })).result).toEqual({});
    expect(client.messages.some((message) => message.id === 'move')).toBe(false);
  });

  it('more than 100 open calls of one session are refused', async () => {
    rig.reply = () => undefined;
    for (let id = 0; id <= 100; id++) client.send(request('wake', { wait: true }, `w${id}`));
    expectError(await client.answer('w100'), -32009, /100 calls .* not answered/);
    await until(() => rig.calls().length === 100, '100 calls');
    const calls = rig.calls();
    rig.send(done(calls[0]!.id, 'first'));
    expect((await client.answer('w0')).result).toBe('first');
  });

  it('the rest of a batch is not carried out once its session is gone', async () => {
    rig.reply = () => undefined;
    client.send([request('wake', { wait: true }, 1), request('park', {}, 2)]);
    await until(() => rig.calls().length === 1, 'the first call');
    client.socket.terminate();
    await until(() => rig.of('gone').length === 1, 'gone');
    rig.send(done(rig.calls()[0]!.id, {}));
    const other = await rig.open('other');
    await other.call('state.unfollow');
    expect(rig.calls().length).toBe(1);
  });
});

describe('session.open', () => {
  it('tells the session what it needs, and the core of the session', async () => {
    const fresh = await rig.connect();
    const { result } = await fresh.call('session.open', { client: 'laptop' });
    expect(result).toEqual({
      session: expect.stringMatching(/^[0-9a-f-]{36}$/),
      condition: 'parked',
      prop: 'Foyer owl',
      protocol: 1,
      linkTimeoutMs: 500,
      version: '0123456789abcdef',
    });
    await until(() => rig.of('open').length === 2, 'open');
    expect(rig.of('open')[1]).toEqual({
      t: 'open',
      session: result.session,
      slot: 1,
      client: 'laptop',
    });
  });

  it('must be the first call', async () => {
    const fresh = await rig.connect();
    for (const method of ['park', 'stop', 'rpc.discover', 'nonsense']) {
      expectError(await fresh.call(method, { category: 0 }), -32006, /must be the first call/);
    }
    expect(rig.calls()).toEqual([]);
    expect((await fresh.call('session.open', { client: 'laptop' })).result).toBeDefined();
  });

  it('must come within 3 s', async () => {
    const fresh = await rig.connect();
    rig.clock.advance(2999);
    await fresh.call('park');
    expect(fresh.closed).toBeNull();
    rig.clock.advance(1);
    const { code, reason } = await fresh.end();
    expect(code).toBe(1008);
    expect(reason).toBe('session.open did not come within 3 s');
    // The core never heard of it.
    expect(rig.of('gone')).toEqual([]);
  });

  it('is done once', async () => {
    expectError(await client.call('session.open', { client: 'again' }), -32600, /open already/);
    expect(rig.of('open').length).toBe(1);
  });

  it('an open session stays open', async () => {
    rig.clock.advance(4000);
    expect((await client.call('park')).result).toBeDefined();
  });

  it('cleans the name of what would forge a line of a log or a screen', async () => {
    const fresh = await rig.connect();
    const name = ' a\nb\r\u001b[31mc\u202ed\u2028e\u0000 ';
    await fresh.call('session.open', { client: name });
    await until(() => rig.of('open').length === 2, 'open');
    expect(rig.of('open')[1]!.client).toBe('ab[31mcde');
  });

  it.each([
    ['no name', {}, /"client" is missing/],
    ['an empty name', { client: '' }, /printable/],
    ['a name of line breaks', { client: '\n\r\n' }, /printable/],
    ['65 characters', { client: 'a'.repeat(65) }, /at most 64/],
    ['a number', { client: 5 }, /"client" must be/],
  ])('refuses %s', async (_name, params, reason) => {
    const fresh = await rig.connect();
    expectError(await fresh.call('session.open', params), -32602, reason);
  });

  it('needs no token on loopback, and ignores one', async () => {
    const fresh = await rig.connect();
    const { result } = await fresh.call('session.open', { client: 'laptop', token: 'whatever' });
    expect(result).toBeDefined();
  });
});

describe('tokens', () => {
  const token = '6f0c1d9b27a84e53b1d2c7f09e8a4d36';
  let guarded: Rig;
  beforeEach(async () => {
    guarded = await Rig.start({ tokenHash: hashToken(token) });
  });
  afterEach(() => guarded.end());

  it('the right token opens', async () => {
    const fresh = await guarded.connect();
    expect((await fresh.call('session.open', { client: 'a', token })).result).toBeDefined();
  });

  it.each([
    ['a wrong token', { client: 'a', token: 'wrong' }, /wrong token/],
    ['no token', { client: 'a' }, /asks for a token/],
  ])('%s is answered late, once, and closed', async (_name, params, reason) => {
    const fresh = await guarded.connect();
    fresh.send(request('session.open', params, 1));
    // Guesses that follow on the same connection are not even looked at.
    fresh.send(request('session.open', { client: 'a', token }, 2));
    fresh.send(request('park', {}, 3));
    const other = await guarded.connect();
    await other.call('session.open', { client: 'b', token });
    guarded.clock.advance(199);
    await other.call('state.unfollow');
    expect(fresh.messages).toEqual([]);
    guarded.clock.advance(1);
    expectError(await fresh.answer(1), -32006, reason);
    expect((await fresh.end()).code).toBe(1008);
    expect(fresh.messages.length).toBe(1);
    expect(guarded.calls()).toEqual([]);
    expect(guarded.of('open').length).toBe(1);
  });

  it('a batch tries one token', async () => {
    const fresh = await guarded.connect();
    fresh.send([
      request('session.open', { client: 'a', token: 'wrong' }, 1),
      request('session.open', { client: 'a', token }, 2),
    ]);
    const other = await guarded.connect();
    await other.call('session.open', { client: 'b', token });
    guarded.clock.advance(200);
    await until(() => fresh.messages.length > 0, 'an answer');
    expect(fresh.messages[0]).toMatchObject([
      { id: 1, error: { code: -32006 } },
      { id: 2, error: { code: -32006 } },
    ]);
    expect((await fresh.end()).code).toBe(1008);
  });
});

it('sim.set is for this machine alone', async () => {
  const token = '6f0c1d9b27a84e53b1d2c7f09e8a4d36';
  const open = await Rig.start({ host: '0.0.0.0', tokenHash: hashToken(token) });
  const one = await open.connect();
  await one.call('session.open', { client: 'a', token });
  const params = { board: 'head', inputs: { 4: 1 } };
  expectError(await one.call('sim.set', params), -32006, /0\.0\.0\.0; start it with --listen/);
  expect(open.calls()).toEqual([]);
  await open.end();
});
