import { afterEach, beforeEach, expect, test } from 'vitest';
import { Rig, until } from '../helpers.ts';

let rig: Rig;
beforeEach(async () => {
  rig = await Rig.start();
});
afterEach(() => rig.end());

const ADDRESS = `/picture/${'A'.repeat(43)}`;
const OTHER = `/picture/${'B'.repeat(43)}`;
const get = (path: string, method = 'GET') =>
  fetch(`http://127.0.0.1:${rig.port}${path}`, { method });

/** The service has found the picture; a question after it shows that it has come. */
async function serve(address: string, type: 'png' | 'jpeg' | 'svg', bytes: Uint8Array) {
  rig.service.postMessage({ t: 'picture', address, type, bytes });
  await (await rig.open('page')).call('prop.history');
}

test('is served under its address alone, with strict headers', async () => {
  expect((await get(ADDRESS)).status).toBe(404);
  await serve(ADDRESS, 'svg', Buffer.from('<svg/>'));
  const answer = await get(ADDRESS);
  expect(answer.status).toBe(200);
  expect(await answer.text()).toBe('<svg/>');
  expect(Object.fromEntries(answer.headers)).toMatchObject({
    'content-type': 'image/svg+xml',
    'content-security-policy': "default-src 'none'; frame-ancestors 'none'; sandbox",
    'x-content-type-options': 'nosniff',
    'cross-origin-resource-policy': 'same-origin',
    'referrer-policy': 'no-referrer',
    'cache-control': 'private, max-age=31536000, immutable',
  });
  const wrong = [OTHER, '/picture/', '/picture', `${ADDRESS}A`, ADDRESS.slice(0, -1)];
  const odd = [
    '/picture/..%2f..%2fetc%2fpasswd',
    '/picture/owl.svg',
    `/PICTURE${ADDRESS.slice(8)}`,
  ];
  for (const path of [...wrong, ...odd]) {
    const { status, headers } = await get(path);
    expect([path, status]).toEqual([path, 404]);
    expect(headers.get('cache-control') ?? 'no-store').toBe('no-store');
  }
  expect((await get(ADDRESS, 'POST')).status).toBe(404);
});

test('the last two are kept, and no more', async () => {
  const addresses = ['1', '2', '3'].map((one) => `/picture/${one.repeat(43)}`);
  for (const address of addresses) await serve(address, 'png', Buffer.from(address));
  const status = async (address: string) => (await get(address)).status;
  expect(await Promise.all(addresses.map(status))).toEqual([404, 200, 200]);
});

test('many who read slowly share one copy, and the gateway answers others meanwhile', async () => {
  const bytes = Buffer.alloc(5 * 1024 * 1024, 1);
  await serve(ADDRESS, 'jpeg', bytes);
  const before = process.memoryUsage().arrayBuffers;
  const slow = await Promise.all(Array.from({ length: 20 }, () => get(ADDRESS)));
  const client = await rig.open('page');
  await client.call('channel.list');
  await until(() => client.messages.length > 0, 'an answer');
  expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(60 * 1024 * 1024);
  for (const one of slow) expect((await one.arrayBuffer()).byteLength).toBe(bytes.length);
});
