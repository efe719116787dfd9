import { describe, expect, test } from 'vitest';
import type { CoreMethod } from '../../src/api/methods.ts';
import type { JournalEntry } from '../../src/api/types.ts';
import { Journal } from '../../src/core/journal.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { makeProp, Rig, rgb, servo } from './rig.ts';

function journal() {
  const clock = new VirtualClock();
  const entries: JournalEntry[] = [];
  const again: JournalEntry[] = [];
  const one = new Journal(clock, (entry, more) => (more ? again : entries).push(entry));
  one.tick = () => clock.nowMs() / 5;
  const fold = (values: object, who = 'desk', what: CoreMethod = 'channel.move') =>
    one.fold(who, what, JSON.stringify(values), values as Record<string, unknown>);
  return { one, clock, entries, again, fold };
}

describe('entries that follow each other within a second', () => {
  test('about the same channel are one: the last, with how many there were', () => {
    const { one, clock, entries, fold } = journal();
    for (let to = 0; to < 40; to++) {
      fold({ channel: 'neck', to });
      clock.advance(50);
    }
    const [entry, ...others] = one.read();
    expect(others).toEqual([]);
    expect(entry).toMatchObject({ seq: 1, count: 40, values: { channel: 'neck', to: 39 } });
    expect(entry!.text).toContain('39');
    expect(Date.parse(entry!.time)).toBe(clock.wallMs() - 50);
    expect(entries).toHaveLength(1);
    // Each command can be found by its tick.
    expect(entry!.ticks).toEqual(Array.from({ length: 40 }, (_unused, i) => 10 * i));
    expect(entry!.tick).toBe(390);
  });

  test('a long drag takes an entry for every 50 commands, and loses none', () => {
    const { one, clock, fold } = journal();
    for (let to = 0; to < 120; to++) {
      fold({ channel: 'neck', to });
      clock.advance(50);
    }
    expect(one.read().map(({ count, values }) => [count, values!.to])).toEqual([
      [50, 49],
      [50, 99],
      [20, 119],
    ]);
    expect(one.read().flatMap(({ ticks }) => ticks)).toHaveLength(120);
  });

  test('what an entry has taken on is told once a tick, and before anything that comes after it', () => {
    const { one, entries, again, fold } = journal();
    for (let to = 0; to < 5; to++) fold({ channel: 'neck', to });
    expect(again).toEqual([]);
    one.settle();
    one.settle();
    expect(again.map(({ seq, count }) => [seq, count])).toEqual([[1, 5]]);
    fold({ channel: 'neck', to: 6 });
    one.add('prop', 'interlock', 'mist opened');
    expect(again).toHaveLength(2);
    expect(entries.map(({ seq }) => seq)).toEqual([1, 2]);
  });

  test('after a pause of more than a second there is a new one', () => {
    const { one, clock, fold } = journal();
    fold({ channel: 'neck', to: 1 });
    clock.advance(1000);
    fold({ channel: 'neck', to: 2 });
    clock.advance(1001);
    fold({ channel: 'neck', to: 3 });
    expect(one.read().map(({ values, count }) => [values!.to, count])).toEqual([
      [2, 2],
      [3, undefined],
    ]);
  });

  test('of another channel, group, method or client stay apart', () => {
    const { one, fold } = journal();
    fold({ channel: 'neck' });
    fold({ channel: 'jaw' });
    fold({ channel: 'jaw' }, 'other');
    fold({ channel: 'jaw' }, 'other', 'channel.jog');
    fold({ group: 'tail' }, 'other', 'group.move');
    fold({ group: 'wings' }, 'other', 'group.move');
    expect(one.read()).toHaveLength(6);
    for (const entry of one.read()) expect(entry.count).toBeUndefined();
  });

  test('with something else in between stay apart: the order is kept', () => {
    const { one, fold } = journal();
    fold({ channel: 'neck', to: 1 });
    one.add('prop', 'interlock', 'mist opened');
    fold({ channel: 'neck', to: 2 });
    expect(one.read().map(({ what }) => what)).toEqual([
      'channel.move',
      'interlock',
      'channel.move',
    ]);
  });

  test('are never those that were added as they are', () => {
    const { one } = journal();
    one.add('desk', 'mark.capture', 'one', { channel: 'neck' });
    one.add('desk', 'mark.capture', 'two', { channel: 'neck' });
    expect(one.read().map(({ text }) => text)).toEqual(['one', 'two']);
  });
});

describe('what clients ask for', () => {
  const prop = makeProp(
    { neck: servo({ marks: { up: 20 } }), jaw: servo(), eye: rgb() },
    {
      groups: { head: ['neck', 'jaw'] },
      poses: { up: { neck: 20 }, down: { neck: -20 } },
    },
  );

  test('a slider that is drawn leaves one entry, and no refusal is lost in it', async () => {
    const { rig, client } = await Rig.live(prop);
    for (let to = 0; to <= 30; to++) {
      await client.call('channel.move', { channel: 'neck', to });
      await rig.run(50);
    }
    await client.refused('channel.move', { channel: 'neck', to: 99 });
    const entries = rig.core.journal.read();
    const moves = entries.filter(({ what }) => what === 'channel.move');
    expect(moves).toHaveLength(1);
    expect(moves[0]).toMatchObject({ text: 'neck to 30', count: 31 });
    expect(entries.filter(({ what }) => what === 'refused')).toHaveLength(1);
  });

  test('poses and captures each keep their entry, however fast they come', async () => {
    const { rig, client } = await Rig.live(prop);
    await client.call('pose.go', { pose: 'down' });
    await client.call('pose.go', { pose: 'up' });
    await rig.run(2000);
    await client.call('mark.capture', { channel: 'neck', mark: 'one' });
    await client.call('mark.capture', { channel: 'neck', mark: 'two' });
    const texts = rig.core.journal
      .read()
      .filter(({ what }) => what === 'pose.go' || what === 'mark.capture')
      .map(({ text }) => text);
    expect(texts).toEqual(['pose down', 'pose up', 'neck one is 20 deg', 'neck two is 20 deg']);
  });
});

describe('what comes again and again', () => {
  const blink = (one: Journal) => {
    one.recur('idle perch', 'cue', 'cue blink runs', { cue: 'blink' });
    one.recur('prop', 'cue', 'cue blink is over', { cue: 'blink' });
  };
  const glance = (one: Journal) =>
    one.recur('idle perch', 'cue', 'cue glance runs', { cue: 'glance' });

  test('is one entry each, the last, with how many there were; each is told', () => {
    const { one, clock, entries } = journal();
    for (let i = 0; i < 3000; i++) {
      blink(one);
      if (i % 1000 === 0) glance(one);
      clock.advance(5000);
    }
    expect(one.read(0, 1000)).toMatchObject([
      { seq: 4005, text: 'cue glance runs', count: 3 },
      { seq: 6002, who: 'idle perch', text: 'cue blink runs', count: 3000 },
      { seq: 6003, who: 'prop', text: 'cue blink is over', count: 3000 },
    ]);
    expect(entries).toHaveLength(6003);
    expect(entries.map(({ seq }) => seq)).toEqual(entries.map((_, i) => i + 1));
  });

  test('begins again after anything else: the order is kept', () => {
    const { one } = journal();
    blink(one);
    blink(one);
    one.add('prop', 'interlock', 'mist opened');
    blink(one);
    glance(one);
    blink(one);
    expect(one.read().map(({ text, count }) => [text, count])).toEqual([
      ['cue blink runs', 2],
      ['cue blink is over', 2],
      ['mist opened', undefined],
      ['cue glance runs', undefined],
      ['cue blink runs', 2],
      ['cue blink is over', 2],
    ]);
  });

  test('idle life takes two entries for each of its plays, however long', async () => {
    const { rig, client } = await Rig.live(
      makeProp(
        { neck: servo() },
        {
          cues: { nod: { steps: [{ at: 0, move: { neck: 5 }, overS: 0.2 }] } },
          idle: { perch: { seed: 1, plays: [{ cue: 'nod', everyS: [0.2, 0.3] }] } },
        },
      ),
    );
    await client.call('idle.start', { idle: 'perch' });
    await rig.run(30_000);
    const { entries } = await client.call('journal.read', {});
    const plays = entries.filter(({ text }) => text.startsWith('cue nod'));
    expect(plays.map(({ text }) => text).sort()).toEqual(['cue nod is over', 'cue nod runs']);
    for (const { count } of plays) expect(count).toBeGreaterThan(50);
    expect(entries.some(({ what }) => what === 'lease')).toBe(true);
  });
});
