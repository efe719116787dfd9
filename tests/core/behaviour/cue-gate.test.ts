import { describe, expect, test } from 'vitest';
import { begins, ends, FAR, FAR_MS, live, onTime, running, watch } from '../cue-stage.ts';
import { makeProp, pulseOf, Rig, relay, servo, TICK_MS } from '../rig.ts';

describe('what the gate does not allow', () => {
  test('a refused step is told with its cue and its place, and the cue goes on', async () => {
    const { rig } = await running(
      {
        bad: [
          { at: 0, move: { neck: 70 }, name: 'one' },
          { after: 'one', switch: { mist: 'on', fan: 'on' } },
          { at: 0.2, move: { jaw: FAR } },
        ],
      },
      'bad',
      1500,
    );
    const refused = rig.entries.filter(({ what }) => what === 'refused');
    expect(refused.map(({ text }) => text)).toEqual([
      'cue bad, step 1: neck may go from -40 to 40 deg; 70 deg is outside',
      'cue bad, step 2: mist needs neck above 10 deg',
    ]);
    expect(refused[0]!.values).toMatchObject({
      cue: 'bad',
      step: 0,
      code: 'limits.outside',
      limit: 40,
    });
    expect(refused[1]!.values).toMatchObject({ cue: 'bad', step: 1, code: 'interlock.unmet' });
    expect(rig.on('fan')).toBe(true);
    expect(rig.at('jaw')).toBe(pulseOf(FAR));
    expect(rig.condition).toBe('live');
  });

  test('a mark that was taken back meanwhile is told, and the prop stays live', async () => {
    const { rig, client } = await live({
      look: [
        { at: 0, move: { neck: 'up' } },
        { at: 0.1, switch: { fan: 'on' } },
      ],
    });
    rig.editor.undoing = [{ path: ['channels', 'neck', 'marks', 'up'], value: undefined }];
    await client.call('capture.undo');
    await client.call('cue.run', { cue: 'look' });
    await rig.run(1000);
    expect(rig.texts('refused')).toEqual([
      expect.stringMatching(/^cue look, step 1: .*no mark up/),
    ]);
    expect(rig.texts('fault')).toEqual([]);
    expect(rig.on('fan')).toBe(true);
  });

  test('an interlock that breaks in the middle opens the relay at once; the cue goes on', async () => {
    const { rig } = await running(
      {
        spray: [
          { at: 0, move: { neck: FAR }, name: 'up' },
          { after: 'up', switch: { mist: 'on' }, forS: 5 },
          { at: 3, switch: { bell: 'on' } },
        ],
      },
      'spray',
      1000,
    );
    expect(rig.on('mist')).toBe(true);
    // Past the gate, which would refuse it.
    rig.servo('neck').take(rig.servo('neck').plan(0));
    rig.afterTick = () => {
      if (rig.on('mist')) expect(rig.servo('neck').setpoint.pos).toBeGreaterThan(10);
    };
    await rig.run(2500);
    expect(rig.on('mist')).toBe(false);
    expect(rig.texts('interlock')).toEqual(['mist opened: it needs neck above 10 deg']);
    expect(rig.on('bell')).toBe(true);
  });

  test('a step that would break an interlock is left out; the cue goes on', async () => {
    const { rig } = await running(
      {
        spray: [
          { at: 0, move: { neck: FAR }, name: 'up' },
          { after: 'up', switch: { mist: 'on' }, forS: 5 },
          { at: 1.5, move: { neck: 0 } },
          { at: 3, switch: { bell: 'on' } },
        ],
      },
      'spray',
      3500,
    );
    expect([rig.on('mist'), rig.on('bell')]).toEqual([true, true]);
    expect(rig.servo('neck').setpoint.pos).toBe(FAR);
    expect(rig.texts('refused')).toEqual([
      expect.stringMatching(/^cue spray, step 3: neck may not go to 0 deg: mist is on and needs/),
    ]);
  });

  test('the duty guard opens in the middle; closing again within the rest is refused', async () => {
    const { rig, log } = await running(
      {
        pump: [
          { at: 0.1, switch: { pump: 'on' }, forS: 3 },
          { at: 3, switch: { pump: 'on' } },
          { at: 7, switch: { pump: 'on' }, forS: 0.2 },
        ],
      },
      'pump',
      8000,
    );
    expect(begins(log, 'pump')).toEqual([100, 7000]);
    onTime(ends(log, 'pump')[0], 1100);
    expect(rig.texts('duty')).toEqual(['pump opened after 1 s; it rests 5 s']);
    expect(rig.texts('refused')).toEqual([
      'cue pump, step 2: pump has used up its 1 s and rests; 3.1 s are left',
    ]);
  });

  const draw = { idleA: 0.1, movingA: 0.6, stallA: 1.5 };
  const heavy = (cues: object) =>
    makeProp(
      {
        one: servo({ rail: 'six', draw }),
        two: servo({ rail: 'six', draw }),
        fan: relay({ rail: 'six', draw: { onA: 0.2 } }),
      },
      { rails: { six: { volts: 6, limitA: 0.9 } }, cues },
    );

  test('a move that overloads its rail waits, says so, and never passes the limit', async () => {
    const { rig, client } = await Rig.live(
      heavy({
        both: [
          { at: 0, move: { one: FAR }, overS: 1 },
          { at: 0.5, move: { two: FAR }, name: 'second' },
          { after: 'second', switch: { fan: 'on' } },
        ],
      }),
    );
    const log = watch(rig);
    const look = rig.afterTick!;
    let worstA = 0;
    rig.afterTick = () => {
      look();
      worstA = Math.max(worstA, rig.amps('six'));
    };
    await client.call('cue.run', { cue: 'both' });
    await rig.run(3000);
    expect(worstA).toBeLessThanOrEqual(0.9);
    expect(begins(log, 'two')[0]).toBeGreaterThanOrEqual(1000);
    expect(begins(log, 'two')[0]).toBeLessThanOrEqual(1010);
    expect(begins(log, 'fan')[0]).toBeGreaterThanOrEqual(ends(log, 'two')[0]!);
    const mine = rig.texts('delayed').filter((text) => text.startsWith('cue both, step 2: '));
    expect(mine).toEqual([expect.stringContaining('waits until rail six has room')]);
    expect(rig.at('two')).toBe(pulseOf(FAR));
  });

  test('what waits for its rail is forgotten when the cue is stopped', async () => {
    const { rig, client } = await Rig.live(
      heavy({
        both: [
          { at: 0, move: { one: FAR }, overS: 2 },
          { at: 0.5, move: { two: FAR } },
        ],
      }),
    );
    await client.call('cue.run', { cue: 'both' });
    await rig.run(1000);
    expect(rig.servo('two').delayed).toBe(true);
    await client.call('cue.stop', { cue: 'both' });
    expect(rig.servo('two').delayed).toBe(false);
    await rig.run(5000);
    expect(rig.at('two')).toBe(pulseOf(0));
  });

  test('a move that takes longer than asked says by how much; one that fits does not', async () => {
    const { rig, log } = await running(
      {
        fast: [
          { at: 0, move: { neck: FAR }, overS: 0.1 },
          { at: 0, move: { jaw: FAR }, overS: FAR_MS / 1000 },
        ],
      },
      'fast',
      1500,
    );
    expect(rig.texts('slower')).toEqual([
      'cue fast, step 1: takes 0.4 s, not 0.1 s; the limits allow no more',
    ]);
    const [entry] = rig.entries.filter(({ what }) => what === 'slower');
    expect(entry!.values).toMatchObject({ cue: 'fast', step: 0, durationS: 0.4, overS: 0.1 });
    onTime(ends(log, 'neck')[0], FAR_MS - TICK_MS);
  });
});
