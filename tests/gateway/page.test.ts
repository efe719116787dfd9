import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { pathToFileURL } from 'node:url';
import fastify, { type FastifyInstance } from 'fastify';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { page } from '../../src/gateway/http/page.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

describe('the files of a page', () => {
  let folder: string;
  let clock: VirtualClock;
  let app: FastifyInstance;
  let address: string;
  const text = async (path: string) => (await fetch(`${address}${path}`)).text();
  const status = async (path: string) => (await fetch(`${address}${path}`)).status;
  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'sinew-page-'));
    for (const name of ['index.html', 'app.css']) await writeFile(join(folder, name), 'first');
    clock = new VirtualClock();
    app = fastify();
    app.register(page, { folder: pathToFileURL(`${folder}/`), clock });
    address = await app.listen({ host: '127.0.0.1', port: 0 });
  });
  afterEach(async () => {
    await app.close();
    await rm(folder, { recursive: true });
  });

  it('are read soon after the start: what is put in their place later is not served', async () => {
    clock.advance(500);
    while (process.getActiveResourcesInfo().includes('FSReqPromise')) await sleep(1);
    for (const name of ['index.html', 'app.css']) await writeFile(join(folder, name), 'second');
    expect([await text('/'), await text('/app.css')]).toEqual(['first', 'first']);
  });

  it('are there at once for whoever asks before that', async () => {
    expect([await text('/'), await text('/app.css')]).toEqual(['first', 'first']);
  });

  it('are tried again where they could not be read', async () => {
    await rm(join(folder, 'app.css'));
    expect(await status('/app.css')).toBe(500);
    await writeFile(join(folder, 'app.css'), 'back');
    expect(await text('/app.css')).toBe('back');
  });

  it('are those that were there at the start', async () => {
    await writeFile(join(folder, 'late.css'), 'late');
    expect(await status('/late.css')).toBe(404);
  });
});
