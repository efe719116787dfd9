import { describe, expect, test } from 'vitest';
import { cueDurationS, cuePlan } from '../../src/prop/cue-plan.ts';
import { parseProp } from '../../src/prop/load.ts';
import type { CuePlan } from '../../src/prop/plan-types.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { OWL, propText, relay, servo } from './helpers.ts';

// The trapezoid's closed form (any textbook on motion control): over d with speed v and
// acceleration a it takes d / v + v / a, or 2 sqrt(d / a) where v is not reached.
// 100 deg/s, 500 deg/s2: 40 deg in 0.6 s, 80 deg in 1 s, 20 deg in 0.4 s.

const CHANNELS = `a: ${servo(4, { speedDegS: '100', accelDegS2: '500', marks: '{ up: 40, down: -40 }' })}
  b: ${servo(5, { speedDegS: '20', accelDegS2: '100' })}
  r: ${relay(7, { duty: '{ maxOnS: 5, restS: 5 }' })}
  m: ${relay(8, { contact: 'momentary', pulseMs: '250' })}
  l: { kind: lamp, output: { board: head, pin: 12 }, fadeS: 2 }`;

function propOf(cues: string): Prop {
  const { prop, findings } = parseProp(
    propText(CHANNELS, `poses: { p: { a: up, b: 40, l: 1 } }\ncues:\n${cues}`),
    'f',
  );
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  return prop!;
}

function planOf(cues: string, name = 'c'): CuePlan {
  return cuePlan(propOf(cues), name);
}

/** [start, end] of every step (s). */
function times({ steps }: CuePlan): [number | null, number | null][] {
  return steps.map(({ startS, endS }) => [startS, endS]);
}

function near(s: number): unknown {
  return expect.closeTo(s, 6);
}

describe('one step', () => {
  test.each([
    ['move: { a: 40 }', 0.6],
    ['move: { a: up }, overS: 2', 2],
    ['move: { a: 40 }, overS: 0.1', 0.6],
    // The slowest sets the pace: 40 deg at 20 deg/s, 100 deg/s2.
    ['pose: p', 2.2],
    // 0.9 of the scale, 2 s for all of it.
    ['dim: { l: 0.9 }', 1.8],
    ['dim: { l: 1 }, fadeS: 3', 3],
    ['switch: { r: on }', 0],
    ['switch: { r: on }, forS: 4', 4],
    ['switch: { r: on }, forS: 9', 5],
    ['switch: { r: off }, forS: 4', 4],
    ['switch: { m: on }, forS: 4', 0.25],
    ['until: { channel: a, above: 5, withinS: 7 }', 7],
  ])('%s takes %d s', (step, durationS) => {
    expect(planOf(`  c: [{ at: 0, ${step} }]`).durationS).toEqual(near(durationS));
  });

  test('tells what each servo does', () => {
    const { steps } = planOf('  c: [{ at: 0.5, move: { a: up, b: 10 }, overS: 3 }]');
    expect(steps).toEqual([
      {
        index: 0,
        startS: 0.5,
        endS: 3.5,
        moves: [
          { servo: 'a', fromDeg: 0, targetDeg: 40, neededS: near(0.6) },
          // 10 deg: 0.5 + 0.2
          { servo: 'b', fromDeg: 0, targetDeg: 10, neededS: near(0.7) },
        ],
      },
    ]);
  });

  test('along a curve it needs longer', () => {
    const plan = planOf('  c: [{ at: 0, move: { a: 40 }, ease: ease-in-out }]');
    const [move] = plan.steps[0]!.moves;
    expect(move!.neededS).toBeGreaterThan(0.6);
    // The steepest slope of ease-in-out, at its middle, is 1.7 or so: no more than twice the time.
    expect(move!.neededS).toBeLessThan(1.2);
    expect(plan.durationS).toBe(move!.neededS);
  });
});

describe('steps together', () => {
  test('each starts at its latest', () => {
    const plan = planOf(`  c:
    - { name: one, at: 1, spreadS: 0.5, move: { a: up } }
    - { name: two, after: one, move: { a: down } }
    - { after: two, at: 2, dim: { l: 1 } }
    - { at: 0, switch: { r: on }, forS: 3 }`);
    expect(times(plan)).toEqual([
      [1.5, near(2.1)],
      [near(2.1), near(3.1)],
      [near(5.1), near(7.1)],
      [0, 3],
    ]);
    expect(plan.durationS).toEqual(near(7.1));
  });

  test('the long form is planned alike', () => {
    const steps = '[{ at: 1, move: { a: up } }, { at: 3, move: { a: 0 } }]';
    expect(planOf(`  c: { seed: 1, steps: ${steps} }`)).toEqual(planOf(`  c: ${steps}`));
  });

  test('a move that is taken over goes on from where it is, as fast as it is', () => {
    const plan = planOf('  c: [{ at: 0, move: { a: 40 } }, { at: 0.3, move: { a: 40 } }]');
    // Half-way, at full speed: 20 deg at 100 deg/s less 10 deg to brake, then 0.2 s to brake.
    expect(plan.steps[1]!.moves).toEqual([
      { servo: 'a', fromDeg: near(20), targetDeg: 40, neededS: near(0.3) },
    ]);
  });

  test('random targets are planned at their farthest', () => {
    const any = '{ around: 0, spread: 20 }';
    const plan = planOf(`  c: [{ at: 0, move: { a: ${any} } }, { at: 1, move: { a: ${any} } }]`);
    expect(plan.steps.map(({ moves }) => moves[0]!.neededS)).toEqual([near(0.4), near(0.6)]);
  });
});

describe('cues within cues', () => {
  const UP = '  up: [{ at: 0, move: { a: up } }, { at: 1, move: { a: 0 } }]\n'; // 1.6 s
  const LONG = '  long: [{ at: 0, switch: { r: on }, forS: 4 }]\n';

  test('once, several times, and the longest to choose from', () => {
    expect(planOf(`${UP}  c: [{ at: 1, cue: up }]`).durationS).toEqual(near(2.6));
    expect(planOf(`${UP}  c: [{ at: 1, cue: up, times: 3 }]`).durationS).toEqual(near(5.8));
    expect(planOf(`${UP}${LONG}  c: [{ at: 1, choose: [up, long] }]`).durationS).toEqual(near(5));
    expect(planOf(`${UP}  c: [{ at: 1, cue: up, times: 10000 }]`).durationS).toBeCloseTo(16001, 3);
  });

  test('the second run begins where the first has ended', () => {
    // 40 deg up, then 80 deg down; from then on 80 deg each way.
    const swing =
      '  swing: [{ name: x, at: 0, move: { a: up } }, { after: x, move: { a: down } }]\n';
    expect(planOf(swing, 'swing').durationS).toEqual(near(1.6));
    expect(planOf(`${swing}  c: [{ at: 0, cue: swing, times: 3 }]`).durationS).toEqual(near(5.6));
  });

  test('until stopped', () => {
    const cues = `${UP}  c: [{ name: on, at: 1, cue: up, times: until stopped }, { at: 0, move: { b: 40 } }]
  d: [{ at: 0, cue: c }]
  e: [{ at: 0, choose: [up, d] }]`;
    const prop = propOf(cues);
    expect(times(cuePlan(prop, 'c'))).toEqual([
      [1, null],
      [0, near(2.2)],
    ]);
    for (const name of ['c', 'd', 'e']) expect(cueDurationS(prop, name)).toBeNull();
    expect(cueDurationS(prop, 'up')).toEqual(near(1.6));
  });

  test('many times within each other are counted, not gone through', () => {
    const levels = Array.from(
      { length: 8 },
      (_, i) => `  c${i + 1}: [{ at: 0, cue: c${i}, times: 100 }]`,
    ).join('\n');
    const prop = propOf(`  c0: [{ at: 0, switch: { r: on }, forS: 1 }]\n${levels}`);
    expect(cueDurationS(prop, 'c8')).toBeCloseTo(1e16, -10);
  });
});

test('the plan of the demo prop', () => {
  const { prop } = parseProp(OWL, 'owl.yaml');
  const plan = cuePlan(prop!, 'wake');
  // Overs and fades as in the file; the tail's 40 deg at 120 deg/s and 600 deg/s2; 4 s of mist.
  expect(times(plan)).toEqual([
    [0, 1.2],
    [0.5, 1.5],
    [1.5, near(1.5 + 40 / 120 + 120 / 600)],
    [2.5, 6.5],
  ]);
  expect(plan.problems).toEqual([]);
  expect(cueDurationS(prop!, 'wake')).toBe(6.5);
  // Computed once.
  expect(cuePlan(prop!, 'wake')).toBe(plan);
});
