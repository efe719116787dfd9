import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

const MODULE = fileURLToPath(new URL('../../src/startup/short-pauses.ts', import.meta.url));
/** kOptimized of OptimizationStatus (V8 11.3, src/runtime/runtime.h; from memory). */
const OPTIMIZED = 1 << 4;

/** How many calls of a small function V8 wants to see before it optimizes it. */
function callsUntilOptimized(first: string): number {
  const script = `
    import { preferShortPauses, usualPauses } from ${JSON.stringify(MODULE)};
    ${first};
    const work = (n) => { let sum = 0; for (let i = 0; i < 10; i++) sum += (n ^ i) % 7; return sum; };
    let calls = 0;
    while (!(%GetOptimizationStatus(work) & ${OPTIMIZED})) {
      if (calls > 1e7) throw new Error('never optimized');
      for (let i = 0; i < 50; i++) work(calls++);
      // The optimizer works in another thread; its result is taken over by this one.
      await new Promise((resolve) => setTimeout(resolve, 1));
    }
    console.log(calls);`;
  const args = ['--allow-natives-syntax', '--import', 'tsx', '--input-type=module', '-e', script];
  const { stdout, stderr } = spawnSync(process.execPath, args, { encoding: 'utf8' });
  expect(stderr).toBe('');
  return Number(stdout);
}

it('what runs now and then is not optimized, what runs all the time is, and it can be taken back', () => {
  const usual = callsUntilOptimized('');
  const seldom = callsUntilOptimized('preferShortPauses()');
  const again = callsUntilOptimized('preferShortPauses(); usualPauses()');
  expect(seldom / usual).toBeGreaterThan(6);
  expect(seldom / usual).toBeLessThan(32);
  expect(again / usual).toBeLessThan(2);
});
