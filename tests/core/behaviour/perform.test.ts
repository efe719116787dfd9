import { describe, expect, test } from 'vitest';
import { makeProp, pulseOf, Rig, servo, TICK_MS, TICK_S } from '../rig.ts';

const prop = () =>
  makeProp(
    {
      neck: servo({ marks: { up: 30 } }),
      jaw: servo({ requires: [{ channel: 'lid', above: 5 }] }),
      lid: servo(),
    },
    {
      groups: { heads: ['neck'] },
      poses: { low: { neck: -20 } },
      cues: {
        later: [{ at: 0.8, move: { neck: -30 } }],
        look: [
          { at: 0, move: { neck: 30 }, overS: 1 },
          { at: 0.5, move: { lid: 20 }, overS: 1 },
          { at: 2, move: { neck: 0, lid: 0 } },
        ],
      },
    },
  );

/** The longest way to a stop (s), and two ticks. */
const STOP_AND_TICK_S = 120 / 600 + 0.01;

const live = () => Rig.live(prop());

/** The hand turns to and fro: a target every 40 ms for so long; returns the last answer. */
async function lead(
  { rig, client }: Awaited<ReturnType<typeof live>>,
  ms: number,
  degAt: (tS: number) => Record<string, number>,
) {
  let answer = await client.call('channel.perform', { targets: degAt(0) });
  for (let atMs = 40; atMs <= ms; atMs += 40) {
    await rig.run(40);
    answer = await client.call('channel.perform', { targets: degAt(atMs / 1000) });
  }
  return answer;
}

describe('a stream of targets', () => {
  test('is followed within speed and acceleration, and the answer says how far behind', async () => {
    const both = await live();
    const { rig } = both;
    const neck = rig.servo('neck');
    let last = { pos: neck.setpoint.pos, vel: 0 };
    const most = { speed: 0, accel: 0 };
    rig.afterTick = () => {
      const { pos, vel } = neck.setpoint;
      most.speed = Math.max(most.speed, Math.abs(pos - last.pos) / TICK_S);
      most.accel = Math.max(most.accel, Math.abs(vel - last.vel) / TICK_S);
      last = { pos, vel };
    };
    // As a hand would: 35 deg to and fro, once a second, which is faster than 120 deg/s in the middle.
    const answer = await lead(both, 4000, (tS) => ({ neck: 35 * Math.sin(2 * Math.PI * tS) }));
    expect(most.speed).toBeGreaterThan(110);
    expect(most.speed).toBeLessThanOrEqual(120 + 1e-6);
    expect(most.accel).toBeLessThanOrEqual(600 + 1e-6);
    const { value, behindDeg, behindS } = answer.channels.neck!;
    expect(value).toBeCloseTo(neck.setpoint.pos, 2);
    expect(behindDeg).toBeCloseTo(35 * Math.sin(8 * Math.PI) - value, 2);
    expect(behindS).toBeGreaterThan(0);
    expect(rig.texts('channel.perform')).toEqual(['performs neck']);
  });

  test('a slow hand is followed without standing still in between', async () => {
    const both = await live();
    let stood = 0;
    await lead(both, 400, (tS) => ({ neck: 30 * tS }));
    both.rig.afterTick = () => {
      if (both.rig.servo('neck').setpoint.vel < 5) stood++;
    };
    await lead(both, 800, (tS) => ({ neck: 12 + 30 * tS }));
    expect(stood).toBeLessThan(5);
  });

  test('a mark is a target too', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 'up' } });
    await rig.tick();
    expect(rig.servo('neck').targetDeg).toBe(30);
  });

  test('outside the limits it is refused whole, and nothing changes', async () => {
    const { rig, client } = await live();
    const refusal = await client.refused('channel.perform', { targets: { lid: 10, neck: 41 } });
    expect(refusal.word).toBe('limits.outside');
    expect(refusal.values).toMatchObject({ channel: 'neck', value: 41, limit: 40 });
    await rig.run(500);
    expect([rig.at('neck'), rig.at('lid')]).toEqual([pulseOf(0), pulseOf(0)]);
  });

  test('what an interlock forbids is named, once in the journal, and the others go', async () => {
    const both = await live();
    const { rig } = both;
    const answer = await lead(both, 1000, () => ({ neck: 10, jaw: 10 }));
    expect(answer.channels.jaw!.refused).toMatchObject({ code: 'interlock.unmet' });
    expect(answer.channels.neck).toMatchObject({ value: 10, behindDeg: 0 });
    expect(rig.at('jaw')).toBe(pulseOf(0));
    expect(rig.texts('refused')).toEqual([
      expect.stringContaining('channel.perform: jaw needs lid above 5 deg'),
    ]);
    // With the lid open it goes, in the same stream.
    const then = await lead(both, 1000, () => ({ jaw: 10, lid: 20 }));
    expect(then.channels.jaw).toEqual({ value: 10, behindDeg: 0, behindS: 0 });
  });

  test('an interlock that breaks on the way holds the servo', async () => {
    const both = await live();
    const { rig } = both;
    await lead(both, 600, () => ({ lid: 20 }));
    await lead(both, 120, () => ({ lid: 20, jaw: 40 }));
    // The hand closes the lid: refused, because the jaw is away from its place.
    const answer = await lead(both, 600, () => ({ lid: 0, jaw: 40 }));
    expect(answer.channels.lid!.refused).toMatchObject({ code: 'interlock.needed' });
    expect(rig.servo('lid').setpoint.pos).toBeGreaterThan(5);
  });
});

describe('hold to run', () => {
  /** How far past its last target a servo is allowed to go before it stands still (s). */
  const STOP_S = 120 / 600;

  test('a stream that falls silent: it decelerates and holds within 0.25 s and the way to a stop', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 40 } });
    // As slow as a servo may be, it would take long.
    await rig.run(240);
    expect(rig.servo('neck').moving).toBe(true);
    await rig.run(1000 * (0.02 + STOP_S));
    const at = rig.servo('neck').setpoint.pos;
    expect(rig.servo('neck').moving).toBe(false);
    expect(at).toBeLessThan(39);
    await rig.run(2000);
    expect(rig.servo('neck').setpoint.pos).toBe(at);
    expect(rig.condition).toBe('live');
    expect(rig.texts('channel.perform')).toEqual([
      'performs neck',
      'performs nothing any more: no target has come for 0.25 s',
    ]);
  });

  test('what is left out decelerates and holds at once, and the others go on', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 40, lid: 40 } });
    await rig.run(150);
    await client.call('channel.perform', { targets: { lid: 40 } });
    await rig.run(1000 * STOP_S + 10);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(30);
    expect(rig.servo('lid').moving).toBe(true);
  });

  test('with no targets everything is let go', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 40 } });
    await rig.run(150);
    expect(await client.call('channel.perform', { targets: {} })).toEqual({ channels: {} });
    await rig.run(1000 * STOP_S + 10);
    expect(rig.servo('neck').moving).toBe(false);
  });

  test('a command for one of them that came in between is not ended by letting go', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 10 } });
    await rig.run(50);
    await client.call('channel.perform', { targets: {} });
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(2000);
    expect(rig.at('neck')).toBe(pulseOf(40));
  });

  test('what has waited for its rail and starts in the very tick in which the hand lets go', async () => {
    const draw = { idleA: 0, movingA: 1, stallA: 2 };
    const tight = makeProp(
      { neck: servo({ rail: 'small', draw }), lid: servo({ rail: 'small', draw }) },
      { rails: { small: { volts: 6, limitA: 2.5 } } },
    );
    const { rig, client } = await Rig.live(tight);
    await client.call('channel.move', { channel: 'lid', to: 20 });
    await rig.run(200);
    const wait = () => client.call('channel.perform', { targets: { neck: 40 } });
    expect((await wait()).channels.neck).toBeDefined();
    await rig.tick();
    expect((await wait()).channels.neck!.delayed).toMatch(/waits until rail small has room/);
    while (!rig.servo('neck').moving) {
      await wait();
      await rig.tick();
    }
    await client.call('channel.perform', { targets: {} });
    await rig.run(500);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(5);
    expect(rig.servo('neck').moving).toBe(false);
  });

  test.each([
    ['stop', { category: 2 }, 'stopped'],
    ['park', {}, 'parking'],
    ['lease.release', {}, 'parking'],
  ] as const)(
    'after %s nothing of it is carried out any more',
    async (method, params, condition) => {
      const { rig, client } = await live();
      await client.call('channel.perform', { targets: { neck: 20 } });
      await rig.run(100);
      // Taken, but not yet planned when the other comes.
      await client.call('channel.perform', { targets: { neck: -40 } });
      await client.call(method, params as never);
      expect(rig.condition).toBe(condition);
      await rig.run(1500);
      expect(rig.servo('neck').setpoint.pos).toBeGreaterThanOrEqual(0);
      expect(rig.core.performer.names).toEqual([]);
    },
  );

  test('a link that is lost parks, whatever was performed', async () => {
    const { rig, client } = await live();
    await client.call('channel.perform', { targets: { neck: 40 } });
    client.silent = true;
    await rig.run(610);
    expect(rig.condition).not.toBe('live');
    await rig.until(() => rig.condition === 'parked');
    expect(rig.at('neck')).toBe(pulseOf(0));
  });
});

describe('a newer command', () => {
  /** The hand leads the neck towards 40 deg; 0.1 s later something else is asked for. */
  async function led() {
    const both = await live();
    await both.client.call('channel.perform', { targets: { neck: 40, lid: 10 } });
    await both.rig.run(100);
    return both;
  }

  test.each([
    ['channel.move', { channel: 'neck', to: -20 }, -20],
    ['group.move', { group: 'heads', to: -20 }, -20],
    ['pose.go', { pose: 'low' }, -20],
  ] as const)('%s goes where it says, and the hand is let go', async (method, params, deg) => {
    const { rig, client } = await led();
    await client.call(method, params as never);
    expect(rig.core.performer.names).toEqual(['lid']);
    await rig.run(1500);
    expect(rig.at('neck')).toBe(pulseOf(deg));
  });

  test('a jog counts from where the servo is, and stays', async () => {
    const { rig, client } = await led();
    const { target } = await client.call('channel.jog', { channel: 'neck', byDeg: 1 });
    expect(target).toBeLessThan(20);
    await rig.run(1500);
    expect(rig.servo('neck').setpoint.pos).toBeCloseTo(target, 6);
  });

  test('a cue has its servos from its start: they decelerate and hold, and its steps move them', async () => {
    const { rig, client } = await led();
    await client.call('cue.run', { cue: 'later' });
    expect(rig.core.performer.names).toEqual(['lid']);
    await rig.run(1000 * STOP_AND_TICK_S);
    expect(rig.servo('neck').moving).toBe(false);
    const at = rig.servo('neck').setpoint.pos;
    expect(at).toBeLessThan(39);
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(rig.at('neck')).toBe(pulseOf(-30));
    expect(rig.texts('refused')).toEqual([]);
  });

  test('the hand has it again with its next target, and the cue ends', async () => {
    const { rig, client } = await led();
    await client.call('cue.run', { cue: 'later' });
    await client.call('channel.perform', { targets: { neck: 5 } });
    expect(rig.core.cues.anyRunning).toBe(false);
    for (let n = 0; n < 10; n++) {
      await rig.run(100);
      await client.call('channel.perform', { targets: { neck: 5 } });
    }
    expect(rig.at('neck')).toBe(pulseOf(5));
  });

  test('a recording over a cue keeps what is performed', async () => {
    const { rig, client } = await led();
    await client.call('take.begin', { channels: ['neck'], over: 'later' });
    expect(rig.core.performer.names).toEqual(['neck', 'lid']);
    // And lets it go as ever when the hand falls silent.
    await rig.run(260 + 1000 * STOP_AND_TICK_S);
    expect(rig.core.performer.names).toEqual([]);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(40);
  });
});

describe('attacks', () => {
  test('another session is refused, and the stream of the holder goes on', async () => {
    const both = await live();
    const { rig, client } = both;
    const guest = rig.client('guest');
    await client.call('channel.perform', { targets: { neck: 20 } });
    expect((await guest.refused('channel.perform', { targets: { neck: -40 } })).word).toBe(
      'lease.held',
    );
    expect((await guest.refused('channel.perform', { targets: {} })).word).toBe('lease.held');
    await lead(both, 600, () => ({ neck: 20 }));
    expect(rig.at('neck')).toBe(pulseOf(20));
  });

  test('1000 targets a second: no more than four plans a tick, and the newest counts', async () => {
    const { rig, client } = await live();
    const neck = rig.servo('neck');
    let most = 0;
    let { plans } = neck;
    rig.afterTick = () => {
      most = Math.max(most, neck.plans - plans);
      ({ plans } = neck);
    };
    const entries = rig.entries.length;
    for (let i = 0; i < 2000; i++) {
      // Five for each tick, to and fro.
      await client.call('channel.perform', { targets: { neck: i % 2 === 0 ? 30 : -30 } });
      if (i % 5 === 4) await rig.tick();
    }
    expect(most).toBe(1);
    expect(rig.entries.length - entries).toBeLessThan(5);
    await client.call('channel.perform', { targets: { neck: 17 } });
    for (let n = 0; n < 20; n++) {
      await rig.run(100);
      await client.call('channel.perform', { targets: { neck: 17 } });
    }
    expect(rig.at('neck')).toBe(pulseOf(17));
  });

  test('many servos have their turn, a few in each tick', async () => {
    const many = Object.fromEntries(Array.from({ length: 30 }, (_, i) => [`s${i}`, servo()]));
    const { rig, client } = await Rig.live(makeProp(many));
    const targets = Object.fromEntries(Object.keys(many).map((name, i) => [name, i]));
    for (let n = 0; n < 10; n++) {
      await client.call('channel.perform', { targets });
      await rig.run(100);
    }
    for (const [i, name] of Object.keys(many).entries()) expect(rig.at(name)).toBe(pulseOf(i));
    const plans = () => rig.core.body.servos.reduce((sum, one) => sum + one.plans, 0);
    const before = plans();
    await client.call('channel.perform', {
      targets: Object.fromEntries(Object.keys(many).map((name) => [name, -5])),
    });
    await rig.tick();
    expect(plans() - before).toBe(4);
    await rig.run(7 * TICK_MS);
    expect(plans() - before).toBe(30);
  });

  test('a rail without room: what waits is told once, and goes when there is room', async () => {
    const draw = { idleA: 0, movingA: 1, stallA: 2 };
    const tight = makeProp(
      {
        neck: servo({ rail: 'small', draw }),
        lid: servo({ rail: 'small', draw, speedDegS: 20 }),
      },
      { rails: { small: { volts: 6, limitA: 2.5 } } },
    );
    const { rig, client } = await Rig.live(tight);
    let told = 0;
    for (let n = 0; n < 100; n++) {
      const sway = n % 20 < 10 ? 30 : -30;
      const { channels } = await client.call('channel.perform', {
        targets: { neck: sway, lid: n % 30 < 15 ? 20 : -20 },
      });
      if (channels.neck!.delayed || channels.lid!.delayed) told++;
      expect(rig.amps('small')).toBeLessThanOrEqual(2.5 + 1e-9);
      await rig.run(40);
    }
    expect(rig.texts('delayed').length).toBeLessThanOrEqual(2);
    expect(rig.texts('staggered')).toEqual([]);
    expect(told).toBeGreaterThan(0);
  });
});
