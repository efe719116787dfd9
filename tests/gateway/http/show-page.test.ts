import { afterEach, expect, test } from 'vitest';
import { hashToken } from '../../../src/gateway/token.ts';
import type { Show } from '../../../src/prop/schema.ts';
import type { StageStart } from '../../../src/showpage/protocol.ts';
import { SHOW, stageThread } from '../../show/stage-thread.ts';
import { Rig, until, VIEW } from '../helpers.ts';

const TOKEN = '0123456789abcdef0123456789abcdef';
const STOP = { act: 'stop', target: 'all', category: 1 };
const GO = { act: 'go', target: 'owl', cue: 'nod' };
const [A, B] = ['page-one-1', 'page-two-2'];

let rig: Rig;
let started: StageStart[];
afterEach(() => rig.end());

async function serve({ token, show = SHOW }: { token?: string; show?: Show | null } = {}) {
  started = [];
  rig = await Rig.start({
    ...(token !== undefined && { tokenHash: hashToken(token) }),
    view: { show },
    spawnStage: (start) => {
      started.push(start);
      return stageThread(start);
    },
  });
}

/** Asks, and moves the clock on, by which a wrong token is answered late. */
async function fetched(path: string, init: RequestInit = {}) {
  let reply: Response | undefined;
  void fetch(`http://127.0.0.1:${rig.port}${path}`, { redirect: 'manual', ...init }).then((one) => {
    reply = one;
  });
  await until(() => {
    rig.clock.advance(10);
    return reply !== undefined;
  }, `an answer to ${path}`);
  return reply!;
}
const headers = (page: string, token?: string) => ({
  ...{ 'x-page': page, 'content-type': 'application/json' },
  ...(token !== undefined && { authorization: `Bearer ${token}` }),
});
async function state(page: string, token?: string) {
  const reply = await fetched('/show/state', { headers: headers(page, token) });
  return { status: reply.status, ...((await reply.json()) as object) };
}
async function act(page: string, asked: object, token?: string, more: object = {}) {
  const body = JSON.stringify(asked);
  const init = { method: 'POST', headers: { ...headers(page, token), ...more }, body };
  const reply = await fetched('/show/act', init);
  return { status: reply.status, ...((await reply.json()) as object) };
}

test('the page costs nothing until it is open, and is served beside that of the prop', async () => {
  await serve();
  const reply = await fetched('/show');
  expect(reply.status).toBe(302);
  expect(reply.headers.get('location')).toBe('/show/');
  const page = await fetched('/show/');
  expect(page.headers.get('content-type')).toContain('text/html');
  expect(page.headers.get('content-security-policy')).toContain("default-src 'none'");
  expect(started).toEqual([]);
  expect(await state(A)).toMatchObject({ status: 200, show: 'foyer', control: false });
  expect(started.map(({ show }) => show)).toEqual([SHOW]);
});

test('every page stops and parks; only the one that has taken control starts a cue', async () => {
  await serve();
  await state(A);
  await state(B);
  expect(await act(A, STOP)).toMatchObject({ ok: true, lines: ['stop'] });
  expect(await act(B, { act: 'park', target: 'owl' })).toMatchObject({ ok: true });
  expect(await act(A, GO)).toMatchObject({ ok: false });
  expect(await act(A, { act: 'take' })).toMatchObject({ ok: true });
  expect(await act(B, GO)).toMatchObject({ ok: false });
  expect(await act(B, STOP)).toMatchObject({ ok: true });
  expect(await act(A, GO)).toMatchObject({ ok: true, lines: ['go'] });
});

test('with a token it lets in who has it, and devices that were invited, and nobody else', async () => {
  await serve({ token: TOKEN });
  for (const token of [undefined, 'f'.repeat(32)]) {
    expect(await state(A, token)).toMatchObject({ status: 401 });
    expect(await act(A, STOP, token)).toMatchObject({ status: 401 });
  }
  expect(started).toEqual([]);
  expect(await state(A, TOKEN)).toMatchObject({ status: 200 });
  expect(await act(A, STOP, TOKEN)).toMatchObject({ ok: true });

  const owner = await rig.connect();
  await owner.call('session.open', { client: 'owner', token: TOKEN });
  const { result } = await owner.call('token.invite', { forS: 60 });
  const invite = /#invite=(.+)$/.exec(result.links[0])![1];
  const tablet = await rig.connect();
  const opened = await tablet.call('session.open', { client: 'tablet', invite });
  expect(await state(B, opened.result.token)).toMatchObject({ status: 200 });
});

test('no other page may ask, nor anything but the script of this one', async () => {
  await serve();
  const foreign = { origin: 'http://elsewhere.example' };
  expect(await act(A, STOP, undefined, foreign)).toMatchObject({ status: 403 });
  const init = { headers: { ...headers(A), ...foreign } };
  expect((await fetched('/show/state', init)).status).toBe(403);
  expect((await fetched('/show/state')).status).toBe(401);
  const form = { 'x-page': A, 'content-type': 'text/plain' };
  const body = JSON.stringify(STOP);
  expect((await fetched('/show/act', { method: 'POST', headers: form, body })).status).toBe(400);
  expect(await act(A, { act: 'jog', target: 'owl' })).toMatchObject({ status: 400 });
  expect(started).toEqual([]);
});

test('a page that does not read its answer gets no second one', async () => {
  await serve();
  // Its thread is still starting: two questions of one page meet.
  const both = await Promise.all([state(A), state(A)]);
  expect(both.map(({ status }) => status).sort()).toEqual([200, 429]);
  expect(await state(A)).toMatchObject({ status: 200 });
});

test('a prop file that loses its show while a page is open says so, and one that gains it shows it', async () => {
  await serve();
  const bench = await rig.open();
  const listed = async () => (await bench.call('cue.list')).result.show;
  await act(A, { act: 'take' });
  expect(await state(A)).toMatchObject({ control: true });
  expect(await listed()).toBe('foyer');

  const swap = async (show: Show | null, version: string) => {
    rig.adopt({ ...VIEW, show, version }, ['show']);
    await until(() => bench.messages.some(({ params }) => params?.version === version), version);
    rig.tick(1);
    // What was read just before is shown to all who ask.
    rig.clock.advance(250);
  };
  await swap(null, '1111111111111111');
  expect(await state(A)).toMatchObject({ status: 404, error: expect.stringContaining('no show:') });
  expect(await act(A, STOP)).toMatchObject({ status: 404 });
  expect(await listed()).toBeUndefined();
  await swap({ ...SHOW, name: 'garden' }, '2222222222222222');
  expect(await state(A)).toMatchObject({ status: 200, show: 'garden' });
  expect(await listed()).toBe('garden');
});
