import { describe, expect, it } from 'vitest';
import { answer, type Outcome, parseMessage, type Request } from '../../src/gateway/jsonrpc.ts';
import { Refusal } from '../../src/shared/errors.ts';

// The examples of the JSON-RPC 2.0 specification, section 7
// (https://www.jsonrpc.org/specification#examples), from memory. They are answered by a small
// server of the specification's own methods; `data`, which the examples leave out, is not compared.

const notified: string[] = [];

async function call({ method, params }: Request): Promise<Outcome> {
  const list = Object.values(params ?? {}) as number[];
  switch (method) {
    case 'subtract': {
      const named = params as { minuend: number; subtrahend: number };
      const byName = !Array.isArray(params);
      return { result: byName ? named.minuend - named.subtrahend : list[0]! - list[1]! };
    }
    case 'sum':
      return { result: list.reduce((total, n) => total + n, 0) };
    case 'get_data':
      return { result: ['hello', 5] };
    case 'update':
    case 'notify_hello':
    case 'notify_sum':
      notified.push(method);
      return { result: null };
    default:
      return { error: new Refusal('method.unknown', `no ${method}`).toObject() };
  }
}

async function serve(text: string): Promise<unknown> {
  const answered = await answer(parseMessage(text, 100), call);
  if (answered === undefined) return undefined;
  return JSON.parse(answered, (key, value) => (key === 'data' ? undefined : value));
}

const invalid = { jsonrpc: '2.0', error: { code: -32600, message: 'Invalid Request' }, id: null };
const parseError = { jsonrpc: '2.0', error: { code: -32700, message: 'Parse error' }, id: null };

describe('the examples of the specification', () => {
  it.each<[string, string, unknown]>([
    [
      'positional parameters',
      '{"jsonrpc": "2.0", "method": "subtract", "params": [42, 23], "id": 1}',
      { jsonrpc: '2.0', result: 19, id: 1 },
    ],
    [
      'positional parameters, the other way round',
      '{"jsonrpc": "2.0", "method": "subtract", "params": [23, 42], "id": 2}',
      { jsonrpc: '2.0', result: -19, id: 2 },
    ],
    [
      'named parameters',
      '{"jsonrpc": "2.0", "method": "subtract", "params": {"subtrahend": 23, "minuend": 42}, "id": 3}',
      { jsonrpc: '2.0', result: 19, id: 3 },
    ],
    [
      'named parameters in another order',
      '{"jsonrpc": "2.0", "method": "subtract", "params": {"minuend": 42, "subtrahend": 23}, "id": 4}',
      { jsonrpc: '2.0', result: 19, id: 4 },
    ],
    ['a notification', '{"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]}', undefined],
    ['a notification of no method', '{"jsonrpc": "2.0", "method": "foobar"}', undefined],
    [
      'a call of no method',
      '{"jsonrpc": "2.0", "method": "foobar", "id": "1"}',
      { jsonrpc: '2.0', error: { code: -32601, message: 'Method not found' }, id: '1' },
    ],
    ['invalid JSON', '{"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz]', parseError],
    ['an invalid request', '{"jsonrpc": "2.0", "method": 1, "params": "bar"}', invalid],
    [
      'a batch of invalid JSON',
      '[{"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"}, {"jsonrpc": "2.0", "method"]',
      parseError,
    ],
    ['an empty array', '[]', invalid],
    ['an invalid batch that is not empty', '[1]', [invalid]],
    ['an invalid batch', '[1,2,3]', [invalid, invalid, invalid]],
    [
      'a batch',
      `[
        {"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},
        {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
        {"jsonrpc": "2.0", "method": "subtract", "params": [42,23], "id": "2"},
        {"foo": "boo"},
        {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
        {"jsonrpc": "2.0", "method": "get_data", "id": "9"}
      ]`,
      [
        { jsonrpc: '2.0', result: 7, id: '1' },
        { jsonrpc: '2.0', result: 19, id: '2' },
        invalid,
        { jsonrpc: '2.0', error: { code: -32601, message: 'Method not found' }, id: '5' },
        { jsonrpc: '2.0', result: ['hello', 5], id: '9' },
      ],
    ],
    [
      'a batch of notifications',
      `[
        {"jsonrpc": "2.0", "method": "notify_sum", "params": [1,2,4]},
        {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]}
      ]`,
      undefined,
    ],
  ])('%s', async (_name, text, expected) => {
    expect(await serve(text)).toEqual(expected);
  });

  it('notifications are carried out all the same', () => {
    expect(notified).toEqual(['update', 'notify_hello', 'notify_sum', 'notify_hello']);
  });
});

describe('ids (specification, sections 4 and 5)', () => {
  it.each([
    ['a string', '"a"', 'a'],
    ['a number', '7', 7],
    ['null: a request, not a notification', 'null', null],
  ])('%s comes back', async (_name, id, expected) => {
    const text = `{"jsonrpc":"2.0","method":"get_data","id":${id}}`;
    expect(await serve(text)).toEqual({ jsonrpc: '2.0', result: ['hello', 5], id: expected });
  });

  it.each(['true', '{}', '[]', '1e999'])('%s is not an id', async (id) => {
    expect(await serve(`{"jsonrpc":"2.0","method":"get_data","id":${id}}`)).toEqual(invalid);
  });

  it('an invalid request with a good id is answered to that id', async () => {
    expect(await serve('{"jsonrpc":"1.0","method":"get_data","id":5}')).toEqual({
      ...invalid,
      id: 5,
    });
  });
});

it.each(['"params":null', '"params":3', '"params":"x"'])('%s is refused', async (params) => {
  expect(await serve(`{"jsonrpc":"2.0","method":"get_data",${params},"id":1}`)).toEqual({
    ...invalid,
    id: 1,
  });
});

it('a batch over the limit is one error, and nothing of it is done', async () => {
  const before = notified.length;
  const one = { jsonrpc: '2.0', method: 'update', id: 1 };
  const outcome = await answer(parseMessage(JSON.stringify(Array(101).fill(one)), 100), call);
  expect(JSON.parse(outcome!)).toMatchObject({
    error: { code: -32009, data: { count: 101, limit: 100 } },
    id: null,
  });
  expect(notified.length).toBe(before);
  expect(await serve(JSON.stringify(Array(100).fill(one)))).toHaveLength(100);
});

it('a batch is carried out in order, each after the one before', async () => {
  const steps: string[] = [];
  const slow = async ({ method }: Request): Promise<Outcome> => {
    steps.push(`start ${method}`);
    await new Promise((resume) => setImmediate(resume));
    steps.push(`end ${method}`);
    return { result: method };
  };
  const batch = ['a', 'b'].map((method, id) => ({ jsonrpc: '2.0', method, id }));
  await answer(parseMessage(JSON.stringify(batch), 100), slow);
  expect(steps).toEqual(['start a', 'end a', 'start b', 'end b']);
});

it('a frame nested 30,000 deep is read without harm', async () => {
  expect(await serve('['.repeat(30_000) + ']'.repeat(30_000))).toEqual([invalid]);
});
