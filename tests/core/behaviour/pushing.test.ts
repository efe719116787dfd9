import { describe, expect, test } from 'vitest';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { Refusal } from '../../../src/shared/errors.ts';
import { measuredOf } from '../../../src/shared/measured.ts';
import { makeProp, Rig, servo, TICK_MS } from '../rig.ts';

/** A servo that meets something at 20 deg, whose current is measured alone. */

const draw = { idleA: 0.02, movingA: 0.4, stallA: 2 };
const CURRENT = { kind: 'current', board: 'meter', channel: 'beak', pushAboveA: 0.8 };
const ANGLE = {
  ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
  calibration: [
    [0.5, -50],
    [2.5, 50],
  ],
};
const CUES = {
  reach: [
    { at: 0, move: { beak: 40 } },
    { at: 8, move: { tail: 10 } },
  ],
};

async function open(senses: Record<string, unknown>, over: Record<string, unknown> = {}) {
  const prop = makeProp(
    { beak: servo({ draw, ...over }), tail: servo() },
    { senses, cues: CUES, boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } } },
  );
  const main = new SimDriver({ beak: { lagS: 0.06, stopsDeg: [-45, 20] } });
  const meter = new SimDriver();
  const { rig, client } = await Rig.live(prop, { drivers: { meter, main } });
  const pushes = () => rig.texts('sense');
  const notes = () => (rig.core.safety.senses ?? []).map(({ text }) => text);
  return { rig, client, meter, main, pushes, notes };
}

describe('a servo that pushes, by its measured current', () => {
  test.each([
    ['from the current alone', { current: CURRENT }],
    ['with its measured angle', { current: CURRENT, angle: ANGLE }],
  ])('backs off once and holds, %s', async (_how, senses) => {
    const { rig, client, pushes, notes } = await open(senses);
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.until(() => rig.servo('beak').pushing, 2);
    const fromMs = rig.clock.nowMs();
    await rig.until(() => pushes().length > 0, 2);
    // pushS, and two readings.
    expect(rig.clock.nowMs() - fromMs).toBeLessThan(300 + 60);
    expect(pushes()[0]).toMatch(
      /^beak pushes at [\d.]+ deg: [\d.]+ A, above 0\.80 A; it backs off/,
    );
    const { values } = rig.entries.findLast(({ what }) => what === 'sense')!;
    expect(values).toMatchObject({ sense: 'current', channel: 'beak' });
    await rig.until(() => !rig.servo('beak').moving);
    await rig.run(200);
    expect(rig.servo('beak').pushing).toBe(false);
    // Free of what is in its way, and not far from it.
    expect(rig.servo('beak').setpoint.pos).toBeLessThan(20);
    expect(rig.servo('beak').setpoint.pos).toBeGreaterThan(0);
    expect(rig.servo('beak').setpoint.pos).toBeCloseTo(values!.toDeg as number, 2);
    expect([rig.condition, notes().length]).toEqual(['live', 1]);
    await rig.run(5000);
    expect(pushes()).toHaveLength(1);
    // Commanded again, what was said is over.
    await client.call('channel.move', { channel: 'beak', to: 0 });
    await rig.run(100);
    expect(notes()).toEqual([]);
  });

  test('with its angle it backs off by the margin from where it is stuck', async () => {
    const { rig, client, pushes } = await open({
      current: { ...CURRENT, backOffDeg: 3 },
      angle: ANGLE,
    });
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.until(() => pushes().length > 0, 3);
    await rig.until(() => !rig.servo('beak').moving);
    expect(Math.abs(rig.servo('beak').setpoint.pos - 17)).toBeLessThan(0.5);
  });

  test('the cue that moves it ends, and it stays within its limits', async () => {
    const { rig, client, pushes } = await open(
      { current: { ...CURRENT, backOffDeg: 45 } },
      { limitsDeg: [-2, 40] },
    );
    await client.call('cue.run', { cue: 'reach' });
    await rig.until(() => pushes().length > 0, 3);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(pushes()[0]).toContain('it backs off to -2 deg');
    let lowDeg = 0;
    rig.afterTick = () => {
      lowDeg = Math.min(lowDeg, rig.servo('beak').setpoint.pos);
    };
    await rig.run(3000);
    expect(lowDeg).toBeGreaterThanOrEqual(-2 - 1e-9);
  });

  test('a free move, with its start, is no push', async () => {
    const { rig, client, pushes } = await open({ current: CURRENT });
    for (const to of [15, -40, 10]) {
      await client.call('channel.move', { channel: 'beak', to });
      await rig.run(1500);
    }
    expect(pushes()).toEqual([]);
  });

  test('feeling for the stop pushes on purpose', async () => {
    const { rig, client, pushes } = await open({ current: CURRENT }, { limitsDeg: [-40, 19] });
    await client.call('channel.move', { channel: 'beak', to: 19 });
    await rig.run(1500);
    for (let i = 0; i < 5; i++) {
      await client.call('channel.jog', { channel: 'beak', byDeg: 2, beyondLimits: true });
      await rig.run(500);
    }
    expect(rig.servo('beak').pushing).toBe(true);
    await rig.run(2000);
    // It is said, and nothing moves.
    expect(pushes().length).toBeGreaterThan(0);
    expect(pushes().every((text) => !text.includes('backs off'))).toBe(true);
    expect(rig.servo('beak').setpoint.pos).toBe(29);
  });

  test('a sensor that lies high moves it back once, within its limits, and never while it parks', async () => {
    const { rig, client, meter, pushes } = await open({ current: CURRENT });
    meter.simulateSenses({ current: { value: 1.9 } });
    await client.call('channel.move', { channel: 'beak', to: -30 });
    await rig.until(() => pushes().length > 0, 2);
    await rig.until(() => !rig.servo('beak').moving);
    await rig.run(3000);
    expect(pushes()).toHaveLength(1);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    expect(rig.texts('stop')).toEqual([]);
    expect(pushes()).toHaveLength(1);
  });

  test('without readings, and stopped or parking, it does nothing', async () => {
    const { rig, client, meter, pushes } = await open({ current: CURRENT });
    meter.simulateSenses({ current: { gone: true } });
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.run(3000);
    expect(pushes()).toEqual([expect.stringMatching(/^current is not measured/)]);
    meter.simulateSenses({ current: null });
    await client.call('stop', { category: 2 });
    await rig.run(3000);
    expect(pushes().some((text) => text.includes('backs off'))).toBe(false);
    expect(rig.servo('beak').setpoint.pos).toBe(40);
  });

  test('an interlock that forbids the way back: it holds', async () => {
    const { rig, client, pushes } = await open({ current: CURRENT });
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.until(() => rig.servo('beak').setpoint.pos > 25, 2);
    const { gate } = rig.core;
    const real = gate.move.bind(gate);
    gate.move = () => {
      throw new Refusal('interlock.needed', 'tail needs it');
    };
    await rig.until(() => pushes().length > 0, 2);
    gate.move = real;
    await rig.run(TICK_MS * 200);
    expect(rig.servo('beak').moving).toBe(false);
    expect(pushes()[0]).not.toContain('backs off');
    expect(rig.condition).toBe('live');
  });
});

describe('a servo that pushes, by its measured free-running current', () => {
  const OVER = { ...CURRENT, pushAboveA: undefined, pushOverA: 0.2 };
  const base = servo({ draw, output: { board: 'main', pin: 0 } });
  const freeRunning = { risingA: 0.42, fallingA: 0.42 };
  const noted = (of: Record<string, unknown>) => ({
    freeRunning,
    measured: {
      freeRunning: { date: '2026-11-26', of: measuredOf('freeRunning', of as never) },
    },
  });
  const MEASURED = noted({ ...base, freeRunning });

  /** Moves it against what it meets; how long until it begins to back off, and until it stands (ms). */
  async function push(senses: Record<string, unknown>, over: Record<string, unknown> = MEASURED) {
    const all = await open(senses, over);
    const { rig, client, pushes } = all;
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.until(() => rig.servo('beak').pushing, 2);
    const fromMs = rig.clock.nowMs();
    await rig.until(() => pushes().length > 0, 2);
    const noticedMs = rig.clock.nowMs() - fromMs;
    await rig.until(() => !rig.servo('beak').moving);
    return { ...all, noticedMs, restMs: rig.clock.nowMs() - fromMs };
  }

  test('backs off within the stated times, with angle and amperes in the journal', async () => {
    const { rig, pushes, noticedMs, restMs } = await push({ current: OVER });
    expect(noticedMs).toBeLessThanOrEqual(300 + 100);
    expect(restMs).toBeLessThanOrEqual(300 + 100 + 400);
    expect(pushes()[0]).toMatch(
      /^beak pushes at [\d.]+ deg: [\d.]+ A, above 0\.62 A; it backs off to [\d.]+ deg$/,
    );
    await rig.run(200);
    expect(rig.servo('beak').pushing).toBe(false);
    await rig.run(5000);
    expect(pushes()).toHaveLength(1);
  });

  test('pushAboveA beside it still counts, and what both notice is said once', async () => {
    const { rig, pushes } = await push({ current: { ...OVER, pushAboveA: 0.62 } });
    await rig.run(3000);
    expect(pushes()).toHaveLength(1);
  });

  test('with another limit, calibration, linkage or speed it counts as not measured', async () => {
    for (const other of [
      { limitsDeg: [-40, 39] },
      { speedDegS: 121 },
      { accelDegS2: 601 },
      { freeRunning: { risingA: 0.41, fallingA: 0.42 } },
      { measured: undefined },
      {
        calibration: [
          [1000, -50],
          [2000, 50.5],
        ],
      },
    ]) {
      const { rig, client, pushes } = await open({ current: OVER }, { ...MEASURED, ...other });
      await client.call('channel.move', { channel: 'beak', to: 35 });
      await rig.run(1500);
      expect([rig.servo('beak').pushing, pushes()]).toEqual([true, []]);
    }
  });

  test('a limit that is captured while the prop is live makes it void at once', async () => {
    const { rig, client, pushes } = await open({ current: OVER }, MEASURED);
    await client.call('channel.move', { channel: 'beak', to: -30 });
    await rig.run(1500);
    await client.call('limits.capture', { channel: 'beak', end: 'low' });
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.run(3000);
    expect([rig.servo('beak').pushing, pushes()]).toEqual([true, []]);
  });

  test('a free move, with starts and turns, is no push', async () => {
    const { rig, client, pushes } = await open({ current: OVER }, MEASURED);
    for (const to of [15, -40, 10, 15, 5, 15]) {
      await client.call('channel.move', { channel: 'beak', to });
      await rig.run(400);
    }
    expect(pushes()).toEqual([]);
  });

  test('a start that draws the stall current for less than pushS is no push', async () => {
    const { rig, client, meter, pushes } = await open({ current: OVER }, MEASURED);
    await client.call('channel.move', { channel: 'beak', to: -40 });
    meter.simulateSenses({ current: { value: 2 } });
    await rig.run(250);
    meter.simulateSenses({ current: null });
    await rig.run(2000);
    expect(pushes()).toEqual([]);
  });

  test('an angle that does not follow makes it notice a weaker push', async () => {
    const weak = { ...OVER, pushOverA: 0.6 };
    const alone = await open({ current: weak, angle: ANGLE }, MEASURED);
    alone.meter.simulateSenses({ angle: { gone: true } });
    await alone.rig.run(1500);
    const seen = await open({ current: weak, angle: ANGLE }, MEASURED);
    for (const { rig, client, meter } of [alone, seen]) {
      await client.call('channel.move', { channel: 'beak', to: 26 });
      meter.simulateSenses({ current: { value: 0.42 + 0.4 } });
      await rig.run(1500);
    }
    expect(alone.pushes()).toEqual([expect.stringContaining('angle is not measured')]);
    expect(seen.pushes()).toHaveLength(1);
  });

  describe('never less safe than without a sensor', () => {
    test('what neither moves nor has just moved says so, and stays', async () => {
      const { rig, client, meter, pushes } = await open({ current: OVER, angle: ANGLE }, MEASURED);
      await client.call('channel.move', { channel: 'beak', to: 15 });
      await rig.run(3000);
      meter.simulateSenses({ current: { value: 2 }, angle: { value: 0.5 } });
      await rig.run(2000);
      const said = pushes().filter((text) => text.includes(' pushes at '));
      expect(said).toEqual([expect.not.stringContaining('backs off')]);
      expect(rig.servo('beak').setpoint.pos).toBe(15);
    });

    // Volts of the angle sense: 0.5 is -50 deg, 2.5 is 50 deg.
    test.each([
      ['far behind', { value: 0.5 }],
      ['beyond where it was sent', { value: 2.5 }],
      ['a little too far out', { value: 1.96 }],
      ['stuck', { stuck: true }],
      ['gone', { gone: true }],
      ['no number', { nan: true }],
      ['that of another', { as: 'other' }],
    ])('an angle that is %s: it goes a little back, and never further out', async (_how, fault) => {
      const { rig, client, meter, pushes } = await open(
        { current: OVER, angle: ANGLE, other: { ...ANGLE, input: 2, channel: 'tail' } },
        MEASURED,
      );
      await client.call('channel.move', { channel: 'beak', to: 40 });
      await rig.run(100);
      meter.simulateSenses({ angle: fault });
      let most = 0;
      rig.afterTick = () => {
        most = Math.max(most, rig.servo('beak').setpoint.pos);
      };
      await rig.until(() => pushes().some((text) => text.includes('backs off')), 3);
      await rig.until(() => !rig.servo('beak').moving && !rig.servo('beak').pushing, 2);
      expect(most).toBeLessThanOrEqual(40);
      // From where it is stuck, 20 deg: no more than the margin, the lag and 5 deg of doubt back.
      expect(rig.servo('beak').setpoint.pos).toBeGreaterThan(5);
      expect(rig.servo('beak').setpoint.pos).toBeLessThan(20.5);
    });

    test.each([
      ['low', { value: 0 }],
      ['stuck', { stuck: true }],
      ['gone', { gone: true }],
      ['no number', { nan: true }],
      ['that of another', { as: 'other' }],
    ])('a current that is %s: it goes where it is sent, as without', async (_how, fault) => {
      const { rig, client, meter, pushes } = await open(
        {
          current: OVER,
          other: {
            kind: 'current',
            board: 'meter',
            channel: 'tail',
            input: 3,
            calibration: [
              [0, 0],
              [2, 4],
            ],
          },
        },
        MEASURED,
      );
      await rig.run(100);
      meter.simulateSenses({ current: fault });
      await client.call('channel.move', { channel: 'beak', to: 30 });
      await rig.run(3000);
      expect(rig.servo('beak').setpoint.pos).toBe(30);
      expect(pushes().some((text) => text.includes(' pushes at '))).toBe(false);
      expect(rig.condition).toBe('live');
    });

    test('a current that is lost and found again counts from then on', async () => {
      const { rig, client, meter, pushes } = await open({ current: OVER }, MEASURED);
      await client.call('channel.move', { channel: 'beak', to: 35 });
      meter.simulateSenses({ current: { gone: true } });
      await rig.run(3000);
      meter.simulateSenses({ current: null });
      await rig.run(250);
      expect(pushes().some((text) => text.includes(' pushes at '))).toBe(false);
      await rig.until(() => pushes().some((text) => text.includes(' pushes at ')), 1);
    });
  });
});
