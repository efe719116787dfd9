import { describe, expect, it } from 'vitest';
import type { Servo } from '../../../src/core/servo.ts';
import type { Take, TakeServo } from '../../../src/prop/take/take-text.ts';
import { tidy } from '../../../src/shared/units.ts';
import {
  type MotionLimits,
  type MotionState,
  planMove,
  sample,
} from '../../../src/sums/profile.ts';
import { TakeCurve } from '../../../src/sums/take-curve.ts';
import fc from '../../fast-check.ts';
import { Rig, servo, TICK_S } from '../rig.ts';
import { playing } from '../takes-rig.ts';

/** Within this acceleration (deg/s2) each recorded motion comes back within 0.1 deg. */
const FAST = 1500;
/** Rounding in sums of ticks. */
const SLACK = 1e-6;

/** Limits of hobby servos, with and without one of the jerk. */
const anyLimits: fc.Arbitrary<MotionLimits> = fc
  .record({
    speed: fc.double({ min: 20, max: 400, noNaN: true }),
    accel: fc.double({ min: 50, max: 2000, noNaN: true }),
    jerks: fc.option(fc.double({ min: 3, max: 40, noNaN: true }), { nil: undefined }),
  })
  .map(({ speed, accel, jerks }) =>
    jerks === undefined ? { speed, accel } : { speed, accel, jerk: accel * jerks },
  );

const specOf = ({ speed, accel, jerk }: MotionLimits) =>
  servo({ speedDegS: speed, accelDegS2: accel, ...(jerk !== undefined && { jerkDegS3: jerk }) });

/** Points that no hand could perform. */
const wildPoints = (name: string): fc.Arbitrary<TakeServo> =>
  fc
    .array(
      fc.tuple(
        fc.oneof(fc.integer({ min: 1, max: 60 }), fc.integer({ min: 1, max: 800 })),
        fc.oneof(fc.constantFrom(-40, 40, 0), fc.double({ min: -40, max: 40, noNaN: true })),
      ),
      { minLength: 1, maxLength: 40 },
    )
    .map((steps) => {
      let ms = 0;
      const timesS = steps.map(([step], i) => {
        if (i > 0) ms += step;
        return ms / 1000;
      });
      return { name, timesS, deg: steps.map(([, deg]) => tidy(deg)) };
    });

/** Fails on the first tick in which a servo breaks a limit. */
class Watch {
  readonly #servo: Servo;
  #before: MotionState | undefined;

  constructor(servo: Servo) {
    this.#servo = servo;
  }

  tick(): void {
    const { setpoint, limits, limitsDeg } = this.#servo;
    const { pos, vel, acc } = setpoint;
    const now = { pos, vel, acc };
    const before = this.#before;
    this.#before = now;
    const jerk = limits.jerk ?? Number.POSITIVE_INFINITY;
    const wrong: string[] = [];
    const keep = (what: string, value: number, limit: number) => {
      if (!(Math.abs(value) <= limit * (1 + SLACK) + SLACK))
        wrong.push(`${what} ${value}, limit ${limit}`);
    };
    keep('speed', vel, limits.speed);
    keep('acceleration', acc, limits.accel);
    if (pos < limitsDeg[0] - SLACK || pos > limitsDeg[1] + SLACK) wrong.push(`at ${pos}`);
    if (before) {
      keep('speed by position', (pos - before.pos) / TICK_S, limits.speed);
      keep('acceleration by speed', (vel - before.vel) / TICK_S, limits.accel);
      keep('jerk', (acc - before.acc) / TICK_S, jerk + SLACK / TICK_S);
    }
    if (wrong.length > 0) throw new Error(`${this.#servo.name}: ${wrong.join('; ')}`);
  }
}

/** Motion that keeps to limits, as a hand leads a servo: sent elsewhere again and again, then home. */
function ledBy(
  limits: MotionLimits,
  targets: readonly (readonly [pauseS: number, deg: number])[],
): number[] {
  const state: MotionState = { pos: 0, vel: 0, acc: 0 };
  const found: number[] = [0];
  for (const [pauseS, deg] of [...targets, [Number.POSITIVE_INFINITY, 0] as const]) {
    const way = planMove({ ...state }, deg, limits);
    const ticks = Math.ceil(Math.min(pauseS, way.durationS) / TICK_S);
    for (let i = 1; i <= ticks; i++) {
      sample(way, i * TICK_S, state);
      found.push(state.pos);
    }
  }
  // So that the last sample of a recording is the last tick.
  while ((found.length - 1) % 4 !== 0) found.push(0);
  return found;
}

/** 50 times a second, as recordings are. */
function recorded(name: string, ticks: readonly number[]): TakeServo {
  const kept = ticks.filter((_, i) => i % 4 === 0);
  return { name, timesS: kept.map((_, i) => tidy(i / 50)), deg: kept.map((one) => tidy(one)) };
}

describe('a take in the core', () => {
  it('breaks no limit, however wild it is, whatever happens meanwhile', async () => {
    const event = fc.record({
      atMs: fc.integer({ min: 0, max: 4000 }),
      what: fc.constantFrom('stop', 'jog', 'again', 'move', 'park', 'none', 'limits'),
    });
    await fc.assert(
      fc.asyncProperty(
        fc.tuple(wildPoints('neck'), wildPoints('beak')),
        fc.tuple(anyLimits, anyLimits),
        fc.constantFrom(0.25, 1, 1, 3),
        fc.array(event, { maxLength: 3 }),
        async (servos, [one, other], rate, events) => {
          const take: Take = { servos: [...servos] };
          const channels = { neck: specOf(one), beak: specOf(other) };
          const prop = playing(take, { rate, times: 2 }, channels);
          const { rig, client } = await Rig.live(prop);
          const watches = rig.core.body.servos.map((each) => new Watch(each));
          rig.afterTick = () => {
            for (const watch of watches) watch.tick();
          };
          await client.call('cue.run', { cue: 'wave' });
          const order = [...events].sort((a, b) => a.atMs - b.atMs);
          for (const { atMs, what } of order) {
            await rig.run(Math.max(0, atMs - rig.clock.nowMs()));
            if (rig.core.condition !== 'live') break;
            if (what === 'stop') await client.call('cue.stop', { cue: 'wave' }).catch(() => {});
            if (what === 'jog')
              await client.call('channel.jog', { channel: 'neck', byDeg: 3 }).catch(() => {});
            if (what === 'again') await client.call('cue.run', { cue: 'wave' });
            if (what === 'move') await client.call('channel.move', { channel: 'beak', to: -10 });
            if (what === 'park') void client.call('park').catch(() => {});
          }
          await rig.run(3000);
          const refused = rig.entries.filter(({ what }) => what === 'refused');
          if (events.length === 0) expect(refused).toEqual([]);
        },
      ),
      { numRuns: 50 },
    );
  });

  it('meets what is within the limits, within 0.1 deg in each tick, as it was recorded', async () => {
    const targets = fc.array(
      fc.tuple(
        fc.double({ min: 0.02, max: 1.2, noNaN: true }),
        fc.double({ min: -39, max: 39, noNaN: true }),
      ),
      { minLength: 1, maxLength: 8 },
    );
    await fc.assert(
      fc.asyncProperty(targets, anyLimits, async (asked, limits) => {
        const led = ledBy(limits, asked);
        const take: Take = { servos: [recorded('neck', led)] };
        const { rig, client } = await Rig.live(playing(take, {}, { neck: specOf(limits) }));
        const { setpoint } = rig.core.body.servo('neck');
        const found: number[] = [];
        rig.afterTick = () => {
          if (rig.core.body.servo('neck').moving || found.length > 0) found.push(setpoint.pos);
        };
        await client.call('cue.run', { cue: 'wave' });
        await rig.until(() => !rig.core.cues.anyRunning, 60);
        // The first that moves is one tick into it.
        for (const [i, deg] of led.entries()) {
          if (i === 0) continue;
          // Of a faster servo, 50 samples a second show less: there it is a tick early or late.
          const near = limits.accel <= FAST ? [deg] : led.slice(i - 1, i + 2);
          const low = Math.min(...near) - 0.1;
          const high = Math.max(...near) + 0.1;
          expect(found[i - 1] ?? 0, `tick ${i}`).toBeGreaterThanOrEqual(low);
          expect(found[i - 1] ?? 0, `tick ${i}`).toBeLessThanOrEqual(high);
        }
        const [line] = take.servos;
        const curve = new TakeCurve(line!.timesS, line!.deg);
        expect(found.length * TICK_S).toBeLessThan(curve.durationS + 3.5 * TICK_S);
      }),
      { numRuns: 150 },
    );
  });
});
