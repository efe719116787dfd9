import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import { METHODS, type MethodBy } from '../../src/api/methods.ts';
import type { JournalEntry } from '../../src/api/types.ts';
import { FIELD, FLAG } from '../../src/shared/telemetry.ts';
import { type Client, done, Rig, until, VIEW } from './helpers.ts';

// What the gateway answers itself: the core must not be asked, and nothing may be out of date.

const [BEAK, MIST] = [0, 1] as const;

let rig: Rig;
let client: Client;
let ticks = 0;

/** One tick of the core: sets fields of channels. */
function tick(...changes: [channel: number, field: number, value: number][]): void {
  ticks++;
  rig.tick(ticks / 200, changes);
}

beforeEach(async () => {
  rig = await Rig.start();
  client = await rig.open();
  ticks = 0;
});
afterEach(() => rig.end());

/** The result, which must have the shape that the API describes. */
async function result(of: Client, method: MethodBy<'view' | 'service'>, params: object = {}) {
  const answer = await of.call(method, params);
  expect(answer.error).toBeUndefined();
  METHODS[method].result(fields()).parse(answer.result);
  return answer.result;
}

it('a client that waits for no answer is listed what it has begun; one with none open asks the core nothing', async () => {
  await result(client, 'cue.list');
  expect(rig.received.some(({ t }) => t === 'fence')).toBe(false);
  // A call that stays open, as one with `wait` does.
  rig.reply = () => undefined;
  client.send({ jsonrpc: '2.0', id: 900, method: 'cue.run', params: { cue: 'wake', wait: true } });
  await until(() => rig.calls().length === 1, 'the call');
  rig.send({ t: 'running', cues: ['wake'], idle: null, armed: false });
  client.send({ jsonrpc: '2.0', id: 901, method: 'cue.list' });
  await until(() => rig.received.some(({ t }) => t === 'fence'), 'the fence');
  // It is listed once the next tick has come.
  await until(() => {
    tick();
    rig.clock.advance(5);
    return client.messages.some(({ id }) => id === 901);
  }, 'the list');
  expect((await client.answer(901)).result.cues.wake.running).toBe(true);
});

describe('channel.list', () => {
  it('is made of the prop file and of the last tick', async () => {
    tick(
      [BEAK, FIELD.value, 12.34567],
      [BEAK, FIELD.target, 30],
      [BEAK, FIELD.pulseUs, 1637],
      [BEAK, FIELD.flags, FLAG.moving | FLAG.pushing],
      [BEAK, FIELD.measuredDeg, Number.NaN],
      [MIST, FIELD.value, 1],
      [MIST, FIELD.target, 1],
    );
    const { channels, groups, poses } = await result(client, 'channel.list');
    expect(channels).toEqual({
      beak: {
        ...VIEW.info.beak,
        value: 12.346,
        target: 30,
        flags: ['moving', 'pushing'],
        pulseUs: 1637,
        pushing: true,
      },
      mist: { ...VIEW.info.mist, value: true, target: true, flags: [] },
      eye: { ...VIEW.info.eye, value: '#000000', target: '#000000', flags: [] },
      lantern: { ...VIEW.info.lantern, value: 0, target: 0, flags: [] },
    });
    expect(groups).toEqual({ jaw: ['beak'] });
    expect(poses).toEqual(['asleep']);
    expect(rig.calls()).toEqual([]);
  });

  it('follows from tick to tick', async () => {
    for (let deg = 0; deg < 5; deg++) {
      tick([BEAK, FIELD.value, deg], [MIST, FIELD.value, deg % 2]);
      const { channels } = await result(client, 'channel.list');
      expect([channels.beak.value, channels.mist.value]).toEqual([deg, deg % 2 === 1]);
    }
  });

  it('shows what a command did that was answered before it was asked', async () => {
    tick([MIST, FIELD.value, 0]);
    await client.call('channel.switch', { channel: 'mist', on: true });
    client.send({ jsonrpc: '2.0', id: 'list', method: 'channel.list' });
    await client.call('state.unfollow');
    rig.clock.advance(50);
    await client.call('state.unfollow');
    // The core has not ticked since: whatever the telemetry shows is from before the command.
    expect(client.messages.some(({ id }) => id === 'list')).toBe(false);
    tick([MIST, FIELD.value, 1]);
    rig.clock.advance(2);
    expect((await client.answer('list')).result.channels.mist.value).toBe(true);
  });

  it('does so in a batch, and for everybody else', async () => {
    tick([MIST, FIELD.value, 0]);
    const other = await rig.open('other');
    rig.reply = ({ id }) => {
      setTimeout(() => tick([MIST, FIELD.value, 1]), 5);
      return done(id, {});
    };
    const before = client.messages.length;
    client.send([
      { jsonrpc: '2.0', id: 1, method: 'channel.switch', params: { channel: 'mist', on: true } },
      { jsonrpc: '2.0', id: 2, method: 'channel.list' },
    ]);
    await until(() => {
      rig.clock.advance(2);
      return client.messages.length > before;
    }, 'the answers');
    expect(client.messages[before][1].result.channels.mist.value).toBe(true);
    rig.clock.advance(2);
    expect((await result(other, 'channel.list')).channels.mist.value).toBe(true);
  });

  it('does not wait for ever for a core that stands still', async () => {
    tick([BEAK, FIELD.value, 5]);
    await client.call('wake');
    client.send({ jsonrpc: '2.0', id: 'list', method: 'channel.list' });
    await client.call('state.unfollow');
    rig.clock.advance(100);
    expect((await client.answer('list')).result.channels.beak.value).toBe(5);
  });

  it('a flood of commands does not keep it waiting', async () => {
    tick();
    await client.call('wake');
    client.send({ jsonrpc: '2.0', id: 'list', method: 'channel.list' });
    for (let n = 0; n < 20; n++) {
      await client.call('wake');
      if (n === 3) tick([MIST, FIELD.value, 1]);
      rig.clock.advance(2);
    }
    expect((await client.answer('list')).result.channels.mist.value).toBe(true);
  });

  it('refused commands make nobody wait', async () => {
    tick();
    rig.reply = ({ id }) => ({
      t: 'fail',
      id,
      error: { code: 1, message: '', data: { code: 'lease.held', reason: '' } },
    });
    await client.call('wake');
    await result(client, 'channel.list');
  });
});

describe('cue.list', () => {
  it('tells what runs, as the core said last', async () => {
    const list = await result(client, 'cue.list');
    expect(list).toEqual({
      cues: { wake: { running: false, durationS: 3.2 }, glow: { running: false, durationS: null } },
      idle: { calm: { running: false } },
      triggers: { names: ['mat'], armed: false },
    });
    rig.send({ t: 'running', cues: ['glow'], idle: 'calm', armed: true });
    await until(() => rig.received.length > 0, 'the message');
    await client.call('park');
    tick();
    rig.clock.advance(2);
    expect(await result(client, 'cue.list')).toEqual({
      cues: { wake: { running: false, durationS: 3.2 }, glow: { running: true, durationS: null } },
      idle: { calm: { running: true } },
      triggers: { names: ['mat'], armed: true },
    });
    expect(rig.calls().map(({ method }) => method)).toEqual(['park']);
  });

  it('shows a cue that was just begun, though the core tells so only in its next tick', async () => {
    tick();
    await client.call('cue.run', { cue: 'wake' });
    client.send({ jsonrpc: '2.0', id: 'list', method: 'cue.list' });
    await client.call('state.unfollow');
    rig.send({ t: 'running', cues: ['wake'], idle: null, armed: false });
    tick();
    rig.clock.advance(2);
    expect((await client.answer('list')).result.cues.wake.running).toBe(true);
  });
});

it('board.list is that of the prop file', async () => {
  expect(await result(client, 'board.list')).toEqual({ boards: VIEW.boards });
  expect(rig.calls()).toEqual([]);
});

describe('journal.read', () => {
  const entry = (seq: number, more: Partial<JournalEntry> = {}): JournalEntry => ({
    seq,
    time: '2026-01-01T00:00:00.000Z',
    who: 'bench',
    what: 'channel.jog',
    text: `beak ${seq}`,
    tick: 10 * seq,
    ...more,
  });
  const seqs = async (params: object = {}) =>
    (await result(client, 'journal.read', params)).entries.map(({ seq }: JournalEntry) => seq);

  it('holds what came before this gateway and what came since', async () => {
    rig.send({ t: 'entries', entries: [entry(1), entry(2)] });
    rig.send({ t: 'event', entry: entry(3, { ticks: [30, 31], count: 2 }) });
    await client.call('park');
    const { entries } = await result(client, 'journal.read');
    expect(entries).toEqual([entry(1), entry(2), entry(3, { ticks: [30, 31], count: 2 })]);
    expect(await seqs({ since: 1 })).toEqual([2, 3]);
    expect(await seqs({ since: 3 })).toEqual([]);
    expect(await seqs({ since: Number.MAX_SAFE_INTEGER, limit: 1 })).toEqual([]);
    expect(await seqs({ limit: 1 })).toEqual([3]);
    expect(rig.calls().map(({ method }) => method)).toEqual(['park']);
  });

  it('what was there before may come in parts, behind what is new', async () => {
    rig.send({ t: 'event', entry: entry(9) });
    rig.send({ t: 'entries', entries: [entry(5), entry(6)] });
    rig.send({ t: 'event', entry: entry(10) });
    rig.send({ t: 'entries', entries: [entry(7), entry(8), entry(9)] });
    await client.call('park');
    expect(await seqs()).toEqual([5, 6, 7, 8, 9, 10]);
    expect(await seqs({ since: 8 })).toEqual([9, 10]);
  });

  it('what was there before is news to nobody', async () => {
    await client.call('state.follow', { hz: 1, journal: true });
    rig.send({
      t: 'entries',
      entries: [entry(1, { what: 'condition', values: { condition: 'live' } })],
    });
    await client.call('park');
    expect(client.notices('event')).toEqual([]);
    expect(client.notices('condition')).toEqual([]);
  });

  it('an entry that is told again takes the place of the first', async () => {
    await client.call('state.follow', { hz: 1, journal: true });
    const again = entry(1, { count: 2, ticks: [10, 12], text: 'beak by 2 deg' });
    rig.send({ t: 'event', entry: entry(1) });
    rig.send({ t: 'event', entry: entry(2) });
    rig.send({ t: 'event', entry: again, again: true });
    await client.call('park');
    expect((await result(client, 'journal.read')).entries).toEqual([again, entry(2)]);
    expect(client.notices('event')).toEqual([
      { entry: entry(1) },
      { entry: entry(2) },
      { entry: again, again: true },
    ]);
  });

  it('one that recurs takes the place of the last of its kind', async () => {
    const calm = (seq: number, count?: number) =>
      entry(seq, { who: 'prop', what: 'cue', text: 'cue blink', ...(count && { count }) });
    const nod = (seq: number, count?: number) =>
      entry(seq, { who: 'prop', what: 'cue', text: 'cue nod', ...(count && { count }) });
    for (const one of [calm(1), nod(2), calm(3, 2), calm(4, 3), nod(5, 2)])
      rig.send({ t: 'event', entry: one });
    await client.call('park');
    expect((await result(client, 'journal.read')).entries).toEqual([calm(4, 3), nod(5, 2)]);
  });

  it('keeps the last 5000 at least, answers 1000 at most and 100 unless asked', async () => {
    const many = Array.from({ length: 12_000 }, (_unused, i) => entry(i + 1));
    rig.send({ t: 'entries', entries: many });
    await client.call('park');
    expect(await seqs()).toEqual(many.slice(-100).map(({ seq }) => seq));
    expect(await seqs({ limit: 1000 })).toEqual(many.slice(-1000).map(({ seq }) => seq));
  });
});

it('eight watchers that ask without end cost the core nothing, and a stop goes through', async () => {
  tick();
  const watchers: Client[] = [];
  for (let n = 0; n < 8; n++) watchers.push(await rig.open(`watcher ${n}`));
  const methods = ['channel.list', 'cue.list', 'board.list', 'journal.read'];
  for (let round = 0; round < 100; round++)
    for (const watcher of watchers)
      for (const method of methods)
        watcher.send({ jsonrpc: '2.0', id: `${method} ${round}`, method, params: {} });
  // In the middle of it somebody commands.
  const stopped = await client.call('stop', { category: 1 });
  expect(stopped.result).toEqual({ method: 'stop' });
  await until(() => {
    tick([BEAK, FIELD.value, ticks]);
    rig.clock.advance(5);
    return watchers.every(({ messages }) => messages.length >= 401);
  }, 'all answers');
  for (const { messages } of watchers)
    for (const message of messages) expect(message.error).toBeUndefined();
  expect(rig.calls().map(({ method }) => method)).toEqual(['stop']);
});
