import { describe, expect, test } from 'vitest';
import type { ChangeMessage, CoreProp } from '../../src/core/core-prop.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { PeakFlashCounter } from '../faults/flash-counter.ts';
import { lamp, makeProp, Rig, relay, servo } from './rig.ts';

/** Another version of a prop, as the prop-file service sends it. */
function wholeChange(id: number, prop: Prop): ChangeMessage[] {
  const { channels, cues, ...rest } = prop;
  return [
    {
      ...{
        t: 'begin',
        id,
        version: `v${id}`,
        base: '',
        whenParked: true,
        changed: [`change ${id}`],
      },
      view: new Uint8Array(),
      rest,
    },
    ...Object.entries(channels).map(([name, spec]) => ({ t: 'channel', name, spec }) as const),
    ...Object.entries(cues).map(([name, cue]) => ({ t: 'cue', name, cue, durationS: 1 }) as const),
    { t: 'end' },
  ];
}

function smallChange(id: number, rest: Partial<CoreProp>, parts: ChangeMessage[]): ChangeMessage[] {
  return [
    {
      ...{
        t: 'begin',
        id,
        version: `v${id}`,
        base: '',
        whenParked: false,
        changed: [`change ${id}`],
      },
      view: new Uint8Array(),
      rest,
    },
    ...parts,
    { t: 'end' },
  ];
}

const stepsOf = (to: number) => [{ at: 0, move: { neck: to } }];
const two = (over: Record<string, unknown> = {}, more: Record<string, unknown> = {}) =>
  makeProp(
    { neck: servo({ marks: { up: 30 }, ...over }), jaw: servo(), mist: relay() },
    { cues: { nod: stepsOf(10) }, ...more },
  );

describe('a change that takes effect at once', () => {
  test('is read one message a tick, and is in use after its last one', async () => {
    const { rig, client } = await Rig.live(two());
    await client.call('channel.move', { channel: 'neck', to: 'up' });
    const { channels } = two({ marks: { up: -20, top: 35 } });
    rig.bench.messages.push(
      ...smallChange(7, {}, [{ t: 'channel', name: 'neck', spec: channels.neck! }]),
    );
    await rig.run(10);
    expect(rig.bench.messages).toHaveLength(1);
    expect(rig.bench.outcomes).toEqual([]);
    expect(rig.servo('neck').marks.has('top')).toBe(false);
    await rig.tick();
    expect(rig.bench.outcomes).toEqual([[7, 'adopted']]);
    expect(rig.bench.inUse).toEqual([['change 7']]);
    // The move goes on to where the mark was when it began.
    await rig.until(() => !rig.servo('neck').moving);
    expect(rig.servo('neck').setpoint.pos).toBe(30);
    await client.call('channel.move', { channel: 'neck', to: 'top', wait: false });
    expect(rig.servo('neck').targetDeg).toBe(35);
  });

  test('a cue that runs goes on as it began; the next run is the new one', async () => {
    const { rig, client } = await Rig.live(two());
    await client.call('cue.run', { cue: 'nod' });
    await rig.tick();
    rig.bench.messages.push(
      ...smallChange(1, {}, [
        { t: 'cue', name: 'nod', cue: stepsOf(-10), durationS: 2.5 },
        { t: 'cue', name: 'shake', cue: stepsOf(5), durationS: 3 },
      ]),
    );
    await rig.until(() => !rig.core.cues.isRunning('nod'));
    expect(rig.servo('neck').setpoint.pos).toBe(10);
    expect(await client.call('cue.run', { cue: 'nod' })).toEqual({ running: true, durationS: 2.5 });
    await rig.until(() => !rig.core.cues.isRunning('nod'));
    expect(rig.servo('neck').setpoint.pos).toBe(-10);
    await client.call('cue.run', { cue: 'shake' });
    expect(rig.core.cues.isRunning('shake')).toBe(true);
  });

  test('a cue that calls one which is gone by then ends without a fault, and says so', async () => {
    const nested = two(
      {},
      {
        cues: { nod: stepsOf(10), long: [{ at: 1, cue: 'nod' }] },
      },
    );
    const { rig, client } = await Rig.live(nested);
    await client.call('cue.run', { cue: 'long' });
    rig.bench.messages.push(
      ...smallChange(1, {}, [
        { t: 'cue', name: 'nod', cue: undefined, durationS: null },
        { t: 'cue', name: 'long', cue: stepsOf(1), durationS: 1 },
      ]),
    );
    await rig.until(() => !rig.core.cues.isRunning('long'));
    expect(rig.condition).toBe('live');
    expect(rig.texts('refused').join()).toMatch(/cue long, step 1: there is no cue nod/);
  });

  test('a cue is not removed while it runs; one that a hand took out can still be stopped', async () => {
    const { rig, client } = await Rig.live(two());
    await client.call('cue.run', { cue: 'nod' });
    await rig.tick();
    expect(await client.refused('cue.remove', { cue: 'nod', version: '0' })).toMatchObject({
      word: 'cue.in-use',
      message: expect.stringMatching(/cue nod runs now.*cue\.stop/),
    });
    rig.bench.messages.push(
      ...smallChange(1, {}, [{ t: 'cue', name: 'nod', cue: undefined, durationS: null }]),
    );
    await rig.run(50);
    expect(rig.core.cues.isRunning('nod')).toBe(true);
    expect(await client.call('cue.stop', { cue: 'nod' })).toMatchObject({ running: false });
    await rig.run(500);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(10);
    expect((await client.refused('cue.stop', { cue: 'nod' })).word).toBe('cue.unknown');
  });

  test('poses, groups and idle behaviour follow', async () => {
    const { rig, client } = await Rig.live(
      two({}, { idle: { calm: { plays: [{ cue: 'nod', everyS: [1, 2] }] } } }),
    );
    await client.call('idle.start', { idle: 'calm' });
    const after = two({}, { groups: { both: ['neck', 'jaw'] }, poses: { high: { neck: 20 } } });
    rig.bench.messages.push(
      ...smallChange(1, { groups: after.groups, poses: after.poses, idle: {} }, []),
    );
    await rig.run(20);
    expect(rig.core.idle.running).toBeNull();
    await client.call('group.move', { group: 'both', to: 5 });
    expect([rig.servo('neck').targetDeg, rig.servo('jaw').targetDeg]).toEqual([5, 5]);
    await client.call('pose.go', { pose: 'high' });
    expect(rig.servo('neck').targetDeg).toBe(20);
  });
});

describe('a change that waits for parked', () => {
  const wider = () => two({ limitsDeg: [-45, 45], speedDegS: 60 });

  test('waits while the prop is live, and is in use once it is parked', async () => {
    const { rig, client } = await Rig.live(two());
    rig.bench.messages.push(...wholeChange(3, wider()));
    await rig.run(60);
    expect(rig.bench.outcomes).toEqual([[3, 'waits']]);
    expect((await client.refused('channel.move', { channel: 'neck', to: 44 })).kind).toBe(
      'outOfLimits',
    );
    await client.call('park');
    await rig.until(() => rig.bench.outcomes.length === 2);
    expect(rig.condition).toBe('parked');
    expect(rig.bench.outcomes[1]).toEqual([3, 'adopted']);
    await client.call('wake', { wait: false });
    await rig.until(() => rig.condition === 'live');
    await client.call('channel.move', { channel: 'neck', to: 44 });
    await rig.until(() => !rig.servo('neck').moving);
    expect(rig.servo('neck').setpoint.pos).toBe(44);
    expect(rig.servo('neck').limits.speed).toBe(60);
  });

  test('a later one takes its place', async () => {
    const { rig, client } = await Rig.live(two());
    rig.bench.messages.push(...wholeChange(1, wider()), ...wholeChange(2, two()));
    await rig.run(100);
    expect(rig.bench.outcomes).toEqual([
      [1, 'waits'],
      [1, 'replaced'],
      [2, 'waits'],
    ]);
    await client.call('park');
    await rig.until(() => rig.bench.outcomes.length === 4);
    expect(rig.bench.outcomes[3]).toEqual([2, 'adopted']);
    expect(rig.servo('neck').limitsDeg).toEqual([-40, 40]);
  });

  test('a servo with another calibration stands nobody knows where; the others stay known', async () => {
    const rig = (await Rig.live(two())).rig;
    const [client] = rig.clients;
    await client!.call('park');
    await rig.until(() => rig.condition === 'parked');
    const other = two({
      calibration: [
        [1000, -55],
        [2000, 50],
      ],
    });
    rig.bench.messages.push(...wholeChange(1, other));
    await rig.until(() => rig.bench.outcomes.length === 1);
    expect([rig.servo('neck').known, rig.servo('jaw').known]).toEqual([false, true]);
    expect(rig.store.durable!.positions).toEqual({ jaw: 0 });
  });

  test('a servo that holds while parked goes on holding where its board stays as it is', async () => {
    const holding = (speedDegS: number) =>
      two({ park: { to: 5, then: 'hold' }, speedDegS }, { name: `at ${speedDegS}` });
    const { rig, client } = await Rig.live(holding(100));
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const writes = rig.writes.length;
    rig.bench.messages.push(...wholeChange(1, holding(50)));
    await rig.until(() => rig.bench.outcomes.length === 1);
    await rig.run(50);
    expect(rig.servo('neck').limits.speed).toBe(50);
    expect(rig.servo('neck').pulsing).toBe(true);
    expect(rig.writes.length).toBe(writes);
    expect(rig.board().closed).toBe(0);
  });

  test('boards that change are closed, then the plan is kept, then the others are opened', async () => {
    const rig = await Rig.open(two());
    const moved = two({ output: { pin: 9 } });
    rig.bench.messages.push(...wholeChange(1, moved));
    await rig.until(() => rig.bench.outcomes.length === 1);
    expect(rig.bench.outcomes).toEqual([[1, 'adopted']]);
    expect([rig.board().closed, rig.board().opened]).toEqual([1, 2]);
    expect(rig.bench.plans).toEqual([['main']]);
    expect(rig.board().outputs.find(({ name }) => name === 'neck')!.pin).toBe(9);
    expect(rig.servo('neck').known).toBe(false);
  });

  test('what the boards cannot do is rejected, and everything is as it was', async () => {
    const { rig, client } = await Rig.live(two({ park: { to: 0, then: 'hold' } }));
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const board = rig.board();
    const opened = board.opened;
    const open = board.open.bind(board);
    board.open = async (outputs, inputs) => {
      if (outputs.some(({ pin }) => pin === 63)) throw new Error('this board has no pin 63');
      await open(outputs, inputs);
    };
    rig.bench.messages.push(...wholeChange(1, two({ output: { pin: 63 } })));
    await rig.until(() => rig.bench.outcomes.length === 1);
    expect(rig.bench.outcomes).toEqual([[1, { rejected: 'this board has no pin 63' }]]);
    // The last defence goes by the boards that are open again, not by those that could not be opened.
    expect(rig.bench.plans).toHaveLength(2);
    expect(rig.condition).toBe('parked');
    expect(board.opened).toBe(opened + 1);
    await rig.tick();
    // It holds again.
    expect(rig.at('neck')).toBe(1500);
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
    await client.call('channel.move', { channel: 'neck', to: 'up' });
  });

  test('a board that does not come back faults the prop', async () => {
    const rig = await Rig.open(two());
    const board = rig.board();
    board.failing.open = new Error('the bus is gone');
    rig.bench.messages.push(...wholeChange(1, two({ output: { pin: 9 } })));
    await rig.until(() => rig.bench.outcomes.length === 1);
    expect(rig.bench.outcomes).toEqual([[1, { rejected: 'the bus is gone' }]]);
    expect(rig.condition).toBe('faulted');
  });

  test('nothing wakes while boards are exchanged; a stop is heeded', async () => {
    const rig = await Rig.open(two());
    const client = rig.client('desk');
    await client.call('lease.take');
    let opened = () => {};
    rig.board().opening = new Promise((resolve) => {
      opened = resolve;
    });
    rig.bench.messages.push(...wholeChange(1, two({ output: { pin: 9 } })));
    await rig.run(60);
    expect((await client.refused('wake')).message).toMatch(/takes over its changed file/);
    await client.call('park');
    await client.call('stop', { category: 1 });
    expect(rig.condition).toBe('stopped');
    opened();
    await rig.run(20);
    expect(rig.bench.outcomes).toEqual([[1, 'adopted']]);
    expect(rig.condition).toBe('stopped');
    await client.call('reset');
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
  });

  test('a driver that cannot be made rejects the change; the rest of it is passed over', async () => {
    const rig = await Rig.open(two());
    const { boards } = makeProp({}, { boards: { main: { driver: 'pigpio' } } });
    (rig.bench as { createDriver: unknown }).createDriver = async () => {
      throw new Error('pigpio is not installed');
    };
    rig.bench.messages.push(...wholeChange(1, { ...two(), boards }));
    await rig.run(60);
    expect(rig.bench.outcomes).toEqual([[1, { rejected: 'pigpio is not installed' }]]);
    expect(rig.condition).toBe('parked');
    rig.bench.messages.push(...smallChange(2, { name: 'Another' }, []));
    await rig.run(20);
    expect(rig.core.prop.name).toBe('Another');
  });

  test('the duty guard of a relay outlives it; servos come and go', async () => {
    const duty = { duty: { maxOnS: 0.5, restS: 60 } };
    const before = makeProp({ neck: servo(), mist: relay(duty) });
    const { rig, client } = await Rig.live(before);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(600);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    rig.bench.messages.push(...wholeChange(1, makeProp({ mist: relay(duty), tail: servo() })));
    await rig.until(() => rig.bench.outcomes.length === 1);
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
    expect((await client.refused('channel.switch', { channel: 'mist', on: true })).kind).toBe(
      'dutyRest',
    );
    await client.call('channel.move', { channel: 'tail', to: 10 });
    expect((await client.refused('channel.move', { channel: 'neck', to: 10 })).kind).toBe(
      'noSuchThing',
    );
  });
});

describe('another name', () => {
  const duty = { duty: { maxOnS: 0.5, restS: 60 } };
  /** Runs `before`, has mist closed for as long as it may, parks, and takes `after` over. */
  async function changedTo(before: Prop, next: Prop) {
    const { rig, client } = await Rig.live(before);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(600);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    await rig.run(20_000);
    rig.bench.messages.push(...wholeChange(1, next));
    await rig.until(() => rig.bench.outcomes.length === 1);
    return { rig, client };
  }
  const restOf = async (
    { rig, client }: Awaited<ReturnType<typeof changedTo>>,
    channel: string,
  ) => {
    if (rig.condition === 'parked') {
      await client.call('wake');
      await rig.until(() => rig.condition === 'live');
    }
    const refused = await client.refused('channel.switch', { channel, on: true });
    return refused.values.secondsLeft as number;
  };

  test('a servo keeps its known position, a relay the rest of its guard', async () => {
    const before = makeProp({ neck: servo(), mist: relay(duty) });
    const next = makeProp({ nape: servo(), fog: relay(duty) });
    const done = await changedTo(before, next);
    expect(done.rig.servo('nape').known).toBe(true);
    // It has rested for 20 of the 60 s, and a little since.
    const left = await restOf(done, 'fog');
    expect(left).toBeGreaterThan(30);
    expect(left).toBeLessThan(40);
  });

  test('a rename is no way around the guard: swapped names, swapped pins, a third name', async () => {
    const before = makeProp({ mist: relay(duty), fan: relay(duty) });
    for (const next of [
      makeProp({ fan: relay(duty), mist: relay(duty) }),
      makeProp({ spare: relay(), fog: relay(duty) }),
      makeProp({ fog: relay(duty), steam: relay(duty) }),
      makeProp({ fan: relay(duty), fog: relay(duty) }),
    ]) {
      const done = await changedTo(before, next);
      for (const [name, { kind, ...spec }] of Object.entries(next.channels))
        if (kind === 'relay' && 'duty' in spec && spec.duty)
          expect(await restOf(done, name), name).toBeGreaterThan(55);
    }
  });

  const other = servo({
    calibration: [
      [1000, -30],
      [2000, 60],
    ],
  });
  test('two servos that swap names are unknown', async () => {
    const before = makeProp({ neck: servo(), jaw: other, mist: relay() });
    const swapped = makeProp({ jaw: servo(), neck: other, mist: relay() });
    const { rig } = await changedTo(before, swapped);
    expect(rig.servo('jaw').known).toBe(false);
    expect(rig.servo('neck').known).toBe(false);
  });

  test('across a restart a renamed servo is known, and none gets the position of another', async () => {
    const { rig, client } = await Rig.live(makeProp({ neck: servo(), jaw: other }));
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const restored = { ...rig.store.saved!, sameBoot: true };
    const known = async (next: Prop, over: Partial<typeof restored> = {}) => {
      const { servos } = (await Rig.open(next, { restored: { ...restored, ...over } })).core.body;
      return servos.filter((one) => one.known).map(({ name }) => name);
    };
    expect(await known(makeProp({ nape: servo(), jaw: other }))).toEqual(['nape', 'jaw']);
    expect(await known(makeProp({ nape: servo(), chin: other }))).toEqual(['nape', 'chin']);
    expect(await known(makeProp({ jaw: servo(), neck: other }))).toEqual([]);
    // jaw is unknown, and takes the pin of neck, which is gone.
    const { jaw: _, ...positions } = restored.positions;
    expect(await known(makeProp({ jaw: servo() }), { positions })).toEqual([]);
    expect(await known(makeProp({ nape: servo() }), { positions })).toEqual(['nape']);
  });
});

test('a capture while the prop parks is for the next park', async () => {
  const { rig, client } = await Rig.live(two({ marks: { up: 30, rest: 0 }, park: { to: 'rest' } }));
  await client.call('channel.move', { channel: 'neck', to: 30 });
  await rig.until(() => !rig.servo('neck').moving);
  await client.call('park');
  await rig.run(50);
  const { channels } = two({ marks: { up: 30, rest: 12 }, park: { to: 'rest' } });
  rig.bench.messages.push(
    ...smallChange(1, {}, [{ t: 'channel', name: 'neck', spec: channels.neck! }]),
  );
  await rig.until(() => rig.condition === 'parked');
  expect(rig.bench.outcomes).toEqual([[1, 'adopted']]);
  expect(rig.servo('neck').setpoint.pos).toBe(0);
  expect(rig.servo('neck').parkDeg).toBe(12);
});

test('flashes before another version came into force count after it', async () => {
  const lit = (fadeS: number) => makeProp({ glow: lamp({ fadeS }), bulb: relay({ light: true }) });
  const { rig, client } = await Rig.live(lit(0));
  const counter = new PeakFlashCounter();
  let worst = 0;
  rig.afterTick = () => {
    const luminance = rig.at('glow') + rig.at('bulb');
    worst = Math.max(worst, counter.add(rig.clock.nowMs() / 1000, luminance));
  };
  const strobe = async () => {
    for (let i = 0; i < 6; i++) {
      await client.call('channel.dim', { channel: 'glow', to: i % 2 ? 0 : 1 });
      await rig.run(10);
    }
  };
  await strobe();
  for (let id = 1; id <= 4; id++) {
    await client.call('park');
    rig.bench.messages.push(...wholeChange(id, lit(id * 1e-3)));
    await rig.until(() => rig.bench.outcomes.some(([of, to]) => of === id && to === 'adopted'));
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
    await strobe();
  }
  expect(worst).toBe(3);
});
