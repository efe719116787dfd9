import { expect, test } from 'vitest';
import type { Params, Result } from '../../src/api/methods.ts';
import {
  howWords,
  LISTED_MS,
  type Played,
  PropPlay,
} from '../../src/gateway/page/cues-prop-play.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

const WHOLE = { fromS: 0, rate: 1, loop: false };
const LOOP = { fromS: 1.5, rate: 0.5, loop: true };
const turn = () => new Promise((resolve) => setImmediate(resolve));

/** A daemon that answers when the test says so. */
class Rig {
  readonly clock = new VirtualClock();
  now: Played | undefined;
  /** What the daemon was asked for, in order. */
  readonly asked: object[] = [];
  #answers: ((result: Result<'cue.run'> | undefined) => void)[] = [];
  readonly player = new PropPlay({
    clock: this.clock,
    run: (params: Params<'cue.run'>) => {
      this.asked.push(params);
      return new Promise((resolve) => this.#answers.push(resolve));
    },
    stop: async (cue) => this.asked.push({ stop: cue }),
    changed: (now) => {
      this.now = now;
    },
  });

  async answer(result?: Result<'cue.run'>): Promise<void> {
    this.#answers.shift()!(result);
    await turn();
  }

  /** One that runs, and is listed. */
  static async running(how = LOOP): Promise<Rig> {
    const rig = new Rig();
    void rig.player.start('wink', how);
    await rig.answer({ running: true, durationS: null, leftOut: ['the voice'] });
    rig.player.listed(new Set(['wink']));
    return rig;
  }
}

test('it is asked for as it was chosen, and what is left out is kept', async () => {
  const rig = await Rig.running();
  expect(rig.asked).toEqual([{ cue: 'wink', fromS: 1.5, rate: 0.5, loop: true }]);
  expect(rig.now).toEqual({ cue: 'wink', ...LOOP, asking: false, leftOut: ['the voice'] });
  expect((await Rig.running(WHOLE)).asked).toEqual([{ cue: 'wink' }]);
});

test('a refusal leaves nothing that seems to run', async () => {
  const rig = new Rig();
  void rig.player.start('wink', LOOP);
  expect(rig.now?.asking).toBe(true);
  await rig.answer();
  expect(rig.now).toBeUndefined();
});

test('it is shown until the daemon no longer lists it', async () => {
  const rig = await Rig.running();
  rig.player.listed(new Set(['wink', 'idle']));
  rig.clock.advance(60_000);
  expect(rig.now).toBeDefined();
  rig.player.listed(new Set(['idle']));
  expect(rig.now).toBeUndefined();
});

test('a list from before it began does not hide it; one that never lists it does in the end', async () => {
  const rig = new Rig();
  void rig.player.start('wink', LOOP);
  rig.player.listed(new Set());
  await rig.answer({ running: true, durationS: null });
  rig.player.listed(new Set());
  expect(rig.now).toBeDefined();
  rig.clock.advance(LISTED_MS);
  expect(rig.now).toBeUndefined();
});

test('the same press ends it, also while it is still being worked out', async () => {
  const rig = await Rig.running();
  rig.player.end();
  rig.player.end();
  expect([rig.now, rig.asked.slice(1)]).toEqual([undefined, [{ stop: 'wink' }]]);
  void rig.player.start('wink', LOOP);
  rig.player.end();
  // The daemon had begun it by then.
  await rig.answer({ running: true, durationS: null });
  expect(rig.now).toBeUndefined();
  expect(rig.asked.slice(-2)).toEqual([{ stop: 'wink' }, { stop: 'wink' }]);
});

test('whoever leaves the view leaves no loop behind, and nothing that is about to begin', async () => {
  const rig = await Rig.running();
  rig.player.leave();
  expect(rig.asked.at(-1)).toEqual({ stop: 'wink' });
  const early = new Rig();
  void early.player.start('wink', WHOLE);
  early.player.leave();
  expect(early.asked.at(-1)).toEqual({ stop: 'wink' });
  // One that ends by itself goes on.
  const once = await Rig.running(WHOLE);
  once.player.leave();
  expect(once.asked).toHaveLength(1);
});

test('with the link it is gone: the daemon ends it by itself', async () => {
  const rig = await Rig.running();
  rig.player.lost();
  expect([rig.now, rig.asked.length]).toEqual([undefined, 1]);
});

test('how it is played, in words', () => {
  expect(howWords(WHOLE)).toBe('');
  expect(howWords(LOOP)).toBe('from 1.5 s, at 50 % of its speed, in a loop');
});
