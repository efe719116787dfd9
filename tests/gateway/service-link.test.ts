import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { METHODS, type MethodBy } from '../../src/api/methods.ts';
import type { FromGateway } from '../../src/service/protocol.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { type Client, expectError, Rig, until } from './helpers.ts';

// The line to the prop-file service: what is asked past the core, and what when nobody answers.

let rig: Rig;
let client: Client;
beforeEach(async () => {
  rig = await Rig.start();
  client = await rig.open();
});
afterEach(() => rig.end());

const ASKED = Object.entries(METHODS)
  .filter(([, { by }]) => by === 'service')
  .map(([name]) => name as MethodBy<'service'>);

/** Those of its example. */
const paramsOf = (method: MethodBy<'service'>): object => METHODS[method].example.params;

describe('questions', () => {
  it.each(ASKED)(
    '%s goes to the service, with its parameters, and never to the core',
    async (method) => {
      const params = paramsOf(method);
      expect((await client.call(method, params)).result).toEqual({ method });
      expect(rig.questions()).toEqual([
        { t: 'ask', id: 1, session: client.session, method, params },
      ]);
      expect(rig.calls()).toEqual([]);
    },
  );

  it('an empty text finds all wires', async () => {
    await client.call('loom.find', { text: '' });
    expect(rig.questions()[0]!.params).toEqual({ text: '' });
  });

  it('an answer larger than what a client may send is passed on whole', async () => {
    const text = 'a'.repeat(300 * 1024);
    rig.answer = ({ id }) => ({ id, text: JSON.stringify({ text }) });
    expect((await client.call('prop.read')).result.text).toBe(text);
  });

  it('a refusal of the service is passed on whole', async () => {
    const refusal = new Refusal('cue.unknown', 'there is no cue wkae; did you mean wake?');
    rig.answer = ({ id }) => ({ id, error: refusal.toObject() });
    expectError(await client.call('budget.cue', { cue: 'wkae' }), -32005, /did you mean wake/);
  });

  it('answers come in any order', async () => {
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 'a', method: 'budget.cue', params: { cue: 'wake' } });
    client.send({ jsonrpc: '2.0', id: 'b', method: 'prop.read' });
    await until(() => rig.questions().length === 2, 'both questions');
    const [first, second] = rig.questions();
    rig.service.postMessage({ id: second!.id, text: '"second"' });
    expect((await client.answer('b')).result).toBe('second');
    rig.service.postMessage({ id: first!.id, text: '"first"' });
    // Nobody waits for these.
    rig.service.postMessage({ id: first!.id, text: '"again"' });
    rig.service.postMessage({ id: 99, text: '"of nothing"' });
    expect((await client.answer('a')).result).toBe('first');
  });

  it('a question that waits holds up nothing else', async () => {
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 'slow', method: 'prop.read' });
    expect((await client.call('stop', { category: 1 })).result).toEqual({ method: 'stop' });
  });

  it('of one session 16 may wait; the others still ask', async () => {
    const answer = rig.answer;
    rig.answer = (ask) => (ask.session === client.session ? undefined : answer(ask));
    for (let n = 0; n < 17; n++)
      client.send({ jsonrpc: '2.0', id: `q${n}`, method: 'budget.cue', params: { cue: 'wake' } });
    expectError(await client.answer('q16'), -32009, /16 questions of this session wait/);
    const other = await rig.open('other');
    expect((await other.call('prop.read')).result).toEqual({ method: 'prop.read' });
  });

  it('of all sessions together 128 may wait', async () => {
    rig.answer = () => undefined;
    for (let n = 0; n < 8; n++) {
      const one = await rig.open(`c${n}`);
      for (let q = 0; q < 16; q++) one.send({ jsonrpc: '2.0', id: q, method: 'prop.read' });
    }
    await until(() => rig.questions().length === 128, 'all questions');
    expectError(await client.call('prop.read'), -32009, /too many wait/);
  });

  it('a session that ends takes its questions back', async () => {
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 1, method: 'budget.cue', params: { cue: 'wake' } });
    await until(() => rig.questions().length === 1, 'the question');
    client.socket.terminate();
    await until(() => rig.asked.some(({ t }) => t === 'gone'), 'gone');
    expect(rig.asked.at(-1)).toEqual({ t: 'gone', session: client.session });
    // An answer that comes all the same finds nobody.
    rig.service.postMessage({ id: 1, text: '{}' });
    const other = await rig.open('other');
    expect(other.messages.length).toBe(1);
  });

  it('one that waits for nothing is not worth a message', async () => {
    await client.call('prop.read');
    client.socket.terminate();
    await until(() => rig.of('gone').length === 1, 'gone');
    expect(rig.asked.filter(({ t }) => t === 'gone')).toEqual([]);
  });
});

describe('a service that does not answer', () => {
  it('is slow: after 120 s the question is given up, and a later answer is dropped', async () => {
    await rig.end();
    // No session is silent for too long while the clock is put forward.
    rig = await Rig.start({ view: { linkTimeoutMs: 1_000_000 } });
    client = await rig.open();
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 'slow', method: 'prop.read' });
    await until(() => rig.questions().length === 1, 'the question');
    rig.clock.advance(119_999);
    await client.call('park');
    expect(client.messages.some(({ id }) => id === 'slow')).toBe(false);
    rig.clock.advance(1);
    expectError(await client.answer('slow'), -32603, /lives but has not answered within 120 s/);
    rig.service.postMessage({ id: rig.questions()[0]!.id, text: '"late"' });
    rig.answer = ({ id }) => ({ id, text: '"now"' });
    expect((await client.call('prop.read')).result).toBe('now');
  });

  it('is dead: open questions and new ones are refused at once, with a remedy', async () => {
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 'open', method: 'prop.read' });
    await until(() => rig.questions().length === 1, 'the question');
    rig.service.close();
    expectError(await client.answer('open'), -32603, /service has died.*ask again/);
    expectError(await client.call('loom.find', { text: '' }), -32603, /service has died/);
    // Everything else goes on.
    expect((await client.call('stop', { category: 1 })).result).toEqual({ method: 'stop' });
    expect((await client.call('board.list')).result.boards).toBeDefined();
  });

  it('answers again once it was started again', async () => {
    rig.service.close();
    expectError(await client.call('prop.read'), -32603, /service has died/);
    const port = rig.newService();
    rig.send({ t: 'service', port }, [port]);
    await client.call('park');
    expect((await client.call('prop.read')).result).toEqual({ method: 'prop.read' });
  });

  it('and one that is replaced while it is asked: the question is refused, not lost', async () => {
    rig.answer = () => undefined;
    client.send({ jsonrpc: '2.0', id: 'open', method: 'prop.read' });
    await until(() => rig.questions().length === 1, 'the question');
    const port = rig.newService();
    rig.send({ t: 'service', port }, [port]);
    expectError(await client.answer('open'), -32603, /service has died/);
  });
});

describe('the log', () => {
  const lines = (of: Rig) =>
    of.asked.filter((one): one is Extract<FromGateway, { t: 'log' }> => one.t === 'log');
  let own: Rig;
  beforeEach(async () => {
    own = await Rig.start({ ownLog: true });
  });
  afterEach(() => own.end());

  it('goes to the service, at the level that was asked for', async () => {
    const one = await own.open('laptop');
    await until(() => lines(own).length === 1, 'a line');
    expect(lines(own)).toEqual([
      {
        t: 'log',
        timeMs: expect.any(Number),
        level: 'info',
        name: 'gateway',
        values: { session: one.session, client: 'laptop' },
        text: 'session opened',
      },
    ]);
  });

  it('is kept while the service is away, and is bounded', async () => {
    own.service.close();
    await own.open('laptop');
    for (let n = 0; n < 250; n++) await expect(own.connect({ origin: 'null' })).rejects.toThrow();
    const before = lines(own).length;
    const port = own.newService();
    own.send({ t: 'service', port }, [port]);
    await until(() => lines(own).length >= before + 200, '200 lines');
    const one = await own.open('other');
    await until(
      () => lines(own).at(-1)!.values !== undefined && lines(own).length === before + 201,
      'one more',
    );
    expect(lines(own)[before]).toMatchObject({ text: 'session opened' });
    expect(lines(own).at(-1)).toMatchObject({
      text: 'session opened',
      values: { session: one.session, linesDropped: 51 },
    });
  });
});
