import { expect, test } from 'vitest';
import {
  HESITATION_MS,
  LeadStream,
  SEND_EVERY_MS,
} from '../../src/gateway/page/cues-perform-stream.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

/** A link that the test answers. */
class Rig {
  readonly clock = new VirtualClock();
  /** How long the page was held up, with its timers (ms). */
  heldUpMs = 0;
  readonly sent: Record<string, number>[] = [];
  readonly ends: string[] = [];
  heard = 0;
  held: Record<string, number> = { beak: 5 };
  #answers: { resolve(): void; reject(error: Error): void }[] = [];
  readonly stream = new LeadStream({
    clock: {
      nowMs: () => this.clock.nowMs() + this.heldUpMs,
      after: (ms, wake) => this.clock.after(ms, wake),
    },
    targets: () => ({ ...this.held }),
    send: (targets) => {
      this.sent.push(targets);
      return new Promise((resolve, reject) => {
        this.#answers.push({ resolve: () => resolve({ channels: {} }), reject });
      });
    },
    heard: () => {
      this.heard++;
    },
    ended: (why) => this.ends.push(why),
  });

  async answer(error?: Error): Promise<void> {
    const next = this.#answers.shift()!;
    if (error) next.reject(error);
    else next.resolve();
    await new Promise((resolve) => setImmediate(resolve));
  }

  async wait(ms: number): Promise<void> {
    this.clock.advance(ms);
    await new Promise((resolve) => setImmediate(resolve));
  }
}

test('the newest targets go out 25 times a second, one at a time', async () => {
  const rig = new Rig();
  rig.stream.begin();
  rig.stream.begin();
  for (let deg = 6; deg < 11; deg++) {
    rig.held = { beak: deg - 0.5 };
    await rig.answer();
    rig.held = { beak: deg };
    await rig.wait(SEND_EVERY_MS);
  }
  expect(rig.sent).toEqual([5, 6, 7, 8, 9, 10].map((beak) => ({ beak })));
  // Not answered: nothing more is sent, however long the hand goes on.
  await rig.wait(SEND_EVERY_MS * 3);
  expect(rig.sent.length).toBe(6);
  expect(rig.heard).toBe(5);
});

test('a still hand goes on being told: silence would let go', async () => {
  const rig = new Rig();
  rig.stream.begin();
  for (let n = 0; n < 10; n++) {
    await rig.answer();
    await rig.wait(SEND_EVERY_MS);
  }
  expect(rig.sent.length).toBe(11);
});

test('let go, it says so at once, and nothing comes after it', async () => {
  const rig = new Rig();
  rig.stream.begin();
  rig.stream.end();
  expect(rig.sent).toEqual([{ beak: 5 }, {}]);
  expect(rig.ends).toEqual(['']);
  await rig.answer();
  await rig.answer();
  await rig.wait(1000);
  expect(rig.sent.length).toBe(2);
  expect(rig.heard).toBe(0);
});

test('an answer that comes too late ends it, and does not start it again', async () => {
  const rig = new Rig();
  rig.stream.begin();
  await rig.wait(HESITATION_MS);
  expect(rig.ends).toEqual([expect.stringContaining('hesitated')]);
  expect(rig.sent).toEqual([{ beak: 5 }, {}]);
  // Taken hold of again while the first is still on its way: not over a link like that.
  rig.stream.begin();
  expect(rig.ends.length).toBe(2);
  await rig.answer();
  await rig.wait(1000);
  expect(rig.sent.filter((targets) => 'beak' in targets).length).toBe(1);
  // Answered, it may begin again.
  rig.stream.begin();
  expect(rig.sent.at(-1)).toEqual({ beak: 5 });
});

test('let go and taken hold of again at once, it goes on when the answer is here', async () => {
  const rig = new Rig();
  rig.stream.begin();
  rig.stream.end();
  rig.held = { beak: 9 };
  rig.stream.begin();
  await rig.wait(20);
  expect(rig.sent).toEqual([{ beak: 5 }, {}]);
  await rig.answer();
  await rig.answer();
  await rig.wait(10);
  expect(rig.sent).toEqual([{ beak: 5 }, {}, { beak: 9 }]);
  expect(rig.ends).toEqual(['']);
});

test('a page that was held up ends it', async () => {
  const rig = new Rig();
  rig.stream.begin();
  await rig.answer();
  // The page's own timer comes much later than it was due.
  rig.heldUpMs = HESITATION_MS + 10;
  await rig.wait(SEND_EVERY_MS);
  expect(rig.ends).toEqual([expect.stringContaining('hesitated')]);
});

test('a refusal ends it, with its reason', async () => {
  const rig = new Rig();
  rig.stream.begin();
  await rig.answer(new Error('beak may go from -5 to 35 deg; 40 deg is outside'));
  expect(rig.ends).toEqual(['beak may go from -5 to 35 deg; 40 deg is outside']);
});

test('with nothing held any more it ends by itself', async () => {
  const rig = new Rig();
  rig.stream.begin();
  await rig.answer();
  rig.held = {};
  await rig.wait(SEND_EVERY_MS);
  expect(rig.ends).toEqual(['']);
  expect(rig.sent.at(-1)).toEqual({});
});
