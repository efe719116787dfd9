import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { type Prop, schemas } from '../../src/prop/schema.ts';
import { channelCurves, closuresOf, railCurves } from '../../src/rehearsal/cue-curves.ts';
import { rehearse, TICK_MS } from '../../src/rehearsal/rehearse.ts';
import { rehearsedLoad } from '../../src/rehearsal/rehearsed-load.ts';

const example = (name: string): Prop =>
  parseProp(
    readFileSync(new URL(`../../config/${name}.yaml`, import.meta.url), 'utf8'),
    `${name}.yaml`,
  ).prop!;

function small(cue: object[]): Prop {
  return schemas().propFile.parse({
    sinew: 1,
    name: 'Bench',
    boards: { main: { driver: 'sim' } },
    rails: { supply: { volts: 6, limitA: 5 } },
    channels: {
      arm: {
        kind: 'servo',
        rail: 'supply',
        output: { board: 'main', pin: 1 },
        calibration: [
          [1000, -50],
          [2000, 50],
        ],
        speedDegS: 60,
        accelDegS2: 300,
        draw: { idleA: 0.1, movingA: 0.5, stallA: 1.5 },
        park: { to: -40 },
      },
      fan: {
        kind: 'relay',
        rail: 'supply',
        output: { board: 'main', pin: 2 },
        draw: { onA: 0.3 },
        duty: { maxOnS: 4, restS: 10 },
      },
    },
    cues: { show: cue },
  });
}

/** A curve at a time: straight lines between its points. */
function valueAt(tS: readonly number[], value: readonly number[], atS: number): number {
  let i = 0;
  for (let high = tS.length; i < high; ) {
    const mid = (i + high) >> 1;
    if (tS[mid]! < atS - 1e-9) i = mid + 1;
    else high = mid;
  }
  if (i === tS.length) return value.at(-1)!;
  if (i === 0 || Math.abs(tS[i]! - atS) < 1e-9) return value[i]!;
  const share = (atS - tS[i - 1]!) / (tS[i]! - tS[i - 1]!);
  return value[i - 1]! + share * (value[i]! - value[i - 1]!);
}

/**
 * Position after `t` of a move over `d` from rest to rest, at most `v` fast, with `a`: the trapezoid of any
 * handbook of kinematics (a triangle where the way is too short).
 */
function trapezoid(d: number, v: number, a: number, t: number): number {
  const top = Math.min(v, Math.sqrt(d * a));
  const rampS = top / a;
  const wholeS = d / top + rampS;
  if (t <= 0) return 0;
  if (t < rampS) return (a * t * t) / 2;
  if (t < wholeS - rampS) return top * (t - rampS / 2);
  if (t < wholeS) return d - (a * (wholeS - t) ** 2) / 2;
  return d;
}

describe('the curve of a channel', () => {
  test.each([
    ['a trapezoid', 80, 60 / 300 + 80 / 60],
    ['a triangle', 6, 2 * Math.sqrt(6 / 300)],
  ])('of a move is %s, as the closed form says', async (_shape, way, wholeS) => {
    const prop = small([{ at: 0, move: { arm: -40 + way } }]);
    const done = await rehearse(prop, 'show');
    const [arm] = channelCurves(done, prop);
    const tS = arm!.tS;
    const deg = arm!.value as number[];
    expect(deg.at(-1)).toBe(-40 + way);
    // It starts in the first tick, and ends within one.
    const tickS = TICK_MS / 1000;
    expect(done.durationS).toBeGreaterThan(wholeS);
    expect(done.durationS).toBeLessThanOrEqual(wholeS + 2.01 * tickS);
    const offS = done.durationS - wholeS;
    for (let t = 0; t <= wholeS; t += tickS) {
      const near = [0, offS].map((late) =>
        Math.abs(valueAt(tS, deg, t + late) - (-40 + trapezoid(way, 60, 300, t))),
      );
      // A tick of the way at full speed, where it starts within the tick.
      expect(Math.min(...near)).toBeLessThan(0.1 + 60 * tickS);
    }
    expect(tS.length).toBeLessThan(30);
  });

  test.each(['owl', 'lidded-chest', 'dusk-street'])(
    'is within what it says of every tick of the core: all cues of %s',
    async (name) => {
      const prop = example(name);
      for (const cue of Object.keys(prop.cues)) {
        const done = await rehearse(prop, cue, 60);
        const curves = channelCurves(done, prop);
        for (const { name: channel, kind, tS, value, within } of curves) {
          const track = done.tracks.find((one) => one.name === channel)!;
          expect(tS.length).toBeLessThanOrEqual(track.tS.length + 2);
          if (kind === 'relay') {
            expect([tS, value]).toEqual([track.tS, track.value]);
            continue;
          }
          const parts =
            kind === 'rgb'
              ? [1, 3, 5].map(
                  (from) => (one: number | string) =>
                    Number.parseInt(String(one).slice(from, from + 2), 16),
                )
              : [Number];
          for (const part of parts) {
            const curve = value.map(part);
            let worst = 0;
            // Also right before the next sample.
            for (const [i, from] of track.tS.entries())
              for (const atS of [from, (track.tS[i + 1] ?? done.durationS) - TICK_MS / 1000])
                if (atS >= from)
                  worst = Math.max(
                    worst,
                    Math.abs(valueAt(tS, curve, atS) - part(track.value[i]!)),
                  );
            expect(worst, `${cue} ${channel}`).toBeLessThanOrEqual(within + 1e-6);
          }
          expect(within).toBeLessThanOrEqual(kind === 'rgb' ? 1 : 0.1);
        }
      }
    },
  );

  test('of a long and restless cue has a bounded number of points, and says how near it is', async () => {
    const steps = Array.from({ length: 900 }, (_, i) => ({
      at: i * 0.66,
      move: { arm: i % 2 ? 30 : -30 },
    }));
    const prop = small(steps);
    const done = await rehearse(prop, 'show');
    const [arm] = channelCurves(done, prop);
    expect(arm!.tS.length).toBeLessThanOrEqual(3000);
    expect(arm!.within).toBeGreaterThan(0.1);
    expect(arm!.within).toBeLessThan(20);
    const [track] = done.tracks;
    for (const [i, atS] of track!.tS.entries())
      if (i % 17 === 0)
        expect(
          Math.abs(valueAt(arm!.tS, arm!.value as number[], atS) - (track!.value[i] as number)),
        ).toBeLessThanOrEqual(arm!.within + 1e-6);
  });
});

test('a rail carries what the file says of its channels, and what the budget computes', async () => {
  const prop = small([
    { at: 1, move: { arm: 40 } },
    { at: 4, switch: { fan: 'on' }, forS: 2 },
  ]);
  const done = await rehearse(prop, 'show');
  const [rail] = railCurves(done);
  const amps = (atS: number) => valueAt(rail!.tS, rail!.amps, atS);
  expect(amps(0.5)).toBeCloseTo(0.1, 2);
  expect(amps(2)).toBeCloseTo(0.5, 2);
  expect(amps(3.5)).toBeCloseTo(0.1, 2);
  expect(amps(5)).toBeCloseTo(0.4, 2);
  // A servo that starts draws its stall current for a moment.
  expect(rail!.peakA).toBeCloseTo(1.5, 3);
  for (const name of ['owl', 'dusk-street']) {
    const own = example(name);
    for (const cue of Object.keys(own.cues)) {
      const curves = railCurves(await rehearse(own, cue));
      const { rails } = await rehearsedLoad(own, cue);
      expect(curves.map(({ peakA }) => peakA)).toEqual(
        rails.map(({ peakA }) => Math.round(peakA * 1000) / 1000),
      );
      for (const curve of curves)
        expect(Math.max(...curve.amps)).toBeGreaterThanOrEqual(curve.peakA - curve.within - 0.001);
    }
  }
});

test('closures have their rests, and a closure that the duty guard ends is as long as it allows', async () => {
  const prop = small([
    { at: 0, switch: { fan: 'on' }, forS: 1.5 },
    { at: 3, switch: { fan: 'on' } },
    { at: 8, move: { arm: 0 } },
  ]);
  const done = await rehearse(prop, 'show');
  const { closures: found, moreClosures } = closuresOf(done, prop);
  expect(found).toHaveLength(2);
  expect(moreClosures).toBe(0);
  expect(found[0]!.toS! - found[0]!.fromS).toBeCloseTo(1.5, 2);
  expect(found[0]!.restUntilS).toBeCloseTo(found[0]!.toS! + 10, 3);
  // maxOnS is 4 in all: 2.5 s are left.
  expect(found[1]!.toS! - found[1]!.fromS).toBeCloseTo(2.5, 1);
});

test('a relay that switches more often than is drawn says from when on its changes are left out', async () => {
  // Both of them, so often that neither has room for all of its points.
  const prop = small([{ at: 0, move: { arm: -39 } }]);
  const changes = 5000;
  const done = await rehearse(prop, 'show');
  const tS = Array.from({ length: changes }, (_, i) => i / 10);
  const value = tS.map((_, i) => i % 2);
  const tracks = done.tracks.map((track) =>
    track.name === 'fan' ? { ...track, tS, value } : track,
  );
  const fan = channelCurves({ ...done, tracks }, prop).find(({ name }) => name === 'fan')!;
  expect(fan.tS.length).toBeLessThan(changes);
  expect(fan.cutAtS).toBe(tS[fan.tS.length]);
  const { closures, moreClosures } = closuresOf({ ...done, tracks }, prop);
  expect(closures.length + moreClosures).toBe(changes / 2);
  expect(closures.at(-1)!.fromS).toBeLessThan(tS.at(-1)!);
  // With room for all, nothing is said.
  const few = tracks.map((track) =>
    track.name === 'fan' ? { ...track, tS: tS.slice(0, 50), value: value.slice(0, 50) } : track,
  );
  expect(
    channelCurves({ ...done, tracks: few }, prop).find(({ name }) => name === 'fan'),
  ).not.toHaveProperty('cutAtS');
});

test('the curve of a sound is its volume, fades included', async () => {
  const prop = schemas().propFile.parse({
    sinew: 1,
    name: 'Voice',
    boards: { speaker: { driver: 'alsa' } },
    channels: { voice: { kind: 'sound', output: { board: 'speaker' } } },
    sounds: { purr: 'purr.wav' },
    cues: {
      show: [
        { at: 0, sound: { voice: 'purr' }, volume: 0.8, fadeS: 0.5 },
        { at: 2, sound: { voice: 'off' }, fadeS: 1 },
      ],
    },
  });
  const purr = { file: 'purr.wav', path: '/nowhere/purr.wav', durationS: 6 };
  const heard = { ...prop, soundFiles: { purr } };
  const rehearsal = await rehearse(heard, 'show');
  const { tS, value } = channelCurves(rehearsal, heard).find(({ name }) => name === 'voice')!;
  for (const [atS, volume] of [
    [0.125, 0.2],
    [0.25, 0.4],
    [0.5, 0.8],
    [1.9, 0.8],
    [2.5, 0.4],
    [3.1, 0],
  ] as const)
    expect(
      Math.abs(valueAt(tS, value as number[], atS) - volume),
      `${volume} at ${atS} s`,
    ).toBeLessThan(0.03);
});
