import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import { lamp, makeProp, Rig, relay, restedAt, rgb, servo } from '../rig.ts';

/** An arm that needs the door out of its way, and what else may need it. */
const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    {
      door: servo({ marks: { half: 20 } }),
      arm: servo({ requires: [{ channel: 'door', above: 20 }] }),
      brake: relay(),
      wing: servo({ requires: [{ channel: 'brake', is: 'on' }] }),
      mist: relay({ requires: [{ channel: 'door', above: 'half' }] }),
      lantern: lamp({ requires: [{ channel: 'door', above: 20 }] }),
      eye: rgb({ requires: [{ channel: 'brake', is: 'on' }] }),
      fan: relay(),
      fog: relay({ requires: [{ channel: 'fan', is: 'on' }] }),
    },
    {
      groups: { both: ['door', 'arm'] },
      poses: {
        out: { door: 30, arm: 30 },
        shut: { door: 0 },
        both_home: { door: 0, arm: 0 },
        quiet: { fan: 'off', fog: 'off' },
      },
      cues: {
        shut: [{ at: 0, move: { door: 0 } }],
        quiet: [{ at: 0, switch: { fan: 'off', fog: 'off' } }],
      },
      ...over,
    },
  );

async function opened() {
  const { rig, client } = await Rig.live(prop());
  await client.call('channel.move', { channel: 'door', to: 35, wait: false });
  await rig.run(1500);
  return { rig, client };
}

async function armOut() {
  const { rig, client } = await opened();
  await client.call('channel.move', { channel: 'arm', to: 15 });
  await rig.run(1500);
  return { rig, client };
}

describe('a move that would break what another channel requires is refused', () => {
  test.each([
    ['channel.move', { channel: 'door', to: 0 }, 0],
    ['channel.move', { channel: 'door', to: 'half' }, 20],
    ['channel.jog', { channel: 'door', byDeg: -16 }, 19],
    ['pose.go', { pose: 'shut' }, 0],
    // They start and arrive together, so the door would be shut before the arm is home.
    ['pose.go', { pose: 'both_home' }, 0],
    ['group.move', { group: 'both', to: 0 }, 0],
  ] as const)('%s %j, while the arm is out', async (method, params, value) => {
    const { rig, client } = await armOut();
    const refusal = await client.refused(method, params as never);
    expect(refusal.code).toBe(CODES.interlock);
    expect(refusal.values).toMatchObject({
      channel: 'door',
      requiredBy: 'arm',
      requires: { channel: 'door', above: 20 },
      value,
    });
    expect(refusal.message).toContain('bring arm to 0 deg');
    await rig.run(1000);
    expect(rig.servo('door').setpoint.pos).toBe(35);
  });

  test('a jog beyond the limits, and one step by step', async () => {
    const { client } = await armOut();
    const far = { channel: 'door', byDeg: -5, beyondLimits: true };
    for (let i = 0; i < 2; i++) await client.call('channel.jog', far).catch(() => {});
    const { rig } = await armOut();
    const step = () => client.call('channel.jog', { channel: 'door', byDeg: -4 });
    await step();
    await rig.run(500);
    await expect(step().then(step).then(step).then(step)).rejects.toThrow('arm');
  });

  test('a step of a cue is left out, and told', async () => {
    const { rig, client } = await armOut();
    await client.call('cue.run', { cue: 'shut' });
    await rig.run(1000);
    expect(rig.servo('door').setpoint.pos).toBe(35);
    expect(rig.texts('refused').join()).toContain('arm');
  });

  test('going where the requirement still holds is fine, and so is it with the arm home', async () => {
    const { rig, client } = await armOut();
    await client.call('channel.move', { channel: 'door', to: 21 });
    await client.call('channel.move', { channel: 'arm', to: 0 });
    await rig.run(2000);
    await client.call('channel.move', { channel: 'door', to: 0 });
    await rig.run(2000);
    expect(rig.servo('door').setpoint.pos).toBe(0);
  });

  test('the arm does not leave its rest while the door is closing, or waits to', async () => {
    const { rig, client } = await opened();
    await client.call('channel.move', { channel: 'door', to: 0 });
    await rig.run(20);
    expect(rig.servo('door').setpoint.pos).toBeGreaterThan(20);
    const refusal = await client.refused('channel.move', { channel: 'arm', to: 10 });
    expect(refusal.code).toBe(CODES.interlock);
    expect(refusal.message).toContain('door is on its way to 0 deg');
  });

  test('the arm is still moving out: that counts', async () => {
    const { rig, client } = await opened();
    await client.call('channel.move', { channel: 'arm', to: 30 });
    await client.refused('channel.move', { channel: 'door', to: 0 });
    await rig.tick();
    await client.refused('channel.move', { channel: 'door', to: 0 });
  });

  test('a relay that is required closed is not opened, nor one that is required open closed', async () => {
    const { rig, client } = await Rig.live(prop());
    const turn = (channel: string, on: boolean) => ({ channel, on });
    await client.call('channel.switch', turn('brake', true));
    await client.call('channel.move', { channel: 'wing', to: 20 });
    await rig.run(1000);
    const refusal = await client.refused('channel.switch', turn('brake', false));
    expect(refusal.code).toBe(CODES.interlock);
    expect(refusal.values).toMatchObject({
      channel: 'brake',
      requiredBy: 'wing',
      requires: { channel: 'brake', is: 'on' },
      value: false,
    });
    await client.refused('channel.identify', { channel: 'brake' });
    await client.call('channel.move', { channel: 'wing', to: 0 });
    await rig.run(1000);
    await client.call('channel.switch', turn('brake', false));
    expect(rig.on('brake')).toBe(false);
  });

  test('what goes off at the same time needs nothing: by a pose and by a step', async () => {
    for (const how of ['pose', 'cue']) {
      const { rig, client } = await Rig.live(prop());
      await client.call('channel.switch', { channel: 'fan', on: true });
      await client.call('channel.switch', { channel: 'fog', on: true });
      await rig.tick();
      await client.refused('channel.switch', { channel: 'fan', on: false });
      if (how === 'pose') await client.call('pose.go', { pose: 'quiet' });
      else await client.call('cue.run', { cue: 'quiet' });
      await rig.run(150);
      expect([how, rig.at('fan'), rig.at('fog')]).toEqual([how, 0, 0]);
      expect(rig.texts('refused').filter((text) => text.startsWith('cue'))).toEqual([]);
    }
  });

  test('a stop and a park are never refused', async () => {
    const { rig, client } = await armOut();
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 10);
    const again = await armOut();
    await again.client.call('stop', { category: 0 });
    expect(again.rig.condition).toBe('stopped');
  });
});

describe('light', () => {
  test('goes dark at once when its requirement ends, and stays dark', async () => {
    const { rig, client } = await opened();
    await client.call('channel.dim', { channel: 'lantern', to: 1 });
    await rig.run(100);
    expect(rig.at('lantern')).toBe(1);
    await client.refused('channel.move', { channel: 'door', to: 0 });
    const door = rig.servo('door');
    door.take(door.plan(0));
    rig.afterTick = () => {
      if (door.setpoint.pos <= 20) expect(rig.at('lantern')).toBe(0);
    };
    await rig.run(2000);
    expect(rig.texts('interlock')).toContain('lantern went dark: it needs door above 20 deg');
    const { channels } = await client.call('channel.list');
    expect(channels.lantern!.flags).toContain('interlocked');
    await client.call('channel.move', { channel: 'door', to: 35 });
    await rig.run(2000);
    expect(rig.at('lantern')).toBe(0);
  });

  test('on its way to light it goes dark, too', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.switch', { channel: 'brake', on: true, forS: 1 });
    await rig.tick();
    await client.call('channel.colour', { channel: 'eye', to: 'red', fadeS: 10 });
    await rig.run(1500);
    expect(rig.at('eye.red')).toBe(0);
    await rig.run(5000);
    expect(rig.at('eye.red')).toBe(0);
  });
});

describe('mutual exclusion: only while the other is parked', () => {
  const wings = (over: Record<string, unknown> = {}) =>
    makeProp(
      {
        left: servo({ park: { to: -10 }, requires: [{ channel: 'right', is: 'parked' }] }),
        right: servo({ park: { to: 10 }, requires: [{ channel: 'left', is: 'parked' }] }),
      },
      { poses: { asleep: { left: -10, right: 10 } }, ...over },
    );

  test('one at a time, whichever is first', async () => {
    for (const [one, other, targetDeg] of [
      ['left', 'right', 0],
      ['right', 'left', 0],
    ] as const) {
      const { rig, client } = await Rig.live(wings());
      await client.call('channel.move', { channel: one, to: targetDeg });
      const refusal = await client.refused('channel.move', { channel: other, to: targetDeg });
      expect(refusal.code).toBe(CODES.interlock);
      await rig.run(1000);
      await client.refused('channel.jog', { channel: other, byDeg: 1 });
      await client.call('pose.go', { pose: 'asleep' });
      await rig.run(1000);
      await client.call('channel.move', { channel: other, to: targetDeg });
    }
  });

  test('both at once is refused', async () => {
    const { rig, client } = await Rig.live(wings({ groups: { g: ['left', 'right'] } }));
    await client.refused('group.move', { group: 'g', to: 0 });
    await rig.run(100);
    expect([rig.servo('left').setpoint.pos, rig.servo('right').setpoint.pos]).toEqual([-10, 10]);
  });

  test('both away: park says that no order keeps it, and brings them home one at a time', async () => {
    const spec = wings();
    const { rig, client } = await Rig.live(spec, {
      restored: restedAt(spec, { left: 20, right: -20 }),
    });
    await client.call('park');
    let together = 0;
    rig.afterTick = () => {
      if (rig.servo('left').moving && rig.servo('right').moving) together++;
    };
    await rig.until(() => rig.condition === 'parked', 8);
    expect(together).toBe(0);
    expect(rig.texts('park').join()).toContain('no order of parking keeps the interlocks');
    expect([rig.servo('left').setpoint.pos, rig.servo('right').setpoint.pos]).toEqual([-10, 10]);
  });
});

describe('while: moving', () => {
  const bound = { channel: 'door', above: 20, while: 'moving' };
  test('binds the other only while this one moves', async () => {
    const spec = makeProp({ door: servo(), turn: servo({ requires: [bound] }) });
    const { rig, client } = await Rig.live(spec);
    await client.refused('channel.move', { channel: 'turn', to: 30 });
    await client.call('channel.move', { channel: 'door', to: 30 });
    await rig.run(1500);
    await client.call('channel.move', { channel: 'turn', to: 30, overS: 1 });
    const refusal = await client.refused('channel.move', { channel: 'door', to: 0 });
    expect(refusal.code).toBe(CODES.interlock);
    await rig.run(500);
    await client.refused('channel.move', { channel: 'door', to: 0 });
    await rig.run(1000);
    await client.call('channel.move', { channel: 'door', to: 0 });
    await rig.run(1000);
    await client.refused('channel.move', { channel: 'turn', to: 0 });
    // Nothing that parks gives it the open door: it goes home all the same.
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 10);
    expect(rig.texts('park')).toEqual([expect.stringContaining('turn goes home though it needs')]);
  });
});

describe('marks', () => {
  test('a requirement follows the mark as it is in use', async () => {
    const { rig, client } = await opened();
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(100);
    expect(rig.on('mist')).toBe(true);
    const refusal = await client.refused('channel.move', { channel: 'door', to: 19 });
    expect(refusal.message).toContain('door above half (20 deg)');
    await client.call('channel.move', { channel: 'door', to: 25 });
    await rig.run(1000);
    // Captured here, the mark lies where the door is: it is no longer above it.
    await client.call('mark.capture', { channel: 'door', mark: 'half' });
    await rig.run(20);
    expect(rig.servo('door').marks.get('half')).toBe(25);
    expect(rig.on('mist')).toBe(false);
    await client.refused('channel.switch', { channel: 'mist', on: true });
    await client.call('channel.move', { channel: 'door', to: 26 });
    await rig.run(500);
    await client.call('channel.switch', { channel: 'mist', on: true });
  });
});

describe('park goes along the interlocks', () => {
  test('across stages: the arm, of a later stage, goes home before the door', async () => {
    const staged = prop({ park: { stages: [['door'], ['arm']], deadlineS: 10 } });
    const { rig, client } = await Rig.live(staged);
    await client.call('channel.move', { channel: 'door', to: 35 });
    await rig.run(1500);
    await client.call('channel.move', { channel: 'arm', to: 30 });
    await rig.run(1500);
    await client.call('park');
    let broken = 0;
    rig.afterTick = () => {
      if (rig.servo('door').setpoint.pos <= 20 && Math.abs(rig.servo('arm').setpoint.pos) > 1e-6)
        broken++;
    };
    await rig.until(() => rig.condition === 'parked', 10);
    expect(broken).toBe(0);
    expect(rig.texts('park')).toEqual([]);
  });

  test('a relay that a servo needs closed opens only when that servo is home', async () => {
    for (const hold of [false, true]) {
      const link = { timeoutMs: 500, ...(hold && { onLoss: 'hold-then-park', holdS: 1 }) };
      const { rig, client } = await Rig.live(prop({ link }));
      await client.call('channel.switch', { channel: 'brake', on: true });
      await rig.tick();
      await client.call('channel.move', { channel: 'wing', to: 30 });
      await rig.run(1000);
      rig.commands.gone(client.session.id);
      let broken = 0;
      rig.afterTick = () => {
        if (!rig.on('brake') && Math.abs(rig.servo('wing').setpoint.pos) > 1e-6) broken++;
      };
      await rig.until(() => rig.condition === 'parked', 10);
      expect([hold, broken]).toEqual([hold, 0]);
      expect(rig.on('brake')).toBe(false);
    }
  });

  test('what has lost what it needs goes home first, and that is told', async () => {
    const spec = prop();
    const { rig, client } = await Rig.live(spec, { restored: restedAt(spec, { arm: 30 }) });
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 8);
    expect(rig.texts('park')).toEqual([
      'arm goes home though it needs door above 20 deg: no order of parking gives it that',
    ]);
  });
});
