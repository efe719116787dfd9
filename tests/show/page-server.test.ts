import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { afterEach, describe, expect, test } from 'vitest';
import type { ShowPageAct, ShowPageAnswer, ShowPageState } from '../../src/api/show-page.ts';
import { serveShowPage } from '../../src/cli/show-server.ts';
import { systemClock } from '../../src/shared/clock.ts';
import { Conductor } from '../../src/show/conductor.ts';
import { showSchemas } from '../../src/show/show-file.ts';
import { read, topics, write } from '../../src/show/wire.ts';
import { Actor, Troupe } from './troupe.ts';

const TOKEN = '0123456789abcdef0123456789abcdef';
let cleanUp: (() => Promise<unknown>)[] = [];
afterEach(async () => {
  for (const one of cleanUp) await one();
  cleanUp = [];
});

/** A page's server with one prop, that answers every command at once. */
async function serve(token: string | undefined = TOKEN, host = '127.0.0.1') {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-show-page-'));
  cleanUp.push(() => rm(folder, { recursive: true }));
  await writeFile(join(folder, 'index.html'), '<title>Show</title>');
  const acts: string[] = [];
  const send = (topic: string, payload: string): boolean => {
    const heard = read('command', Buffer.from(payload));
    if ('wrong' in heard) return true;
    const { id, act } = heard.message;
    acts.push(`${topic.split('/').at(-2)} ${act}`);
    const answer = write({ v: 1, prop: 'left', id, act, outcome: 'done' });
    queueMicrotask(() => conductor.receive(topics.answer('foyer', 'left'), Buffer.from(answer)));
    return true;
  };
  const conductor = new Conductor({ show: 'foyer', from: 'desk', clock: systemClock, send });
  cleanUp.push(async () => conductor.close());
  conductor.connected();
  const actor = new Actor('left', new Troupe());
  conductor.receive(topics.status('foyer', 'left'), Buffer.from(write(actor.status)));
  const control = showSchemas().control.parse({
    ...{ name: 'foyer', broker: { url: 'mqtt://127.0.0.1:1883' } },
    props: { left: { file: 'left.yaml' } },
  });
  const url = pathToFileURL(`${folder}/`);
  const brokerProblem = () => undefined;
  const app = await serveShowPage({
    host,
    port: 0,
    token,
    control,
    conductor,
    brokerProblem,
    folder: url,
  });
  cleanUp.push(() => app.close());
  const { port } = app.server.address() as AddressInfo;
  const at = (path: string) => `http://127.0.0.1:${port}${path}`;
  const headers = (page: string, given = TOKEN) => ({
    ...{ 'x-page': page, authorization: `Bearer ${given}`, 'content-type': 'application/json' },
  });
  const state = async (page: string) => {
    const reply = await fetch(at('/state'), { headers: headers(page) });
    return (await reply.json()) as ShowPageState;
  };
  const act = async (page: string, asked: ShowPageAct | object) => {
    const body = JSON.stringify(asked);
    const reply = await fetch(at('/act'), { method: 'POST', headers: headers(page), body });
    return { status: reply.status, ...((await reply.json()) as ShowPageAnswer) };
  };
  return { at, headers, state, act, acts };
}
const [A, B] = ['page-one-1', 'page-two-2'];

describe('the server of the page of a show', () => {
  test('lets in nobody without the token, and nobody of another page', async () => {
    const { at, headers, acts } = await serve();
    const body = JSON.stringify({ act: 'stop', target: 'all', category: 1 });
    for (const token of ['', 'f'.repeat(32)]) {
      expect((await fetch(at('/state'), { headers: headers(A, token) })).status).toBe(401);
      const init = { method: 'POST', headers: headers(A, token), body };
      expect((await fetch(at('/act'), init)).status).toBe(401);
    }
    const init = { headers: { ...headers(A), origin: 'http://elsewhere.example' } };
    expect((await fetch(at('/state'), init)).status).toBe(403);
    expect((await fetch(at('/'))).status).toBe(200);
    expect(acts).toEqual([]);
  });

  test('needs a token where others can reach it', async () => {
    const control = showSchemas().control.parse({
      ...{ name: 'foyer', broker: { url: 'mqtt://127.0.0.1:1883' }, props: {} },
    });
    const conductor = new Conductor({
      show: 'foyer',
      from: 'desk',
      clock: systemClock,
      send: () => true,
    });
    const folder = new URL('file:///nowhere/');
    const options = { control, conductor, folder, brokerProblem: () => undefined };
    await expect(
      serveShowPage({ host: '0.0.0.0', port: 0, token: undefined, ...options }),
    ).rejects.toThrow('needs a token; give --page-token FILE');
  });

  test('takes a stop, a park and a lockout from every page', async () => {
    const { act, acts } = await serve();
    expect(await act(A, { act: 'stop', target: 'all', category: 1 })).toMatchObject({
      ok: true,
      lines: ['stop: left'],
    });
    expect(await act(B, { act: 'park', target: 'left' })).toMatchObject({ ok: true });
    expect(await act(B, { act: 'lockout', target: 'left' })).toMatchObject({ ok: true });
    expect(acts).toEqual(['all stop', 'left park', 'left lockout']);
  });

  test('starts a cue only for the one page that has control', async () => {
    const { act, state, acts } = await serve();
    const go = { act: 'go', target: 'left', cue: 'nod' };
    expect(await act(A, go)).toMatchObject({
      ok: false,
      lines: [expect.stringContaining('take control')],
    });
    expect(await act(A, { act: 'take' })).toMatchObject({ ok: true });
    expect(await act(B, { act: 'take' })).toMatchObject({ ok: false });
    expect(await state(A)).toMatchObject({ control: true, holder: null });
    expect(await state(B)).toMatchObject({ control: false, holder: 'another page' });
    expect(await act(B, go)).toMatchObject({ ok: false });
    expect(acts).toEqual([]);
    await act(A, { act: 'release' });
    expect(await act(B, { act: 'take' })).toMatchObject({ ok: true });
  });

  test.each([
    { act: 'go', target: 'left' },
    { act: 'stop', target: '../x', category: 1 },
    { act: 'stop', target: 'all', category: 3 },
    { act: 'jog', target: 'left' },
    [],
  ])('does nothing for %j', async (asked) => {
    const { act, acts } = await serve();
    expect((await act(A, asked)).status).toBe(400);
    expect((await act(A, { act: 'stop', target: 'nobody', category: 1 })).ok).toBe(false);
    expect(acts).toEqual([]);
  });
});
