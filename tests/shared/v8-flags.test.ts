import { execFileSync } from 'node:child_process';
import { expect, it } from 'vitest';
import { compilingSooner, USUAL_BUDGET } from '../../src/shared/v8-flags.ts';

it('afterwards V8 optimizes as it does without us: its own list of options gives the default', () => {
  const options = execFileSync(process.execPath, ['--v8-options'], { encoding: 'utf8' });
  const [, usual] = /default: --interrupt-budget=(\d+)/.exec(options)!;
  expect(Number(usual)).toBe(USUAL_BUDGET);
});

it('what was left behind is swept up, and a failure is handed on', async () => {
  let left: WeakRef<object> | undefined;
  await compilingSooner(async () => {
    left = new WeakRef(Array.from({ length: 1e6 }, (_, i) => ({ i })));
  });
  // A reference that has just been made holds on until this turn is over.
  await new Promise(setImmediate);
  await compilingSooner(async () => {});
  expect(left!.deref()).toBeUndefined();
  await expect(compilingSooner(() => Promise.reject(new Error('no')))).rejects.toThrow('no');
});
