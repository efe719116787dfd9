import { expect, it } from 'vitest';
import { sweepUp } from './sweep-up.ts';

it('garbage is collected, though the program was started without a flag for that', async () => {
  expect(process.execArgv.join()).not.toContain('expose-gc');
  const left = new WeakRef({});
  // A reference that has just been made holds on until this turn is over.
  await new Promise(setImmediate);
  sweepUp();
  expect(left.deref()).toBeUndefined();
});
