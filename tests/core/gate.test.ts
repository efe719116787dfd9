import { describe, expect, test } from 'vitest';
import { CODES } from '../../src/shared/errors.ts';
import {
  type Client,
  lamp,
  makeProp,
  pulseOf,
  type Rig,
  Rig as Rigs,
  relay,
  rgb,
  servo,
  TICK_MS,
  TICK_S,
} from './rig.ts';

const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    {
      neck: servo({ limitsDeg: [-5, 35], marks: { up: 30 } }),
      jaw: servo({
        calibration: [
          [1000, 50],
          [2000, -50],
        ],
        limitsDeg: [-20, 20],
      }),
      slow: servo({ speedDegS: 20, accelDegS2: 100 }),
      fan: relay(),
      eye: rgb(),
      glow: lamp(),
    },
    { groups: { head: ['neck', 'jaw', 'slow'] }, ...over },
  );
const live = () => Rigs.live(prop());

/** What a refused request must leave alone. */
const picture = (rig: Rig) => ({
  writes: rig.writes.length,
  plans: rig.core.body.servos.map((one) => one.plans),
  targets: rig.core.body.servos.map((one) => one.targetDeg),
  fades: rig.core.body.lights.map((one) => one.fades),
  relays: rig.core.body.relays.map((one) => [one.on, one.offAtS]),
});

describe('soft limits', () => {
  test.each([
    [35.001, 35],
    [-5.001, -5],
    [1e308, 35],
    [-1e308, -5],
  ])('a move to %d deg is refused with the limit %d and the value', async (to, limit) => {
    const { rig, client } = await live();
    const before = picture(rig);
    const refusal = await client.refused('channel.move', { channel: 'neck', to });
    expect(refusal.code).toBe(CODES.outOfLimits);
    expect(refusal.values).toMatchObject({ channel: 'neck', value: to, limit });
    expect(picture(rig)).toEqual(before);
  });

  test('the limits themselves are allowed', async () => {
    const { rig, client } = await live();
    for (const to of [35, -5]) {
      await client.call('channel.move', { channel: 'neck', to });
      await rig.run(1000);
      expect(rig.at('neck')).toBe(pulseOf(to));
    }
  });

  test('one member of a group outside its limits refuses the whole group', async () => {
    const { rig, client } = await live();
    const before = picture(rig);
    const refusal = await client.refused('group.move', { group: 'head', to: 25 });
    expect(refusal.values).toMatchObject({ channel: 'jaw', limit: 20 });
    expect(picture(rig)).toEqual(before);
  });
});

describe('numbers that are none', () => {
  const CALLS: [Parameters<Client['call']>[0], (bad: number) => object][] = [
    ['channel.move', (to) => ({ channel: 'neck', to })],
    ['channel.move', (overS) => ({ channel: 'neck', to: 10, overS })],
    ['channel.jog', (byDeg) => ({ channel: 'neck', byDeg })],
    ['channel.jog', (byUs) => ({ channel: 'neck', byUs })],
    ['channel.jog', (byDeg) => ({ channel: 'neck', byDeg, beyondLimits: true })],
    ['channel.jog', (byUs) => ({ channel: 'neck', byUs, beyondLimits: true })],
    ['channel.switch', (forS) => ({ channel: 'fan', on: true, forS })],
    ['channel.dim', (to) => ({ channel: 'glow', to })],
    ['channel.dim', (fadeS) => ({ channel: 'glow', to: 1, fadeS })],
    ['channel.colour', (fadeS) => ({ channel: 'eye', to: 'red', fadeS })],
    ['group.move', (to) => ({ group: 'head', to })],
    ['group.move', (overS) => ({ group: 'head', to: 10, overS })],
  ];
  const BAD = [Number.NaN, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];

  test.each(CALLS)('%s', async (method, params) => {
    const { rig, client } = await live();
    const before = picture(rig);
    for (const bad of BAD) {
      const refusal = await client.refused(method, params(bad) as never);
      expect(refusal.code).toBe(CODES.invalidParams);
    }
    await rig.run(200);
    expect(picture(rig)).toEqual(before);
  });

  test.each([1e308, -1e308, Number.MAX_VALUE])('jogs by %d end at the limit', async (by) => {
    const { rig, client } = await live();
    for (const params of [{ byDeg: by }, { byUs: by }]) {
      const answer = await client.call('channel.jog', { channel: 'neck', ...params });
      expect(answer).toMatchObject({ limited: true, target: by > 0 ? 35 : -5 });
      await rig.run(1000);
    }
  });

  test('a jog that gives neither deg nor us is refused', async () => {
    const { client } = await live();
    expect((await client.refused('channel.jog', { channel: 'neck' })).code).toBe(
      CODES.invalidParams,
    );
  });

  test.each([-0.001, 1.001, 1e308])('a lamp to %d is out of limits', async (to) => {
    const { rig, client } = await live();
    const before = picture(rig);
    expect((await client.refused('channel.dim', { channel: 'glow', to })).code).toBe(
      CODES.outOfLimits,
    );
    expect(picture(rig)).toEqual(before);
  });

  test.each(['', 'no colour', '#12', 'rgb(1e999,0,0', '\u0000'])(
    'colour %j is refused',
    async (to) => {
      const { rig, client } = await live();
      const before = picture(rig);
      expect((await client.refused('channel.colour', { channel: 'eye', to })).code).toBe(
        CODES.invalidParams,
      );
      expect(picture(rig)).toEqual(before);
    },
  );
});

describe('no such thing, or the wrong thing', () => {
  const CALLS: [Parameters<Client['call']>[0], object, number][] = [
    ['channel.move', { channel: 'ghost', to: 1 }, CODES.noSuchThing],
    ['channel.move', { channel: 'constructor', to: 1 }, CODES.noSuchThing],
    ['channel.move', { channel: 'neck', to: 'nowhere' }, CODES.noSuchThing],
    ['channel.move', { channel: 'neck', to: 'toString' }, CODES.noSuchThing],
    ['channel.move', { channel: 'fan', to: 1 }, CODES.invalidParams],
    ['channel.switch', { channel: 'neck', on: true }, CODES.invalidParams],
    ['channel.dim', { channel: 'eye', to: 1 }, CODES.invalidParams],
    ['channel.colour', { channel: 'glow', to: 'red' }, CODES.invalidParams],
    ['channel.identify', { channel: 'ghost' }, CODES.noSuchThing],
    ['group.move', { group: 'ghost', to: 1 }, CODES.noSuchThing],
    ['group.move', { group: 'head', to: 'up' }, CODES.noSuchThing],
    ['pose.go', { pose: 'constructor' }, CODES.noSuchThing],
  ];
  test.each(CALLS)('%s %j', async (method, params, code) => {
    const { rig, client } = await live();
    const before = picture(rig);
    expect((await client.refused(method, params as never)).code).toBe(code);
    expect(picture(rig)).toEqual(before);
  });
});

describe('jog', () => {
  test('by deg and by us, with the pulse of the target', async () => {
    const { rig, client } = await live();
    await expect(client.call('channel.jog', { channel: 'neck', byDeg: 2 })).resolves.toEqual({
      target: 2,
      pulseUs: 1520,
      limited: false,
    });
    await rig.run(500);
    await expect(client.call('channel.jog', { channel: 'neck', byUs: -5 })).resolves.toEqual({
      target: 1.5,
      pulseUs: 1515,
      limited: false,
    });
    // On this one the angle falls as the pulse grows.
    await expect(client.call('channel.jog', { channel: 'jaw', byUs: 50 })).resolves.toEqual({
      target: -5,
      pulseUs: 1550,
      limited: false,
    });
  });

  test('stops at the limit and says so', async () => {
    const { rig, client } = await live();
    await expect(client.call('channel.jog', { channel: 'neck', byDeg: 36 })).resolves.toEqual({
      target: 35,
      pulseUs: 1850,
      limited: true,
    });
    await rig.run(1000);
    expect(rig.at('neck')).toBe(1850);
    await expect(client.call('channel.jog', { channel: 'neck', byDeg: 1 })).resolves.toEqual({
      target: 35,
      pulseUs: 1850,
      limited: true,
    });
  });

  test('one that follows another counts from its target, so that no click is lost', async () => {
    const { rig, client } = await live();
    for (let i = 0; i < 10; i++) {
      await client.call('channel.jog', { channel: 'neck', byDeg: 1 });
      await rig.tick();
    }
    await rig.run(1000);
    expect(rig.servo('neck').setpoint.pos).toBeCloseTo(10, 9);
  });

  test('after a move it counts from where the servo is', async () => {
    const { rig, client } = await live();
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(150);
    const { pos } = rig.servo('neck').setpoint;
    const { target } = await client.call('channel.jog', { channel: 'neck', byDeg: 1 });
    expect(target).toBeCloseTo(pos + 1, 2);
  });

  test('the chain ends with a take-over: the next holder jogs from where it stands', async () => {
    const { rig, client } = await live();
    for (let i = 0; i < 30; i++) await client.call('channel.jog', { channel: 'neck', byDeg: 1 });
    await rig.run(100);
    await client.call('lease.release', { graceS: 5 });
    await rig.run(1000);
    const stood = rig.servo('neck').setpoint.pos;
    expect(stood).toBeLessThan(29);
    const next = rig.client('next');
    await next.call('lease.take');
    const { target } = await next.call('channel.jog', { channel: 'neck', byDeg: 1 });
    expect(target).toBeCloseTo(stood + 1, 2);
  });

  test('while it waits for its rail, jogs add up; an older move has no say in it', async () => {
    const draw = { idleA: 0, movingA: 1 };
    const tight = makeProp(
      { a: servo({ rail: 'six', draw }), b: servo({ rail: 'six', draw }) },
      { rails: { six: { volts: 6, limitA: 1 } } },
    );
    const { rig, client } = await Rigs.live(tight);
    await client.call('channel.move', { channel: 'a', to: 40, overS: 2 });
    for (let i = 1; i <= 3; i++)
      await expect(client.call('channel.jog', { channel: 'b', byDeg: 2 })).resolves.toMatchObject({
        target: 2 * i,
      });
    expect(rig.servo('b').delayed).toBe(true);
    await rig.run(3000);
    expect(rig.servo('b').setpoint.pos).toBe(6);
  });
});

describe('feeling for the stop', () => {
  async function atLimit() {
    const { rig, client } = await live();
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(1000);
    const feel = (byDeg: number) =>
      client.call('channel.jog', { channel: 'neck', byDeg, beyondLimits: true });
    return { rig, client, feel };
  }

  test('leaves the soft limits in steps of 5 deg, at 20 deg/s by the pulses', async () => {
    const { rig, feel } = await atLimit();
    let before = rig.at('neck');
    let fastestDegS = 0;
    const steps: number[] = [];
    rig.afterTick = () => {
      steps.push(rig.at('neck') - before);
      before = rig.at('neck');
      // Over 100 ms, in which one step of a pulse is 1 deg/s.
      const us = Math.abs(steps.slice(-20).reduce((sum, step) => sum + step, 0));
      fastestDegS = Math.max(fastestDegS, us / 10 / 0.1);
    };
    for (let i = 0; i < 3; i++) {
      await expect(feel(5)).resolves.toMatchObject({ target: 40 + 5 * i, limited: false });
      await rig.run(600);
    }
    expect(rig.at('neck')).toBe(pulseOf(50));
    expect(fastestDegS).toBeGreaterThan(18);
    expect(fastestDegS).toBeLessThanOrEqual(21);
    expect(rig.servo('neck').beyond).toBe(true);
  });

  test.each([5.01, -5.01, 60, -1e308])('a step of %d deg is refused', async (byDeg) => {
    const { rig, client } = await atLimit();
    const before = picture(rig);
    const params = { channel: 'neck', byDeg, beyondLimits: true };
    const refusal = await client.refused('channel.jog', params);
    expect(refusal.code).toBe(CODES.outOfLimits);
    expect(refusal.values).toMatchObject({ limit: 5 });
    expect(picture(rig)).toEqual(before);
  });

  test('never leaves the pulse envelope, however often it is asked', async () => {
    const { rig, feel } = await atLimit();
    rig.afterTick = () => expect(rig.at('neck')).toBeLessThanOrEqual(2100);
    let answer = await feel(5);
    for (let i = 0; i < 10; i++) {
      await rig.run(300);
      answer = await feel(5);
    }
    expect(answer).toEqual({ target: 60, pulseUs: 2100, limited: true });
    await rig.run(2000);
    expect(rig.at('neck')).toBe(2100);
  });

  test('is refused while another channel moves, and others are refused meanwhile', async () => {
    const { rig, client, feel } = await atLimit();
    await client.call('channel.move', { channel: 'jaw', to: 10, overS: 1 });
    const params = { channel: 'neck', byDeg: 1, beyondLimits: true };
    expect((await client.refused('channel.jog', params)).code).toBe(CODES.condition);
    await rig.run(1100);
    await feel(5);
    await rig.run(50);
    const move = await client.refused('channel.move', { channel: 'jaw', to: 0 });
    expect([move.code, move.values.feeling]).toEqual([CODES.condition, 'neck']);
    const jog = await client.refused('channel.jog', { channel: 'jaw', byDeg: 1 });
    expect(jog.code).toBe(CODES.condition);
    await rig.run(1000);
    await client.call('channel.move', { channel: 'jaw', to: 0 });
  });

  test('is refused while the servo is still on its way', async () => {
    const { rig, client, feel } = await atLimit();
    await client.call('channel.move', { channel: 'neck', to: 0 });
    await rig.run(100);
    const params = { channel: 'neck', byDeg: 1, beyondLimits: true };
    expect((await client.refused('channel.jog', params)).code).toBe(CODES.condition);
    await rig.run(2000);
    await feel(1);
  });

  test('sent back on the way out, it feels until it has turned round', async () => {
    const { rig, client, feel } = await atLimit();
    await feel(5);
    await rig.run(100);
    await client.call('channel.move', { channel: 'neck', to: 30 });
    const at = rig.at('neck');
    const refusal = await client.refused('channel.move', { channel: 'jaw', to: 10 });
    expect(refusal.values).toMatchObject({ feeling: 'neck' });
    await rig.run(50);
    expect(rig.at('neck')).toBeGreaterThanOrEqual(at);
    await rig.run(100);
    await client.call('channel.move', { channel: 'jaw', to: 10 });
    expect(rig.servo('neck').moving).toBe(true);
  });

  test('a move back inside is none: others may move meanwhile', async () => {
    const { rig, client, feel } = await atLimit();
    await feel(5);
    await rig.run(600);
    await client.call('channel.move', { channel: 'neck', to: 0, overS: 2 });
    await rig.run(50);
    await client.call('channel.move', { channel: 'jaw', to: 5 });
    await rig.run(2500);
    expect(rig.servo('neck').beyond).toBe(false);
    expect(rig.at('neck')).toBe(1500);
  });

  test('out there, a plain jog outwards is refused and moves nothing; inwards it comes back', async () => {
    const { rig, client, feel } = await atLimit();
    await feel(5);
    await rig.run(600);
    const before = picture(rig);
    const refusal = await client.refused('channel.jog', { channel: 'neck', byDeg: 1 });
    expect(refusal.code).toBe(CODES.outOfLimits);
    expect(picture(rig)).toEqual(before);
    await expect(client.call('channel.jog', { channel: 'neck', byDeg: -1 })).resolves.toMatchObject(
      { target: 35, limited: true },
    );
    await rig.run(600);
    expect(rig.servo('neck').beyond).toBe(false);
    expect(rig.at('neck')).toBe(1850);
  });

  test('out there, a move outside the limits is refused as ever', async () => {
    const { rig, client, feel } = await atLimit();
    await feel(5);
    await rig.run(600);
    const refusal = await client.refused('channel.move', { channel: 'neck', to: 38 });
    expect(refusal.code).toBe(CODES.outOfLimits);
  });

  test('replaces a move that waits for its rail: that never starts', async () => {
    const draw = { idleA: 0, movingA: 1, stallA: 3 };
    const tight = makeProp(
      { a: servo({ rail: 'six', draw }), b: servo({ rail: 'six', draw }) },
      { rails: { six: { volts: 6, limitA: 1 } } },
    );
    const { rig, client } = await Rigs.live(tight);
    rig.board().pushing.add('a');
    await rig.run(50);
    await client.call('channel.move', { channel: 'b', to: -40 });
    expect(rig.servo('b').delayed).toBe(true);
    await client.call('channel.jog', { channel: 'b', byDeg: 5, beyondLimits: true });
    await rig.run(500);
    rig.board().pushing.delete('a');
    await rig.run(2000);
    expect(rig.servo('b').setpoint.pos).toBe(5);
  });
});

describe('groups', () => {
  test('start and arrive in the same tick, paced by the slowest', async () => {
    const { rig, client } = await live();
    const { durationS } = await client.call('group.move', { group: 'head', to: 18 });
    // Trapezoid of the slowest, 20 deg/s and 100 deg/s2: d / v + v / a (Biagiotti & Melchiorri,
    // Trajectory Planning for Automatic Machines and Robots, 2008, section 3.2, from memory).
    expect(durationS).toBeCloseTo(18 / 20 + 20 / 100, 4);
    const began = new Map<string, number>();
    const ended = new Map<string, number>();
    const names = ['neck', 'jaw', 'slow'];
    let tick = 0;
    rig.afterTick = () => {
      tick++;
      for (const name of names) {
        const { setpoint: state, moving } = rig.servo(name);
        if (state.pos !== 0 && !began.has(name)) began.set(name, tick);
        if (!moving && !ended.has(name)) ended.set(name, tick);
      }
    };
    await rig.run(1500);
    expect(new Set(began.values())).toEqual(new Set([1]));
    expect(new Set(ended.values()).size).toBe(1);
    expect(Math.abs([...ended.values()][0]! * TICK_S - durationS)).toBeLessThanOrEqual(
      TICK_S + 1e-9,
    );
    for (const name of names) expect(rig.servo(name).setpoint.pos).toBe(18);
  });

  test('retargeted on the way from different states, they still arrive together', async () => {
    const { rig, client } = await live();
    await client.call('channel.move', { channel: 'neck', to: 35 });
    await rig.run(170);
    await client.call('group.move', { group: 'head', to: -5 });
    const ended: string[][] = [];
    rig.afterTick = () => {
      ended.push(['neck', 'jaw', 'slow'].filter((name) => !rig.servo(name).moving));
    };
    await rig.run(3000);
    expect(new Set(ended.map(({ length }) => length))).toEqual(new Set([0, 3]));
  });
});

describe('poses', () => {
  const posed = () =>
    makeProp(
      {
        neck: servo({ marks: { up: 30 } }),
        fan: relay({ rail: 'five', draw: { onA: 1 } }),
        heater: relay({ rail: 'five', draw: { onA: 1 } }),
        glow: lamp({ rail: 'five', draw: { fullA: 1 } }),
        eye: rgb(),
      },
      {
        rails: { five: { volts: 5, limitA: 1.5 } },
        poses: {
          morning: { neck: 'up', fan: 'on', eye: 'orange', glow: 0.5 },
          greedy: { neck: 10, fan: 'on', heater: 'on' },
          bright: { neck: 10, fan: 'on', glow: 1 },
        },
      },
    );

  test('everything in one', async () => {
    const { rig, client } = await Rigs.live(posed());
    await client.call('pose.go', { pose: 'morning' });
    await rig.run(1000);
    expect(rig.at('neck')).toBe(1800);
    expect(rig.on('fan')).toBe(true);
    expect(rig.at('eye.red')).toBe(1);
    expect(rig.at('glow')).toBeGreaterThan(0);
  });

  test.each(['greedy', 'bright'])(
    '%s is more than the rail holds, so that nothing of it happens',
    async (pose) => {
      const { rig, client } = await Rigs.live(posed());
      const before = picture(rig);
      expect((await client.refused('pose.go', { pose })).code).toBe(CODES.railLimit);
      expect(picture(rig)).toEqual(before);
      await rig.run(TICK_MS * 10);
      expect(picture(rig)).toEqual(before);
    },
  );
});
