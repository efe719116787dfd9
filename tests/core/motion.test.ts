import { expect, test } from 'vitest';
import { Motion } from '../../src/core/motion.ts';
import { planMove, planStop, sample } from '../../src/sums/profile.ts';
import fc from '../fast-check.ts';

const limits = fc.record({
  speed: fc.double({ min: 1, max: 400, noNaN: true }),
  accel: fc.double({ min: 10, max: 4000, noNaN: true }),
  jerk: fc.option(fc.double({ min: 100, max: 40_000, noNaN: true }), { nil: undefined }),
});
const deg = fc.double({ min: -90, max: 90, noNaN: true });

test('step by step it goes where the trajectory is at that time, whatever the steps', () => {
  const steps = fc.array(fc.double({ min: 0, max: 0.3, noNaN: true }), { maxLength: 60 });
  fc.assert(
    fc.property(deg, deg, limits, steps, (from, to, { jerk, ...rest }, dtsS) => {
      const [other, motion] = Motion.make(2) as [Motion, Motion];
      other.restAt(7);
      motion.restAt(from);
      const trajectory = planMove(motion, to, jerk === undefined ? rest : { ...rest, jerk });
      motion.follow(trajectory);
      let atS = 0;
      const at = { pos: 0, vel: 0, acc: 0 };
      for (const dtS of dtsS) {
        if (!motion.moving) break;
        motion.advance({ dtS });
        atS += dtS;
        sample(trajectory, atS, at);
        expect({ pos: motion.pos, vel: motion.vel, acc: motion.acc }).toEqual(at);
        expect(motion.targetDeg).toBe(to);
        expect(motion.moving).toBe(atS < trajectory.durationS);
      }
      expect(other).toMatchObject({ pos: 7, vel: 0, acc: 0, targetDeg: 7, moving: false });
    }),
  );
});

test('retargeted on the way it goes on from where it is, and it rests at once when told to', () => {
  const [motion] = Motion.make(1) as [Motion];
  const fast = { speed: 100, accel: 500 };
  motion.follow(planMove(motion, 60, fast));
  motion.advance({ dtS: 0.5 });
  const { pos, vel } = motion;
  expect(vel).toBeGreaterThan(0);
  motion.follow(planStop(motion, fast));
  // v^2 / 2a, the way of a uniform deceleration.
  expect(motion.targetDeg).toBeCloseTo(pos + vel ** 2 / (2 * fast.accel), 9);
  expect(motion).toMatchObject({ pos, vel, moving: true });
  motion.rest();
  expect(motion).toMatchObject({ pos, vel: 0, acc: 0, targetDeg: pos, moving: false });
  motion.advance({ dtS: 1 });
  expect(motion.pos).toBe(pos);
});
