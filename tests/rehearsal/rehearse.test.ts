import { describe, expect, test } from 'vitest';
import { type Rehearsal, rehearse, type Track } from '../../src/rehearsal/rehearse.ts';
import { lamp, makeProp, Rig, relay, rgb, servo, TICK_S } from '../core/rig.ts';

const unrestricted = { unrestricted: true, reason: 'a test that nobody sees' };

/** Steps that use everything a cue can, on two servos, a relay, an rgb and a lamp. */
const stage = (cues: Record<string, unknown>) =>
  makeProp(
    {
      neck: servo({ rail: 'six', draw: { movingA: 0.5, idleA: 0.02 }, jerkDegS3: 5000 }),
      jaw: servo({ rail: 'six', draw: { movingA: 0.3, idleA: 0.01 }, park: { to: 10 } }),
      mist: relay({ rail: 'five', draw: { onA: 0.4 }, requires: [{ channel: 'jaw', below: 20 }] }),
      eye: rgb({ rail: 'five', draw: { fullA: [0.02, 0.02, 0.02] }, fadeS: 0.2 }),
      lantern: lamp({ fadeS: 0.3 }),
    },
    { rails: { six: { volts: 6, limitA: 2 }, five: { volts: 5, limitA: 1 } }, cues },
  );

const SHOW = [
  { name: 'turn', at: 0, move: { neck: 30 }, overS: 1.2, ease: 'ease-in-out' },
  { at: 0.4, spreadS: 0.5, move: { jaw: { around: 0, spread: 15 } } },
  { at: 0.2, colour: { eye: 'orange' }, fadeS: 1 },
  { at: 0.3, dim: { lantern: 0.8 }, fadeS: 0.7, ease: 'ease-out' },
  { at: 0.5, switch: { mist: 'on' }, forS: 0.8 },
  { after: 'turn', choose: ['nod', 'shake'], times: 3 },
];
const SMALL = {
  nod: [
    { name: 'down', at: 0, move: { neck: -10 } },
    { after: 'down', move: { neck: 10 } },
  ],
  shake: [{ at: 0, colour: { eye: 'navy' }, move: { jaw: -5 } }],
};

function trackOf({ tracks }: Rehearsal, name: string): Track {
  return tracks.find((track) => track.name === name)!;
}

/** What a time series has at a time: the value of the last sample that is not after it. */
function at<T>(tS: readonly number[], values: readonly T[], atS: number): T {
  let value = values[0]!;
  for (let i = 0; i < tS.length && tS[i]! <= atS + 1e-9; i++) value = values[i]!;
  return value;
}

describe('the same answer', () => {
  test('the same cue and seed give the same bytes', async () => {
    const prop = stage({ ...SMALL, show: { seed: 7, steps: SHOW } });
    const once = JSON.stringify(await rehearse(prop, 'show'));
    expect(JSON.stringify(await rehearse(prop, 'show'))).toBe(once);
    // And from the file read again.
    const again = stage({ ...SMALL, show: { seed: 7, steps: SHOW } });
    expect(JSON.stringify(await rehearse(again, 'show'))).toBe(once);
  });

  test('another seed draws something else', async () => {
    const ends = new Set<unknown>();
    for (const seed of [1, 2, 3, 4, 5]) {
      const show = { seed, steps: [{ at: 0, move: { jaw: { around: 0, spread: 15 } } }] };
      const deg = trackOf(await rehearse(stage({ show }), 'show'), 'jaw').value.at(-1) as number;
      expect(Math.abs(deg)).toBeLessThanOrEqual(15);
      ends.add(deg);
    }
    expect(ends.size).toBe(5);
  });

  test.each([1, 2, 3])(
    'a live core does the same to every channel and rail in every tick (seed %i)',
    async (seed) => {
      const prop = stage({ ...SMALL, show: { seed, steps: SHOW } });
      const rehearsal = await rehearse(prop, 'show');
      const { rig, client } = await Rig.live(prop);
      const startS = rig.core.nowS;
      let ticks = 0;
      const compare = () => {
        const atS = rig.core.nowS - startS;
        for (const channel of rig.core.body.channels) {
          const { tS, value } = trackOf(rehearsal, channel.name);
          const expected = at(tS, value, atS);
          if (channel.kind === 'servo')
            expect(Math.abs(channel.setpoint.pos - (expected as number))).toBeLessThan(1e-9);
          else if (channel.kind === 'relay') expect(channel.on ? 1 : 0).toBe(expected);
          else if (channel.kind === 'rgb') expect(channel.hex).toBe(expected);
          else expect(channel.value).toBeCloseTo(expected as number, 9);
        }
        for (const rail of rehearsal.rails)
          expect(rig.amps(rail.name)).toBeCloseTo(at(rail.tS, rail.amps, atS), 9);
        ticks++;
      };
      rig.afterTick = compare;
      await client.call('cue.run', { cue: 'show' });
      await rig.run(rehearsal.durationS * 1000);
      expect(ticks).toBe(Math.round(rehearsal.durationS / TICK_S));
      expect(rig.core.cues.anyRunning).toBe(false);
    },
  );
});

describe('what it tells', () => {
  test('it starts parked and known', async () => {
    const rehearsal = await rehearse(stage({ ...SMALL, show: SHOW }), 'show');
    const starts = rehearsal.tracks.map(({ name, tS, value }) => [name, tS[0], value[0]]);
    expect(starts).toEqual([
      ['neck', 0, 0],
      ['jaw', 0, 10],
      ['mist', 0, 0],
      ['eye', 0, '#000000'],
      ['lantern', 0, 0],
    ]);
  });

  test('when each step began and ended', async () => {
    const steps = [
      { name: 'over', at: 0.5, move: { neck: 20 }, overS: 1 },
      { after: 'over', at: 0.25, switch: { mist: 'on' }, forS: 2 },
    ];
    const { steps: runs, durationS } = await rehearse(stage({ show: steps }), 'show');
    expect(runs[0]!.startS).toBeCloseTo(0.5, 2);
    expect(runs[0]!.endS).toBeCloseTo(1.5, 1);
    expect(runs[1]!.startS! - runs[0]!.endS!).toBeCloseTo(0.25, 2);
    expect(runs[1]!.endS! - runs[1]!.startS!).toBeCloseTo(2, 2);
    expect(durationS).toBeCloseTo(runs[1]!.endS!, 2);
  });

  test('how long a relay is closed', async () => {
    const show = [
      { at: 0, switch: { mist: 'on' }, forS: 4 },
      { at: 6, switch: { mist: 'on' }, forS: 1.5 },
    ];
    const mist = trackOf(await rehearse(stage({ show }), 'show'), 'mist');
    expect(mist.value).toEqual([0, 1, 0, 1, 0]);
    expect(Math.abs(mist.onS! - 5.5)).toBeLessThanOrEqual(2 * TICK_S + 1e-9);
  });

  test('the peak of a rail, and when', async () => {
    const show = [
      { at: 0, move: { neck: 20 }, overS: 3 },
      { at: 1, move: { jaw: 0 }, overS: 1 },
    ];
    const { rails } = await rehearse(stage({ show }), 'show');
    const six = rails.find(({ name }) => name === 'six')!;
    expect(six).toMatchObject({ limitA: 2 });
    // Both move: the sum of their movingA.
    expect(six.peakA).toBeCloseTo(0.5 + 0.3, 12);
    expect(six.peakAtS).toBeGreaterThanOrEqual(1);
    expect(six.peakAtS).toBeLessThanOrEqual(1 + TICK_S);
    // And from when on only one of them does.
    expect(at(six.tS, six.amps, 2.5)).toBeCloseTo(0.5 + 0.01, 12);
  });

  test('the flashes in a second: WCAG 2.2, a pair of opposing changes is one', async () => {
    const blinks = (period: number, over: Record<string, unknown>) => {
      const steps = Array.from({ length: 20 }, (_, i) => ({
        at: i * period,
        dim: { strobe: i % 2 === 0 ? 1 : 0 },
      }));
      return rehearse(makeProp({ strobe: lamp(over) }, { cues: { blink: steps } }), 'blink');
    };
    // A change every 0.1 s is ten in a second, and one more at its end: five pairs.
    const wild = await blinks(0.1, { flash: unrestricted });
    expect(trackOf(wild, 'strobe').flashes).toBe(5);
    // Twice a second on and off is no faster than allowed; the guard holds back what is.
    expect(trackOf(await blinks(0.25, {}), 'strobe').flashes).toBe(2);
    expect(trackOf(await blinks(0.1, {}), 'strobe').flashes).toBe(3);
  });

  test('red flashes apart from general ones', async () => {
    const steps = Array.from({ length: 12 }, (_, i) => ({
      at: i * 0.2,
      colour: { eye: i % 2 === 0 ? '#600000' : '#202020' },
    }));
    const prop = makeProp({ eye: rgb({ flash: unrestricted }) }, { cues: { alarm: steps } });
    const eye = trackOf(await rehearse(prop, 'alarm'), 'eye');
    // Both are darker than a tenth of white: no general flash, but red and grey by turns.
    expect(eye.flashes).toBe(0);
    expect(eye.redFlashes).toBe(3);
  });

  test('a fade from black to amber is not a red flash, though its first steps round to pure red', async () => {
    const show = [{ at: 0, colour: { eye: 'oklch(75% 0.15 80)' }, fadeS: 1 }];
    const eye = trackOf(await rehearse(stage({ show }), 'show'), 'eye');
    expect(eye).toMatchObject({ flashes: 0, redFlashes: 0 });
  });

  test('what goes on until it is stopped is followed for ten minutes', async () => {
    const cues = { ...SMALL, forever: [{ at: 0, cue: 'shake', times: 'until stopped' }] };
    const { cutShort, durationS, steps } = await rehearse(stage(cues), 'forever');
    expect({ cutShort, durationS }).toEqual({ cutShort: true, durationS: 600 });
    expect(steps).toEqual([{ startS: expect.any(Number), endS: null }]);
  });
});

describe('what comes in the way', () => {
  test('a part that is refused, with its step, and the rest goes on', async () => {
    const show = [
      { at: 0, move: { jaw: 35 } },
      { at: 1, switch: { mist: 'on' }, dim: { lantern: 0.5 } },
    ];
    const rehearsal = await rehearse(stage({ show }), 'show');
    expect(rehearsal.events).toHaveLength(1);
    expect(rehearsal.events[0]).toMatchObject({ what: 'refused', cue: 'show', step: 1 });
    expect(rehearsal.events[0]!.text).toMatch(/mist needs jaw below 20 deg/);
    expect(rehearsal.events[0]!.tS).toBeCloseTo(1, 2);
    expect(trackOf(rehearsal, 'lantern').value.at(-1)).toBe(0.5);
    expect(trackOf(rehearsal, 'mist').value).toEqual([0]);
  });

  test('an interlock that ends by itself', async () => {
    const channels = {
      fan: relay(),
      mist: relay({ requires: [{ channel: 'fan', is: 'on' }] }),
    };
    const show = [
      { name: 'air', at: 0, switch: { fan: 'on' }, forS: 1.5 },
      { at: 0.5, switch: { mist: 'on' }, forS: 5 },
    ];
    const rehearsal = await rehearse(makeProp(channels, { cues: { show } }), 'show');
    expect(rehearsal.events).toMatchObject([{ what: 'interlock', channel: 'mist' }]);
    const mist = trackOf(rehearsal, 'mist');
    // It opens in the tick in which the fan does.
    expect(mist.tS.at(-1)).toBe(trackOf(rehearsal, 'fan').tS.at(-1));
    expect(rehearsal.events[0]!.tS).toBe(mist.tS.at(-1));
  });

  test('a move that would break an interlock', async () => {
    const show = [
      { at: 0, switch: { mist: 'on' }, forS: 5 },
      { at: 1, move: { jaw: 35 } },
    ];
    const rehearsal = await rehearse(stage({ show }), 'show');
    expect(rehearsal.events).toMatchObject([{ what: 'refused', cue: 'show', step: 1 }]);
    expect(trackOf(rehearsal, 'jaw').value).toEqual([10]);
    expect(trackOf(rehearsal, 'mist').onS).toBeCloseTo(5, 2);
  });

  test('a move that its limits hold back', async () => {
    const show = [{ at: 0, move: { jaw: -40 }, overS: 0.1 }];
    const { events } = await rehearse(stage({ show }), 'show');
    // Trapezoid: 50 deg at 120 deg/s and 600 deg/s2 take 50/120 + 120/600 s.
    expect(events).toMatchObject([{ what: 'slower', cue: 'show', step: 0 }]);
    expect(events[0]!.text).toContain(`takes ${(50 / 120 + 120 / 600).toFixed(2)} s, not 0.1 s`);
  });

  test('a move that waits for its rail, told once', async () => {
    const draw = { movingA: 1.2, idleA: 0 };
    const prop = makeProp(
      { left: servo({ rail: 'six', draw }), right: servo({ rail: 'six', draw }) },
      {
        rails: { six: { volts: 6, limitA: 2 } },
        cues: {
          both: [
            { at: 0, move: { left: 30 }, overS: 1 },
            { at: 0.5, move: { right: 30 } },
          ],
        },
      },
    );
    const rehearsal = await rehearse(prop, 'both');
    expect(rehearsal.events).toMatchObject([{ what: 'delayed', cue: 'both', step: 1 }]);
    const right = trackOf(rehearsal, 'right');
    expect(right.tS[1]).toBeGreaterThanOrEqual(1);
    expect(rehearsal.rails[0]!.peakA).toBeLessThanOrEqual(2);
  });

  test('a cue that is not there', async () => {
    await expect(rehearse(stage({ show: SHOW, ...SMALL }), 'shw')).rejects.toThrow(
      'there is no cue shw; did you mean show?',
    );
  });

  test('neither the stop button nor a trigger has a part in it', async () => {
    const prop = makeProp(
      { neck: servo() },
      {
        stopInput: { board: 'main', pin: 40, normallyClosed: false },
        cues: { nod: [{ at: 0, move: { neck: 10 } }] },
        triggers: { early: { start: true, cue: 'nod', unattended: true } },
      },
    );
    const { tracks, events } = await rehearse(prop, 'nod');
    expect(events).toEqual([]);
    expect(tracks[0]!.value.at(-1)).toBe(10);
  });
});
