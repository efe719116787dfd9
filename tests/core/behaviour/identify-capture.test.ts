import { describe, expect, test } from 'vitest';
import { CODES, Refusal } from '../../../src/shared/errors.ts';
import { type Client, lamp, makeProp, pulseOf, Rig, relay, rgb, servo } from '../rig.ts';

// What is done at the bench: finding a wire, and capturing marks and limits.

const unhandled: unknown[] = [];
process.on('unhandledRejection', (reason) => unhandled.push(reason));

describe('identify', () => {
  const prop = () =>
    makeProp({
      neck: servo({ limitsDeg: [-5, 35] }),
      fan: relay({ requires: [{ channel: 'neck', below: 20 }] }),
      bell: relay({ contact: 'momentary', pulseMs: 100 }),
      eye: rgb(),
      glow: lamp(),
    });

  test.each([0, 35, -5, 34, 10.123])(
    'a servo at %d deg wiggles within its limits and comes back',
    async (home) => {
      const { rig, client } = await Rig.live(prop());
      await client.call('channel.move', { channel: 'neck', to: home });
      await rig.run(1500);
      const { durationS } = await client.call('channel.identify', { channel: 'neck' });
      let low = Number.POSITIVE_INFINITY;
      let high = 0;
      rig.afterTick = () => {
        low = Math.min(low, rig.at('neck'));
        high = Math.max(high, rig.at('neck'));
      };
      await rig.run(durationS * 1000 + 200);
      expect(rig.servo('neck').setpoint.pos).toBe(home);
      expect(rig.servo('neck').moving).toBe(false);
      expect(low).toBeGreaterThanOrEqual(pulseOf(-5));
      expect(high).toBeLessThanOrEqual(pulseOf(35));
      expect(high - low).toBeGreaterThanOrEqual(30);
      expect(high - low).toBeLessThanOrEqual(61);
    },
  );

  test('an open relay clicks once', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.identify', { channel: 'fan' });
    await rig.run(3000);
    expect(rig.writes.filter(({ output }) => output === 'fan').map(({ value }) => value)).toEqual([
      1, 0,
    ]);
  });

  test('a closed relay opens and closes once, and stays closed', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(100);
    await client.call('channel.identify', { channel: 'fan' });
    await rig.run(3000);
    expect(rig.writes.filter(({ output }) => output === 'fan').map(({ value }) => value)).toEqual([
      1, 0, 1,
    ]);
  });

  test('a closed relay with a timer still opens in time', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.switch', { channel: 'fan', on: true, forS: 2 });
    await rig.run(1000);
    await client.call('channel.identify', { channel: 'fan' });
    await rig.run(990);
    expect(rig.on('fan')).toBe(true);
    await rig.run(20);
    expect(rig.on('fan')).toBe(false);
    await rig.run(3000);
    expect(rig.on('fan')).toBe(false);
  });

  test.each(['stop', 'park', 'handed over', 'lost', 'switched off', 'interlock'] as const)(
    'a closed relay is not closed again after: %s',
    async (what) => {
      const { rig, client } = await Rig.live(prop());
      await client.call('channel.switch', { channel: 'fan', on: true });
      await rig.run(100);
      await client.call('channel.identify', { channel: 'fan' });
      await rig.run(100);
      const ways: Record<typeof what, () => unknown> = {
        stop: () => client.call('stop', { category: 2 }),
        park: () => client.call('park'),
        'handed over': () => client.call('lease.release', { graceS: 20 }),
        lost: () => rig.commands.gone(client.session.id),
        'switched off': async () => {
          await client.call('channel.switch', { channel: 'fan', on: true });
          await client.call('channel.switch', { channel: 'fan', on: false });
        },
        interlock: () => client.call('channel.move', { channel: 'neck', to: 35, overS: 0.2 }),
      };
      await ways[what]();
      await rig.tick();
      rig.afterTick = () => expect(rig.at('fan')).toBe(0);
      await rig.run(3000);
    },
  );

  test('a momentary relay keeps its short pulse', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.identify', { channel: 'bell' });
    await rig.run(3000);
    const [on, off] = rig.writes.filter(({ output }) => output === 'bell');
    expect(off!.ms - on!.ms).toBeLessThanOrEqual(105);
  });

  test('a lamp and an rgb channel blink, and end as they were', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.dim', { channel: 'glow', to: 0.3 });
    await client.call('channel.colour', { channel: 'eye', to: 'teal' });
    await rig.run(1500);
    const outputs = ['glow', 'eye.red', 'eye.green', 'eye.blue'];
    const before = outputs.map((output) => rig.at(output));
    await client.call('channel.identify', { channel: 'glow' });
    await client.call('channel.identify', { channel: 'eye' });
    await rig.run(100);
    expect(outputs.map((output) => rig.at(output))).toEqual([1, 1, 1, 1]);
    await rig.run(3000);
    expect(outputs.map((output) => rig.at(output))).toEqual(before);
  });

  const ENDINGS: Record<string, (rig: Rig, client: Client) => unknown> = {
    park: (_rig, client) => client.call('park'),
    'stop 0': (_rig, client) => client.call('stop', { category: 0 }),
    'stop 2': (_rig, client) => client.call('stop', { category: 2 }),
    'a lost link': (rig, client) => rig.commands.gone(client.session.id),
    'a hand-over': (_rig, client) => client.call('lease.release', { graceS: 60 }),
    'another command': async (_rig, client) => {
      await client.call('channel.move', { channel: 'neck', to: 0 });
      await client.call('channel.dim', { channel: 'glow', to: 0 });
    },
    'a fault': (rig) => rig.core.fail(new Error('on purpose')),
  };
  describe.each(Object.keys(ENDINGS))('interrupted by %s', (what) => {
    test.each([100, 395, 400, 405, 800, 900])('after %d ms it does not go on', async (ms) => {
      const { rig, client } = await Rig.live(prop());
      for (const channel of ['neck', 'fan', 'eye', 'glow'])
        await client.call('channel.identify', { channel });
      await rig.run(ms);
      await ENDINGS[what]!(rig, client);
      await rig.run(1000);
      const { length } = rig.writes;
      const { moving } = rig.servo('neck');
      await rig.run(500);
      // Lights go on to their restored values while the prop stays live and handed over.
      if (what !== 'a hand-over' && what !== 'another command')
        expect(rig.writes).toHaveLength(length);
      expect(moving).toBe(false);
      expect(rig.servo('neck').moving).toBe(false);
      expect(unhandled).toEqual([]);
    });
  });
});

// --- captures -------------------------------------------------------------------------------------

describe('capturing', () => {
  const prop = (over: Record<string, unknown> = {}) =>
    makeProp({
      neck: servo({ limitsDeg: [-5, 35], marks: { shut: 0 }, park: { to: 'shut' } }),
      // A default of limits, and an envelope whose end is not a round angle.
      wing: servo({
        calibration: [
          [1000, -50],
          [2000, 51],
        ],
        envelopeUs: [950, 2033],
        limitsDeg: undefined,
        park: { to: 0 },
      }),
      ...over,
    });

  async function at(deg: number, channel = 'neck') {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel, to: deg });
    await rig.run(1500);
    return { rig, client };
  }

  test('a mark: rounded to 0.01 deg, written, and usable at once', async () => {
    const { rig, client } = await at(12.3456);
    await expect(client.call('mark.capture', { channel: 'neck', mark: 'open' })).resolves.toEqual({
      deg: 12.35,
      pulseUs: 1624,
    });
    expect(rig.editor.edits).toEqual([
      { path: ['channels', 'neck', 'marks', 'open'], value: 12.35 },
    ]);
    await client.call('channel.move', { channel: 'neck', to: 'shut' });
    await rig.run(1000);
    await expect(
      client.call('channel.move', { channel: 'neck', to: 'open' }),
    ).resolves.toMatchObject({ target: 12.35 });
  });

  test('the mark that it parks at: the next park goes there', async () => {
    const { rig, client } = await at(3);
    await client.call('mark.capture', { channel: 'neck', mark: 'shut' });
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(1000);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 5);
    expect(rig.at('neck')).toBe(pulseOf(3));
  });

  test.each([
    ['low', -2.5, [-2.5, 35], 0],
    ['high', 20.004, [-5, 20], 1],
  ] as const)('the %s limit at %d deg: one number of the file', async (end, deg, limitsDeg, i) => {
    const { rig, client } = await at(deg);
    await expect(client.call('limits.capture', { channel: 'neck', end })).resolves.toEqual({
      limitsDeg,
    });
    expect(rig.editor.edits).toEqual([
      { path: ['channels', 'neck', 'limitsDeg', i], value: limitsDeg[i] },
    ]);
    const outside = end === 'low' ? -3 : 21;
    expect((await client.refused('channel.move', { channel: 'neck', to: outside })).code).toBe(
      CODES.outOfLimits,
    );
  });

  test('where the file has no limits, both are written', async () => {
    const { rig, client } = await at(-30, 'wing');
    await client.call('limits.capture', { channel: 'wing', end: 'low' });
    expect(rig.editor.edits).toEqual([
      { path: ['channels', 'wing', 'limitsDeg'], value: [-30, 51] },
    ]);
  });

  test('after feeling: the new limit is inside the envelope, and a mark may be captured there', async () => {
    const { rig, client } = await at(50.9, 'wing');
    for (let i = 0; i < 2; i++) {
      await client.call('channel.jog', { channel: 'wing', byDeg: 5, beyondLimits: true });
      await rig.run(1000);
    }
    // 2033 us is 51 + 33 x 101 / 1000 = 54.333 deg.
    expect(rig.at('wing')).toBe(2033);
    expect(rig.servo('wing').beyond).toBe(true);
    await expect(client.call('limits.capture', { channel: 'wing', end: 'high' })).resolves.toEqual({
      limitsDeg: [-50, 54.33],
    });
    const { deg } = await client.call('mark.capture', { channel: 'wing', mark: 'open' });
    expect(deg).toBe(54.33);
    const { length } = rig.writes;
    await rig.run(500);
    expect(rig.writes).toHaveLength(length);
    // Outside by the rounding still, it comes back slowly, at 20 deg/s.
    await client.call('channel.move', { channel: 'wing', to: 0 });
    await rig.run(4000);
    await client.call('channel.move', { channel: 'wing', to: 'open' });
    await rig.run(1500);
    expect(rig.servo('wing').beyond).toBe(false);
  });

  test.each([12.344, 12.346, 20.0049999, 20.00501])(
    'at %d deg: rounding never keeps a mark from being captured',
    async (deg) => {
      const { client } = await at(deg);
      await client.call('limits.capture', { channel: 'neck', end: 'high' });
      await client.call('mark.capture', { channel: 'neck', mark: 'open' });
    },
  );

  const BOTH: [Parameters<Client['call']>[0], object][] = [
    ['mark.capture', { channel: 'neck', mark: 'open' }],
    ['limits.capture', { channel: 'neck', end: 'high' }],
  ];
  test.each(BOTH)('%s is refused while it moves', async (method, params) => {
    const { rig, client } = await at(0);
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(100);
    expect((await client.refused(method, params as never)).code).toBe(CODES.condition);
    expect(rig.editor.edits).toEqual([]);
  });

  test('a mark outside the limits is refused; the limit comes first', async () => {
    const { rig, client } = await at(35);
    await client.call('channel.jog', { channel: 'neck', byDeg: 3, beyondLimits: true });
    await rig.run(1000);
    expect((await client.refused('mark.capture', { channel: 'neck', mark: 'open' })).code).toBe(
      CODES.outOfLimits,
    );
    expect(rig.editor.edits).toEqual([]);
  });

  test('a low limit at or above the high one is refused', async () => {
    const { rig, client } = await at(35);
    expect((await client.refused('limits.capture', { channel: 'neck', end: 'low' })).code).toBe(
      CODES.outOfLimits,
    );
    expect(rig.editor.edits).toEqual([]);
    expect(rig.servo('neck').limitsDeg).toEqual([-5, 35]);
  });

  test('limits that leave the park position outside are refused: it could never park', async () => {
    const { rig, client } = await at(10);
    const refusal = await client.refused('limits.capture', { channel: 'neck', end: 'low' });
    expect(refusal.code).toBe(CODES.outOfLimits);
    expect(refusal.message).toContain('parks');
    expect(rig.editor.edits).toEqual([]);
  });

  test.each(BOTH)('%s: what the editor refuses changes nothing here', async (method, params) => {
    const { rig, client } = await at(12);
    rig.editor.refusal = new Refusal('file.waits', 'the file was changed by hand');
    expect((await client.refused(method, params as never)).message).toContain('by hand');
    expect(rig.servo('neck').limitsDeg).toEqual([-5, 35]);
    expect([...rig.servo('neck').marks]).toEqual([['shut', 0]]);
  });

  test('both ends captured while the file is being written: neither is lost', async () => {
    const { rig, client } = await at(-2);
    let write = () => {};
    rig.editor.writing = new Promise<void>((resolve) => {
      write = resolve;
    });
    const low = client.call('limits.capture', { channel: 'neck', end: 'low' });
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(1000);
    const high = client.call('limits.capture', { channel: 'neck', end: 'high' });
    write();
    await Promise.all([low, high]);
    expect(rig.servo('neck').limitsDeg).toEqual([-2, 20]);
  });

  test('a limit that closes on a servo under way: it brakes, and no pulse jumps', async () => {
    const { rig, client } = await at(10);
    let write = () => {};
    rig.editor.writing = new Promise<void>((resolve) => {
      write = resolve;
    });
    const high = client.call('limits.capture', { channel: 'neck', end: 'high' });
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(200);
    let before = rig.at('neck');
    let vel = rig.servo('neck').setpoint.vel;
    rig.afterTick = () => {
      const step = rig.at('neck') - before;
      expect(step).toBeGreaterThanOrEqual(0);
      expect(step).toBeLessThanOrEqual(7);
      expect(Math.abs(rig.servo('neck').setpoint.vel - vel)).toBeLessThanOrEqual(
        600 * 0.005 + 1e-9,
      );
      before = rig.at('neck');
      vel = rig.servo('neck').setpoint.vel;
    };
    write();
    await high;
    await rig.run(1000);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').beyond).toBe(true);
    await client.call('channel.move', { channel: 'neck', to: 10 });
    rig.afterTick = undefined;
    // From beyond its limits it comes back slowly, at 20 deg/s.
    await rig.run(3000);
    expect(rig.servo('neck').beyond).toBe(false);
    expect(rig.at('neck')).toBe(pulseOf(10));
  });

  test('a park position: where it stands, or a mark; the next park goes there', async () => {
    const { rig, client } = await at(7.123);
    await expect(client.call('park.capture', { channel: 'neck' })).resolves.toEqual({
      to: 7.12,
      deg: 7.12,
    });
    await client.call('park.capture', { channel: 'neck', mark: 'shut' });
    await client.call('park.capture', { channel: 'neck' });
    expect(rig.editor.edits.map(({ path, value }) => [path.join('.'), value])).toEqual([
      ['channels.neck.park.to', 7.12],
      ['channels.neck.park.to', 'shut'],
      ['channels.neck.park.to', 7.12],
    ]);
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(1000);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 5);
    expect(rig.at('neck')).toBe(Math.round(pulseOf(7.12)));
  });

  test('undone, the old limits hold again; a servo left outside them stays where it is', async () => {
    const { rig, client } = await at(35);
    await client.call('channel.jog', { channel: 'neck', byDeg: 5, beyondLimits: true });
    await rig.run(1000);
    await client.call('limits.capture', { channel: 'neck', end: 'high' });
    expect(rig.servo('neck').beyond).toBe(false);
    rig.editor.undoing = [{ path: ['channels', 'neck', 'limitsDeg', 1], value: 35 }];
    const { length } = rig.writes;
    await client.call('capture.undo');
    await rig.run(1000);
    expect(rig.writes).toHaveLength(length);
    expect(rig.servo('neck').beyond).toBe(true);
    const refusal = await client.refused('channel.move', { channel: 'neck', to: 36 });
    expect(refusal.code).toBe(CODES.outOfLimits);
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(1000);
    expect(rig.at('neck')).toBe(pulseOf(35));
  });

  test('an undo while it moves into what is cut off: it brakes within its limits', async () => {
    const { rig, client } = await at(0);
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(200);
    rig.editor.undoing = [{ path: ['channels', 'neck', 'limitsDeg', 1], value: 10 }];
    let { vel } = rig.servo('neck').setpoint;
    rig.afterTick = () => {
      const now = rig.servo('neck').setpoint.vel;
      expect(Math.abs(now - vel)).toBeLessThanOrEqual(600 * 0.005 + 1e-9);
      vel = now;
    };
    await client.call('capture.undo');
    await rig.run(1000);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(35);
  });
});
