import { Worker } from 'node:worker_threads';
import { afterEach, expect, it, vi } from 'vitest';
import { ShowHost } from '../../src/show/host.ts';
import type { Facts, FromLink, LinkStart, PropState } from '../../src/show/protocol.ts';

const facts = (prop = 'owl', cues: string[] = []): Facts => ({
  show: {
    ...{ name: 'foyer', prop, groups: [], broker: { url: 'mqtt://127.0.0.1' } },
    ...{ whenBrokerLost: 'finish', maxUncertaintyMs: 10, parkAfterS: 30 },
  },
  name: 'An owl',
  file: 'v1',
  cues,
});

/** A thread that lives, and ends when it is asked to, or is told to die. */
const LIVING = `
const { parentPort, workerData } = require('node:worker_threads');
setInterval(() => Atomics.add(new Int32Array(workerData.beat), 0, 1), 20);
parentPort.on('message', ({ t, state }) => {
  if (t === 'close') process.exit(0);
  if (t === 'state' && state.waits === 666) throw new Error('on purpose');
});
`;

const STATE: PropState = {
  ...{ condition: 'live', cause: null, armed: true, armedBy: 'tablet', holder: null },
  ...{ lockout: false, runs: [], waits: 0, battery: null, problems: [] },
};

function rig() {
  const starts: LinkStart[] = [];
  const died: string[] = [];
  const heard: FromLink[] = [];
  const host = new ShowHost(
    '0.1.0',
    { message: (message) => heard.push(message), died: (why) => died.push(why) },
    (start) => {
      starts.push(start);
      return new Worker(LIVING, { eval: true, workerData: start });
    },
  );
  hosts.push(host);
  return { host, starts, died };
}

const hosts: ShowHost[] = [];
afterEach(async () => {
  for (const host of hosts.splice(0)) await host.close();
});

it('a prop without a show has no thread', () => {
  const { host, starts } = rig();
  host.follow(undefined);
  host.tell(STATE);
  host.receive();
  expect(starts).toHaveLength(0);
});

it('a thread that dies is started again, and is told of the prop', async () => {
  const { host, starts, died } = rig();
  host.follow(facts());
  host.tell({ ...STATE, waits: 666 });
  await vi.waitFor(() => expect(died).toContain('on purpose'));
  host.tell(STATE);
  await vi.waitFor(() => expect(starts.length).toBeGreaterThan(1), { timeout: 5000 });
  expect(starts.at(-1)!.facts).toEqual(facts());
});

/** A thread whose last words lie in its ring when it dies. */
const LAST_WORDS = `
const { workerData } = require('node:worker_threads');
const bytes = require('node:v8').serialize({ t: 'stop', id: '1', category: 0, from: 'desk' });
new DataView(workerData.ring, 8).setUint32(0, bytes.length);
new Uint8Array(workerData.ring, 8).set(bytes, 4);
Atomics.store(new Int32Array(workerData.ring, 0, 2), 0, 4 + bytes.length);
throw new Error('on purpose');
`;

it('what a thread said before it died is heard: it may be a stop', async () => {
  const said: string[] = [];
  const host = new ShowHost(
    '0.1.0',
    { message: ({ t }) => said.push(t), died: () => said.push('died') },
    (start) => new Worker(LAST_WORDS, { eval: true, workerData: start }),
  );
  hosts.push(host);
  host.follow(facts());
  await vi.waitFor(() => expect(said).toContain('died'));
  expect(said.slice(0, 2)).toEqual(['stop', 'died']);
});

it('another broker, name or group needs another thread, other cues do not; no show needs none', async () => {
  const { host, starts, died } = rig();
  host.follow(facts());
  host.follow(facts('owl', ['wake']));
  expect(starts).toHaveLength(1);
  host.follow(facts('cat'));
  // The old one has left first: the broker would take two for one.
  expect(starts).toHaveLength(1);
  await vi.waitFor(() => expect(starts).toHaveLength(2), { timeout: 5000 });
  expect(starts[1]!.facts.show.prop).toBe('cat');
  host.follow(undefined);
  await vi.waitFor(() => expect(died).toHaveLength(2), { timeout: 5000 });
  expect(starts).toHaveLength(2);
});

it('a show that is taken out of the file has no thread that is on its way', async () => {
  const retries: (number | null)[] = [];
  const host = new ShowHost(
    '1.0.0',
    { message: () => {}, died: (_why, retryMs) => retries.push(retryMs) },
    (start) => new Worker(LIVING, { eval: true, workerData: start }),
  );
  hosts.push(host);
  host.follow(facts());
  host.follow(undefined);
  await vi.waitFor(() => expect(retries).toHaveLength(1), { timeout: 5000 });
  expect(retries).toEqual([null]);
});

it('a thread that hangs is ended and replaced', async () => {
  vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval'] });
  try {
    const died: string[] = [];
    const host = new ShowHost(
      '0.1.0',
      { message: () => {}, died: (why) => died.push(why) },
      (start) => new Worker('for (;;);', { eval: true, workerData: start }),
    );
    host.follow(facts());
    vi.advanceTimersByTime(6000);
    await vi.waitFor(() => expect(died[0]).toContain('silent'), { interval: 0 });
    vi.useRealTimers();
    await host.close();
  } finally {
    vi.useRealTimers();
  }
});
