import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

const MODULE = fileURLToPath(new URL('../../src/shared/seldom.ts', import.meta.url));
/** kOptimized of OptimizationStatus (V8 11.3, src/runtime/runtime.h; from memory). */
const OPTIMIZED = 1 << 4;

/** How many calls of a small function V8 wants to see before it optimizes it. */
function callsUntilOptimized(calls: string): number {
  const script = `
    import { seldom } from ${JSON.stringify(MODULE)};
    const work = (n) => { let sum = 0; for (let i = 0; i < 10; i++) sum += (n ^ i) % 7; return sum; };
    let count = 0;
    const some = () => { for (let i = 0; i < 50; i++) work(count++); };
    while (!(%GetOptimizationStatus(work) & ${OPTIMIZED})) {
      if (count > 1e7) throw new Error('never optimized');
      ${calls};
    }
    console.log(count);`;
  // Not in another thread, so that the number of calls is the same on a busy machine.
  const flags = ['--allow-natives-syntax', '--no-concurrent-recompilation'];
  const args = [...flags, '--import', 'tsx', '--input-type=module', '-e', script];
  const { stdout, stderr } = spawnSync(process.execPath, args, { encoding: 'utf8' });
  expect(stderr).toBe('');
  return Number(stdout);
}

it('V8 optimizes seldom work later than other work, which it optimizes as before', () => {
  const usual = callsUntilOptimized('some()');
  const work = callsUntilOptimized('seldom(some)');
  const after = callsUntilOptimized('seldom(() => {}); some()');
  expect(work / usual).toBeGreaterThan(6);
  expect(work / usual).toBeLessThan(32);
  expect(after / usual).toBeLessThan(2);
});

it('what the work returns or throws is passed on', async () => {
  const { seldom } = await import('../../src/shared/seldom.ts');
  expect(seldom(() => 7)).toBe(7);
  expect(() => seldom(() => JSON.parse('{'))).toThrow(SyntaxError);
});
