import { describe, expect, test } from 'vitest';
import { planMove } from '../../src/sums/profile.ts';

/**
 * Time-optimality by exhaustion: every sequence of the controls -1, 0 and 1, each held for one unit
 * of time, is followed from a start; wherever one comes to rest, the plan must get there at least as
 * fast. On this lattice all states are whole numbers of a small fraction, so the search is exact. It
 * shares nothing with the profile: no formula for a ramp, a stop or a peak.
 */

type State = readonly [pos: number, vel: number, acc: number];

/** Smallest number of steps to each position of rest, in units of `pos`. */
function exhaust(
  start: State,
  step: (state: State, control: number) => State | undefined,
  depth: number,
): Map<number, number> {
  const key = ([pos, vel, acc]: State) => (pos * 4096 + vel) * 256 + acc;
  const seen = new Set([key(start)]);
  const rests = new Map<number, number>();
  let front = [start];
  for (let n = 0; n <= depth; n++) {
    const next: State[] = [];
    for (const state of front) {
      if (state[1] === 0 && state[2] === 0 && !rests.has(state[0])) rests.set(state[0], n);
      for (const control of [-1, 0, 1]) {
        const reached = step(state, control);
        if (!reached || seen.has(key(reached))) continue;
        seen.add(key(reached));
        next.push(reached);
      }
    }
    front = next;
  }
  return rests;
}

describe('no sequence of controls on a lattice is faster than the plan', () => {
  test.each([
    { speed: 3, depth: 12 },
    { speed: 8, depth: 20 },
    { speed: 100, depth: 20 },
  ])('acceleration as control, speed $speed', ({ speed, depth }) => {
    // Positions in halves: pos += vel + acc / 2.
    const step = ([pos, vel]: State, acc: number): State | undefined =>
      Math.abs(vel + acc) > speed ? undefined : [pos + 2 * vel + acc, vel + acc, 0];
    let compared = 0;
    let equal = 0;
    const reach = Math.min(speed, 6);
    for (let vel = -reach; vel <= reach; vel++) {
      for (const [pos, steps] of exhaust([0, vel, 0], step, depth)) {
        const { durationS } = planMove({ pos: 0, vel, acc: 0 }, pos / 2, { speed, accel: 1 });
        if (durationS > steps + 1e-9)
          expect.fail(`from velocity ${vel} to ${pos / 2}: plan ${durationS}, search ${steps}`);
        compared++;
        if (durationS > steps - 1e-9) equal++;
      }
    }
    expect(compared).toBeGreaterThan(300);
    // The search does attain the optimum, so the bound is tight.
    expect(equal).toBeGreaterThan(50);
  });

  test.each([
    { accel: 1, speed: 2, depth: 12 },
    { accel: 2, speed: 3, depth: 12 },
    { accel: 2, speed: 5.5, depth: 12 },
    { accel: 3, speed: 9, depth: 12 },
    { accel: 20, speed: 5, depth: 12 },
    { accel: 20, speed: 100, depth: 12 },
  ])(
    'jerk as control, accel $accel, speed $speed',
    { timeout: 60_000 },
    ({ accel, speed, depth }) => {
      // Velocities in halves, positions in sixths: vel += acc + jerk / 2, pos += vel + acc / 2 + jerk / 6.
      const step = ([pos, vel, acc]: State, jerk: number): State | undefined => {
        const velAfter = vel + 2 * acc + jerk;
        if (Math.abs(acc + jerk) > accel || Math.abs(velAfter) > 2 * speed) return undefined;
        return [pos + 3 * vel + 3 * acc + jerk, velAfter, acc + jerk];
      };
      let compared = 0;
      let equal = 0;
      const reach = Math.min(accel, 3);
      for (let acc = -reach; acc <= reach; acc++) {
        // By symmetry one sign of the velocity is enough.
        for (let vel = 0; vel <= Math.min(2 * speed, 10); vel++) {
          for (const [pos, steps] of exhaust([0, vel, acc], step, depth)) {
            const from = { pos: 0, vel: vel / 2, acc };
            const { durationS } = planMove(from, pos / 6, { speed, accel, jerk: 1 });
            if (durationS > steps + 1e-9) {
              expect.fail(
                `from velocity ${vel / 2}, acceleration ${acc} to ${pos / 6}: plan ${durationS}, search ${steps}`,
              );
            }
            compared++;
            if (durationS > steps - 1e-9) equal++;
          }
        }
      }
      expect(compared).toBeGreaterThan(200);
      expect(equal).toBeGreaterThan(5);
    },
  );
});
