import { describe, expect, test } from 'vitest';
import { Core } from '../../src/core/core.ts';
import { Journal } from '../../src/core/journal.ts';
import { CODES } from '../../src/shared/errors.ts';
import { Telemetry } from '../../src/shared/telemetry.ts';
import { sweepUp } from '../sweep-up.ts';
import {
  type Client,
  lamp,
  MemoryStore,
  makeProp,
  pulseOf,
  Recorder,
  Rig,
  relay,
  restedAt,
  servo,
  TICK_MS,
} from './rig.ts';

const prop = (seed = 5) =>
  makeProp(
    {
      lid: servo({ limitsDeg: [-2, 30] }),
      neck: servo({ limitsDeg: [-20, 20] }),
      jaw: servo(),
      fan: relay(),
      glow: lamp(),
    },
    {
      cues: {
        blink: [
          { at: 0, move: { lid: 30 }, name: 'shut' },
          { after: 'shut', move: { lid: 0 } },
        ],
        // It asks for more than the limits allow now and then.
        glance: [{ at: 0, move: { neck: { around: 0, spread: 22 } }, overS: 0.5 }],
        breathe: [
          { at: 0, dim: { glow: 0.4 }, fadeS: 1.5 },
          { at: 2, dim: { glow: 0.1 }, fadeS: 1.5 },
        ],
        long: [
          { at: 0, move: { lid: 10 }, overS: 5 },
          { at: 0, switch: { fan: 'on' } },
        ],
        startle: [{ at: 0, move: { lid: 30, neck: 20 }, overS: 4 }],
      },
      idle: {
        calm: {
          seed,
          plays: [
            { cue: 'blink', everyS: [2, 6] },
            { cue: 'glance', everyS: [3, 9] },
            { cue: 'breathe', everyS: [5, 5] },
          ],
        },
        slow: { plays: [{ cue: 'long', everyS: [1, 2] }] },
      },
    },
  );

async function idling(idle = 'calm', seed?: number) {
  const { rig, client } = await Rig.live(prop(seed));
  await client.call('idle.start', { idle });
  return { rig, client };
}

/** When each run of a cue began (s since the machine of the test started). */
const runs = (rig: Rig, cue: string): number[] =>
  rig.entries
    .filter(({ text }) => text === `cue ${cue} runs`)
    .map(({ time }) => (Date.parse(time) - rig.clock.wallMs() + rig.clock.nowMs()) / 1000);

describe('an idle behaviour', () => {
  test('does nothing until it is started', async () => {
    const { rig } = await Rig.live(prop());
    const { length } = rig.writes;
    await rig.run(120_000);
    expect(rig.writes).toHaveLength(length);
  });

  test('plays each cue after a pause of its own, and tells who asked', async () => {
    const { rig, client } = await idling();
    const startS = rig.clock.nowMs() / 1000;
    await rig.run(300_000);
    const bounds = { blink: [2, 6], glance: [3, 9], breathe: [5, 5] } as const;
    for (const [cue, [shortestS, longestS]] of Object.entries(bounds)) {
      const times = [startS, ...runs(rig, cue)];
      const pauses = times.slice(1).map((s, i) => s - times[i]!);
      expect(pauses.length).toBeGreaterThan(300 / longestS - 2);
      expect(Math.min(...pauses), cue).toBeGreaterThanOrEqual(shortestS - 0.001);
      expect(Math.max(...pauses), cue).toBeLessThanOrEqual(longestS + 0.006);
    }
    expect(new Set(runs(rig, 'blink').map((s) => s.toFixed(3))).size).toBeGreaterThan(30);
    expect(rig.entries.find(({ text }) => text === 'cue blink runs')!.who).toBe('idle calm');
    const { idle } = await client.call('cue.list');
    expect(idle).toEqual({ calm: { running: true }, slow: { running: false } });
  });

  test('stays within every limit, and what would not is refused and told', async () => {
    const { rig } = await idling();
    const seen = { lid: [0, 0], neck: [0, 0] };
    rig.afterTick = () => {
      for (const name of ['lid', 'neck'] as const) {
        const pulse = rig.at(name);
        seen[name][0] = Math.min(seen[name][0]!, pulse - pulseOf(0));
        seen[name][1] = Math.max(seen[name][1]!, pulse - pulseOf(0));
        expect(Math.abs(rig.servo(name).setpoint.vel)).toBeLessThanOrEqual(120 + 1e-9);
      }
    };
    await rig.run(600_000);
    expect(seen.lid).toEqual([0, 300]);
    expect(seen.neck[0]).toBeGreaterThanOrEqual(-200);
    expect(seen.neck[0]).toBeLessThan(-150);
    expect(seen.neck[1]).toBeLessThanOrEqual(200);
    const refused = rig.texts('refused');
    expect(refused.length).toBeGreaterThan(0);
    for (const text of refused)
      expect(text).toMatch(/^cue glance, step 1: neck may go from -20 to 20/);
    expect(rig.condition).toBe('live');
  });

  test('is the same for the same seed, and another one for another', async () => {
    const frames = async (seed: number) => {
      const { rig } = await idling('calm', seed);
      await rig.run(60_000);
      return rig.writes;
    };
    const first = await frames(5);
    expect(first.length).toBeGreaterThan(500);
    expect(await frames(5)).toEqual(first);
    expect(await frames(6)).not.toEqual(first);
  });

  test('an unknown one is no such thing; none starts unless the prop is live', async () => {
    const { rig, client } = await Rig.live(prop());
    const refusal = await client.refused('idle.start', { idle: 'clam' });
    expect(refusal.code).toBe(CODES.noSuchThing);
    expect(refusal.message).toBe('there is no idle behaviour clam; did you mean calm?');
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    expect((await client.refused('idle.start', { idle: 'calm' })).code).toBe(CODES.condition);
    const { length } = rig.writes;
    await rig.run(60_000);
    expect(rig.writes).toHaveLength(length);
  });

  test('idle.stop brings what plays to rest; another one takes its place', async () => {
    const { rig, client } = await idling('slow');
    await rig.until(() => rig.on('fan'), 3);
    await rig.run(500);
    await client.call('idle.stop');
    await rig.tick();
    expect(rig.on('fan')).toBe(false);
    expect(rig.servo('lid').targetDeg).toBeLessThan(10);
    const count = runs(rig, 'long').length;
    await rig.run(20_000);
    expect(runs(rig, 'long')).toHaveLength(count);

    await client.call('idle.start', { idle: 'slow' });
    await rig.until(() => rig.on('fan'), 3);
    await client.call('idle.start', { idle: 'calm' });
    await rig.tick();
    expect(rig.on('fan')).toBe(false);
    await rig.run(20_000);
    expect(runs(rig, 'long')).toHaveLength(count + 1);
    expect(runs(rig, 'blink').length).toBeGreaterThan(1);
  });

  test('idle.stop leaves alone a cue that somebody has started', async () => {
    const { rig, client } = await idling('slow');
    await client.call('cue.run', { cue: 'long' });
    await rig.run(3000);
    await client.call('idle.stop');
    expect((await client.call('cue.list')).cues.long!.running).toBe(true);
    await rig.run(3000);
    expect(rig.at('lid')).toBe(pulseOf(10));
  });
});

describe('giving way', () => {
  test('a cue that shares a channel starts at once, is not disturbed, and idle life returns', async () => {
    const { rig, client } = await idling();
    await rig.until(() => rig.servo('lid').moving, 10);
    await client.call('cue.run', { cue: 'startle' });
    await rig.tick();
    expect(rig.servo('lid').targetDeg).toBe(30);
    expect(rig.texts('cue')).toContain('cue blink stopped: cue startle takes over');
    const { plans } = rig.servo('lid');
    while ((await client.call('cue.list')).cues.startle!.running) {
      expect(rig.servo('lid').plans).toBe(plans);
      await rig.tick();
    }
    expect(rig.at('lid')).toBe(pulseOf(30));
    const overS = rig.clock.nowMs() / 1000;
    await rig.run(8000);
    expect(runs(rig, 'blink').filter((s) => s > overS).length).toBeGreaterThan(0);
  });

  test('a cue on other channels does not end it', async () => {
    const { rig, client } = await idling('slow');
    await rig.until(() => rig.on('fan'), 3);
    await client.call('cue.run', { cue: 'glance' });
    await rig.run(1000);
    expect(rig.on('fan')).toBe(true);
  });

  test.each<[string, (client: Client) => unknown]>([
    ['a move', (client) => client.call('channel.move', { channel: 'jaw', to: 10 })],
    ['a jog', (client) => client.call('channel.jog', { channel: 'lid', byDeg: 1 })],
    ['a switch', (client) => client.call('channel.switch', { channel: 'fan', on: true })],
    ['a lamp', (client) => client.call('channel.dim', { channel: 'glow', to: 1 })],
    ['identifying', (client) => client.call('channel.identify', { channel: 'jaw' })],
  ])('after %s by hand nothing stirs for 10 s, then it returns', async (_what, act) => {
    const { rig, client } = await idling();
    await rig.run(20_000);
    await act(client);
    const atS = rig.clock.nowMs() / 1000;
    const before = runs(rig, 'blink').length + runs(rig, 'glance').length;
    // What was playing on another channel may come to its end.
    await rig.run(5000);
    const { length } = rig.writes;
    await rig.run(5000 - 2 * TICK_MS);
    expect(rig.writes).toHaveLength(length);
    expect(runs(rig, 'blink').length + runs(rig, 'glance').length).toBe(before);
    await rig.run(10_000);
    const after = [...runs(rig, 'blink'), ...runs(rig, 'glance')].filter((s) => s > atS);
    expect(after.length).toBeGreaterThan(0);
    expect(Math.min(...after)).toBeGreaterThanOrEqual(atS + 10);
  });

  test('a hand on the channel that plays takes it over', async () => {
    const { rig, client } = await idling('slow');
    await rig.until(() => rig.on('fan'), 3);
    await rig.run(500);
    await client.call('channel.move', { channel: 'lid', to: 25 });
    await rig.run(3000);
    expect(rig.at('lid')).toBe(pulseOf(25));
    expect(rig.on('fan')).toBe(false);
  });

  test('a refused command disturbs nothing', async () => {
    const { rig, client } = await idling();
    const count = () => runs(rig, 'blink').length;
    await client.refused('channel.move', { channel: 'lid', to: 99 });
    await rig.run(7000);
    expect(count()).toBeGreaterThan(0);
  });
});

describe('the end', () => {
  test.each<[string, (rig: Rig, client: Client) => unknown]>([
    ['park', (_rig, client) => client.call('park')],
    ['a stop', (_rig, client) => client.call('stop', { category: 2 })],
    ['a closed link', (rig, client) => rig.commands.gone(client.session.id)],
  ])('by %s: it does not come back with the next wake', async (_what, end) => {
    const { rig, client } = await idling();
    await rig.run(10_000);
    await end(rig, client);
    await rig.run(8000);
    const next = rig.client('next');
    if (rig.core.lease.holder) await client.call('lease.release');
    await next.call('lease.take');
    await next.call('reset', { confirm: 'desk' });
    await next.call('wake', { confirm: 'unknown' });
    await rig.until(() => rig.condition === 'live');
    const { length } = rig.writes;
    await rig.run(60_000);
    expect(rig.writes).toHaveLength(length);
    expect((await next.call('cue.list')).idle.calm!.running).toBe(false);
  });

  test('the next holder within the grace finds it still', async () => {
    const { rig, client } = await idling();
    await rig.until(() => rig.servo('lid').moving, 10);
    await client.call('lease.release', { graceS: 300 });
    await rig.run(1000);
    const { length } = rig.writes;
    await rig.run(60_000);
    await rig.client('next').call('lease.take');
    await rig.run(60_000);
    expect(rig.writes).toHaveLength(length);
    expect(rig.condition).toBe('live');
  });
});

describe('a week of idle life', () => {
  const WEEK_MS = 7 * 86_400_000;
  const HOUR_MS = 3_600_000;
  // Ticks of 100 ms: 6 million of them. What is kept from cue to cue does not depend on their length.
  const LONG_TICK_MS = 100;

  const heapMiB = (): number => {
    sweepUp();
    return process.memoryUsage().heapUsed / 2 ** 20;
  };

  test('leaves the memory flat', async () => {
    const one = prop();
    let nowMs = 0;
    const clock = {
      nowMs: () => nowMs,
      wallMs: () => Date.UTC(2026, 0, 1) + nowMs,
      after: () => () => {},
    };
    // Keeps what stands at each output, and no history.
    class Still extends Recorder {
      override write(): void {
        this.frames++;
      }
      frames = 0;
    }
    const board = new Still();
    const telemetry = Telemetry.create(Object.keys(one.channels).length, 0);
    const core = new Core({
      prop: one,
      drivers: new Map([['main', board]]),
      clock,
      telemetry,
      store: new MemoryStore(restedAt(one), () => nowMs / 1000),
      journal: new Journal(clock),
      tickMs: LONG_TICK_MS,
    });
    await core.open();
    core.take({ id: 'desk-0', client: 'desk', slot: 0 });
    core.wake('desk');
    const run = (forMs: number): void => {
      for (const endMs = nowMs + forMs; nowMs < endMs; ) {
        telemetry.markLife(0);
        nowMs += LONG_TICK_MS;
        core.tick(nowMs, 1);
      }
    };
    run(10_000);
    expect(core.condition).toBe('live');
    core.idle.start('calm', core.nowS);
    // The journal fills in steps, so that the highest of several samples counts.
    const highest = (hours: number): number => {
      let maxMiB = 0;
      for (let i = 0; i < hours; i++) {
        run(HOUR_MS);
        maxMiB = Math.max(maxMiB, heapMiB());
      }
      return maxMiB;
    };
    run(12 * HOUR_MS);
    const earlyMiB = highest(12);
    run(5.5 * 24 * HOUR_MS);
    const frames = board.frames;
    const lateMiB = highest(12);
    expect(nowMs).toBeGreaterThanOrEqual(WEEK_MS);
    expect(board.frames).toBeGreaterThan(frames);
    expect(core.condition).toBe('live');
    expect(core.idle.running).toBe('calm');
    expect(core.cues.runCount('blink')).toBeGreaterThan(WEEK_MS / 6000 - 100);
    expect(lateMiB - earlyMiB).toBeLessThan(1);
  });
});
