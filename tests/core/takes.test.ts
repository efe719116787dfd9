import { describe, expect, it } from 'vitest';
import type { Take } from '../../src/prop/take/take-text.ts';
import { tidy } from '../../src/shared/units.ts';
import { TakeCurve } from '../../src/sums/take-curve.ts';
import { type Client, Rig, servo, TICK_S } from './rig.ts';
import { JERKY, playing } from './takes-rig.ts';

/** A take of functions of time (deg), at 50 Hz. */
function takeOf(durationS: number, by: Record<string, (atS: number) => number>): Take {
  const timesS = Array.from({ length: Math.round(durationS * 50) + 1 }, (_, i) => tidy(i / 50));
  return {
    servos: Object.entries(by).map(([name, at]) => ({ name, timesS, deg: timesS.map(at) })),
  };
}

/** A swing that begins and ends at 0 deg, at rest. */
const swing = (most: number, periodS: number) => (atS: number) =>
  (most / 2) * (1 - Math.cos((2 * Math.PI * atS) / periodS));

/** Runs the cue, and notes where a servo is in every tick, until the cue is over. */
async function played(rig: Rig, client: Client, name = 'neck', limitS = 30): Promise<number[]> {
  const { setpoint } = rig.core.body.servo(name);
  const found: number[] = [];
  rig.afterTick = () => found.push(setpoint.pos);
  await client.call('cue.run', { cue: 'wave' });
  await rig.until(() => !rig.core.cues.anyRunning, limitS);
  rig.afterTick = undefined;
  return found;
}

const refusals = ({ entries }: Rig) =>
  entries.filter(({ what }) => what === 'refused').map(({ text }) => text);

describe('a cue that plays a take', () => {
  it('meets its times within a tick, for all of its servos', async () => {
    const take = takeOf(4, { neck: swing(30, 4), beak: swing(-20, 2) });
    const { rig, client } = await Rig.live(playing(take));
    const { neck, beak } = {
      neck: rig.core.body.servo('neck'),
      beak: rig.core.body.servo('beak'),
    };
    const found: [number, number][] = [];
    rig.afterTick = () => found.push([neck.setpoint.pos, beak.setpoint.pos]);
    await client.call('cue.run', { cue: 'wave' });
    await rig.until(() => !rig.core.cues.anyRunning);
    const curves = take.servos.map(({ timesS, deg }) => new TakeCurve(timesS, deg));
    const first = found.findIndex(([deg]) => deg !== 0) - 1;
    for (const [i, degs] of found.entries())
      for (const [which, deg] of degs.entries())
        expect(Math.abs(deg - curves[which]!.at((i - first) * TICK_S))).toBeLessThan(0.1);
    expect(first).toBeLessThan(3);
    expect(found.length * TICK_S).toBeCloseTo(4, 1);
    expect(refusals(rig)).toEqual([]);
  });

  it('goes to where it begins first, as a normal move', async () => {
    const take = takeOf(2, { neck: (t) => 20 + swing(10, 2)(t) });
    const { rig, client } = await Rig.live(playing(take));
    const found = await played(rig, client);
    // 20 deg at 120 deg/s and 600 deg/s2 take well below a second.
    const there = found.findIndex((deg) => Math.abs(deg - 20) < 1e-9);
    expect(there * TICK_S).toBeGreaterThan(0.3);
    expect(there * TICK_S).toBeLessThan(0.6);
    expect(Math.max(...found)).toBeCloseTo(30, 1);
    expect(found.at(-1)).toBeCloseTo(20, 9);
  });

  it('plays at another rate, and again and again', async () => {
    const take = takeOf(2, { neck: swing(20, 2) });
    const { rig, client } = await Rig.live(playing(take, { rate: 2, times: 3 }));
    const found = await played(rig, client);
    expect(found.length * TICK_S).toBeCloseTo(3, 1);
    const tops = found.filter(
      (deg, i) => deg > 19 && deg >= (found[i - 1] ?? 0) && deg > (found[i + 1] ?? 0),
    );
    expect(tops).toHaveLength(3);
  });

  it('goes on until it is stopped, and then decelerates and holds', async () => {
    const take = takeOf(2, { neck: swing(20, 2) });
    const { rig, client } = await Rig.live(playing(take, { times: 'until stopped' }));
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(20_250);
    expect(rig.core.cues.runningNames).toEqual(['wave']);
    const neck = rig.core.body.servo('neck');
    expect(neck.moving).toBe(true);
    await client.call('cue.stop', { cue: 'wave' });
    await rig.until(() => !neck.moving, 1);
    const deg = neck.setpoint.pos;
    await rig.run(3000);
    expect(neck.setpoint.pos).toBe(deg);
  });

  it('is left to whoever moves one of its servos by hand', async () => {
    const take = takeOf(4, { neck: swing(30, 4), beak: swing(20, 4) });
    const { rig, client } = await Rig.live(playing(take));
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(1000);
    await client.call('channel.jog', { channel: 'neck', byDeg: 2 });
    await rig.run(1500);
    expect(rig.core.cues.anyRunning).toBe(false);
    expect(rig.core.body.servo('beak').moving).toBe(false);
  });

  it('ends with a stop and with a lost link as every move does', async () => {
    const take = takeOf(4, { neck: swing(30, 4) });
    const { rig, client } = await Rig.live(playing(take));
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(1000);
    client.silent = true;
    await rig.until(() => rig.core.condition === 'parked', 5);
    expect(rig.core.body.servo('neck').setpoint.pos).toBe(0);
  });

  it('decelerates and holds a servo whose interlock is broken on the way', async () => {
    const take = takeOf(4, { neck: swing(30, 4), beak: swing(20, 4) });
    const channels = {
      neck: servo({ ...JERKY, requires: [{ channel: 'lid', above: -5 }] }),
      beak: servo(JERKY),
      lid: servo({ park: { to: 0 } }),
    };
    const { rig, client } = await Rig.live(playing(take, {}, channels));
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(1000);
    // Past the gate, as a hand or a fault would.
    rig.core.body.servo('lid').standAt(-20);
    await rig.run(500);
    const { neck, beak } = { neck: rig.core.body.servo('neck'), beak: rig.core.body.servo('beak') };
    expect(neck.moving).toBe(false);
    expect(beak.moving).toBe(true);
    await rig.until(() => !rig.core.cues.anyRunning, 5);
    expect(beak.setpoint.pos).toBeCloseTo(0, 6);
  });

  it('is refused where a requirement would be broken on its way, not only at its end', async () => {
    const take = takeOf(4, { neck: swing(30, 4) });
    const channels = {
      neck: servo(JERKY),
      lid: servo({ requires: [{ channel: 'neck', below: 20 }] }),
    };
    const { rig, client } = await Rig.live(playing(take, {}, channels));
    await client.call('channel.move', { channel: 'lid', to: 10 });
    await rig.until(() => !rig.core.body.servo('lid').moving, 3);
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(200);
    expect(refusals(rig)).toEqual([expect.stringContaining('lid')]);
    expect(rig.core.body.servo('neck').setpoint.pos).toBe(0);
  });

  it('is refused where its angles leave soft limits that were captured since', async () => {
    const take = takeOf(4, { neck: swing(30, 4) });
    const { rig, client } = await Rig.live(playing(take));
    rig.core.body.servo('neck').setLimits([-40, 25]);
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(200);
    expect(refusals(rig)).toEqual([expect.stringMatching(/from -40 to 25 deg/)]);
  });

  it('halts where soft limits are captured that the rest of it leaves', async () => {
    const take = takeOf(4, { neck: swing(30, 4) });
    const { rig, client } = await Rig.live(playing(take));
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(500);
    const neck = rig.core.body.servo('neck');
    neck.setLimits([-40, 25]);
    await rig.run(1000);
    expect(neck.moving).toBe(false);
    expect(neck.setpoint.pos).toBeLessThan(25);
  });

  it('stays within the soft limits when it is stopped, or sent elsewhere, where it turns round at one', async () => {
    // Far beyond what it can follow, so that it turns as sharply as it may, and just at the limit.
    const bounce = takeOf(1.6, { neck: (t) => (t > 0.4 && t < 1 ? 40 : 0) });
    for (const what of ['stop', 'move'])
      for (let ms = 300; ms < 1400; ms += 35) {
        const { rig, client } = await Rig.live(playing(bounce));
        const { setpoint } = rig.core.body.servo('neck');
        let most = 0;
        rig.afterTick = () => {
          most = Math.max(most, setpoint.pos);
        };
        await client.call('cue.run', { cue: 'wave' });
        await rig.run(ms);
        if (what === 'stop') await client.call('cue.stop', { cue: 'wave' });
        else await client.call('channel.move', { channel: 'neck', to: 5 });
        await rig.until(() => !rig.core.body.servo('neck').moving, 4);
        expect(most, `${what} after ${ms} ms`).toBeLessThanOrEqual(40 + 1e-6);
      }
  });

  it('waits until its rail has room for all of its servos', async () => {
    const draw = { idleA: 0, movingA: 0.5, stallA: 0.6 };
    const take = takeOf(2, { neck: swing(30, 2), beak: swing(30, 2) });
    const on = (name: string) => servo({ ...JERKY, rail: name, draw });
    const channels = { neck: on('v6'), beak: on('v6'), lid: on('v6') };
    const prop = playing(take, {}, channels, { rails: { v6: { volts: 6, limitA: 1.3 } } });
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'lid', to: 30, overS: 1 });
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(500);
    const neck = rig.core.body.servo('neck');
    expect(neck.moving).toBe(false);
    expect(rig.entries.some(({ what, text }) => what === 'delayed' && /rail v6/.test(text))).toBe(
      true,
    );
    const [rail] = rig.core.body.rails;
    let peakA = 0;
    rig.afterTick = () => {
      peakA = Math.max(peakA, rail!.amps);
    };
    await rig.until(() => !rig.core.cues.anyRunning, 5);
    expect(peakA).toBeGreaterThan(1);
    expect(peakA).toBeLessThanOrEqual(1.3);
  });

  it('draws its stall current at every turn', async () => {
    const draw = { idleA: 0.1, movingA: 0.5, stallA: 0.9 };
    const take = takeOf(4, { neck: swing(30, 2) });
    const channels = { neck: servo({ ...JERKY, rail: 'v6', draw }) };
    const prop = playing(take, {}, channels, { rails: { v6: { volts: 6, limitA: 2 } } });
    const { rig, client } = await Rig.live(prop);
    let starts = 0;
    let before = 0;
    rig.afterTick = () => {
      const [{ amps } = { amps: 0 }] = rig.core.body.rails;
      if (amps > 0.8 && before < 0.8) starts++;
      before = amps;
    };
    await client.call('cue.run', { cue: 'wave' });
    await rig.until(() => !rig.core.cues.anyRunning, 6);
    // It goes up and down twice: its start, and three turns.
    expect(starts).toBe(4);
  });

  it('is refused, and the rest of the cue goes on, where the take cannot be played', async () => {
    const { cueTakes: _, ...prop } = playing(takeOf(1, { neck: swing(10, 1) }));
    const { rig, client } = await Rig.live(prop);
    await client.call('cue.run', { cue: 'wave' });
    await rig.run(100);
    expect(refusals(rig)).toEqual([expect.stringContaining('take wave cannot be played')]);
    expect(rig.core.cues.anyRunning).toBe(false);
  });
});

describe('a take whose servos a person performs', () => {
  const take = takeOf(2, { neck: swing(20, 2), beak: swing(10, 2) });
  const cues = {
    wave: [
      { name: 'wave', at: 0, take: 'wave', times: 2 },
      { after: 'wave', move: { lid: 10 } },
    ],
  };
  const channels = { neck: servo(JERKY), beak: servo(JERKY), lid: servo() };

  it.each([
    ['all', ['neck', 'beak']],
    ['one', ['neck']],
  ])(
    'lasts its time with %s of them led by hand, so that what comes after it keeps its place',
    async (_, led) => {
      const { rig, client } = await Rig.live(playing(take, {}, channels, { cues }));
      await client.call('take.begin', { channels: led, over: 'wave' });
      const fromS = rig.core.nowS;
      await rig.until(() => rig.core.body.servo('lid').moving, 10);
      expect(rig.core.nowS - fromS).toBeGreaterThan(3.99);
      expect(rig.core.nowS - fromS).toBeLessThan(4.1);
      expect(rig.texts('cue').filter((text) => text.includes('leaves neck to desk'))).toHaveLength(
        1,
      );
    },
  );
});
