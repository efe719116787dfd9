import { describe, expect, test } from 'vitest';
import { makeProp, pulseOf, Rig, relay, servo, TICK_S } from './rig.ts';

const prop = (channels: Record<string, Record<string, unknown>> = {}) =>
  makeProp(
    { neck: servo({ marks: { up: 30 } }), lid: servo(), fan: relay(), ...channels },
    {
      osc: {
        port: 9000,
        perform: {
          '/owl/neck': { channel: 'neck', from: 0, to: 'up' },
          '/owl/lid': { channel: 'lid' },
        },
      },
      cues: { look: [{ at: 0.5, move: { neck: -20 } }] },
      triggers: { look: { osc: '/owl/look', cue: 'look' } },
    },
  );

async function armed(of = prop()) {
  const { rig, client } = await Rig.live(of);
  await client.call('trigger.arm', { armed: true });
  return { rig, client };
}

/** A value every 20 ms for so long. */
async function lead(rig: Rig, values: Record<string, number | null>, ms: number): Promise<void> {
  for (let atMs = 0; atMs < ms; atMs += 20) {
    rig.core.osc.hear(values);
    await rig.run(20);
  }
}

/** What the journal has of refusals: like ones are one entry. */
const refused = ({ core }: Rig) =>
  core.journal
    .read()
    .filter(({ what }) => what === 'refused')
    .map(({ text }) => text);

/** The longest way to a stop (s), and two ticks. */
const STOP_S = 120 / 600 + 0.01;

describe('OSC messages that lead servos', () => {
  test('go from one end to the other that the prop file says, within all limits', async () => {
    const { rig } = await armed();
    const neck = rig.servo('neck');
    let most = 0;
    let last = neck.setpoint.pos;
    rig.afterTick = () => {
      most = Math.max(most, Math.abs(neck.setpoint.pos - last) / TICK_S);
      last = neck.setpoint.pos;
    };
    await lead(rig, { '/owl/neck': 1, '/owl/lid': 0 }, 1000);
    expect([rig.at('neck'), rig.at('lid')]).toEqual([pulseOf(30), pulseOf(-40)]);
    await lead(rig, { '/owl/neck': 0.5, '/owl/lid': 1 }, 1500);
    expect([rig.at('neck'), rig.at('lid')]).toEqual([pulseOf(15), pulseOf(40)]);
    expect(most).toBeLessThanOrEqual(120 + 1e-6);
    expect(rig.texts('refused')).toEqual([]);
    expect(rig.texts('channel.perform')[0]).toBe('performs neck');
  });

  test('that fall silent: the servo decelerates and holds, and others go on', async () => {
    const { rig } = await armed();
    await lead(rig, { '/owl/lid': 0 }, 1000);
    await lead(rig, { '/owl/neck': 1, '/owl/lid': 1 }, 60);
    await lead(rig, { '/owl/neck': 0.2 }, 240);
    expect(rig.core.performer.names).toEqual(['neck']);
    await lead(rig, { '/owl/neck': 0.9 }, 1000 * STOP_S);
    const at = rig.servo('lid').setpoint.pos;
    // At full speed for 0.3 s, and the way to a stop.
    expect([rig.servo('lid').moving, at < 15]).toEqual([false, true]);
    await lead(rig, { '/owl/neck': 0.9 }, 1000);
    expect(rig.servo('lid').setpoint.pos).toBe(at);
    expect(rig.servo('neck').setpoint.pos).toBeCloseTo(27, 6);
    await rig.run(300);
    expect(rig.core.performer.names).toEqual([]);
    expect(rig.texts('channel.perform').at(-1)).toMatch(/^performs nothing any more/);
  });

  test('do nothing as long as the holder has not armed them, and end when they are disarmed', async () => {
    const { rig, client } = await Rig.live(prop());
    await lead(rig, { '/owl/neck': 1 }, 200);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
    expect(refused(rig)).toEqual([expect.stringMatching(/^\/owl\/neck: desk has control/)]);
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { '/owl/neck': 1 }, 100);
    await client.call('trigger.arm', { armed: false });
    rig.core.osc.hear({ '/owl/neck': 1 });
    await rig.run(1000 * STOP_S);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(25);
  });

  test('do nothing with nobody in control: parked, in a time of grace, and with an unattended trigger', async () => {
    const { rig, client } = await armed();
    await lead(rig, { '/owl/neck': 1 }, 100);
    await client.call('lease.release', { graceS: 30 });
    await lead(rig, { '/owl/neck': 1 }, 600);
    expect(rig.servo('neck').moving).toBe(false);
    const at = rig.servo('neck').setpoint.pos;
    expect(at).toBeLessThan(25);
    const guest = rig.client('guest');
    await guest.call('lease.take');
    await lead(rig, { '/owl/neck': 1 }, 600);
    expect(rig.servo('neck').setpoint.pos).toBe(at);
    await guest.call('park');
    await rig.until(() => rig.condition === 'parked');
    await guest.call('trigger.arm', { armed: true });
    await lead(rig, { '/owl/neck': 1 }, 600);
    expect(rig.condition).toBe('parked');
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test.each([
    ['stop', { category: 2 }],
    ['park', {}],
  ] as const)('after %s nothing of it is carried out', async (method, params) => {
    const { rig, client } = await armed();
    await lead(rig, { '/owl/neck': 1 }, 100);
    await client.call(method, params as never);
    const at = rig.servo('neck').setpoint.pos;
    await lead(rig, { '/owl/neck': 1 }, 1500);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(at + 120 * STOP_S);
    expect(rig.core.performer.names).toEqual([]);
  });

  test('with a lost link the prop parks, whatever they say', async () => {
    const { rig, client } = await armed();
    await lead(rig, { '/owl/neck': 1 }, 100);
    client.silent = true;
    await lead(rig, { '/owl/neck': 1 }, 3000);
    expect(rig.condition).toBe('parked');
    expect(rig.at('neck')).toBe(pulseOf(0));
  });

  test('a command of the holder wins, and the page and OSC let go only of their own', async () => {
    const { rig, client } = await armed();
    await lead(rig, { '/owl/neck': 1 }, 100);
    await client.call('channel.perform', { targets: { lid: 20 } });
    rig.core.osc.hear({ '/owl/neck': 1 });
    expect(rig.core.performer.names).toEqual(['neck', 'lid']);
    await client.call('channel.perform', { targets: {} });
    expect(rig.core.performer.names).toEqual(['neck']);
    await client.call('channel.move', { channel: 'neck', to: -30 });
    await rig.run(1500);
    expect(rig.at('neck')).toBe(pulseOf(-30));
    await lead(rig, { '/owl/neck': 0 }, 100);
    await client.call('cue.run', { cue: 'look' });
    expect(rig.core.performer.names).toEqual([]);
    await rig.until(() => !rig.core.cues.anyRunning);
    expect(rig.at('neck')).toBe(pulseOf(-20));
  });
});

describe('attacks by OSC', () => {
  test.each([[null], [-0.01], [1.01], [1e300], [Number.NaN], [Number.POSITIVE_INFINITY]])(
    'the value %s is refused, counted, and moves nothing',
    async (value) => {
      const { rig } = await armed();
      await lead(rig, { '/owl/neck': value }, 2000);
      expect(rig.servo('neck').setpoint.pos).toBe(0);
      expect(refused(rig)).toEqual([expect.stringMatching(/one number from 0 to 1/)]);
      // Nobody is told of each message.
      expect(rig.texts('refused').length).toBeLessThanOrEqual(2);
    },
  );

  test('an address that leads nothing, and names of the language itself, are not heard', async () => {
    const { rig } = await armed();
    const before = rig.entries.length;
    await lead(rig, { '/owl/fan': 1, '/owl/look': 1, toString: 1, constructor: 1 }, 200);
    expect(rig.entries.length).toBe(before);
    expect(rig.on('fan')).toBe(false);
  });

  test('to and fro in a flood: one plan a tick, and no flood in the journal', async () => {
    const { rig } = await armed();
    const neck = rig.servo('neck');
    const entries = rig.entries.length;
    let most = 0;
    let { plans } = neck;
    rig.afterTick = () => {
      most = Math.max(most, neck.plans - plans);
      ({ plans } = neck);
    };
    for (let i = 0; i < 2000; i++) {
      rig.core.osc.hear({ '/owl/neck': i % 2 });
      if (i % 5 === 4) await rig.tick();
    }
    expect(most).toBe(1);
    expect(rig.entries.length - entries).toBeLessThan(5);
  });

  test('what an interlock or captured limits forbid is refused once, and holds', async () => {
    const { rig } = await armed(
      prop({ neck: servo({ marks: { up: 30 }, requires: [{ channel: 'lid', above: 5 }] }) }),
    );
    await lead(rig, { '/owl/neck': 1 }, 300);
    expect(rig.texts('refused')).toHaveLength(1);
    rig.servo('lid').setLimits([-10, 10]);
    // The address has the limits as they are now.
    await lead(rig, { '/owl/lid': 1 }, 600);
    expect(rig.at('lid')).toBe(pulseOf(10));
    rig.servo('neck').setLimits([-40, 20]);
    await lead(rig, { '/owl/neck': 1 }, 600);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
    expect(rig.texts('refused').at(-1)).toMatch(/30 deg is outside/);
  });
});
