import type { Worker } from 'node:worker_threads';
import { afterEach, expect, it, vi } from 'vitest';
import type { Show } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { StageHost } from '../../src/showpage/host.ts';
import type { StageStart } from '../../src/showpage/protocol.ts';
import { SHOW, stageThread } from './stage-thread.ts';

const STOP = { act: 'stop', target: 'all', category: 1 } as const;

function rig(start: (given: StageStart) => Worker = stageThread) {
  const clock = new VirtualClock();
  const threads: { worker: Worker; show: Show; ended: boolean }[] = [];
  const host = new StageHost(clock, (given) => {
    const worker = start(given);
    const thread = { worker, show: given.show, ended: false };
    worker.on('exit', () => {
      thread.ended = true;
    });
    threads.push(thread);
    return worker;
  });
  hosts.push(host);
  host.follow({ ...SHOW });
  return { clock, threads, host };
}

const hosts: StageHost[] = [];
afterEach(async () => {
  vi.useRealTimers();
  for (const host of hosts.splice(0)) await host.close();
});

it('there is no thread until a page asks, and none soon after the last page', async () => {
  const { clock, threads, host } = rig();
  host.control(false);
  clock.advance(60_000);
  expect(threads).toHaveLength(0);
  expect(JSON.parse(await host.read())).toMatchObject({ show: 'foyer' });
  await Promise.all([host.read(), host.carryOut(STOP)]);
  clock.advance(14_000);
  await host.read();
  clock.advance(14_000);
  expect(threads[0]!.ended).toBe(false);
  clock.advance(2000);
  await vi.waitFor(() => expect(threads[0]!.ended).toBe(true));
  await host.read();
  expect(threads).toHaveLength(2);
});

it('a prop without a show has none to show, and no thread', async () => {
  const { threads, host } = rig();
  host.follow(undefined);
  await expect(host.read()).rejects.toMatchObject({ status: 404 });
  await expect(host.carryOut(STOP)).rejects.toThrow('has no show: in it');
  expect(threads).toHaveLength(0);
});

it('another show in the file ends what was asked of the one before, and shows the new one', async () => {
  const { threads, host } = rig();
  await host.read();
  host.follow({ ...SHOW });
  const asked = host.carryOut({ act: 'park', target: 'never' });
  host.follow({ ...SHOW, prop: 'cat' });
  await expect(asked).rejects.toThrow('the show in the prop file has changed');
  expect(JSON.parse(await host.read())).toMatchObject({ prop: 'cat' });
  expect(threads.map((one) => one.show.prop)).toEqual(['owl', 'cat']);
  await vi.waitFor(() => expect(threads[0]!.ended).toBe(true));
  host.follow(undefined);
  await vi.waitFor(() => expect(threads[1]!.ended).toBe(true));
  await expect(host.read()).rejects.toMatchObject({ status: 404 });
});

it('what was asked before the file changed is still sent: it may be a stop', async () => {
  const { threads, host } = rig();
  await host.read();
  const heard: unknown[] = [];
  threads[0]!.worker.on('message', (message) => heard.push(message));
  const asked = host.carryOut(STOP);
  host.follow(undefined);
  await expect(asked).rejects.toThrow('nobody knows what became of this');
  await vi.waitFor(() => expect(threads[0]!.ended).toBe(true));
  expect(heard).toEqual([{ id: 2, answer: { ok: true, lines: ['stop'] } }]);
});

it('a thread that dies is started again, after a pause, with the control that a page has', async () => {
  const { clock, threads, host } = rig();
  host.control(true);
  await expect(host.carryOut({ act: 'park', target: 'die' })).rejects.toThrow('(on purpose)');
  await expect(host.read()).rejects.toMatchObject({ status: 503 });
  expect(threads).toHaveLength(1);
  clock.advance(150);
  expect(JSON.parse(await host.read())).toMatchObject({ control: true });
  expect(threads).toHaveLength(2);
});

it('a thread that hangs is ended, and what was asked of it is not known', async () => {
  vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval'] });
  const { host } = rig();
  await host.read();
  const asked = host.carryOut({ act: 'park', target: 'hang' });
  const refused = expect(asked).rejects.toThrow('it was silent for 5 s');
  for (let i = 0; i < 12; i++) vi.advanceTimersByTime(500);
  await refused;
});

it('questions that are never answered do not add up, and a stop is asked all the same', async () => {
  const { host } = rig();
  const never = { act: 'park', target: 'never' } as const;
  const asked = Array.from({ length: 70 }, () => host.carryOut(never).catch(String));
  expect(await Promise.race(asked)).toContain('64 questions');
  expect((await host.carryOut(STOP)).ok).toBe(true);
});
