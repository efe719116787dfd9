import { afterAll, describe, expect, test } from 'vitest';
import {
  type MotionLimits,
  type MotionState,
  planMove,
  planStop,
  sample,
} from '../../src/sums/profile.ts';
import fc from '../fast-check.ts';

/**
 * Programs of retargets: from rest inside the soft limits, the motion is given a new target, a
 * slower new target or a stop at any tick, in whatever state it then is. Everything is read through
 * `sample` and checked by an integration of its own in steps a tenth of a tick: differences of what
 * is read keep the limits, and the acceleration, integrated, gives the velocity and the position.
 */
// A failing program is told as it is: shrinking hundreds of retargets takes minutes.
fc.configureGlobal({ endOnFailure: true });

const TICK_S = 0.005;
const STEPS_PER_TICK = 10;
const STEP_S = TICK_S / STEPS_PER_TICK;
const RETARGETS_PER_PROGRAM = 100;
const PROGRAMS = 1000;

interface Retarget {
  kind: 'fast' | 'slow' | 'stop';
  /** Target as a share of the soft limits. */
  share: number;
  /** Slow: duration as a multiple of the fastest. */
  slower: number;
  /** How long it is followed before the next. */
  ticks: number;
}

interface Program {
  limits: MotionLimits;
  low: number;
  high: number;
  start: number;
  retargets: Retarget[];
}

const number = (min: number, max: number) => fc.double({ min, max, noNaN: true });
const scale = (min: number, max: number) =>
  number(Math.log10(min), Math.log10(max)).map((exponent) => 10 ** exponent);

const retarget: fc.Arbitrary<Retarget> = fc.record({
  kind: fc.constantFrom('fast', 'fast', 'fast', 'slow', 'stop'),
  share: fc.oneof(fc.constantFrom(0, 1), number(0, 1)),
  slower: fc.oneof(number(1, 1.05), number(1, 4)),
  ticks: fc.oneof(fc.integer({ min: 1, max: 12 }), fc.integer({ min: 1, max: 80 })),
});

function programs(jerk: fc.Arbitrary<number | undefined>): fc.Arbitrary<Program> {
  return fc
    .record({
      limits: fc.record({ speed: scale(10, 500), accel: scale(50, 5000), jerk }),
      low: number(-90, 0),
      span: scale(0.1, 180),
      start: number(0, 1),
      retargets: fc.array(retarget, {
        minLength: RETARGETS_PER_PROGRAM,
        maxLength: RETARGETS_PER_PROGRAM,
      }),
    })
    .map(({ low, span, start, ...others }) => ({
      ...others,
      low,
      high: low + span,
      start: low + start * span,
    }));
}

/** The worst of everything that is limited or compared, over a whole program. */
class Worst {
  readonly values = new Map<string, number>();

  /** Keeps how far `value` is above `bound`; NaN counts as far. */
  above(name: string, value: number, bound: number): void {
    const over = Number.isNaN(value) ? Number.POSITIVE_INFINITY : value - bound;
    if (over > (this.values.get(name) ?? Number.NEGATIVE_INFINITY)) this.values.set(name, over);
  }
}

let retargetsDone = 0;
let stepsDone = 0;

function run({ limits, low, high, start, retargets }: Program): Worst {
  const { speed, accel, jerk } = limits;
  const worst = new Worst();
  const from: MotionState = { pos: start, vel: 0, acc: 0 };
  const before: MotionState = { pos: 0, vel: 0, acc: 0 };
  const now: MotionState = { pos: 0, vel: 0, acc: 0 };
  for (const { kind, share, slower, ticks } of retargets) {
    const to = Math.min(low + share * (high - low), high);
    let trajectory = kind === 'stop' ? planStop(from, limits) : planMove(from, to, limits);
    if (kind === 'slow') {
      const wantedS = trajectory.durationS * slower;
      trajectory = planMove(from, to, limits, wantedS);
      worst.above('duration', Math.abs(trajectory.durationS - wantedS), 1e-6);
    }
    if (kind !== 'stop') worst.above('target', Math.abs(trajectory.endPos - to), 0);
    worst.above('soft limits', trajectory.endPos, high + 1e-9);
    worst.above('soft limits', low - 1e-9, trajectory.endPos);

    // It starts where it is, and ends at rest at its end without a jump.
    sample(trajectory, 0, now);
    worst.above('start', Math.abs(now.pos - from.pos) + Math.abs(now.vel - from.vel), 1e-12);
    if (jerk !== undefined) worst.above('start', Math.abs(now.acc - from.acc), 1e-12);
    sample(trajectory, trajectory.durationS - 1e-9, now);
    worst.above('end', Math.abs(now.pos - trajectory.endPos), 1e-9 * (1 + speed));
    worst.above('end', Math.abs(now.vel), 1e-9 * (1 + 2 * accel));
    sample(trajectory, trajectory.durationS, now);
    if (now.pos !== trajectory.endPos || now.vel !== 0 || now.acc !== 0)
      worst.above('end', Number.NaN, 0);

    sample(trajectory, 0, before);
    let vel = before.vel;
    let pos = before.pos;
    const steps = ticks * STEPS_PER_TICK;
    for (let step = 1; step <= steps; step++) {
      sample(trajectory, step * STEP_S, now);
      worst.above('speed', Math.abs(now.pos - before.pos) / STEP_S, speed);
      worst.above('speed', Math.abs(now.vel), speed);
      worst.above('accel', Math.abs(now.vel - before.vel) / STEP_S, accel);
      worst.above('accel', Math.abs(now.acc), accel);
      if (jerk !== undefined)
        worst.above('jerk', Math.abs(now.acc - before.acc) / STEP_S / jerk, 1);
      worst.above('soft limits', now.pos, high + 1e-9);
      worst.above('soft limits', low - 1e-9, now.pos);
      // Exact while the jerk is constant; each change of jerk within a step costs what is allowed below.
      pos += STEP_S * vel + (STEP_S ** 2 * (2 * before.acc + now.acc)) / 6;
      vel += (STEP_S * (before.acc + now.acc)) / 2;
      before.pos = now.pos;
      before.vel = now.vel;
      before.acc = now.acc;
    }
    // Seven changes of jerk, or three of acceleration, each off by at most this in velocity.
    const velNoise = 1e-9 + (jerk === undefined ? 3 * accel * STEP_S : 7 * jerk * STEP_S ** 2);
    worst.above('integrated velocity', Math.abs(vel - now.vel), velNoise);
    worst.above('integrated position', Math.abs(pos - now.pos), velNoise * (steps + 1) * STEP_S);
    sample(trajectory, ticks * TICK_S, from);
    retargetsDone++;
    stepsDone += steps;
  }
  return worst;
}

/** What float noise of a difference quotient may add, in the unit of each. */
const NOISE = new Map([
  ['speed', 1e-9],
  ['accel', 1e-7],
  ['jerk', 1e-6],
]);

describe('retargeted at any tick, every limit holds and the sums agree', () => {
  test.each([
    ['without jerk', fc.constant(undefined)],
    ['with jerk', scale(200, 200_000)],
  ] as [string, fc.Arbitrary<number | undefined>][])('%s', { timeout: 60_000 }, (_name, jerk) => {
    fc.assert(
      fc.property(programs(jerk), (program) => {
        for (const [name, over] of run(program).values) {
          const noise = NOISE.get(name) ?? 0;
          if (!(over <= noise)) expect.fail(`${name} is exceeded by ${over}`);
        }
      }),
      { numRuns: PROGRAMS },
    );
  });

  afterAll(() => {
    expect(retargetsDone).toBeGreaterThanOrEqual(100_000);
    expect(stepsDone).toBeGreaterThan(retargetsDone * STEPS_PER_TICK);
  });
});
