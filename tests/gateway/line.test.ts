import { MessageChannel } from 'node:worker_threads';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { ToCore } from '../../src/core/requests.ts';
import { CoreLine, GatewayLine } from '../../src/gateway/line.ts';
import { makeRing } from '../../src/shared/line.ts';
import { until } from './helpers.ts';

// Two ends in one thread, as gateway and core have them in two.

const call = (id: number, params: unknown): ToCore => ({
  ...{ t: 'call', id, session: 's', method: 'prop.apply', params },
});
const LONG = 'x'.repeat(100_000);

let channel: MessageChannel;
let ring: SharedArrayBuffer;
let gateway: GatewayLine;
let core: CoreLine;
let answers: ToCore[];
let heard: ToCore[];
beforeEach(() => {
  channel = new MessageChannel();
  ring = makeRing();
  answers = [];
  heard = [];
  gateway = new GatewayLine(channel.port2, ring, false);
  core = new CoreLine(
    channel.port1,
    ring,
    (message) => heard.push(message),
    (answer) => answers.push(answer),
  );
});
afterEach(() => channel.port1.close());

/** What the core hears in one tick. */
function hear(most?: number): ToCore[] {
  heard = [];
  core.receive(most);
  return heard;
}

it('the core hears in its tick what was sent before, in its order, and nothing in between', async () => {
  gateway.postMessage(call(1, { to: 3 }));
  gateway.postMessage({ t: 'gone', session: 's', why: 'closed' });
  await new Promise((resume) => setTimeout(resume, 5));
  expect([...answers, ...heard]).toEqual([]);
  expect(hear()).toEqual([call(1, { to: 3 }), { t: 'gone', session: 's', why: 'closed' }]);
  expect(hear()).toEqual([]);
});

it('numbers that JSON has no word for arrive as they are', () => {
  gateway.postMessage(call(1, { to: Number.POSITIVE_INFINITY, by: Number.NaN }));
  expect(hear()).toEqual([call(1, { to: Number.POSITIVE_INFINITY, by: Number.NaN })]);
});

it.each([
  ['before the event loop has seen it', () => Promise.resolve()],
  ['after it', () => new Promise((resume) => setTimeout(resume, 5))],
])('a long message keeps its place among short ones, heard %s', async (_when, wait) => {
  const sent = [call(1, {}), call(2, { text: LONG }), call(3, {}), call(4, { text: LONG })];
  for (const message of sent) gateway.postMessage(message);
  await wait();
  expect(hear()).toEqual(sent);
});

it('what finds no room comes later, whole and in order, and a tick hears so much at most', async () => {
  const sent = Array.from({ length: 200 }, (_, id) => call(id, { text: 'y'.repeat(5000) }));
  for (const message of sent) gateway.postMessage(message);
  const all = hear();
  expect(all.length).toBeLessThan(sent.length);
  await until(() => {
    const more = hear(10);
    expect(more.length).toBeLessThanOrEqual(10);
    all.push(...more);
    return all.length === sent.length;
  }, 'the rest');
  expect(all).toEqual(sent);
});

const STOP: ToCore = { t: 'call', id: 999, session: 's', method: 'stop', params: { category: 1 } };

it('a stop waits for no tick, and finds its session opened', async () => {
  const opened: ToCore = { t: 'open', session: 's', slot: 0, client: 'hand' };
  const before = Array.from({ length: 200 }, (_, id) => call(id, {}));
  for (const message of [...before, opened]) gateway.postMessage(message);
  gateway.postMessage(call(200, { text: LONG }));
  gateway.postMessage(STOP);
  await until(() => heard.includes(STOP) || heard.length > 201, 'the stop');
  expect(heard).toEqual([...before, opened, call(200, { text: LONG }), STOP]);
  expect(hear()).toEqual([]);
});

it('a stop that is found while a long message is fetched from the port is heard as well, once', async () => {
  gateway.postMessage(STOP);
  gateway.postMessage(call(1, { text: LONG }));
  // No turn of the event loop has passed.
  expect(hear()).toEqual([call(1, { text: LONG }), STOP]);
  await new Promise((resume) => setTimeout(resume, 5));
  expect(heard).toHaveLength(2);
});

it('what a gateway said last is heard when it is gone', () => {
  gateway.postMessage(call(1, { text: LONG }));
  gateway.postMessage(STOP);
  gateway.postMessage(call(2, { text: LONG }));
  heard = [];
  core.receiveRest();
  expect(heard).toEqual([call(1, { text: LONG }), call(2, { text: LONG }), STOP]);
});

it('where it listens is told at once, while nothing ticks yet', async () => {
  gateway.postMessage({ t: 'listening', host: '127.0.0.1', port: 7420 });
  await until(() => answers.length > 0, 'the answer');
  expect(answers).toEqual([{ t: 'listening', host: '127.0.0.1', port: 7420 }]);
  expect(hear()).toEqual([]);
});

it('with a processor for each, the core is woken and hears at once, long messages in their place', async () => {
  const woken = new GatewayLine(channel.port2, ring, true);
  const sent = [
    call(1, {}),
    call(2, { text: LONG }),
    call(3, {}),
    call(4, { text: LONG }),
    call(5, {}),
  ];
  for (const message of sent) woken.postMessage(message);
  await until(() => heard.length === sent.length, 'all of them');
  expect(heard).toEqual(sent);
});
