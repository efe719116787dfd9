import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { rehearse } from '../../../src/rehearsal/rehearse.ts';
import fc from '../../fast-check.ts';
import { drawnFlapDeg, turn } from '../../sums/circles.ts';
import { type Client, makeProp, Rig, relay, servo, TICK_S } from '../rig.ts';

// A channel with a linkage is commanded in degrees of its flap. What the flap does is drawn with
// circles from the pulses that were written, not computed as the core computes it.

const bar = { groundMm: 62, hornMm: 24, couplerMm: 60, flapMm: 26 };
const HORN_ZERO = 90;
const FLAP_ZERO = 60;
const LIMITS: [number, number] = [0, 70];
/** 10 us a degree of the horn. */
const hornOf = (us: number) => (us - 1500) / 10;
const flapOf = (us: number) => turn(drawnFlapDeg(bar, HORN_ZERO + hornOf(us)) - FLAP_ZERO);
/** A step of the pulse, 0.1 deg of the horn, is less than this on the flap (deg). */
const STEP_DEG = 0.1;

const lid = (over: Record<string, unknown> = {}) =>
  servo({
    calibration: [
      [1000, -50],
      [2000, 50],
    ],
    envelopeUs: [1080, 1920],
    linkage: { ...bar, hornZeroDeg: HORN_ZERO, flapZeroDeg: FLAP_ZERO },
    limitsDeg: LIMITS,
    speedDegS: 60,
    accelDegS2: 300,
    marks: { shut: 0, open: 65 },
    park: { to: 'shut' },
    ...over,
  });

/** Moves there and lets the time pass that it takes. */
async function go({ rig, client }: { rig: Rig; client: Client }, to: number | string) {
  const said = await client.call('channel.move', { channel: 'lid', to });
  await rig.until(() => !rig.servo('lid').moving, 10);
  await rig.tick();
  return said;
}

describe('commanded in degrees of the flap', () => {
  test.each([0, 7.5, 30, 'open', 70])('to %s: the pulse that is held puts it there', async (to) => {
    const { rig, client } = await Rig.live(makeProp({ lid: lid() }));
    const { target } = await go({ rig, client }, to);
    expect(target).toBe(to === 'open' ? 65 : to);
    expect(Math.abs(flapOf(rig.at('lid')) - target)).toBeLessThan(STEP_DEG);
  });

  test('the flap keeps to its speed on the way, and takes the time of the trapezoid', async () => {
    const { rig, client } = await Rig.live(makeProp({ lid: lid() }));
    const flaps: number[] = [];
    rig.afterTick = () => flaps.push(flapOf(rig.at('lid')));
    const { durationS } = await go({ rig, client }, 66);
    // Trapezoid from rest to rest: d / v + v / a.
    expect(durationS).toBeCloseTo(66 / 60 + 60 / 300, 3);
    // Over 20 ticks, so that the steps of the pulse do not count.
    const span = 20;
    const speeds = flaps.slice(span).map((deg, i) => (deg - flaps[i]!) / (span * TICK_S));
    expect(Math.max(...speeds)).toBeLessThan(60 + (2 * STEP_DEG) / (span * TICK_S));
    expect(Math.max(...speeds)).toBeGreaterThan(59);
    // The horn does not turn at an even speed meanwhile.
    const pulses = rig.writes.filter(({ output }) => output === 'lid').map(({ value }) => value);
    expect(
      new Set(pulses.slice(80, 160).map((us, i) => us - pulses[79 + i]!)).size,
    ).toBeGreaterThan(1);
  });

  test('whatever is asked for, no pulse takes the flap out of its limits', async () => {
    const asked = fc.array(
      fc.oneof(
        fc.record({ to: fc.double({ min: -20, max: 90, noNaN: true }), ms: fc.nat(400) }),
        fc.record({ byDeg: fc.double({ min: -30, max: 30, noNaN: true }), ms: fc.nat(400) }),
        fc.record({ byUs: fc.double({ min: -300, max: 300, noNaN: true }), ms: fc.nat(400) }),
      ),
      { minLength: 1, maxLength: 8 },
    );
    await fc.assert(
      fc.asyncProperty(asked, async (steps) => {
        const { rig, client } = await Rig.live(makeProp({ lid: lid() }));
        for (const { ms, ...step } of steps) {
          const ask =
            'to' in step
              ? client.call('channel.move', { channel: 'lid', to: step.to })
              : client.call('channel.jog', { channel: 'lid', ...step });
          await ask.catch(() => {});
          await rig.run(ms);
        }
        for (const { output, value } of rig.writes) {
          if (output !== 'lid' || value === 0) continue;
          expect(flapOf(value)).toBeGreaterThan(LIMITS[0] - 1e-6);
          expect(flapOf(value)).toBeLessThan(LIMITS[1] + 1e-6);
        }
        expect(rig.writes.length).toBeGreaterThan(0);
      }),
      { numRuns: 40 },
    );
  });

  test('limits and jogs are refused, and held, in degrees of the flap', async () => {
    const { client, rig } = await Rig.live(makeProp({ lid: lid() }));
    const refusal = await client.refused('channel.move', { channel: 'lid', to: 71 });
    expect(refusal.message).toBe('lid may go from 0 to 70 deg; 71 deg is outside');
    const jog = await client.call('channel.jog', { channel: 'lid', byDeg: 12 });
    expect(jog).toMatchObject({ target: 12, limited: false });
    await rig.run(1500);
    expect(Math.abs(flapOf(rig.at('lid')) - 12)).toBeLessThan(STEP_DEG);
    const end = await client.call('channel.jog', { channel: 'lid', byDeg: 100 });
    expect(end).toMatchObject({ target: 70, limited: true });
  });

  test('a jog in microseconds is one of the pulse', async () => {
    const { rig, client } = await Rig.live(makeProp({ lid: lid() }));
    await go({ rig, client }, 30);
    const before = rig.at('lid');
    const { pulseUs } = await client.call('channel.jog', { channel: 'lid', byUs: 40 });
    expect(Math.abs(pulseUs - before - 40)).toBeLessThanOrEqual(1);
    await rig.run(1500);
    expect(rig.at('lid')).toBe(pulseUs);
  });

  test('feeling for the stop ends at the envelope, which is told in degrees of the flap', async () => {
    const { rig, client } = await Rig.live(makeProp({ lid: lid() }));
    await go({ rig, client }, 70);
    let limited = false;
    for (let i = 0; i < 10 && !limited; i++) {
      ({ limited } = await client.call('channel.jog', {
        channel: 'lid',
        byDeg: 2,
        beyondLimits: true,
      }));
      await rig.run(600);
    }
    expect(limited).toBe(true);
    expect(rig.at('lid')).toBe(1920);
    expect(rig.servo('lid').setpoint.pos).toBeCloseTo(flapOf(1920), 4);
  });

  test('interlocks, captures and the list speak of the flap', async () => {
    const prop = makeProp({
      lid: lid(),
      steam: relay({ requires: [{ channel: 'lid', above: 40 }] }),
    });
    const { rig, client } = await Rig.live(prop);
    await go({ rig, client }, 39);
    expect((await client.refused('channel.switch', { channel: 'steam', on: true })).kind).toBe(
      'interlock',
    );
    await go({ rig, client }, 42);
    await client.call('channel.switch', { channel: 'steam', on: true });
    await client.call('mark.capture', { channel: 'lid', mark: 'steaming' });
    expect(rig.editor.edits).toEqual([
      { path: ['channels', 'lid', 'marks', 'steaming'], value: 42 },
    ]);
    const { channels } = await client.call('channel.list');
    expect(channels.lid).toMatchObject({
      value: 42,
      limitsDeg: LIMITS,
      linkage: { ...bar, crossed: false },
      calibration: [
        [1000, -50],
        [2000, 50],
      ],
    });
  });

  test('the torque that is reported is that within the limits in use', async () => {
    const load = { flap: { massKg: 0.4, centreMm: 150, levelDeg: 70 } };
    const { rig, client } = await Rig.live(makeProp({ lid: lid({ load, stallNm: 1.2 }) }));
    const torque = async () => (await client.call('channel.list')).channels.lid!.torque!;
    const before = await torque();
    expect(before.atDeg).toBeGreaterThan(60);
    expect(before.margin).toBeCloseTo(1.2 / before.worstNm, 2);
    await go({ rig, client }, 40);
    await client.call('limits.capture', { channel: 'lid', end: 'high' });
    const after = await torque();
    expect(after.atDeg).toBeLessThanOrEqual(40);
    expect(after.worstNm).toBeLessThan(before.worstNm);
  });

  // The mirror image of a crossed linkage: the flap falls as the horn rises.
  test('a crossed linkage turns the other way, and everything holds as well', async () => {
    const links = { groundMm: 60, hornMm: 20, couplerMm: 64, flapMm: 22 };
    const prop = makeProp({
      lid: lid({
        envelopeUs: [1200, 1800],
        linkage: { ...links, hornZeroDeg: 90, crossed: true },
        limitsDeg: [-15, 15],
        marks: {},
        park: { to: 0 },
      }),
    });
    const { rig, client } = await Rig.live(prop);
    const drawn = (us: number) =>
      turn(drawnFlapDeg(links, 90 + hornOf(us), true) - drawnFlapDeg(links, 90, true));
    for (const to of [15, -15, 3]) {
      await go({ rig, client }, to);
      expect(Math.abs(drawn(rig.at('lid')) - to)).toBeLessThan(STEP_DEG);
    }
    expect(drawn(1600)).toBeLessThan(drawn(1500));
    const [low, high] = rig.servo('lid').envelopeDeg;
    expect(low).toBeCloseTo(drawn(1800), 6);
    expect(high).toBeCloseTo(drawn(1200), 6);
  });
});

// The readme's drawing turned over: horn, rod and flap arm below the line, and a flap that falls as the
// horn rises, unless the rod crosses.
describe('with the horn below the line from shaft to hinge', () => {
  const below = (crossed: boolean) => ({
    ...bar,
    hornZeroDeg: -HORN_ZERO,
    crossed,
    ...(crossed ? {} : { flapZeroDeg: -FLAP_ZERO }),
  });

  test('moves, jogs and captures go where the drawing does', async () => {
    const mirrored = (us: number) => -turn(drawnFlapDeg(bar, HORN_ZERO - hornOf(us)) - FLAP_ZERO);
    const prop = makeProp({
      lid: lid({ linkage: below(false), limitsDeg: [-70, 0], marks: {}, park: { to: 0 } }),
    });
    const { rig, client } = await Rig.live(prop);
    for (const to of [-65, -7, -30]) {
      await go({ rig, client }, to);
      expect(Math.abs(mirrored(rig.at('lid')) - to)).toBeLessThan(STEP_DEG);
    }
    // A longer pulse turns the horn anticlockwise, and the flap with it.
    const before = rig.at('lid');
    const { target } = await client.call('channel.jog', { channel: 'lid', byUs: 40 });
    expect(target).toBeGreaterThan(-30);
    expect(Math.abs(target - mirrored(before + 40))).toBeLessThan(STEP_DEG);
    await rig.run(1500);
    await client.call('mark.capture', { channel: 'lid', mark: 'here' });
    const [edit] = rig.editor.edits;
    expect(Math.abs((edit!.value as number) - mirrored(rig.at('lid')))).toBeLessThan(STEP_DEG);
  });

  test('crossed, the flap goes against the horn', async () => {
    const prop = makeProp({
      lid: lid({
        linkage: {
          groundMm: 60,
          hornMm: 20,
          couplerMm: 64,
          flapMm: 22,
          hornZeroDeg: -90,
          crossed: true,
        },
        envelopeUs: [1200, 1800],
        limitsDeg: [-15, 15],
        marks: {},
        park: { to: 0 },
      }),
    });
    const { rig, client } = await Rig.live(prop);
    const before = rig.at('lid');
    await go({ rig, client }, 10);
    expect(rig.at('lid')).toBeLessThan(before);
  });
});

describe('with the sim driver', () => {
  const measured = async (stopsDeg: [number, number]) => {
    const driver = new SimDriver({ lid: { stopsDeg, lagS: 0.06, speedDegS: 400 } }, { lid: 0 });
    const prop = makeProp({ lid: lid({ draw: { idleA: 0, movingA: 0.3, stallA: 1 } }) });
    return Rig.live(prop, { drivers: { main: driver } });
  };

  test('the position is measured in degrees of the flap', async () => {
    const { rig, client } = await measured([-2, 73]);
    for (const to of [65, 20]) {
      await go({ rig, client }, to);
      await rig.run(1000);
      expect(Math.abs(rig.servo('lid').measuredDeg - to)).toBeLessThan(STEP_DEG);
      expect(rig.servo('lid').pushing).toBe(false);
    }
  });

  test('its stops are those of the flap: beyond them the servo pushes', async () => {
    const { rig, client } = await measured([-2, 60]);
    await go({ rig, client }, 65);
    await rig.run(1000);
    expect(rig.servo('lid').measuredDeg).toBeCloseTo(60, 6);
    expect(rig.servo('lid').pushing).toBe(true);
  });
});

test('a rehearsal gives the angles of the flap, and never of a pulse outside the envelope', async () => {
  const file = 'lidded-chest.yaml';
  const text = readFileSync(new URL(`../../../config/${file}`, import.meta.url), 'utf8');
  const { tracks } = await rehearse(parseProp(text, file).prop!, 'reveal');
  const track = tracks.find(({ name }) => name === 'lid')!;
  const values = track.value as number[];
  expect(Math.max(...values)).toBeCloseTo(65, 2);
  expect(Math.min(...values)).toBeCloseTo(0, 2);
});
