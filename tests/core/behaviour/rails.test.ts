import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import { lamp, makeProp, Rig, relay, rgb, servo, TICK_S } from '../rig.ts';

const draw = { idleA: 0.1, movingA: 0.6, stallA: 1.5 };
const prop = (limitA: number) =>
  makeProp(
    {
      one: servo({ rail: 'six', draw }),
      two: servo({ rail: 'six', draw }),
      three: servo({ rail: 'six', draw }),
      free: servo(),
    },
    {
      rails: { six: { volts: 6, limitA } },
      groups: { pair: ['one', 'two'], all: ['one', 'two', 'three'] },
    },
  );

describe('two moves that do not fit together', () => {
  async function both() {
    const { rig, client } = await Rig.live(prop(1.0));
    const first = await client.call('channel.move', { channel: 'one', to: 40 });
    const second = await client.call('channel.move', { channel: 'two', to: 40 });
    return { rig, client, first, second };
  }

  test('the second is delayed, says so, is flagged, and starts when there is room', async () => {
    const { rig, client, first, second } = await both();
    expect(first.delayed).toBeUndefined();
    expect(second.delayed).toContain('rail six');
    const { channels } = await client.call('channel.list');
    expect(channels.two!.flags).toContain('delayed');
    expect(rig.texts('delayed')).toHaveLength(1);
    await rig.until(() => !rig.servo('one').moving, 2);
    expect(rig.servo('two').setpoint.pos).toBe(0);
    await rig.run(20);
    expect(rig.servo('two').delayed).toBe(false);
    expect(rig.texts('started')).toEqual(['two starts now']);
    await rig.run(1000);
    expect(rig.servo('two').setpoint.pos).toBe(40);
  });

  test('the estimate never passes the limit', async () => {
    const { rig } = await both();
    let worst = 0;
    rig.afterTick = () => {
      worst = Math.max(worst, rig.amps('six'));
    };
    await rig.run(3000);
    // One moves, two hold.
    expect(worst).toBeCloseTo(0.8, 9);
  });

  test('whoever waits for the second is answered when it has arrived', async () => {
    const { rig, client } = await Rig.live(prop(1.0));
    await client.call('channel.move', { channel: 'one', to: 40 });
    let answer: unknown;
    void client.call('channel.move', { channel: 'two', to: 40, wait: true }).then((value) => {
      answer = value;
    });
    await rig.until(() => answer !== undefined, 5);
    expect(rig.servo('two').setpoint.pos).toBe(40);
  });

  test('whoever waits for a delayed move that another replaces is told', async () => {
    const { rig, client } = await Rig.live(prop(1.0));
    await client.call('channel.move', { channel: 'one', to: 40 });
    const refused = client.refused('channel.move', { channel: 'two', to: 40, wait: true });
    await rig.run(100);
    await client.call('channel.move', { channel: 'two', to: 5 });
    await rig.run(3000);
    expect(rig.servo('two').setpoint.pos).toBe(5);
    expect((await refused).code).toBe(CODES.condition);
  });

  test('a servo without that rail is not held up', async () => {
    const { client } = await both();
    const { delayed } = await client.call('channel.move', { channel: 'free', to: 40 });
    expect(delayed).toBeUndefined();
  });

  test('retargeting what moves already needs no more room', async () => {
    const { rig, client } = await both();
    await rig.run(100);
    const { delayed } = await client.call('channel.move', { channel: 'one', to: -40 });
    expect(delayed).toBeUndefined();
  });

  test.each(['lease.release', 'park', 'lost', 'stop'] as const)(
    'it never starts after %s',
    async (what) => {
      const { rig, client } = await both();
      await rig.run(50);
      if (what === 'lost') rig.commands.gone(client.session.id);
      else if (what === 'stop') await client.call('stop', { category: 2 });
      else await client.call(what, what === 'lease.release' ? { graceS: 5 } : {});
      rig.afterTick = () => expect(rig.servo('two').setpoint.pos).toBe(0);
      await rig.run(4000);
      expect(rig.servo('two').delayed).toBe(false);
    },
  );
});

test('a group waits and starts as one', async () => {
  const { rig, client } = await Rig.live(prop(1.4));
  await client.call('channel.move', { channel: 'three', to: 40 });
  const { delayed } = await client.call('group.move', { group: 'pair', to: 20 });
  expect(delayed).toBeDefined();
  await rig.until(() => rig.servo('one').moving, 3);
  expect(rig.servo('two').moving).toBe(true);
  expect(rig.servo('three').moving).toBe(false);
});

test('a group that can never fit is refused, with the amps', async () => {
  const { rig, client } = await Rig.live(prop(1.4));
  const refusal = await client.refused('group.move', { group: 'all', to: 20 });
  expect(refusal.code).toBe(CODES.railLimit);
  expect(refusal.values).toMatchObject({ rail: 'six', amps: 1.8, limitA: 1.4 });
  await rig.run(1000);
  expect(rig.writes).toHaveLength(4);
});

describe('relays and lights', () => {
  const lit = () =>
    makeProp(
      {
        fan: relay({ rail: 'five', draw: { onA: 0.8 } }),
        heater: relay({ rail: 'five', draw: { onA: 0.8 } }),
        glow: lamp({ rail: 'five', draw: { fullA: 0.5 } }),
        eye: rgb({ rail: 'five', draw: { fullA: [0.2, 0.2, 0.2] } }),
        neck: servo({ rail: 'five', draw: { idleA: 0.1, movingA: 0.5 } }),
      },
      { rails: { five: { volts: 5, limitA: 1.2 } } },
    );

  test('two relays closed between two ticks: the second is refused', async () => {
    const { rig, client } = await Rig.live(lit());
    await client.call('channel.switch', { channel: 'fan', on: true });
    const refusal = await client.refused('channel.switch', { channel: 'heater', on: true });
    expect(refusal.code).toBe(CODES.railLimit);
    expect(refusal.values).toMatchObject({ rail: 'five', amps: 1.7 });
    await rig.tick();
    expect(rig.amps('five')).toBeCloseTo(0.9, 9);
  });

  test('a light that would be too much is refused and keeps its slow fade', async () => {
    const { rig, client } = await Rig.live(lit());
    await client.call('channel.dim', { channel: 'glow', to: 0.5, fadeS: 10 });
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(1000);
    const before = rig.at('glow');
    for (const [method, params] of [
      ['channel.dim', { channel: 'glow', to: 1 }],
      ['channel.colour', { channel: 'eye', to: 'white' }],
    ] as const)
      expect((await client.refused(method, params as never)).code).toBe(CODES.railLimit);
    await rig.tick();
    expect(rig.at('glow') - before).toBeLessThan(0.001);
    await rig.run(4000);
    expect(rig.core.body.lamp('glow').value).toBeCloseTo(0.25, 2);
  });

  test('a fade that is on its way counts with its end', async () => {
    const { client } = await Rig.live(lit());
    await client.call('channel.dim', { channel: 'glow', to: 1, fadeS: 10 });
    const refusal = await client.refused('channel.switch', { channel: 'fan', on: true });
    expect(refusal.values).toMatchObject({ amps: 1.4 });
  });

  test('a move waits until a fade or a relay leaves room, or is refused while a relay does not', async () => {
    const { rig, client } = await Rig.live(lit());
    await client.call('channel.switch', { channel: 'fan', on: true });
    expect((await client.refused('channel.move', { channel: 'neck', to: 10 })).code).toBe(
      CODES.railLimit,
    );
    await client.call('channel.switch', { channel: 'fan', on: false });
    await rig.tick();
    await client.call('channel.move', { channel: 'neck', to: 10 });
    await rig.run(1000);
    expect(rig.servo('neck').setpoint.pos).toBe(10);
  });
});

test('a servo that pushes may leave the stop though its stall current fills the rail', async () => {
  const { rig, client } = await Rig.live(prop(1.4));
  await client.call('channel.move', { channel: 'one', to: 40 });
  await rig.run(1000);
  rig.board().pushing.add('one');
  await rig.run(50);
  expect(rig.amps('six')).toBeCloseTo(1.7, 9);
  expect((await client.call('channel.move', { channel: 'two', to: 5 })).delayed).toBeDefined();
  const { delayed } = await client
    .call('channel.jog', { channel: 'one', byDeg: -5 })
    .then(() => ({ delayed: rig.servo('one').delayed }));
  expect(delayed).toBe(false);
  await rig.run(300);
  expect(rig.servo('one').setpoint.pos).toBe(35);
});

describe('starting current', () => {
  const strong = { idleA: 0.1, movingA: 0.4, stallA: 1.5 };
  const NAMES = ['one', 'two', 'three'] as const;
  const started = (limitA: number, more: Parameters<typeof makeProp>[0] = {}) =>
    makeProp(
      {
        ...Object.fromEntries(NAMES.map((name) => [name, servo({ rail: 'six', draw: strong })])),
        ...more,
      },
      { rails: { six: { volts: 6, limitA } }, groups: { all: [...NAMES] } },
    );

  /** The rail's current in every tick. */
  const watched = (rig: Rig): number[] => {
    const seen: number[] = [];
    rig.afterTick = () => seen.push(rig.amps('six'));
    return seen;
  };

  test('a servo that starts draws its stall current for 0.05 s, then its moving current', async () => {
    const { rig, client } = await Rig.live(started(5));
    const seen = watched(rig);
    await client.call('channel.move', { channel: 'one', to: 40 });
    await rig.run(1000);
    const starting = seen.filter((amps) => amps > 1);
    expect(starting.length).toBeGreaterThanOrEqual(9);
    expect(starting.length).toBeLessThanOrEqual(10);
    expect(Math.max(...seen)).toBeCloseTo(1.7, 9);
    expect(seen[20]).toBeCloseTo(0.6, 9);
    expect(seen.at(-1)).toBeCloseTo(0.3, 9);
  });

  test('a group whose starts do not fit together starts one by one, arrives together, and says so', async () => {
    // All at once 4.5 A; one by one 0.8 + 1.5.
    const { rig, client } = await Rig.live(started(2.4));
    const seen = watched(rig);
    const { delayed, durationS } = await client.call('group.move', { group: 'all', to: 20 });
    expect(delayed).toBeUndefined();
    const begun = new Map<string, number>();
    const ended = new Map<string, number>();
    const look = rig.afterTick!;
    rig.afterTick = () => {
      look();
      for (const name of NAMES) {
        const { pos } = rig.servo(name).setpoint;
        if (pos > 0 && !begun.has(name)) begun.set(name, rig.clock.nowMs());
        if (pos === 20 && !ended.has(name)) ended.set(name, rig.clock.nowMs());
      }
    };
    await rig.run(2000);
    expect(Math.max(...seen)).toBeLessThanOrEqual(2.4 + 1e-9);
    expect(Math.max(...seen)).toBeCloseTo(2.3, 9);
    expect(new Set(ended.values()).size).toBe(1);
    const times = [...begun.values()].sort((a, b) => a - b);
    // 50 ms each, to the tick.
    for (const i of [1, 2]) expect(Math.abs(times[i]! - times[0]! - 50 * i)).toBeLessThanOrEqual(5);
    expect([...ended.values()][0]! - (times[0]! - 5)).toBeLessThanOrEqual(1000 * durationS + 6);
    expect(rig.texts('staggered')).toEqual([
      'two, three start up to 0.1 s later, so that rail six holds while motors start',
    ]);
  });

  test('where there is room for all at once nothing waits', async () => {
    const { rig, client } = await Rig.live(started(4.5));
    await client.call('group.move', { group: 'all', to: 20 });
    await rig.tick();
    expect(rig.amps('six')).toBeCloseTo(4.5, 9);
    expect(rig.texts('staggered')).toEqual([]);
  });

  test('one that turns round starts again, when it turns', async () => {
    const { rig, client } = await Rig.live(started(5));
    await client.call('channel.move', { channel: 'one', to: 40 });
    await rig.run(200);
    const seen = watched(rig);
    let turned = -1;
    const look = rig.afterTick!;
    rig.afterTick = () => {
      look();
      if (turned < 0 && rig.servo('one').setpoint.vel < 0) turned = seen.length - 1;
    };
    await client.call('channel.move', { channel: 'one', to: -40 });
    await rig.run(500);
    const starting = seen.flatMap((amps, i) => (amps > 1 ? [i] : []));
    expect(starting.length).toBeGreaterThanOrEqual(9);
    expect(starting.length).toBeLessThanOrEqual(11);
    expect(Math.abs(starting[0]! - turned)).toBeLessThanOrEqual(1);
  });

  test('without room to turn round it comes to a stand, waits, and goes then', async () => {
    // Another one is about to start its own way for a moment; three moving leave no room to turn.
    const pump = relay({ rail: 'six', draw: { onA: 1.2 } });
    const { rig, client } = await Rig.live(started(2.4, { pump }));
    await client.call('channel.move', { channel: 'one', to: 40 });
    await rig.run(150);
    await client.call('channel.switch', { channel: 'pump', on: true });
    const seen = watched(rig);
    const { delayed } = await client.call('channel.move', { channel: 'one', to: -40 });
    expect(delayed).toContain('rail six');
    await rig.run(1000);
    const { pos } = rig.servo('one').setpoint;
    expect(pos).toBeLessThan(40);
    expect(rig.servo('one').moving).toBe(false);
    await client.call('channel.switch', { channel: 'pump', on: false });
    await rig.run(3000);
    expect(rig.servo('one').setpoint.pos).toBe(-40);
    expect(Math.max(...seen)).toBeLessThanOrEqual(2.4 + 1e-9);
  });

  test('a start that the rail never could give holds nobody up, but none is beside it', async () => {
    const { rig, client } = await Rig.live(started(1.2));
    const seen = watched(rig);
    const { delayed } = await client.call('group.move', { group: 'all', to: 20 });
    expect(delayed).toBeUndefined();
    await rig.run(2000);
    expect(NAMES.map((name) => rig.servo(name).setpoint.pos)).toEqual([20, 20, 20]);
    // It is not counted, as check has told.
    expect(Math.max(...seen)).toBeCloseTo(1.2, 9);
  });

  test('a move that is asked for while another starts is not refused, and waits its turn', async () => {
    const { rig, client } = await Rig.live(started(2.4));
    const seen = watched(rig);
    await client.call('channel.move', { channel: 'one', to: 20 });
    await rig.run(20);
    const { delayed } = await client.call('channel.move', { channel: 'two', to: 20 });
    expect(delayed).toBeUndefined();
    await rig.run(2000);
    expect(rig.servo('two').setpoint.pos).toBe(20);
    expect(Math.max(...seen)).toBeCloseTo(2.0, 9);
  });

  test('what is switched on while a motor starts waits until it has started', async () => {
    // Lasting 0.6 A and 0.5 A more fit; beside the start, which draws 1.7 A, they do not.
    const fan = relay({ rail: 'six', draw: { onA: 0.5 } });
    const { rig, client } = await Rig.live(started(2.0, { fan }));
    const seen = watched(rig);
    await client.call('channel.move', { channel: 'one', to: 40 });
    await client.call('channel.switch', { channel: 'fan', on: true, forS: 0.3 });
    await rig.run(30);
    expect(rig.at('fan')).toBe(0);
    await rig.run(40);
    expect(rig.at('fan')).toBe(1);
    // It opens as much later as it has waited.
    await rig.run(270);
    expect(rig.at('fan')).toBe(1);
    await rig.run(40);
    expect(rig.at('fan')).toBe(0);
    await rig.run(1000);
    expect(Math.max(...seen)).toBeLessThanOrEqual(2.0 + 1e-9);
  });

  test('so does a light', async () => {
    const glow = lamp({ rail: 'six', draw: { fullA: 0.5 } });
    const { rig, client } = await Rig.live(started(2.0, { glow }));
    const seen = watched(rig);
    await client.call('channel.move', { channel: 'one', to: 40 });
    await client.call('channel.dim', { channel: 'glow', to: 1 });
    await rig.run(30);
    expect(rig.at('glow')).toBe(0);
    await rig.run(40);
    expect(rig.at('glow')).toBe(1);
    await rig.run(1000);
    expect(Math.max(...seen)).toBeLessThanOrEqual(2.0 + 1e-9);
  });

  test('one that has nowhere to go stands still until the others arrive, and leaves them room', async () => {
    const { rig, client } = await Rig.live(started(2.1));
    await client.call('group.move', { group: 'all', to: 20 });
    await rig.run(3000);
    await client.call('channel.move', { channel: 'three', to: 0 });
    await rig.tick();
    await rig.tick();
    const seen = watched(rig);
    await client.call('group.move', { group: 'all', to: 20 });
    await rig.run(3000);
    expect(Math.max(...seen)).toBeLessThanOrEqual(2.1 + 1e-9);
    expect(rig.servo('three').setpoint.pos).toBe(20);
  });

  test('with a jerk limit one turns before a stop would have ended, and that is planned for', async () => {
    let sooner = 0;
    for (let movedMs = 50; movedMs <= 400; movedMs += 25) {
      const { rig, client } = await Rig.live(
        makeProp(
          { soft: servo({ rail: 'six', draw: strong, jerkDegS3: 6000 }) },
          { rails: { six: { volts: 6, limitA: 2 } } },
        ),
      );
      await client.call('channel.move', { channel: 'soft', to: 40 });
      await rig.run(movedMs);
      const soft = rig.servo('soft');
      const start = soft.startsIn(-40);
      if (!start || soft.setpoint.vel === 0) continue;
      const fromS = rig.core.nowS;
      await client.call('channel.move', { channel: 'soft', to: -40 });
      await rig.until(() => soft.setpoint.vel < 0, 3);
      const turnedS = rig.core.nowS - fromS;
      expect(turnedS).toBeGreaterThanOrEqual(start.earliestS - TICK_S);
      expect(turnedS).toBeLessThanOrEqual(start.latestS + TICK_S);
      if (turnedS < start.latestS - 2 * TICK_S) sooner++;
    }
    // From the end of a stop alone one would be wrong.
    expect(sooner).toBeGreaterThan(2);
  });

  test.each(['channel.perform', 'pose.go'] as const)(
    'one that is sent back while it starts leaves no room until it has turned: %s',
    async (method) => {
      let starting = 0;
      for (let movedMs = 10; movedMs <= 50; movedMs += 5) {
        const { rig, client } = await Rig.live(
          makeProp(
            {
              soft: servo({ rail: 'six', draw: strong, jerkDegS3: 6000 }),
              two: servo({ rail: 'six', draw: strong }),
            },
            {
              rails: { six: { volts: 6, limitA: 2.4 } },
              poses: { back: { two: 20, soft: -30 } },
            },
          ),
        );
        const seen = watched(rig);
        await client.call('channel.move', { channel: 'soft', to: 40 });
        await rig.run(movedMs);
        if (rig.servo('soft').amps() === strong.stallA) starting++;
        if (method === 'pose.go') await client.call(method, { pose: 'back' });
        else await client.call(method, { targets: { two: 20, soft: -30 } });
        await rig.run(200);
        expect(Math.max(...seen)).toBeLessThanOrEqual(2.4 + 1e-9);
      }
      expect(starting).toBeGreaterThan(2);
    },
  );
});
