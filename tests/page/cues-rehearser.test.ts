import { expect, test } from 'vitest';
import {
  BUSY_MS,
  PAUSE_MS,
  Rehearser,
  type Wanted,
} from '../../src/gateway/page/cues-rehearser.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

/** A desk, and a daemon that answers when the test says so. */
class Rig {
  readonly clock = new VirtualClock();
  wanted: Wanted | undefined = { cue: 'wink', steps: [{ at: 0 }], version: 'a' };
  readonly asked: Wanted[] = [];
  readonly shown: string[] = [];
  #answers: { resolve(of: string): void; reject(error: Error): void }[] = [];
  readonly rehearser = new Rehearser<string>({
    clock: this.clock,
    wanted: () => this.wanted,
    ask: (of) => {
      this.asked.push(of);
      return new Promise((resolve, reject) => this.#answers.push({ resolve, reject }));
    },
    done: (_of, answer) => this.shown.push(answer),
    failed: (_of, error) => this.shown.push(`not: ${error.message}`),
    isBusy: (error) => (error as Error).message === 'busy',
  });

  async answer(of: string | Error): Promise<void> {
    const next = this.#answers.shift()!;
    if (typeof of === 'string') next.resolve(of);
    else next.reject(of);
    await new Promise((resolve) => setImmediate(resolve));
  }

  changed(cue: string, at: number): void {
    this.wanted = { cue, steps: [{ at }], version: 'a' };
    this.rehearser.changed();
  }
}

test('it asks once nobody has changed anything for a moment, one question at a time', async () => {
  const rig = new Rig();
  for (let at = 1; at <= 3; at++) {
    rig.changed('wink', at);
    rig.clock.advance(PAUSE_MS - 1);
  }
  expect(rig.asked).toEqual([]);
  rig.clock.advance(1);
  expect(rig.asked.map(({ steps }) => steps)).toEqual([[{ at: 3 }]]);
  rig.changed('wink', 4);
  rig.clock.advance(PAUSE_MS);
  expect(rig.asked).toHaveLength(1);
  // An answer for earlier steps of the same cue is shown until the next one is there.
  await rig.answer('three');
  rig.clock.advance(PAUSE_MS);
  await rig.answer('four');
  rig.clock.advance(60_000);
  expect(rig.asked).toHaveLength(2);
  expect(rig.shown).toEqual(['three', 'four']);
});

test('an answer that comes when another cue is on the desk is dropped, and so is a refusal', async () => {
  const rig = new Rig();
  for (const late of ['wink', new Error('it has no such mark')]) {
    rig.changed('wink', 1);
    rig.clock.advance(PAUSE_MS);
    rig.changed('hoot', 1);
    await rig.answer(late);
    expect(rig.shown).toEqual([]);
    rig.clock.advance(PAUSE_MS);
    await rig.answer('hoot');
    expect(rig.shown.splice(0)).toEqual(['hoot']);
  }
});

test('nor is one shown that comes when the desk is empty, or has been left', async () => {
  const rig = new Rig();
  rig.changed('wink', 1);
  rig.clock.advance(PAUSE_MS);
  rig.wanted = undefined;
  await rig.answer('wink');
  rig.changed('wink', 2);
  rig.clock.advance(PAUSE_MS);
  rig.rehearser.end();
  await rig.answer('wink');
  rig.rehearser.changed();
  rig.clock.advance(60_000);
  expect(rig.shown).toEqual([]);
  expect(rig.asked).toHaveLength(2);
});

test('a daemon that is busy is asked again, without another edit', async () => {
  const rig = new Rig();
  rig.changed('wink', 1);
  rig.clock.advance(PAUSE_MS);
  for (let again = 0; again < 3; again++) {
    await rig.answer(new Error('busy'));
    rig.clock.advance(BUSY_MS - 1);
    expect(rig.asked).toHaveLength(again + 1);
    rig.clock.advance(1);
  }
  await rig.answer('wink');
  expect(rig.shown).toEqual(['wink']);
});

test('what is refused for good is said, and asked again only when something changes', async () => {
  const rig = new Rig();
  rig.changed('wink', 1);
  rig.clock.advance(PAUSE_MS);
  await rig.answer(new Error('no such mark'));
  rig.clock.advance(60_000);
  expect(rig.asked).toHaveLength(1);
  expect(rig.shown).toEqual(['not: no such mark']);
  // The file has another version: a cue within this one may be another.
  rig.wanted = { ...rig.wanted!, version: 'b' };
  rig.rehearser.changed(true);
  rig.clock.advance(0);
  expect(rig.asked).toHaveLength(2);
});
