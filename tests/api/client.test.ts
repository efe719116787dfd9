import { beforeEach, expect, test } from 'vitest';
import { type Notice, RpcClient, RpcError } from '../../src/api/client.ts';

let sent: { jsonrpc: string; id?: number; method: string; params: object }[];
let notices: Notice[];
let client: RpcClient;

beforeEach(() => {
  sent = [];
  notices = [];
  client = new RpcClient(
    (text) => sent.push(JSON.parse(text)),
    (notice) => notices.push(notice),
  );
});

const answer = (given: object) => client.receive(JSON.stringify({ jsonrpc: '2.0', ...given }));

test('answers find their calls, in whatever order they come', async () => {
  const first = client.call('pose.go', { pose: 'asleep' });
  const second = client.call('cue.stop', { cue: 'wake' });
  expect(sent).toEqual([
    { jsonrpc: '2.0', id: 1, method: 'pose.go', params: { pose: 'asleep' } },
    { jsonrpc: '2.0', id: 2, method: 'cue.stop', params: { cue: 'wake' } },
  ]);
  answer({ id: 2, result: { running: false, durationS: null } });
  answer({ id: 1, result: { durationS: 2 } });
  expect(await first).toEqual({ durationS: 2 });
  expect(await second).toEqual({ running: false, durationS: null });
});

test('an error is thrown with its sentence, its class and its values', async () => {
  const call = client.call('channel.dim', { channel: 'lamp', to: 2 });
  const data = { code: 'level.outside', reason: 'lamp goes from 0 to 1; 2 is outside', value: 2 };
  answer({ id: 1, error: { code: -32002, message: 'Out of limits', data } });
  const error = await call.catch((thrown) => thrown);
  expect(error).toBeInstanceOf(RpcError);
  expect(error).toMatchObject({
    message: data.reason,
    code: -32002,
    title: 'Out of limits',
    data,
  });
});

test('an error without data still says something', async () => {
  const call = client.call('park', {});
  answer({ id: 1, error: { code: -32603, message: 'Internal error' } });
  await expect(call).rejects.toThrow('Internal error');
});

test('notifications are handed on, and sent without an id', () => {
  const params = { condition: 'parked', cause: { code: 'condition.parked', who: 'a', words: 'b' } };
  expect(answer({ method: 'condition', params })).toBe(true);
  expect(notices).toMatchObject([{ method: 'condition', params }]);
  client.notify('session.life', { t: 3 });
  expect(sent).toEqual([{ jsonrpc: '2.0', method: 'session.life', params: { t: 3 } }]);
});

test('what is not JSON-RPC is told; an answer that nobody waits for is not', () => {
  for (const text of ['{', '"text"', 'null', '7']) expect(client.receive(text)).toBe(false);
  expect(answer({ id: 9, result: {} })).toBe(true);
});

test('once ended, whatever waits and whatever is asked later gets the same error', async () => {
  const call = client.call('park', {});
  const gone = new Error('the link is gone');
  client.end(gone);
  client.end(new Error('again'));
  await expect(call).rejects.toBe(gone);
  await expect(client.call('park', {})).rejects.toBe(gone);
  client.notify('session.life', {});
  expect(sent).toHaveLength(1);
  answer({ id: 1, result: {} });
});
