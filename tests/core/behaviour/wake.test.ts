import { createHash } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import { placeDigest } from '../../../src/core/servo.ts';
import type { ServoChannel } from '../../../src/prop/schema.ts';
import { CODES } from '../../../src/shared/errors.ts';
import { FLAG } from '../../../src/shared/telemetry.ts';
import { type Client, makeProp, pulseOf, Rig, relay, restedAt, servo, TICK_MS } from '../rig.ts';

const draw = { idleA: 0.1, movingA: 0.6, stallA: 1.5 };
const four = (limitA: number) =>
  makeProp(
    {
      one: servo({ rail: 'six', draw }),
      two: servo({ rail: 'six', draw }),
      three: servo({ rail: 'six', draw }),
      four: servo({ rail: 'six', draw }),
    },
    { rails: { six: { volts: 6, limitA } } },
  );
const NAMES = ['one', 'two', 'three', 'four'];

async function wake(rig: Rig, watch: () => void = () => {}): Promise<void> {
  const client = rig.client('desk');
  rig.afterTick = watch;
  await rig.wake(client);
  rig.afterTick = undefined;
}

/** The first pulse written to each output, in order of time. */
const firstPulses = (rig: Rig) => {
  const first = new Map<string, { ms: number; value: number }>();
  for (const { output, ms, value } of rig.writes)
    if (value !== 0 && !first.has(output)) first.set(output, { ms, value });
  return first;
};

describe('from known positions', () => {
  const at = { one: -12.5, two: 7, three: 0, four: 39.9 };

  test('the first pulse of each servo is its last known position, and it stays there', async () => {
    const prop = four(4);
    const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
    await wake(rig);
    await rig.run(500);
    expect(rig.writes).toHaveLength(4);
    for (const [name, { value }] of firstPulses(rig))
      expect([name, value]).toEqual([name, pulseOf(at[name as keyof typeof at])]);
  });

  test('they start one after the other', async () => {
    const prop = four(4);
    const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
    await wake(rig);
    const times = [...firstPulses(rig).values()].map(({ ms }) => ms);
    for (let i = 1; i < 4; i++) expect(times[i]! - times[i - 1]!).toBeGreaterThanOrEqual(50);
  });

  test.each([0.9, 1.0, 1.5, 2.4])('the rail stays within %d A at every tick', async (limitA) => {
    const prop = four(limitA);
    const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
    let worst = 0;
    await wake(rig, () => {
      worst = Math.max(worst, rig.amps('six'));
    });
    expect(worst).toBeGreaterThanOrEqual(0.6);
    expect(worst).toBeLessThanOrEqual(limitA + 1e-9);
  });

  test('on a tight rail it takes longer, on a wide one it does not', async () => {
    const durations = [];
    for (const limitA of [0.9, 4]) {
      const prop = four(limitA);
      const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
      await wake(rig);
      durations.push(rig.clock.nowMs());
    }
    expect(durations[0]).toBeGreaterThan(durations[1]! + 200);
  });

  test('commands are refused until it is live', async () => {
    const prop = four(4);
    const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
    const client = rig.client('desk');
    await client.call('lease.take');
    let answered: unknown;
    void client.call('wake', { wait: true }).then((value) => {
      answered = value;
    });
    await rig.tick();
    expect((await client.refused('channel.move', { channel: 'one', to: 0 })).code).toBe(
      CODES.condition,
    );
    expect(answered).toBeUndefined();
    await rig.until(() => rig.condition === 'live');
    await rig.tick();
    expect(answered).toEqual({ condition: 'live' });
  });

  test('whoever waits for the end of the waking learns that it was stopped', async () => {
    const prop = four(4);
    const rig = await Rig.open(prop, { restored: restedAt(prop, at) });
    const client = rig.client('desk');
    await client.call('lease.take');
    const refused = client.refused('wake', { wait: true });
    await rig.tick();
    await client.call('stop', { category: 0 });
    await rig.tick();
    expect((await refused).code).toBe(CODES.condition);
    expect(rig.writes.at(-1)!.value).toBe(0);
  });
});

test('a wake that the rail can never hold is refused, with the amps, and starts nothing', async () => {
  const prop = four(0.85);
  const rig = await Rig.open(prop, { restored: restedAt(prop) });
  const client = rig.client('desk');
  await client.call('lease.take');
  const refusal = await client.refused('wake');
  expect(refusal.code).toBe(CODES.railLimit);
  // Three hold at 0.1 A while the last one takes 0.6 A.
  expect(refusal.values).toMatchObject({ rail: 'six', amps: 0.9, limitA: 0.85 });
  await rig.run(1000);
  expect(rig.writes).toHaveLength(0);
  expect(rig.condition).toBe('parked');
});

describe('from positions that are not known', () => {
  const prop = four(4);
  const restored = { ...restedAt(prop, { one: 3, three: 4 }) };

  test('they come last and alone, flagged, and the journal says so', async () => {
    const { one, three } = restored.positions;
    const positions = { one: one!, three: three! };
    const rig = await Rig.open(prop, { restored: { ...restored, positions } });
    const flagged = new Set<string>();
    let jumping = 0;
    await wake(rig, () => {
      const now = NAMES.filter((name) => {
        const one = rig.servo(name);
        return one.pulsing && (one.flags() & FLAG.unknown) !== 0;
      });
      for (const name of now) flagged.add(name);
      jumping = Math.max(jumping, now.length);
    });
    expect([...flagged]).toEqual(['two', 'four']);
    expect(jumping).toBe(1);
    expect([...firstPulses(rig).keys()]).toEqual(['one', 'three', 'two', 'four']);
    expect(rig.texts('position unknown').map((text) => text.split(' ')[0])).toEqual([
      'two',
      'four',
    ]);
    // A jump from one end of the envelope to the other, at 200 deg/s: 120 / 200 s.
    const first = firstPulses(rig);
    expect(first.get('four')!.ms - first.get('two')!.ms).toBeGreaterThanOrEqual(600);
    expect(rig.core.body.servos.every((one) => (one.flags() & FLAG.unknown) === 0)).toBe(true);
  });

  test('they are sent to the park position, nowhere else', async () => {
    const rig = await Rig.open(prop, { restored: 'none' });
    await wake(rig);
    expect(rig.writes.map(({ value }) => value)).toEqual([1500, 1500, 1500, 1500]);
  });

  test.each([0, 1, 2] as const)(
    'cut off by stop %d on its way, it is not known again',
    async (category) => {
      const rig = await Rig.open(prop, { restored: 'none' });
      const client = rig.client('desk');
      await client.call('lease.take');
      await client.call('wake');
      await rig.run(100);
      expect(rig.servo('one').pulsing).toBe(true);
      await client.call('stop', { category });
      await rig.run(50);
      // Category 2 goes on holding, so it still gets there.
      expect(rig.servo('one').known).toBe(category === 2);
      expect(rig.servo('two').known).toBe(false);
    },
  );
});

describe('a servo that stands nobody knows where', () => {
  const prop = makeProp({
    neck: servo(),
    jaw: servo(),
    // Limp and known at its park position, as parking leaves it.
    wing: servo({ park: { to: 0, then: 'release' } }),
  });
  const NONE_MOVES = async (rig: Rig, before: number) => {
    await rig.run(2000);
    expect(rig.writes).toHaveLength(before);
    expect(rig.condition).toBe('parked');
  };

  /** Live, with the neck away from its park position, the others at theirs. */
  async function playAway() {
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(1500);
    expect(rig.servo('neck').setpoint.pos).toBe(30);
    return { rig, client };
  }

  const CUTS: [string, (rig: Rig, client: Client) => Promise<unknown>][] = [
    ['stop 0', (_rig, client) => client.call('stop', { category: 0 })],
    ['stop 1', (_rig, client) => client.call('stop', { category: 1 })],
    [
      'the deadline of parking',
      async (rig) => {
        rig.core.body.prop.park.deadlineS = 0.05;
        rig.core.park('prop');
      },
    ],
    ['a fault of the core', async (rig) => rig.core.fail(new Error('on purpose'))],
  ];
  test.each(CUTS)('%s away from rest: a wake names it and moves nothing', async (_name, cut) => {
    const { rig, client } = await playAway();
    await cut(rig, client);
    await rig.run(1000);
    expect(rig.at('neck')).toBe(0);
    await client.call('reset');
    const { length } = rig.writes;
    const refusal = await client.refused('wake', {});
    expect(refusal.toObject()).toMatchObject({
      code: CODES.condition,
      data: { code: 'wake.unknown-servos', servos: ['neck'], condition: 'parked' },
    });
    expect(refusal.message).toMatch(/neck.*one at a time.*hands clear/);
    expect(rig.servo('neck').flags() & FLAG.unknown).not.toBe(0);
    await NONE_MOVES(rig, length);
    await client.call('wake', { confirm: 'unknown' });
    await rig.until(() => rig.condition === 'live');
    expect(rig.writes.slice(length).map(({ output }) => output)).toEqual(['jaw', 'wing', 'neck']);
    expect(rig.writes.at(-1)!.value).toBe(1500);
  });

  test('a stop at rest leaves everything known', async () => {
    const { rig, client } = await Rig.live(prop);
    await client.call('stop', { category: 0 });
    await rig.run(100);
    await client.call('reset');
    await client.call('wake', {});
    await rig.until(() => rig.condition === 'live');
  });

  test('what a stop left known and unknown is durable, and the same after a restart', async () => {
    const { rig, client } = await playAway();
    await client.call('stop', { category: 0 });
    await rig.tick();
    const again = await Rig.open(prop, { restored: { ...rig.store.durable!, sameBoot: false } });
    expect(again.core.body.servos.map(({ known }) => known)).toEqual([false, true, true]);
  });

  test('a prop that never ran asks once', async () => {
    const rig = await Rig.open(prop);
    const client = rig.client('desk');
    await client.call('lease.take');
    expect((await client.refused('wake', {})).values.servos).toEqual(['neck', 'jaw', 'wing']);
    await client.call('wake', { confirm: 'unknown' });
    await rig.until(() => rig.condition === 'live');
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    await client.call('wake', {});
    await rig.until(() => rig.condition === 'live');
  });

  test('no trigger wakes it, and it says why', async () => {
    const triggered = makeProp(
      { neck: servo() },
      {
        cues: { nod: [{ at: 0, move: { neck: 24 } }] },
        triggers: { dawn: { start: true, cue: 'nod', unattended: true } },
      },
    );
    const rig = await Rig.open(triggered);
    rig.core.triggers.begin();
    await NONE_MOVES(rig, 0);
    expect(rig.texts('refused').join()).toContain('nobody knows where these servos stand: neck');
  });

  test.each([
    ['another output', { output: { board: 'main', pin: 9 } }],
    [
      'another calibration',
      {
        calibration: [
          [1000, -60],
          [2000, 50],
        ],
      },
    ],
    [
      'a linkage',
      {
        linkage: { hornMm: 12, armMm: 20, pivotMm: 60, rodMm: 60, hornZeroDeg: 90, armZeroDeg: 90 },
      },
    ],
  ])('saved for %s, its position is not known', async (_what, over) => {
    const { neck, ...others } = prop.channels;
    const changed = { ...prop, channels: { neck: { ...neck, ...over } as never, ...others } };
    const other = await Rig.open(prop, { restored: restedAt(changed) });
    expect(other.core.body.servos.map(({ known }) => known)).toEqual([false, true, true]);
  });

  // Until then, crossed was counted from the horn above the line, and the angle was another one.
  test('saved by an earlier release for a linkage with the horn below the line, it is not known', () => {
    const spec = { ...prop.channels.neck } as ServoChannel;
    const linkage = (hornZeroDeg: number) => ({
      ...{ groundMm: 60, hornMm: 20, couplerMm: 62, flapMm: 24, crossed: false },
      hornZeroDeg,
    });
    const earlier = (one: ServoChannel) =>
      createHash('sha256')
        .update(JSON.stringify([one.output, one.calibration, one.linkage]))
        .digest('hex')
        .slice(0, 16);
    const above = { ...spec, linkage: linkage(80) };
    const below = { ...spec, linkage: linkage(-80) };
    expect(placeDigest(above)).toBe(earlier(above));
    expect(placeDigest(below)).not.toBe(earlier(below));
  });

  test('saved without a digest, as earlier releases did, nothing is known', async () => {
    const { digests: _, ...restored } = restedAt(prop);
    const rig = await Rig.open(prop, { restored });
    expect(rig.core.body.servos.map(({ known }) => known)).toEqual([false, false, false]);
  });

  test('they go in park order, and along the interlocks within a stage', async () => {
    const owl = makeProp(
      {
        tail: servo(),
        // Shut at park: the beak goes home before the lid, the wing after it.
        lid: servo(),
        wing: servo({ requires: [{ channel: 'lid', below: 5 }] }),
        beak: servo({ requires: [{ channel: 'lid', above: 5 }] }),
        loop_a: servo({ requires: [{ channel: 'loop_b', above: 5 }] }),
        loop_b: servo({ requires: [{ channel: 'loop_a', above: 5 }] }),
        head: servo(),
      },
      { park: { stages: [['head'], ['lid', 'wing', 'beak'], ['loop_a', 'loop_b']] } },
    );
    const rig = await Rig.open(owl);
    await wake(rig);
    expect([...firstPulses(rig).keys()]).toEqual([
      ...['head', 'beak', 'lid', 'wing', 'loop_a', 'loop_b', 'tail'],
    ]);
  });
});

describe('positions outlive the daemon', () => {
  const prop = makeProp({ neck: servo(), jaw: servo({ park: { to: 0, then: 'release' } }) });

  async function play(): Promise<Rig> {
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'neck', to: 25 });
    await rig.run(1000);
    return rig;
  }

  test('after a clean end while live, what was cut off away from its park position is not known', async () => {
    const rig = await play();
    await rig.core.close();
    const again = await Rig.open(prop, { restored: { ...rig.store.durable!, sameBoot: true } });
    expect([again.servo('neck').known, again.servo('jaw').known]).toEqual([false, true]);
    expect(again.servo('jaw').setpoint.pos).toBe(0);
  });

  test.each([20, 260, 1000])('after a crash %d ms into a move nothing is known', async (ms) => {
    const { rig, client } = await Rig.live(prop);
    await client.call('channel.move', { channel: 'neck', to: 25 });
    await rig.run(ms);
    for (const state of [rig.store.saved!, rig.store.durable!]) {
      const again = await Rig.open(prop, { restored: { ...state, sameBoot: true } });
      const operator = again.client('desk');
      await operator.call('lease.take');
      expect((await operator.refused('wake', {})).values.servos).toEqual(['neck', 'jaw']);
    }
  });

  test('after a crash at rest, what was durable there is known', async () => {
    const rig = await play();
    await rig.clients[0]!.call('park');
    await rig.until(() => rig.condition === 'parked');
    await rig.run(1000);
    const again = await Rig.open(prop, { restored: { ...rig.store.durable!, sameBoot: true } });
    expect(again.core.body.servos.map(({ known }) => known)).toEqual([true, true]);
  });

  test('after a power cut while live nothing is known', async () => {
    const rig = await play();
    for (const state of [rig.store.saved!, rig.store.durable!]) {
      expect(state.settled).toBe(false);
      const again = await Rig.open(prop, { restored: { ...state, sameBoot: false } });
      await wake(again);
      expect(again.texts('position unknown')).toHaveLength(2);
    }
  });

  test('a power cut before the first pulse of a waking already finds nothing settled', async () => {
    const rig = await Rig.open(prop, { restored: restedAt(prop) });
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('wake');
    expect(rig.writes).toHaveLength(0);
    expect(rig.store.durable!.settled).toBe(false);
  });

  test('after a power cut while parked everything is known', async () => {
    const rig = await play();
    await rig.clients[0]!.call('park');
    await rig.until(() => rig.condition === 'parked');
    const again = await Rig.open(prop, { restored: { ...rig.store.durable!, sameBoot: false } });
    await wake(again);
    expect(again.texts('position unknown')).toEqual([]);
    expect(again.writes.map(({ value }) => value)).toEqual([1500, 1500]);
  });

  test.each([
    ['NaN', Number.NaN],
    ['infinite', Number.POSITIVE_INFINITY],
    ['beyond the envelope', 60.1],
    ['huge', -1e308],
  ])('a saved position that is %s is not believed', async (_what, deg) => {
    const rig = await Rig.open(prop, { restored: restedAt(prop, { neck: deg }) });
    expect(rig.servo('neck').known).toBe(false);
    await wake(rig);
    expect(rig.texts('position unknown')).toHaveLength(1);
    for (const { value } of rig.writes) expect(value).toBe(1500);
  });

  test('a channel whose name every object knows is not taken from there', async () => {
    const odd = makeProp({
      constructor: servo(),
      valueOf: relay({ duty: { maxOnS: 1, restS: 1 } }),
    });
    const rig = await Rig.open(odd, {
      restored: { settled: true, sameBoot: true, positions: {}, duty: {} },
    });
    expect(rig.servo('constructor').known).toBe(false);
    await wake(rig);
    expect(rig.at('constructor')).toBe(1500);
  });

  test('a position between the soft limits and the envelope is taken up and led back inside', async () => {
    const rig = await Rig.open(prop, { restored: restedAt(prop, { neck: 45 }) });
    await wake(rig);
    expect(rig.at('neck')).toBe(pulseOf(45));
    await rig.clients[0]!.call('channel.move', { channel: 'neck', to: 40 });
    let before = pulseOf(45);
    rig.afterTick = () => {
      expect(rig.at('neck')).toBeLessThanOrEqual(before);
      expect(before - rig.at('neck')).toBeLessThanOrEqual((120 * TICK_MS) / 100 + 1);
      before = rig.at('neck');
    };
    await rig.run(1000);
    expect(rig.at('neck')).toBe(pulseOf(40));
  });
});
