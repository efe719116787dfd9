import { expect, test } from 'vitest';
import type { Commands } from '../../src/core/commands.ts';
import type { Core } from '../../src/core/core.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { GatewayLink } from '../../src/startup/gateway-link.ts';

/** What the core says and logs when a command fails. */
async function failed(error: Error): Promise<{ posted: unknown[]; logged: unknown[] }> {
  const posted: unknown[] = [];
  const logged: unknown[] = [];
  const link = new GatewayLink(
    { post: (message) => posted.push(message) },
    {
      log: (...line) => logged.push(line),
      gone: () => {},
      entry: () => {},
    },
  );
  const commands = { answer: () => Promise.reject(error) } as unknown as Commands;
  link.serve({} as Core, commands);
  link.receive({ t: 'call', id: 7, session: 'one', method: 'stop', params: {} });
  await Promise.resolve();
  await Promise.resolve();
  return { posted, logged };
}

/** Counts how often somebody asks an error where it was thrown, for which V8 reads the whole program. */
function watched(error: Error): () => number {
  let asked = 0;
  Object.defineProperty(error, 'stack', {
    get: () => {
      asked++;
      return 'at somewhere';
    },
  });
  return () => asked;
}

test('a refusal is answered, and nobody asks where in the program it was thrown', async () => {
  const refusal = new Refusal('lease.held', 'bench has control', { holder: 'bench' });
  const asked = watched(refusal);
  const { posted, logged } = await failed(refusal);
  expect(posted).toEqual([{ t: 'fail', id: 7, error: refusal.toObject() }]);
  expect(logged).toEqual([]);
  expect(asked()).toBe(0);
});

test('a fault of ours is logged with the place', async () => {
  const fault = new Error('x is not a function');
  const asked = watched(fault);
  const { posted, logged } = await failed(fault);
  expect(posted).toMatchObject([{ id: 7, error: { data: { code: 'daemon.fault' } } }]);
  expect(logged).toEqual([
    ['error', 'sinewd', { stack: 'at somewhere' }, 'a command failed: x is not a function'],
  ]);
  expect(asked()).toBe(1);
});
