import { expect, test } from 'vitest';
import { I2cLine } from '../../src/boards/i2c-line.ts';
import type { I2cCall } from '../../src/boards/i2c-server.ts';
import fc from '../fast-check.ts';

const reading = (address: number): I2cCall => ({ t: 'readWords', address, registers: [1] });
const write = (address: number): I2cCall => ({ t: 'write', address, bytes: new Uint8Array(5) });
const isReading = ({ t }: I2cCall) => t === 'readWords';

test('a write has one reading before it at most, and no reading waits for ever', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(fc.constantFrom('read', 'write', 'answer')), async (acts) => {
      /** What the thread has, oldest first, and what it has had. */
      const queue: I2cCall[] = [];
      const line = new I2cLine((call) => queue.push(call));
      const settled: Promise<unknown>[] = [];
      let address = 0;
      for (const act of acts) {
        if (act === 'answer') {
          const call = queue.shift();
          if (call) line.answered({ value: 'address' in call ? call.address : 0 });
          continue;
        }
        const mine = address++;
        const asked = act === 'read' ? line.askReading(reading(mine)) : line.ask(write(mine));
        // Each gets its own answer.
        settled.push(asked.then((value) => expect(value).toBe(mine)));
        expect(queue.filter(isReading).length).toBeLessThanOrEqual(1);
      }
      for (let call = queue.shift(); call; call = queue.shift())
        line.answered({ value: 'address' in call ? call.address : 0 });
      await Promise.all(settled);
    }),
  );
});

test('when the thread ends, all calls that wait are rejected', async () => {
  const line = new I2cLine(() => {});
  const all = [line.askReading(reading(1)), line.askReading(reading(2)), line.ask(write(3))];
  line.ended(new Error('gone'));
  for (const one of await Promise.allSettled(all))
    expect(one).toMatchObject({ status: 'rejected', reason: { message: 'gone' } });
});

test('an error is that of the call that failed', async () => {
  const line = new I2cLine(() => {});
  const [first, second] = [line.askReading(reading(1)), line.askReading(reading(2))];
  line.answered({ error: { message: 'no answer', code: 'EREMOTEIO' } });
  await expect(first).rejects.toMatchObject({ code: 'EREMOTEIO' });
  line.answered({ value: 7 });
  expect(await second).toBe(7);
});
