import bezierEasing from 'bezier-easing';
import { formatHex } from 'culori';
import { describe, expect, test } from 'vitest';
import { begins, ends, FAR, FAR_MS, isRunning, live, onTime, running, watch } from './cue-stage.ts';
import { makeProp, pulseOf, Rig, relay, rgb, servo, TICK_MS, TICK_S } from './rig.ts';

describe('the timeline', () => {
  // The example of the prop file: lids, eye, tail, and mist for 4 s once the tail is up.
  const owl = () =>
    makeProp(
      {
        lid_left: servo({ marks: { open: 30 } }),
        lid_right: servo({ marks: { open: 30 } }),
        ...Object.fromEntries(
          [1, 2, 3, 4].map((i) => [
            `tail_${i}`,
            servo({ marks: { open: 36 }, limitsDeg: [0, 40] }),
          ]),
        ),
        eye_left: rgb(),
        mist: relay({ requires: [{ channel: 'tail_1', above: 20 }], output: { activeLow: true } }),
      },
      {
        groups: { tail: ['tail_1', 'tail_2', 'tail_3', 'tail_4'] },
        cues: {
          wake: [
            { at: 0, move: { lid_left: 'open', lid_right: 'open' }, overS: 1.2 },
            { at: 0.5, colour: { eye_left: 'oklch(75% 0.15 80)' }, fadeS: 1.0 },
            { at: 1.5, move: { tail: 'open' } },
            { at: 2.5, switch: { mist: 'on' }, forS: 4 },
          ],
        },
      },
    );

  test('every step begins in the tick in which it is due, and takes the time it was given', async () => {
    const { rig, client } = await Rig.live(owl());
    const log = watch(rig);
    const startMs = rig.clock.nowMs();
    const written = rig.writes.length;
    await client.call('cue.run', { cue: 'wake' });
    await rig.run(8000);

    for (const lid of ['lid_left', 'lid_right']) {
      expect(begins(log, lid)).toEqual([TICK_MS]);
      onTime(ends(log, lid)[0], 1200);
      expect(rig.at(lid)).toBe(pulseOf(30));
    }
    expect(begins(log, 'eye_left')).toEqual([500]);
    onTime(ends(log, 'eye_left')[0], 1500 - TICK_MS);
    for (const i of [1, 2, 3, 4]) {
      expect(begins(log, `tail_${i}`)).toEqual([1500]);
      // 36 deg: 24 deg as above and 12 deg more at 120 deg/s.
      onTime(ends(log, `tail_${i}`)[0], 1500 + FAR_MS + 100 - TICK_MS);
      expect(rig.at(`tail_${i}`)).toBe(pulseOf(36));
    }
    expect(begins(log, 'mist')).toEqual([2500]);
    expect(ends(log, 'mist')).toEqual([6500]);
    const levels = rig.writes
      .slice(written)
      .filter(({ output }) => output === 'mist')
      .map(({ ms, value }) => [ms - startMs, value]);
    expect(levels).toEqual([
      [2500, 0],
      [6500, 1],
    ]);
    // By the npm package culori.
    expect(rig.core.body.rgb('eye_left').hex).toBe(formatHex('oklch(75% 0.15 80)'));
    expect(rig.texts('refused')).toEqual([]);
    expect(rig.texts('cue')).toEqual(['cue wake runs', 'cue wake is over']);
    const over = rig.entries.find(({ text }) => text === 'cue wake is over')!;
    expect(Date.parse(over.time) - rig.clock.wallMs() + 8000).toBe(6500);
  });

  test('a step may come after another one, by any delay, in any order of the file', async () => {
    const { rig, log } = await running(
      {
        chain: [
          { after: 'turn', at: 0.25, switch: { fan: 'on' }, forS: 0.5, name: 'blow' },
          { at: 0.1, move: { neck: FAR }, name: 'turn' },
          { after: 'blow', dim: { glow: 1 }, fadeS: 0.3, name: 'shine' },
          { after: 'shine', colour: { eye: '#00ff00' } },
          { after: 'shine', at: 1, switch: { bell: 'on' } },
        ],
      },
      'chain',
      4000,
    );
    // A step ends in the tick after the one in which its servo arrives, its light is there.
    const within2 = (ms: number | undefined, dueMs: number) => {
      expect(ms).toBeGreaterThanOrEqual(dueMs);
      expect(ms).toBeLessThanOrEqual(dueMs + 2 * TICK_MS);
      return ms!;
    };
    expect(begins(log, 'neck')).toEqual([100]);
    const arrivedMs = ends(log, 'neck')[0]!;
    const blownMs = within2(begins(log, 'fan')[0], arrivedMs + 250);
    expect(ends(log, 'fan')).toEqual([blownMs + 500]);
    within2(begins(log, 'glow')[0], blownMs + 500);
    const litMs = ends(log, 'glow')[0]!;
    expect(litMs).toBe(begins(log, 'glow')[0]! + 300 - TICK_MS);
    within2(begins(log, 'bell')[0], litMs + 1000);
    expect(rig.core.body.rgb('eye').hex).toBe('#00ff00');
  });

  test('a spread starts a step up to so much later, chosen at random each time, the same by seed', async () => {
    const starts = async (seed: number, runs: number) => {
      const { rig, client, log } = await live({
        ring: { seed, steps: [{ at: 0.5, spreadS: 0.4, switch: { bell: 'on' }, forS: 0.05 }] },
      });
      for (let i = 0; i < runs; i++) {
        await client.call('cue.run', { cue: 'ring' });
        await rig.run(1000);
      }
      return begins(log, 'bell').map((ms) => ms % 1000);
    };
    const first = await starts(7, 40);
    expect(first).toHaveLength(40);
    expect(Math.min(...first)).toBeGreaterThanOrEqual(500);
    expect(Math.max(...first)).toBeLessThanOrEqual(905);
    expect(new Set(first).size).toBeGreaterThan(20);
    expect(await starts(7, 40)).toEqual(first);
    expect(await starts(8, 40)).not.toEqual(first);
  });

  test('a step that only waits for the end of a move takes no channel', async () => {
    const { rig, client } = await live({
      nod: [
        { at: 0, move: { neck: FAR }, name: 'down' },
        { after: 'down', move: { neck: 0 } },
      ],
    });
    await client.call('cue.run', { cue: 'nod', wait: false });
    await rig.run(1000);
    expect(rig.at('neck')).toBe(pulseOf(0));
    expect(rig.texts('cue').at(-1)).toBe('cue nod is over');
  });

  test('members of a group, and of one step, arrive together', async () => {
    const { log } = await running(
      { rise: [{ at: 0, move: { wings: FAR, jaw: 6 } }] },
      'rise',
      1000,
    );
    const arrivals = ['wing_left', 'wing_right', 'jaw'].map((name) => ends(log, name)[0]);
    expect(new Set(arrivals).size).toBe(1);
    onTime(arrivals[0], FAR_MS - TICK_MS);
  });
});

describe('until', () => {
  const cue = (until: object) => ({
    wait: [
      { at: 0, move: { neck: FAR }, overS: 2 },
      { at: 0, until, name: 'there' },
      { after: 'there', switch: { bell: 'on' }, forS: 0.1 },
    ],
  });

  test.each([
    ['above', { channel: 'neck', above: 12, withinS: 5 }, (deg: number) => deg > 12, 0],
    ['below', { channel: 'neck', below: 12, withinS: 5 }, (deg: number) => deg < 12, FAR],
  ] as const)('%s: goes on in the tick after it holds', async (_what, until, holds, fromDeg) => {
    const { rig, client } = await live({
      wait: [
        { at: 0, move: { neck: FAR - fromDeg }, overS: 2 },
        { at: 0, until, name: 'there' },
        { after: 'there', switch: { bell: 'on' }, forS: 0.1 },
      ],
    });
    await client.call('channel.move', { channel: 'neck', to: fromDeg });
    await rig.run(1000);
    let heldMs = 0;
    let rangMs = 0;
    rig.afterTick = () => {
      if (!heldMs && holds(rig.servo('neck').setpoint.pos)) heldMs = rig.clock.nowMs();
      if (!rangMs && rig.on('bell')) rangMs = rig.clock.nowMs();
    };
    await client.call('cue.run', { cue: 'wait' });
    await rig.run(3000);
    expect(heldMs).toBeGreaterThan(0);
    expect(rangMs).toBe(heldMs + TICK_MS);
  });

  test('is: a relay', async () => {
    const { rig, client } = await running(
      {
        wait: [
          { at: 0, until: { channel: 'fan', is: 'on', withinS: 5 }, name: 'there' },
          { after: 'there', switch: { bell: 'on' } },
        ],
      },
      'wait',
      1000,
    );
    expect(rig.on('bell')).toBe(false);
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(2 * TICK_MS);
    expect(rig.on('bell')).toBe(true);
  });

  const never = (otherwise?: string) => ({
    channel: 'jaw',
    above: 30,
    withinS: 1,
    ...(otherwise && { otherwise }),
  });

  test('what does not come, go on: the next step begins when the time is over, and it is told', async () => {
    const { rig, log } = await running(cue(never('go on')), 'wait', 3000);
    onTime(begins(log, 'bell')[0], 1000);
    expect(rig.texts('cue')).toContain('cue wait waited 1 s for jaw, which did not get there');
    expect(rig.at('neck')).toBe(pulseOf(FAR));
    expect(rig.texts('cue').at(-1)).toBe('cue wait is over');
  });

  // In the very tick in which the wait is over, other steps are due.
  const inTime = (otherwise?: string) => ({
    wait: [
      { at: 0, move: { neck: FAR }, overS: 2 },
      { at: 0, until: never(otherwise), name: 'there' },
      { at: 1 + TICK_S, move: { wings: 20 } },
      { at: 1, switch: { fan: 'on' } },
      { at: 1, switch: { bell: 'on' } },
      { after: 'there', dim: { glow: 1 } },
    ],
  });

  test.each([undefined, 'end'])(
    'what does not come, %s: nothing more begins',
    async (otherwise) => {
      const { rig, client, log } = await running(inTime(otherwise), 'wait', 1000 + TICK_MS);
      // Switched on in a step that was due before.
      await rig.run(5000);
      expect(await isRunning(client, 'wait')).toBe(false);
      for (const name of ['wing_left', 'wing_right', 'glow']) expect(begins(log, name)).toEqual([]);
      for (const name of ['fan', 'bell']) expect(rig.on(name)).toBe(false);
      expect(rig.servo('neck').setpoint.pos).toBeLessThan(FAR);
      expect(rig.condition).toBe('live');
      expect(rig.texts('cue').at(-1)).toBe('cue wait stopped: jaw did not get there');
    },
  );

  test('what does not come, park: the prop parks, and nothing more begins', async () => {
    const { rig, log } = await running(inTime('park'), 'wait', 1000 + 2 * TICK_MS);
    expect(rig.condition).toBe('parking');
    expect(rig.texts('park')).toEqual(['the cue parks the prop: jaw did not get there']);
    await rig.until(() => rig.condition === 'parked', 6);
    await rig.run(5000);
    for (const name of ['wing_left', 'wing_right']) expect(begins(log, name)).toEqual([]);
    for (const name of ['fan', 'bell']) expect(rig.on(name)).toBe(false);
    expect(rig.condition).toBe('parked');
  });

  test('in a cue within a cue, end ends the whole', async () => {
    const { rig, client } = await running(
      {
        inner: [{ at: 0, until: never() }],
        outer: [
          { at: 0, cue: 'inner', name: 'wait' },
          { at: 0, switch: { fan: 'on' } },
          { after: 'wait', switch: { bell: 'on' } },
        ],
      },
      'outer',
      500,
    );
    expect(rig.on('fan')).toBe(true);
    await rig.run(1000);
    expect(rig.on('fan')).toBe(false);
    expect(rig.on('bell')).toBe(false);
    expect(await isRunning(client, 'outer')).toBe(false);
    expect(rig.texts('cue').at(-1)).toBe('cue outer stopped: jaw did not get there');
  });
});

describe('cues within cues', () => {
  const blink = [
    { at: 0, switch: { bell: 'on' }, forS: 0.1 },
    { at: 0.3, switch: { fan: 'on' }, forS: 0.1 },
  ];

  test('so many times, and then on', async () => {
    const { rig, log } = await running(
      {
        blink,
        show: [
          { at: 0.2, cue: 'blink', times: 3, name: 'blinks' },
          { after: 'blinks', dim: { glow: 1 }, fadeS: 0.2 },
        ],
      },
      'show',
      3000,
    );
    expect(begins(log, 'bell')).toHaveLength(3);
    expect(begins(log, 'fan')).toHaveLength(3);
    for (const [i, ms] of begins(log, 'fan').entries()) onTime(ms, 200 + i * 400 + 300);
    onTime(begins(log, 'glow')[0], 200 + 3 * 400);
    expect(rig.texts('cue')).toEqual(['cue show runs', 'cue show is over']);
  });

  test('until stopped', async () => {
    const { rig, client, log } = await running(
      { blink, show: [{ at: 0, cue: 'blink', times: 'until stopped' }] },
      'show',
      40_000 + 2 * TICK_MS,
    );
    expect(begins(log, 'bell')).toHaveLength(101);
    expect(await isRunning(client, 'show')).toBe(true);
    await client.call('cue.stop', { cue: 'show' });
    await rig.run(5000);
    expect(begins(log, 'bell')).toHaveLength(101);
    expect(rig.on('bell')).toBe(false);
  });

  const draws = (seed: number) => ({
    left: [{ at: 0, move: { wing_left: { around: 20, spread: 15 } } }],
    right: [{ at: 0, move: { wing_right: { around: 20, spread: 15 } } }],
    both: [{ at: 0.1, spreadS: 0.5, move: { wings: 0 } }],
    show: { seed, steps: [{ at: 0, choose: ['left', 'right', 'both'], times: 25 }] },
  });
  const frames = async (seed: number) => {
    const { rig } = await running(draws(seed), 'show', 30_000);
    expect(rig.texts('refused')).toEqual([]);
    return rig.writes;
  };

  test('one of several, at random: the same seed gives the same frames', async () => {
    const first = await frames(3);
    expect(first.length).toBeGreaterThan(1000);
    expect(new Set(first.map(({ output }) => output))).toContain('wing_left');
    expect(new Set(first.map(({ output }) => output))).toContain('wing_right');
    expect(await frames(3)).toEqual(first);
    expect(await frames(4)).not.toEqual(first);
  });

  test('a target at random stays within its spread, and is chosen at random each time', async () => {
    const { rig, client } = await live({
      look: [{ at: 0, move: { wings: { around: 20, spread: 15 } } }],
    });
    const seen: number[] = [];
    for (let i = 0; i < 60; i++) {
      await client.call('cue.run', { cue: 'look' });
      await rig.run(700);
      expect(rig.servo('wing_left').setpoint.pos).toBe(rig.servo('wing_right').setpoint.pos);
      seen.push(rig.servo('wing_left').setpoint.pos);
    }
    expect(Math.min(...seen)).toBeGreaterThanOrEqual(5);
    expect(Math.max(...seen)).toBeLessThanOrEqual(35);
    // Uniform: of 60 draws, each third of the range gets some.
    for (const low of [5, 15, 25])
      expect(seen.filter((deg) => deg >= low && deg <= low + 10).length).toBeGreaterThan(5);
  });
});

describe('easing', () => {
  const CURVE = [0.4, 0, 0.2, 1] as const;
  // The npm package bezier-easing computes the same curve on its own.
  const reference = bezierEasing(...CURVE);
  const ease = `cubic-bezier(${CURVE.join(', ')})`;

  test('a lamp follows the curve', async () => {
    const { rig, client } = await live({ glow: [{ at: 0, dim: { glow: 1 }, fadeS: 2, ease }] });
    const { value: before } = rig.core.body.lamp('glow');
    expect(before).toBe(0);
    await client.call('cue.run', { cue: 'glow' });
    for (let tick = 1; tick <= 400; tick++) {
      await rig.tick();
      expect(rig.core.body.lamp('glow').value).toBeCloseTo(reference(tick / 400), 4);
    }
  });

  test('a servo follows the curve as near as its limits allow, and arrives in time', async () => {
    const { rig, client, log } = await live({
      turn: [{ at: 0, move: { neck: 36 }, overS: 3, ease }],
    });
    await client.call('cue.run', { cue: 'turn' });
    const seen = [0, 0];
    let worst = 0;
    for (let tick = 1; tick <= 600; tick++) {
      await rig.tick();
      const { pos } = rig.servo('neck').setpoint;
      const [before, last] = seen.slice(-2) as [number, number];
      expect(Math.abs(pos - last)).toBeLessThanOrEqual(120 * TICK_S + 1e-9);
      expect(Math.abs(pos - 2 * last + before)).toBeLessThanOrEqual(600 * TICK_S ** 2 + 1e-9);
      seen.push(pos);
      worst = Math.max(worst, Math.abs(pos - 36 * reference(tick / 600)));
    }
    await rig.tick();
    // Much nearer to the curve than to a move without one, which is 5 deg away from it and more.
    expect(worst).toBeLessThan(1);
    onTime(ends(log, 'neck')[0], 3000);
    expect(rig.at('neck')).toBe(pulseOf(36));
  });

  test('a curve that swings past a soft limit is refused, and the cue goes on', async () => {
    const { rig } = await running(
      {
        swing: [
          { at: 0, move: { wing_left: 38 }, overS: 1, ease: 'cubic-bezier(0.3, 1.8, 0.7, 1)' },
          { at: 0.1, switch: { fan: 'on' } },
        ],
      },
      'swing',
      1000,
    );
    expect(rig.texts('refused')).toHaveLength(1);
    expect(rig.texts('refused')[0]).toMatch(
      /^cue swing, step 1: wing_left may go from 0 to 40 deg/,
    );
    expect(rig.servo('wing_left').setpoint.pos).toBe(0);
    expect(rig.on('fan')).toBe(true);
  });
});

describe('poses and relays in a cue', () => {
  test('a pose is taken at its time, every part of it', async () => {
    const { rig, log } = await running({ up: [{ at: 0.2, pose: 'alert' }] }, 'up', 1500);
    for (const name of ['neck', 'jaw', 'fan', 'glow', 'eye'])
      expect(begins(log, name).slice(0, 1), name).toEqual(
        // A fade of no length is over in the tick in which it begins.
        name === 'glow' || name === 'eye' ? [] : [200],
      );
    expect(rig.at('neck')).toBe(pulseOf(FAR));
    expect(rig.at('jaw')).toBe(pulseOf(12));
    expect(rig.on('fan')).toBe(true);
    expect(rig.core.body.lamp('glow').value).toBe(0.6);
    expect(rig.core.body.rgb('eye').hex).toBe('#ff8000');
  });

  test('off for a time: it closes again', async () => {
    const { rig, client, log } = await live({
      gap: [{ at: 0.1, switch: { fan: 'off' }, forS: 0.5 }],
    });
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(20);
    const startMs = 20;
    await client.call('cue.run', { cue: 'gap' });
    await rig.run(2000);
    expect(ends(log, 'fan')).toEqual([startMs + 100]);
    expect(begins(log, 'fan').at(-1)).toBe(startMs + 600);
    expect(rig.on('fan')).toBe(true);
  });

  test('off for a time: what was open stays open', async () => {
    const { rig, log } = await running(
      { gap: [{ at: 0.1, switch: { fan: 'off' }, forS: 0.5 }] },
      'gap',
      2000,
    );
    expect(begins(log, 'fan')).toEqual([]);
    expect(rig.texts('cue').at(-1)).toBe('cue gap is over');
  });

  test('off for a time: what may not close again is told, and the prop stays live', async () => {
    const { rig, client } = await live({
      gap: [
        { at: 0, switch: { mist: 'off' }, forS: 1 },
        { at: 1.2, switch: { bell: 'on' } },
      ],
    });
    await client.call('channel.move', { channel: 'neck', to: FAR });
    await rig.run(1000);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await client.call('cue.run', { cue: 'gap' });
    await rig.run(100);
    // The neck is not a channel of the cue; its interlock is gone when the mist is to come back.
    await client.call('channel.move', { channel: 'neck', to: 0 });
    await rig.run(1500);
    expect(rig.condition).toBe('live');
    expect(rig.texts('fault')).toEqual([]);
    expect(rig.texts('refused')).toEqual(['cue gap, step 1: mist needs neck above 10 deg']);
    expect(rig.on('mist')).toBe(false);
    expect(rig.on('bell')).toBe(true);
  });

  test('a relay that is left closed stays closed when the cue is over', async () => {
    const { rig } = await running({ blow: [{ at: 0, switch: { fan: 'on' } }] }, 'blow', 5000);
    expect(rig.texts('cue').at(-1)).toBe('cue blow is over');
    expect(rig.on('fan')).toBe(true);
  });
});
