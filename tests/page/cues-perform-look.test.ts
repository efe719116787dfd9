import { expect, test } from 'vitest';
import {
  LOOK_EVERY_MS,
  type Recorded,
  RecordingLook,
} from '../../src/gateway/page/cues-perform-look.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

const none: Recorded = { recording: false, samples: 0, durationS: 0, channels: [] };
const going = (samples: number): Recorded => ({
  recording: true,
  samples,
  durationS: samples / 50,
  channels: ['beak'],
});
const over = (samples: number): Recorded => ({ ...going(samples), recording: false });

/** A daemon with a recording, behind a link that the test cuts. */
class Rig {
  readonly clock = new VirtualClock();
  has: Recorded | Error = none;
  shown: Recorded | undefined;
  /** What became of it, in order. */
  readonly told: string[] = [];
  reads: boolean[] = [];
  readonly look = new RecordingLook({
    clock: this.clock,
    read: async (asItIs) => {
      this.reads.push(asItIs);
      if (this.has instanceof Error) throw this.has;
      return this.has;
    },
    seen: (now) => {
      this.shown = now;
    },
    over: ({ samples }) => this.told.push(`over ${samples}`),
    gone: () => this.told.push('gone'),
    failed: () => this.told.push('failed'),
  });

  async wait(ms: number): Promise<void> {
    this.clock.advance(ms);
    await new Promise((resolve) => setImmediate(resolve));
  }

  /** A recording that is under way when the link goes. */
  static async cut(): Promise<Rig> {
    const rig = new Rig();
    rig.has = going(10);
    rig.look.begun(going(1));
    await rig.look.look();
    rig.has = new Error('the link is lost');
    await rig.wait(LOOK_EVERY_MS);
    expect(rig.told.splice(0)).toEqual(['failed']);
    return rig;
  }
}

test('it is looked at while it goes on, and once more when it is over', async () => {
  const rig = new Rig();
  rig.has = going(10);
  rig.look.begun(going(1));
  await rig.look.look();
  rig.has = going(35);
  await rig.wait(LOOK_EVERY_MS);
  expect(rig.shown?.samples).toBe(35);
  rig.has = over(50);
  await rig.wait(LOOK_EVERY_MS);
  expect(rig.told).toEqual(['over 50']);
  // The last look is with what is chosen for it.
  expect(rig.reads).toEqual([true, true, true, false]);
  await rig.wait(60_000);
  expect(rig.reads).toHaveLength(4);
});

test('after a lost link, a recording that has ended is shown as such, and is not lost', async () => {
  const rig = await Rig.cut();
  await rig.wait(60_000);
  rig.has = over(40);
  await rig.look.look(true);
  expect(rig.shown).toEqual(over(40));
  expect(rig.told).toEqual(['over 40']);
});

test('after a lost link, one that goes on is looked at repeatedly', async () => {
  const rig = await Rig.cut();
  rig.has = going(60);
  await rig.look.look(true);
  rig.has = over(90);
  await rig.wait(LOOK_EVERY_MS);
  expect([rig.shown?.recording, rig.told]).toEqual([false, ['over 90']]);
});

test('one that the daemon no longer has is not shown as running', async () => {
  const rig = await Rig.cut();
  rig.has = none;
  await rig.look.look(true);
  expect([rig.shown, rig.told]).toEqual([undefined, ['gone']]);
});

test('what was chosen for a recording that is over stays chosen after a lost link', async () => {
  const rig = new Rig();
  rig.has = over(50);
  await rig.look.look(true);
  expect(rig.told.splice(0)).toEqual(['over 50']);
  await rig.look.look(true);
  expect(rig.told).toEqual([]);
  expect(rig.reads.at(-1)).toBe(false);
  // Somebody has recorded something else meanwhile.
  rig.has = over(70);
  await rig.look.look(true);
  expect(rig.told).toEqual(['over 70']);
});

test('an answer that comes after a newer question is dropped', async () => {
  const rig = new Rig();
  rig.has = going(10);
  rig.look.begun(going(1));
  const early = rig.look.look();
  rig.has = over(50);
  await Promise.all([early, rig.look.look()]);
  expect(rig.told).toEqual(['over 50']);
  rig.look.end();
  await rig.wait(60_000);
  expect(rig.shown).toEqual(over(50));
});
