import { describe, expect, test } from 'vitest';
import type { Result } from '../../src/api/methods.ts';
import type { SimulatedSense } from '../../src/boards/board.ts';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import { changed, type Edit } from '../../src/prop/edit-text.ts';
import { freeRunningOf } from '../../src/prop/free-running.ts';
import type { Prop, ServoChannel } from '../../src/prop/schema.ts';
import { seeded } from '../../src/sums/random.ts';
import { takeEdits } from './editor.ts';
import { type Client, makeProp, Rig, servo } from './rig.ts';
import { PlantDriver, type PlantKind } from './servo-plant.ts';

/** A servo that is measured by itself, while somebody holds the button. */

type State = Result<'measure.hold'>;

const CURRENT = { kind: 'current', board: 'meter', channel: 'beak' };
const ANGLE = {
  ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
  calibration: [
    [0.5, -100],
    [2.5, 100],
  ],
};

interface Setting {
  kind?: PlantKind;
  over?: Record<string, unknown>;
  senses?: Record<string, unknown>;
  guards?: Record<string, unknown>;
}

async function open({
  kind = {},
  over = {},
  senses = { current: CURRENT },
  guards = {},
}: Setting = {}) {
  const prop = makeProp(
    { beak: servo({ limitsDeg: [-20, 20], ...over }), tail: servo() },
    { senses, guards, boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } } },
  );
  const main = new PlantDriver(kind);
  const meter = new SimDriver();
  const { rig, client } = await Rig.live(prop, { drivers: { main, meter } });
  await rig.run(500);
  return { rig, client, main, meter };
}

/** Holds the button, with a sign every 100 ms, until it has ended. */
async function hold(
  rig: Rig,
  client: Client,
  run: number,
  each: (state: State) => void | Promise<void> = () => {},
): Promise<State> {
  for (let i = 0; i < 6000; i++) {
    const state = await client.call('measure.hold', { run });
    if (!state.running) return state;
    await each(state);
    await rig.run(100);
  }
  throw new Error('it has not ended within 10 minutes');
}

async function measured(what: 'ends' | 'current', setting: Setting = {}) {
  const all = await open(setting);
  const { run } = await all.client.call('measure.begin', { channel: 'beak', what });
  const state = await hold(all.rig, all.client, run);
  await all.rig.run(1000);
  return { ...all, run, state };
}

describe('finding both ends', () => {
  const KINDS: Record<string, Setting> = {
    'a good one': {},
    'with gear play': { kind: { playDeg: 0.8 } },
    'with friction that grows outwards': { kind: { friction: (deg) => 0.4 + Math.abs(deg) / 60 } },
    'with a slow current sensor': { kind: { filterS: 0.12 } },
    weak: { kind: { movingA: 0.1, stallA: 0.35 } },
    strong: { kind: { movingA: 0.6, stallA: 4, speedDegS: 600 } },
    'that sticks': { kind: { sticksDeg: 0.7 } },
    'with coarse readings': { kind: { stepA: 0.025 } },
    'that turns the other way': {
      kind: { reversed: true },
      over: {
        calibration: [
          [1000, 50],
          [2000, -50],
        ],
      },
    },
    'that is slow to follow': { kind: { lagS: 0.09, speedDegS: 200 } },
    'that draws its stall current when it starts': { kind: { inrushS: 0.03 } },
    'with an angle that is 4 deg off and noisy': {
      kind: { offsetDeg: 4, angleNoiseDeg: 0.15 },
      senses: { current: CURRENT, angle: ANGLE },
    },
    'with low acceleration': { over: { accelDegS2: 100 } },
  };
  test.each(Object.entries(KINDS))('of a servo %s', async (_name, setting) => {
    const { main, state } = await measured('ends', setting);
    expect(state.ended).toBeUndefined();
    const { low, high } = state.ends!;
    expect([low.stop, high.stop]).toEqual([true, true]);
    expect(Math.abs(low.deg + 33)).toBeLessThan(1);
    expect(Math.abs(high.deg - 37)).toBeLessThan(1);
    expect(main.longestMs).toBeLessThanOrEqual(300);
  });

  test('proposes limits inside by the margin, the envelope, marks and what counts as pushing', async () => {
    const { state, rig } = await measured('ends');
    const { low, high } = state.ends!;
    expect(state.proposed).toEqual({
      limitsDeg: [low.deg + 2, high.deg - 2],
      envelopeUs: [1500 + 10 * low.deg, 1500 + 10 * high.deg],
      marks: { low: low.deg + 2, high: high.deg - 2 },
      pushAboveA: expect.any(Number),
    });
    // It is back where it began.
    expect(rig.servo('beak').setpoint.pos).toBeCloseTo(0, 6);
    expect(rig.texts('measure').at(-1)).toMatch(/^beak ends at -33(\.\d)? deg and 37(\.\d)? deg$/);
  });

  test('of a simulated servo, as it comes', async () => {
    const draw = { idleA: 0.01, movingA: 0.25, stallA: 0.9 };
    const prop = makeProp(
      { beak: servo({ limitsDeg: [-20, 20], draw }) },
      {
        senses: { current: CURRENT },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
      },
    );
    const main = new SimDriver({ beak: { stopsDeg: [-33, 37] } });
    const { rig, client } = await Rig.live(prop, { drivers: { main, meter: new SimDriver() } });
    await rig.run(500);
    for (const what of ['current', 'ends'] as const) {
      const { run } = await client.call('measure.begin', { channel: 'beak', what });
      const state = await hold(rig, client, run);
      expect(state.ended).toBeUndefined();
      if (!state.ends) continue;
      expect(Math.abs(state.ends.low.deg + 33)).toBeLessThan(1);
      expect(Math.abs(state.ends.high.deg - 37)).toBeLessThan(1);
    }
  });

  test('where it meets nothing, the limit stays and no pulse leaves the envelope', async () => {
    const { main, state } = await measured('ends', { kind: { stopsDeg: [-33, 90] } });
    expect(state.ends!.high).toEqual({ deg: 60, stop: false });
    expect(state.proposed!.limitsDeg![1]).toBe(20);
    expect(main.sentUs[0]).toBeGreaterThanOrEqual(900);
    expect(main.sentUs[1]).toBeLessThanOrEqual(2100);
  });

  test('a place where it is stiff is passed when it comes again', async () => {
    let stiff = 0;
    const friction = (deg: number) => (deg > 12 && deg < 12.8 && stiff++ < 60 ? 3 : 0.5);
    const { state } = await measured('ends', { kind: { friction } });
    expect(stiff).toBeGreaterThan(0);
    expect(state.ends!.high.deg).toBeCloseTo(37, 0);
  });

  test('a stroke with too few readings, as on a busy machine, is made again', async () => {
    const { rig, client, main, meter } = await open();
    const random = seeded(3);
    const { run } = await client.call('measure.begin', { channel: 'beak', what: 'ends' });
    let gaps = 0;
    const state = await hold(rig, client, run, async () => {
      if (random() > 0.04) return;
      gaps++;
      meter.simulateSenses({ current: { gone: true } });
      await rig.run(80);
      meter.simulateSenses({ current: null });
    });
    expect(gaps).toBeGreaterThan(20);
    expect(state.ended).toBeUndefined();
    const { low, high } = state.ends!;
    expect(Math.abs(low.deg + 33)).toBeLessThan(1);
    expect(Math.abs(high.deg - 37)).toBeLessThan(1);
    expect(main.longestMs).toBeLessThanOrEqual(300);
  });

  test('from beside a stop it pushes no longer than from elsewhere', async () => {
    for (const park of [-32.6, 36.7]) {
      const { main, state } = await measured('ends', {
        over: { limitsDeg: [-33, 37], park: { to: park } },
      });
      expect(state.ends!.low.deg).toBeCloseTo(-33, 0);
      expect(state.ends!.high.deg).toBeCloseTo(37, 0);
      expect(main.longestMs).toBeLessThanOrEqual(300);
    }
  });
});

describe('a current sensor that is slow only while it pushes', () => {
  const SETTINGS: Record<string, Setting> = {
    'a good servo': {},
    'with gear play': { kind: { playDeg: 0.8 } },
    'that is slow to follow': { kind: { lagS: 0.09, speedDegS: 200 } },
    'that starts fast': { over: { accelDegS2: 4000, speedDegS: 300 } },
    'with low acceleration': { over: { accelDegS2: 100 } },
    'with a sensor that lags as well': { kind: { filterS: 0.1 } },
  };
  // The plant's stop is looked at each 20 ms.
  const LOOKED_MS = 25;
  // A touch, three more because of too few readings, and the one that had shown the stop before.
  const MOST_TOUCHES = 5;

  describe.each(Object.entries(SETTINGS))('%s', (_name, setting) => {
    test.each([25, 60, 95])(
      'a reading each %d ms: it finds the ends, or refuses and backs off',
      async (everyMs) => {
        const { rig, client, main, meter } = await open(setting);
        const { run } = await client.call('measure.begin', { channel: 'beak', what: 'ends' });
        let readMs = 0;
        rig.afterTick = () => {
          const nowMs = rig.clock.nowMs();
          const pushes = main.pushes.length > 0 && main.pushes.at(-1)!.toMs > nowMs - LOOKED_MS;
          const isGone = pushes && nowMs - readMs < everyMs;
          if (!isGone) readMs = nowMs;
          meter.simulateSenses({ current: isGone ? { gone: true } : null });
        };
        const { ended, ends, proposed } = await hold(rig, client, run);
        await rig.run(1000);
        const pushed = main.pushes.length;
        await rig.run(1000);
        expect(main.pushes).toHaveLength(pushed);
        expect(main.longestMs).toBeLessThanOrEqual(300);
        if (ends) {
          expect(Math.abs(ends.low.deg + 33)).toBeLessThan(1);
          expect(Math.abs(ends.high.deg - 37)).toBeLessThan(1);
          return;
        }
        expect(ended!.code).toBe('measure.sensor');
        expect(proposed).toBeUndefined();
        expect(main.contacts.length).toBeLessThanOrEqual(MOST_TOUCHES);
        expect(rig.servo('beak').setpoint.pos).toBeLessThan(37);
      },
    );
  });
});

describe('a sensor that lies', () => {
  const OTHER = {
    ...{ kind: 'current', board: 'meter', channel: 'tail', input: 3 },
    calibration: [
      [0, 0],
      [2, 4],
    ],
  };
  const FAULTS: Record<string, SimulatedSense> = {
    stuck: { stuck: true },
    gone: { gone: true },
    'no number': { nan: true },
    'far too low': { value: 0 },
    'far too high': { value: 3 },
    'that of another': { as: 'other' },
    'far too noisy': { noise: 0.5 },
  };
  const SENSES = { current: CURRENT, other: OTHER, angle: ANGLE };

  /** What was measured with a fault from then on; nothing else may come of it. */
  async function faulty(
    sense: string,
    fault: SimulatedSense,
    fromS: number,
    what: 'ends' | 'current' = 'ends',
  ) {
    const { rig, client, main, meter } = await open({ senses: SENSES });
    const { run } = await client.call('measure.begin', { channel: 'beak', what });
    const beganMs = rig.clock.nowMs();
    const state = await hold(rig, client, run, () => {
      if (rig.clock.nowMs() - beganMs >= fromS * 1000) meter.simulateSenses({ [sense]: fault });
    });
    const endedS = (rig.clock.nowMs() - beganMs) / 1000;
    await rig.run(2000);
    expect(rig.servo('beak').moving).toBe(false);
    expect(main.sentUs[0]).toBeGreaterThanOrEqual(900);
    expect(main.sentUs[1]).toBeLessThanOrEqual(2100);
    expect(main.longestMs).toBeLessThanOrEqual(300);
    return { rig, client, main, state, endedS, run };
  }

  // 22 s: on its way out; 42 s and 43.5 s: where it is about to meet the first end.
  describe.each(Object.entries(FAULTS))('%s', (_name, fault) => {
    test.each([0, 5, 22, 41.5, 42, 42.5, 43])('from %d s on, of the current', async (fromS) => {
      const { rig, client, main, state, endedS, run } = await faulty('current', fault, fromS);
      expect(state.ended!.code).toMatch(/^measure\.(sensor|unsteady|pushes)$/);
      expect([state.ends, state.proposed]).toEqual([undefined, undefined]);
      expect(endedS).toBeLessThan(fromS + 15);
      expect(main.pushes.length).toBeLessThanOrEqual(5);
      expect(rig.texts('measure').at(-1)).toContain('measuring beak has ended');
      const refusal = await client.refused('measure.accept', { run, date: '2026-11-26' });
      expect(refusal.word).toBe('measure.nothing');
      expect(rig.editor.edits).toEqual([]);
    });

    test.each([0, 0.5, 3])('from %d s on, of the current running free', async (fromS) => {
      const { state } = await faulty('current', fault, fromS, 'current');
      expect(state.ended!.code).toMatch(/^measure\.(sensor|unsteady|pushes)$/);
      expect(state.current).toBeUndefined();
    });
  });

  test.each([
    ['stuck', { stuck: true }],
    ['gone', { gone: true }],
    ['no number', { nan: true }],
    ['somewhere else', { value: 0.7 }],
  ])(
    'an angle that is %s: nothing is proposed, or what the current alone has shown',
    async (_name, fault) => {
      for (const fromS of [0, 5, 22, 42.5]) {
        const { state } = await faulty('angle', fault, fromS);
        expect(state.ended!.code).toMatch(/^measure\.(sensor|unsteady|pushes)$/);
        expect(state.proposed).toBeUndefined();
      }
    },
  );
});

describe('hold-to-run', () => {
  /** In the middle of a search, on its way out. */
  async function searching(setting: Setting = {}) {
    const all = await open(setting);
    const { run } = await all.client.call('measure.begin', { channel: 'beak', what: 'ends' });
    const until = async (done: () => boolean) => {
      for (let i = 0; i < 6000 && !done(); i++) {
        if (i % 20 === 0) await all.client.call('measure.hold', { run });
        await all.rig.tick();
      }
    };
    await until(() => all.rig.servo('beak').setpoint.pos > 30);
    const beak = all.rig.servo('beak');
    return { ...all, run, until, beak };
  }
  const ended = async (client: Client, run: number) =>
    (await client.call('measure.hold', { run })).ended?.code;

  test('released, it stops and backs off; no later sign starts it again', async () => {
    const { rig, client, run, beak, until, main } = await searching();
    // In the middle of a contact.
    await until(() => main.pushes.length > 0);
    await client.call('measure.release', { run });
    await rig.run(1000);
    expect(main.longestMs).toBeLessThanOrEqual(300);
    const { pos } = beak.setpoint;
    expect(pos).toBeLessThan(37);
    expect(pos).toBeGreaterThan(33);
    for (let i = 0; i < 30; i++) {
      expect(await ended(client, run)).toBe('measure.released');
      await rig.run(100);
    }
    expect(beak.setpoint.pos).toBe(pos);
  });

  test('beside a stop, released at any time, it backs off over free ground only', async () => {
    for (let releasedMs = 50; releasedMs <= 1500; releasedMs += 50) {
      const { rig, client, main } = await open({
        over: { limitsDeg: [-33, 37], park: { to: -32.6 } },
      });
      const { run } = await client.call('measure.begin', { channel: 'beak', what: 'ends' });
      for (let i = 0; i < releasedMs; i += 50) {
        await client.call('measure.hold', { run });
        await rig.run(50);
      }
      await client.call('measure.release', { run });
      await rig.run(1500);
      expect([releasedMs, main.pushes]).toEqual([releasedMs, []]);
    }
  });

  test('without a sign for a quarter of a second, the same', async () => {
    const { rig, client, run, beak, until, main } = await searching();
    await until(() => main.pushes.length > 0);
    await rig.run(1500);
    expect(main.longestMs).toBeLessThanOrEqual(300);
    expect(beak.moving).toBe(false);
    expect(beak.setpoint.pos).toBeLessThan(37);
    expect(await ended(client, run)).toBe('measure.released');
  });

  test.each([0, 1, 2] as const)(
    "another client's stop of category %d ends it",
    async (category) => {
      const { rig, client, run, beak } = await searching();
      const other = rig.client('other');
      await other.call('stop', { category });
      await rig.run(1500);
      const { pos } = beak.setpoint;
      expect(await ended(client, run)).toBe('measure.released');
      await rig.run(1000);
      expect(beak.setpoint.pos).toBe(pos);
      expect(rig.condition).toBe('stopped');
    },
  );

  test('a lockout, a broken guard, a park and a lost link end it', async () => {
    const ends: Record<string, (all: Awaited<ReturnType<typeof searching>>) => Promise<unknown>> = {
      lockout: ({ rig }) => rig.client('other').call('lockout.set', {}),
      guard: async ({ rig }) =>
        rig.core.body.guardInputs.size > 0 &&
        (rig.boards.get('main') as PlantDriver).simulate({ 20: 1 }, undefined),
      park: ({ rig }) => rig.client('other').call('park'),
      lost: async ({ client }) => {
        client.silent = true;
      },
    };
    for (const [name, end] of Object.entries(ends)) {
      const all = await searching({
        guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
      });
      const { rig, client, run, beak } = all;
      await end(all);
      for (let i = 0; i < 30; i++) {
        if (name !== 'lost') await client.call('measure.hold', { run }).catch(() => {});
        await rig.run(100);
      }
      expect([name, rig.core.measuring.running]).toEqual([name, false]);
      const { pos } = beak.setpoint;
      await rig.run(3000);
      if (name === 'lockout' || name === 'guard') expect(beak.setpoint.pos).toBe(pos);
      else expect([name, rig.condition]).toEqual([name, 'parked']);
    }
  });

  test('nothing else moves meanwhile, and what sends the servo elsewhere ends it', async () => {
    const { rig, client, run, beak } = await searching();
    const refusal = await client.refused('channel.move', { channel: 'tail', to: 5 });
    expect(refusal.word).toBe('jog.feeling');
    expect((await client.refused('measure.begin', { channel: 'tail', what: 'current' })).word).toBe(
      'measure.running',
    );
    await client.call('channel.move', { channel: 'beak', to: 5 });
    await rig.run(3000);
    expect(beak.setpoint.pos).toBe(5);
    expect(await ended(client, run)).toBe('measure.taken');
    await client.call('channel.move', { channel: 'tail', to: 5 });
  });

  test('only the holder, and only of its own', async () => {
    const { rig, client, run } = await searching();
    const other = rig.client('other');
    expect((await other.refused('measure.hold', { run })).word).toBe('lease.held');
    expect((await client.refused('measure.hold', { run: run + 1 })).word).toBe('measure.unknown');
    expect(await ended(client, run)).toBeUndefined();
  });

  test('a request that comes twice does no more than one', async () => {
    const { rig, client, run, beak } = await searching();
    const { pos } = beak.setpoint;
    const twice = { channel: 'beak', what: 'ends' } as const;
    expect((await client.refused('measure.begin', twice)).word).toBe('measure.running');
    const [one, other] = await Promise.all([
      client.call('measure.hold', { run }),
      client.call('measure.hold', { run }),
    ]);
    expect(other).toEqual(one);
    expect([other.running, beak.setpoint.pos]).toEqual([true, pos]);
    const released = await client.call('measure.release', { run });
    const backsOffTo = beak.targetDeg;
    await rig.run(1000);
    const again = await client.call('measure.release', { run });
    expect([again.ended, again.ranS]).toEqual([released.ended, released.ranS]);
    await rig.run(1000);
    expect([beak.setpoint.pos, rig.editor.edits]).toEqual([backsOffTo, []]);
  });

  test('nobody else can take control meanwhile; handed over, it ends and is nobody else’s', async () => {
    const { rig, client, run, beak } = await searching();
    const other = rig.client('other');
    expect((await other.refused('lease.take')).word).toBe('lease.held');
    expect(rig.core.measuring.running).toBe(true);
    await client.call('lease.release', { graceS: 30 });
    await rig.tick();
    expect(rig.core.measuring.running).toBe(false);
    await other.call('lease.take');
    await rig.run(1000);
    const { pos } = beak.setpoint;
    for (const method of ['measure.hold', 'measure.release'] as const)
      expect((await other.refused(method, { run })).word).toBe('measure.unknown');
    const refusal = await other.refused('measure.accept', { run, date: '2026-11-26' });
    expect(refusal.word).toBe('measure.unknown');
    await rig.run(2000);
    expect([beak.setpoint.pos, rig.editor.edits]).toEqual([pos, []]);
  });

  test('without a current sensor of its own, it does not begin', async () => {
    const { client } = await open({ senses: { angle: ANGLE } });
    const refusal = await client.refused('measure.begin', { channel: 'beak', what: 'ends' });
    expect(refusal.word).toBe('measure.no-sensor');
  });
});

describe('the current running free', () => {
  test('is what it draws each way, and what is proposed above it is above its noise', async () => {
    const { state, main } = await measured('current', {
      over: { draw: { idleA: 0.02, movingA: 0.3, stallA: 1.5 } },
    });
    expect(state.ended).toBeUndefined();
    const { risingA, fallingA, standingA, pushOverA } = state.current!;
    // The plant's own: friction, and half of the rest at its speed.
    for (const amps of [risingA, fallingA])
      expect(amps).toBeCloseTo(0.02 + 0.28 * (0.5 + 0.5 * 0.3), 1);
    expect(standingA).toBeCloseTo(0.02, 1);
    expect(pushOverA).toBeGreaterThan(0.1);
    expect(main.pushes).toEqual([]);
    expect(main.sentUs).toEqual([1300, 1700]);
  });

  test('with something in its way it ends, and backs off', async () => {
    for (const draw of [{ idleA: 0.02, movingA: 0.3, stallA: 1.5 }, undefined]) {
      const { rig, state, main } = await measured('current', {
        kind: { stopsDeg: [-33, 14] },
        over: { draw },
      });
      expect(state.ended!.code).toBe('measure.pushes');
      expect(rig.servo('beak').setpoint.pos).toBeLessThan(20);
      expect(main.longestMs).toBeLessThanOrEqual(500);
    }
  });

  test('released, it decelerates and holds', async () => {
    const { rig, client } = await open();
    const { run } = await client.call('measure.begin', { channel: 'beak', what: 'current' });
    await rig.run(100);
    await client.call('measure.hold', { run });
    await rig.run(2000);
    expect(rig.servo('beak').moving).toBe(false);
    expect((await client.call('measure.release', { run })).ended!.code).toBe('measure.released');
  });
});

describe('what is accepted', () => {
  test('is written as one change, and makes the measurement count', async () => {
    const { rig, client, run } = await measured('current');
    const applied: unknown[] = [];
    rig.editor.apply = async (...given: unknown[]) => {
      applied.push(given[0]);
      return { version: '1', changed: [], pending: true };
    };
    const result = await client.call('measure.accept', { run, date: '2026-11-26' });
    expect(result).toMatchObject({ pending: true, accepted: ['current'] });
    const [{ edits }] = applied as [{ edits: Edit[] }];
    const spec = edits.reduce((data: unknown, { path, value }) => changed(data, path, value), {
      channels: structuredClone(rig.prop.channels),
      senses: structuredClone(rig.prop.senses),
    }) as Pick<Prop, 'channels' | 'senses'>;
    expect(freeRunningOf(spec.channels.beak as ServoChannel)).toEqual({
      risingA: result.current!.risingA,
      fallingA: result.current!.fallingA,
    });
    expect(spec.senses.current).toMatchObject({ pushOverA: result.current!.pushOverA });
  });

  test('one by one, and no part that is not proposed', async () => {
    const { rig, client, run, state } = await measured('ends');
    const applied: Edit[] = [];
    rig.editor.apply = async (...given: unknown[]) => {
      applied.push(...(given[0] as { edits: Edit[] }).edits);
      return { version: '1', changed: [], pending: false };
    };
    const date = '2026-11-26';
    expect((await client.refused('measure.accept', { run, parts: ['current'], date })).word).toBe(
      'measure.nothing',
    );
    await client.call('measure.accept', { run, parts: ['limits'], date });
    const { accepted } = await client.call('measure.accept', {
      run,
      parts: ['marks', 'envelope'],
      date,
    });
    expect(accepted).toEqual(['limits', 'marks', 'envelope']);
    expect(applied).toEqual([
      { path: ['channels', 'beak', 'limitsDeg'], value: state.proposed!.limitsDeg },
      { path: ['channels', 'beak', 'marks', 'low'], value: state.proposed!.marks!.low },
      { path: ['channels', 'beak', 'marks', 'high'], value: state.proposed!.marks!.high },
      { path: ['channels', 'beak', 'envelopeUs'], value: state.proposed!.envelopeUs },
    ]);
  });

  test('the rest of it is void once the prop file has changed otherwise', async () => {
    const { client, run, rig } = await measured('ends');
    rig.editor.apply = async (...given: unknown[]) => {
      takeEdits(rig.core, (given[0] as { edits: Edit[] }).edits);
      await rig.tick();
      return { version: rig.core.version, changed: [], pending: false };
    };
    const date = '2026-11-26';
    await client.call('measure.accept', { run, parts: ['marks'], date });
    await client.call('measure.accept', { run, parts: ['marks'], date });
    await client.call('mark.capture', { channel: 'beak', mark: 'here' });
    await rig.tick();
    const refusal = await client.refused('measure.accept', { run, parts: ['limits'], date });
    expect(refusal.word).toBe('measure.outdated');
  });

  test('not once the prop file has changed otherwise', async () => {
    const { client, run, rig } = await measured('ends');
    await client.call('mark.capture', { channel: 'beak', mark: 'here' });
    expect(rig.editor.edits).toHaveLength(1);
    const refusal = await client.refused('measure.accept', { run, date: '2026-11-26' });
    expect(refusal.word).toBe('measure.outdated');
  });
});
