import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import { type Client, makeProp, type Recorder, Rig, relay, restedAt, servo } from '../rig.ts';

const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    { neck: servo(), fan: relay() },
    { stopInput: { board: 'main', pin: 20, category: 1 }, ...over },
  );

async function live() {
  const { rig, client } = await Rig.live(prop());
  return { rig, client, guest: rig.client('guest') };
}

const press = (rig: Rig) => rig.board().level.set('stopInput', 1);
const letGo = (rig: Rig) => rig.board().level.set('stopInput', 0);

describe("somebody else's stop", () => {
  const STOPS: [string, (rig: Rig, guest: Client) => Promise<unknown>, string][] = [
    ['of another session', (_rig, guest) => guest.call('stop', { category: 1 }), 'guest'],
    [
      'of a button',
      async (rig) => {
        press(rig);
        await rig.run(50);
        letGo(rig);
      },
      'stop button',
    ],
  ];
  test.each(STOPS)('%s is lifted by the one who names them, 2 s later', async (_of, stop, who) => {
    const { rig, client, guest } = await live();
    await stop(rig, guest);
    await rig.run(1000);
    for (const params of [{}, { confirm: 'desk' }, { confirm: '' }])
      expect((await client.refused('reset', params)).toObject()).toMatchObject({
        code: CODES.condition,
        data: { code: 'reset.confirm', stoppedBy: who, condition: 'stopped' },
      });
    const early = await client.refused('reset', { confirm: who });
    expect(early.toObject().data).toMatchObject({ code: 'reset.too-soon', stoppedBy: who });
    await rig.run(1000);
    await expect(client.call('reset', { confirm: who })).resolves.toEqual({ condition: 'parked' });
  });

  test('a script that resets and wakes in a loop does not undo it', async () => {
    const { rig, client, guest } = await live();
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(300);
    await guest.call('stop', { category: 0 });
    rig.afterTick = () => {
      // The holder's own stop does not make it the holder's to lift.
      client.call('stop', { category: 2 }).catch(() => {});
      client.call('reset').catch(() => {});
      client.call('wake').catch(() => {});
    };
    await rig.run(5000);
    expect(rig.condition).toBe('stopped');
    expect(rig.at('neck')).toBe(0);
  });

  test('the one who stopped lifts it at once', async () => {
    const { rig, client } = await live();
    await client.call('stop', { category: 1 });
    await rig.tick();
    await expect(client.call('reset')).resolves.toEqual({ condition: 'parked' });
  });

  test('a session of the same name is somebody else', async () => {
    const { rig, client } = await live();
    await rig.client('desk').call('stop', { category: 1 });
    await rig.run(3000);
    expect((await client.refused('reset')).values.code).toBe('reset.confirm');
    await client.call('reset', { confirm: 'desk' });
  });

  test('the time counts from when the button was let go', async () => {
    const { rig, client } = await live();
    press(rig);
    await rig.run(5000);
    letGo(rig);
    await rig.run(1500);
    const refusal = await client.refused('reset', { confirm: 'stop button' });
    expect(refusal.values.code).toBe('reset.too-soon');
    await rig.run(600);
    await client.call('reset', { confirm: 'stop button' });
  });

  test('in a fault, too', async () => {
    const { rig, client, guest } = await live();
    rig.core.fail(new Error('on purpose'));
    await rig.tick();
    await guest.call('stop', { category: 0 });
    await rig.run(3000);
    expect(rig.condition).toBe('faulted');
    expect((await client.refused('reset')).values.code).toBe('reset.confirm');
    await client.call('reset', { confirm: 'guest' });
    expect(rig.condition).toBe('parked');
  });
});

describe('a stop that arrives during a reset', () => {
  const EVENTS: [string, (rig: Rig, guest: Client) => Promise<void>][] = [
    ['of a session', async (_rig, guest) => void (await guest.call('stop', { category: 0 }))],
    [
      'of the button, let go again',
      async (rig) => {
        press(rig);
        await rig.run(20);
        letGo(rig);
        await rig.run(20);
      },
    ],
    ['a fault of the core', async (rig) => rig.core.fail(new Error('on purpose'))],
  ];
  test.each(EVENTS)('%s: wins, in faulted', async (_what, event) => {
    const one = makeProp(
      { neck: servo(), jaw: servo({ board: 'other' }) },
      {
        boards: { main: { driver: 'sim' }, other: { driver: 'sim' } },
        stopInput: { board: 'main', pin: 20, category: 1 },
      },
    );
    const { rig, client } = await Rig.live(one);
    const guest = rig.client('guest');
    const other = rig.boards.get('other') as Recorder;
    other.failing.write = new Error('no answer');
    await client.call('channel.move', { channel: 'jaw', to: 30 });
    await rig.run(3000);
    expect(rig.condition).toBe('faulted');
    other.failing = {};
    let open = () => {};
    other.opening = new Promise((resolve) => {
      open = resolve;
    });
    const refused = client.refused('reset');
    await rig.run(50);
    await event(rig, guest);
    open();
    expect((await refused).message).toMatch(/stopped again|failed/);
    expect(rig.condition).toBe('faulted');
  });
});

describe('across restarts', () => {
  const restart = (rig: Rig, one = prop()) =>
    Rig.open(one, { restored: { ...rig.store.durable!, sameBoot: false } });

  test.each([0, 1, 2] as const)('a stop of category %d stays', async (category) => {
    const { rig, guest } = await live();
    await guest.call('stop', { category });
    await rig.run(100);
    const again = await restart(rig);
    await again.run(3000);
    expect(again.condition).toBe('stopped');
    const client = again.client('desk');
    await client.call('lease.take');
    expect((await client.refused('wake')).code).toBe(CODES.condition);
    expect((await client.refused('reset')).values).toMatchObject({ stoppedBy: 'guest' });
    await client.call('reset', { confirm: 'guest' });
    await again.tick();
    expect((await restart(again)).condition).toBe('parked');
  });

  test('whoever stopped is somebody else after it', async () => {
    const { rig, client } = await live();
    await client.call('stop', { category: 1 });
    await rig.core.close();
    const again = await restart(rig);
    const operator = again.client('desk');
    await operator.call('lease.take');
    expect((await operator.refused('reset', { confirm: 'desk' })).values.code).toBe(
      'reset.too-soon',
    );
    await again.run(2100);
    await operator.call('reset', { confirm: 'desk' });
  });

  test.each<[string, (rig: Rig) => unknown]>([
    ['of the core', (rig) => rig.core.fail(new Error('on purpose'))],
    [
      'of a board',
      (rig) => {
        rig.board().failing.read = new Error('no answer');
      },
    ],
  ])('a fault %s stays', async (_of, fault) => {
    const { rig } = await live();
    fault(rig);
    await rig.run(100);
    expect(rig.condition).toBe('faulted');
    expect((await restart(rig)).condition).toBe('faulted');
  });
});

describe('a trigger that may run unattended', () => {
  const one = makeProp(
    { neck: servo(), fan: relay() },
    {
      cues: { nod: [{ at: 0, move: { neck: 24 } }] },
      triggers: { dawn: { start: true, cue: 'nod', unattended: true } },
    },
  );
  const begun = async (restored: NonNullable<Parameters<typeof Rig.open>[1]>['restored']) => {
    const rig = await Rig.open(one, { restored: restored! });
    rig.core.triggers.begin();
    await rig.run(2000);
    return rig;
  };
  const ran = (rig: Rig) => rig.texts('cue').includes('cue nod runs');

  test('runs after a clean end, and not after another one', async () => {
    const rig = await begun(restedAt(one));
    expect(ran(rig)).toBe(true);
    await rig.until(() => rig.condition === 'parked');
    // Killed, or without power, while parked.
    const killed = await begun({ ...rig.store.durable!, sameBoot: true });
    expect(killed.core.body.servos.every(({ known }) => known)).toBe(true);
    expect(ran(killed)).toBe(false);
    expect(killed.writes).toEqual([]);
    expect(killed.texts('refused').join()).toMatch(/somebody must look at the prop/);
    // A clean end does not make up for it.
    await killed.core.close();
    expect(ran(await begun({ ...killed.store.durable!, sameBoot: true }))).toBe(false);
  });

  test('runs again once somebody has been there', async () => {
    const rig = await begun({ ...restedAt(one), clean: false });
    expect(ran(rig)).toBe(false);
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('lease.release', {});
    rig.core.triggers.fire('dawn');
    await rig.run(2000);
    expect(ran(rig)).toBe(true);
  });

  test('a daemon that ended faulted did not end as it should', async () => {
    const rig = await begun(restedAt(one));
    rig.core.fail(new Error('on purpose'));
    await rig.core.close();
    expect(rig.store.durable!.clean).toBe(false);
  });

  test('no trigger runs on a state that is damaged, or does not say how the daemon ended', async () => {
    const { clean: _, ...silent } = restedAt(one);
    for (const restored of ['damaged', silent] as const)
      expect(ran(await begun(restored))).toBe(false);
  });
});

describe('a stop ends', () => {
  // At 120 deg/s it takes 6 s to come to rest.
  const heavy = (over: Record<string, unknown> = {}) =>
    makeProp({ neck: servo({ accelDegS2: 20, limitsDeg: [-49, 49] }) }, over);

  async function moving(over?: Record<string, unknown>) {
    const { rig, client } = await Rig.live(heavy(over));
    await client.call('channel.move', { channel: 'neck', to: 49 });
    await rig.run(2000);
    expect(rig.servo('neck').moving).toBe(true);
    return { rig, client };
  }
  const pulsesEnd = async (rig: Rig) => {
    const fromMs = rig.clock.nowMs();
    await rig.until(() => rig.at('neck') === 0);
    return rig.clock.nowMs() - fromMs;
  };

  test.each([
    [undefined, 1000],
    [{ stop: { deadlineS: 0.4 } }, 400],
  ])('of category 1 with %j drops the power after %d ms', async (over, ms) => {
    const { rig, client } = await moving(over);
    await client.call('stop', { category: 1 });
    expect(Math.abs((await pulsesEnd(rig)) - ms)).toBeLessThanOrEqual(10);
    expect(rig.condition).toBe('stopped');
    expect(rig.texts('stop').at(-1)).toMatch(/^stop category 0: not at rest within .* neck$/);
    expect(rig.servo('neck').known).toBe(false);
  });

  test('and asking again does not put that off', async () => {
    const { rig, client } = await moving();
    rig.afterTick = () => void client.call('stop', { category: 1 });
    await rig.tick();
    expect(await pulsesEnd(rig)).toBeLessThanOrEqual(1010);
  });

  test('in a fault, a milder stop does not hold what a stricter one will drop', async () => {
    const one = makeProp(
      { neck: servo({ accelDegS2: 20, limitsDeg: [-49, 49] }), jaw: servo({ board: 'other' }) },
      { boards: { main: { driver: 'sim' }, other: { driver: 'sim' } } },
    );
    const { rig, client } = await Rig.live(one);
    await client.call('channel.move', { channel: 'neck', to: 49 });
    await rig.run(2000);
    (rig.boards.get('other') as Recorder).failing.read = new Error('no answer');
    (rig.boards.get('other') as Recorder).failing.sense = new Error('no answer');
    await rig.run(50);
    expect([rig.condition, rig.servo('neck').moving]).toEqual(['faulted', true]);
    await client.call('stop', { category: 1 });
    await client.call('stop', { category: 2 });
    expect(await pulsesEnd(rig)).toBeLessThanOrEqual(1010);
  });

  test.each([
    [undefined, 60_000],
    [{ stop: { holdS: 5 } }, 5000],
  ])('of category 2 with %j holds for %d ms, also when asked again', async (over, ms) => {
    const { rig, client } = await moving(over);
    await client.call('stop', { category: 2 });
    const fromMs = rig.clock.nowMs();
    await rig.run(ms / 2);
    await client.call('stop', { category: 2 });
    await pulsesEnd(rig);
    expect(Math.abs(rig.clock.nowMs() - fromMs - ms)).toBeLessThanOrEqual(10);
    expect(rig.texts('stop').at(-1)).toMatch(/^stop category 0: held for/);
    expect(rig.servo('neck').known).toBe(false);
  });

  test('and goes on to end after a reset, until it is woken or parked', async () => {
    for (const next of ['none', 'wake', 'park'] as const) {
      const { rig, client } = await moving({
        stop: { holdS: 8 },
        park: { stages: [], deadlineS: 60 },
      });
      await client.call('stop', { category: 2 });
      await rig.run(7000);
      await client.call('reset');
      if (next !== 'none') await client.call(next);
      await rig.run(3000);
      expect([next, rig.at('neck') === 0]).toEqual([next, next === 'none']);
    }
  });
});
