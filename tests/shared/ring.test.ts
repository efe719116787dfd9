import { Worker } from 'node:worker_threads';
import { describe, expect, it } from 'vitest';
import { Ring } from '../../src/shared/ring.ts';
import fc from '../fast-check.ts';

const ends = (bytes: number) => {
  const shared = Ring.create(bytes);
  return { from: new Ring(shared), to: new Ring(shared), shared };
};

describe('a ring', () => {
  it('gives back what was put, in its order, whatever the sizes', () => {
    const message = fc.uint8Array({ maxLength: 40 });
    // Puts and takes in any order; a queue says what must come of them.
    fc.assert(
      fc.property(fc.array(fc.option(message), { maxLength: 400 }), (steps) => {
        const { from, to } = ends(64);
        const queue: Uint8Array[] = [];
        let used = 0;
        for (const step of steps)
          if (step) {
            const fits = used + 4 + step.length <= 64;
            expect(from.put(step)).toBe(fits);
            if (fits) {
              queue.push(step);
              used += 4 + step.length;
            }
          } else {
            const wanted = queue.shift();
            expect(to.take()).toEqual(wanted);
            used -= wanted ? 4 + wanted.length : 0;
          }
      }),
    );
  });

  it('takes no notice of where its count of bytes turns over', () => {
    const { from, to, shared } = ends(16);
    new Int32Array(shared, 0, 2).fill(-6);
    for (let n = 0; n < 9; n++) {
      expect(from.put(Uint8Array.of(n, n, n))).toBe(true);
      expect(to.take()).toEqual(Uint8Array.of(n, n, n));
    }
    expect(to.take()).toBeUndefined();
  });

  it('never holds a message that is longer than itself', () => {
    const { from, to } = ends(16);
    expect(from.put(new Uint8Array(13))).toBe(false);
    expect(from.put(new Uint8Array(12))).toBe(true);
    expect(from.put(new Uint8Array(0))).toBe(false);
    expect(to.take()).toEqual(new Uint8Array(12));
  });

  it('carries messages from another thread whole', async () => {
    const { to, shared } = ends(1024);
    const count = 20_000;
    const source = new URL('../../src/shared/ring.ts', import.meta.url).href;
    const worker = new Worker(
      `const { workerData: shared } = require('node:worker_threads');
      require('tsx/cjs/api').register();
      const { Ring } = require(new URL(${JSON.stringify(source)}).pathname);
      const ring = new Ring(shared);
      for (let n = 0; n < ${count}; n++) {
        const message = new Uint8Array(4 + (n % 97)).fill(n);
        new DataView(message.buffer).setUint32(0, n);
        while (!ring.put(message));
      }`,
      { eval: true, workerData: shared },
    );
    const failed = new Promise<never>((_, reject) => worker.once('error', reject));
    for (let n = 0; n < count; ) {
      const message = to.take();
      if (!message) {
        await Promise.race([new Promise((resume) => setImmediate(resume)), failed]);
        continue;
      }
      const wanted = new Uint8Array(4 + (n % 97)).fill(n);
      new DataView(wanted.buffer).setUint32(0, n);
      if (!Buffer.from(message).equals(Buffer.from(wanted))) expect(message).toEqual(wanted);
      n++;
    }
    expect(to.take()).toBeUndefined();
    await worker.terminate();
  });
});
