import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { BroadcastChannel, MessageChannel, type MessagePort } from 'node:worker_threads';
import { build } from 'esbuild';
import { afterAll, afterEach, beforeAll, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import type { JournalEntry } from '../../src/api/types.ts';
import type { GatewayStart, ToCore } from '../../src/core/requests.ts';
import type { GatewayHost } from '../../src/gateway/host.ts';
import type { FromGateway } from '../../src/service/protocol.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import { IN_FORCE, type Json, until, VIEW, viewBytes } from './helpers.ts';

// The gateway's thread as the main thread starts it, built as the daemon is.

let folder: string;
let Host: typeof GatewayHost;
let loadGateway: typeof import('../../src/gateway/load.ts').loadGateway;

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-host-'));
  for (const served of ['page', 'show-page']) await mkdir(join(folder, served));
  await writeFile(join(folder, 'package.json'), '{"type":"module"}');
  const source = (name: string) =>
    new URL(`../../src/gateway/${name}.ts`, import.meta.url).pathname;
  await writeFile(
    join(folder, 'main.ts'),
    `export * from ${JSON.stringify(source('host'))};\nexport * from ${JSON.stringify(source('load'))};\n`,
  );
  await build({
    entryPoints: { main: join(folder, 'main.ts'), worker: source('worker') },
    outdir: folder,
    bundle: true,
    platform: 'node',
    format: 'esm',
    banner: {
      js:
        "import { createRequire as requireHere } from 'node:module'; const require = requireHere(import.meta.url);" +
        // On a word of the test a thread hangs for ever.
        "import { BroadcastChannel as Words, isMainThread as isMain } from 'node:worker_threads'; if (!isMain) { const words = new Words('hang'); words.onmessage = () => { for (;;); }; words.unref(); }" +
        // What a library or Node itself might write.
        "console.log('on standard output'); console.error('on standard error\\nin two lines');",
    },
    logLevel: 'error',
  });
  ({ GatewayHost: Host, loadGateway } = await import(join(folder, 'main.js')));
});
afterAll(() => rm(folder, { recursive: true }));

const ENTRY: JournalEntry = {
  seq: 1,
  time: '2026-01-01T00:00:00.000Z',
  who: 'prop',
  what: 'gateway',
  text: 'it starts again',
  tick: 1,
};

let host: GatewayHost;
const received: ToCore[] = [];
const deaths: string[] = [];
const wrote: string[] = [];
const services: { port: MessagePort; asked: FromGateway[] }[] = [];
let view = VIEW;

afterEach(async () => {
  await host.close();
  for (const { port } of services.splice(0)) port.close();
  for (const list of [received, deaths, wrote]) list.length = 0;
});

function start(telemetry: Telemetry): GatewayStart {
  const { port1, port2 } = new MessageChannel();
  const asked: FromGateway[] = [];
  port1.on('message', (message: FromGateway) => {
    asked.push(message);
    if (message.t === 'ask')
      port1.postMessage({ id: message.id, text: `"service ${services.length}"` });
  });
  services.push({ port: port1, asked });
  return {
    host: '127.0.0.1',
    port: 0,
    tokenHash: null,
    view: viewBytes(view),
    status: IN_FORCE,
    telemetry: telemetry.buffers,
    logLevel: 'info',
    service: port2,
  };
}

async function ask(port: number, method: string): Promise<Json> {
  const socket = new WebSocket(`ws://127.0.0.1:${port}/api`);
  const answers: Json[] = [];
  socket.on('message', (data) => answers.push(JSON.parse(data.toString())));
  await new Promise((resolve, reject) => {
    socket.once('open', resolve);
    socket.once('error', reject);
  });
  const send = (id: number, name: string, params: object) =>
    socket.send(JSON.stringify({ jsonrpc: '2.0', id, method: name, params }));
  send(1, 'session.open', { client: 'test' });
  send(2, method, {});
  await until(() => answers.length === 2, 'two answers');
  socket.terminate();
  return answers;
}

it('a thread that dies is started again at the same port, with what holds by then', async () => {
  const telemetry = Telemetry.create(VIEW.channels.length, VIEW.rails.length);
  host = new Host(
    () => start(telemetry),
    {
      message: (message) => received.push(message),
      started: () => host.post({ t: 'entries', entries: [ENTRY] }),
      died: (why) => deaths.push(why),
      wrote: (line) => wrote.push(line),
    },
    loadGateway(),
  );
  const { port } = await host.open();
  const [opened, first] = await ask(port, 'prop.read');
  expect(opened.result.prop).toBe('Foyer owl');
  expect(first.result).toBe('service 1');
  // Its log goes to the service; what else it writes comes here and to no terminal.
  await until(() => services[0]!.asked.some(({ t }) => t === 'log'), 'a line of the log');
  await until(() => wrote.length >= 3, 'what it wrote');
  expect(wrote.slice().sort()).toEqual(['in two lines', 'on standard error', 'on standard output']);

  view = { ...VIEW, name: 'Foyer owl, later' };
  // No view at all: this gateway falls.
  const body = Telemetry.body(0, 0);
  host.post({ t: 'prop', view: new TextEncoder().encode('{'), body, changed: [] });
  await until(() => deaths.length === 1, 'its death');
  expect(deaths[0]).toMatch(/JSON/);
  await until(() => services.length === 2, 'another start');
  for (;;) {
    try {
      const [again, second] = await ask(port, 'prop.read');
      expect(again.result.prop).toBe('Foyer owl, later');
      expect(second.result).toBe('service 2');
      break;
    } catch (error) {
      // It does not listen yet; the test's own time limit ends this.
      if ((error as NodeJS.ErrnoException).code !== 'ECONNREFUSED') throw error;
      await new Promise((resume) => setTimeout(resume, 20));
    }
  }

  expect((await ask(port, 'journal.read'))[1].result).toEqual({ entries: [ENTRY] });

  // A service that was started again: its line is handed to the gateway that runs.
  services[1]!.port.close();
  const { service } = start(telemetry);
  host.post({ t: 'service', port: service }, [service]);
  expect((await ask(port, 'prop.read'))[1].result).toBe('service 3');
});

it('a thread that hangs is ended after 2 s of silence and replaced like one that died', async () => {
  view = VIEW;
  const telemetry = Telemetry.create(VIEW.channels.length, VIEW.rails.length);
  host = new Host(
    () => start(telemetry),
    {
      message: (message) => received.push(message),
      started: () => {},
      died: (why) => deaths.push(why),
      wrote: () => {},
    },
    loadGateway(),
  );
  const { port } = await host.open();
  expect((await ask(port, 'prop.read'))[1].result).toBe('service 1');
  const words = new BroadcastChannel('hang');
  const hungMs = performance.now();
  words.postMessage('now');
  words.close();
  while (deaths.length === 0) await new Promise((resume) => setTimeout(resume, 50));
  expect(deaths).toEqual(['it was silent for 2 s']);
  expect(performance.now() - hungMs).toBeGreaterThan(1900);
  for (;;) {
    try {
      expect((await ask(port, 'prop.read'))[1].result).toBe('service 2');
      break;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ECONNREFUSED') throw error;
      await new Promise((resume) => setTimeout(resume, 20));
    }
  }
  expect(deaths).toHaveLength(1);
}, 30_000);
