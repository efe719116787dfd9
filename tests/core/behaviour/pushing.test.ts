import { describe, expect, test } from 'vitest';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { Refusal } from '../../../src/shared/errors.ts';
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
