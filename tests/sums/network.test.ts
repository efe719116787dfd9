import { describe, expect, test } from 'vitest';
import { type Branch, ResistorNetwork } from '../../src/sums/network.ts';
import fc from '../fast-check.ts';

const branch = (from: number, to: number, ohm: number): Branch => ({ from, to, ohm });
/** Resistance between two nodes: the voltage that one ampere needs. */
function resistance(nodes: number, branches: Branch[], a: number, b: number): number {
  const injected = new Float64Array(nodes);
  injected[a] = 1;
  injected[b] = -1;
  const volts = new ResistorNetwork(nodes, branches).volts(injected);
  return volts[a]! - volts[b]!;
}

describe('textbook', () => {
  test('series and parallel', () => {
    expect(resistance(3, [branch(0, 1, 2), branch(1, 2, 3)], 0, 2)).toBeCloseTo(5, 12);
    expect(resistance(2, [branch(0, 1, 2), branch(1, 0, 3)], 0, 1)).toBeCloseTo(1.2, 12);
  });

  // A ladder of 1 ohm rungs and rails: 5 ohm / 3 ohm / 2 ohm ... the ratio of Fibonacci numbers, with
  // the golden ratio as its limit.
  test('the ladder of 1 ohm', () => {
    const sections = 40;
    const branches = [];
    for (let i = 0; i < sections; i++) branches.push(branch(i + 1, i + 2, 1), branch(i + 2, 0, 1));
    expect(resistance(3, branches.slice(0, 2), 1, 0)).toBeCloseTo(2, 12);
    expect(resistance(4, branches.slice(0, 4), 1, 0)).toBeCloseTo(5 / 3, 12);
    expect(resistance(sections + 2, branches, 1, 0)).toBeCloseTo((1 + Math.sqrt(5)) / 2, 12);
  });

  // A bridge that is not balanced. By the delta-star transform of its upper three, worked by hand:
  // 1, 2 and 5 ohm become 0.25, 0.625 and 1.25 ohm; 0.25 + (3.625 x 5.25) / 8.875 = 2.394366.
  test('the bridge', () => {
    const bridge = [
      branch(0, 1, 1),
      branch(0, 2, 2),
      branch(1, 2, 5),
      branch(1, 3, 3),
      branch(2, 3, 4),
    ];
    expect(resistance(4, bridge, 0, 3)).toBeCloseTo(2.394366, 6);
  });

  // Twelve resistors of 1 ohm along the edges of a cube: 5/6 ohm across, 3/4 across a face, 7/12 along
  // an edge.
  test('the cube', () => {
    const cube: Branch[] = [];
    for (let corner = 0; corner < 8; corner++)
      for (const bit of [1, 2, 4])
        if ((corner & bit) === 0) cube.push(branch(corner, corner | bit, 1));
    expect(cube).toHaveLength(12);
    expect(resistance(8, cube, 0, 7)).toBeCloseTo(5 / 6, 12);
    expect(resistance(8, cube, 0, 3)).toBeCloseTo(3 / 4, 12);
    expect(resistance(8, cube, 0, 1)).toBeCloseTo(7 / 12, 12);
  });
});

test('a shared return: each load lifts it for the others', () => {
  // Three loads of 1 A at 0.1 ohm, 0.2 ohm and 0.3 ohm of one return, worked by hand: 3, 2 and 1 A in
  // its parts.
  const shared = new ResistorNetwork(
    4,
    [branch(1, 0, 0.1), branch(2, 1, 0.1), branch(3, 2, 0.1)],
    [0],
  );
  const volts = shared.volts([0, 1, 1, 1]);
  for (const [node, expected] of [0, 0.3, 0.5, 0.6].entries())
    expect(volts[node]).toBeCloseTo(expected, 12);
  for (const [i, expected] of [3, 2, 1].entries())
    expect(shared.amps(volts)[i]).toBeCloseTo(expected, 12);
});

/** A network of several parts, tree-like with some meshes, and balanced currents. */
const networks = fc.integer({ min: 2, max: 40 }).chain((nodes) =>
  fc.record({
    nodes: fc.constant(nodes),
    branches: fc.array(
      fc
        .tuple(
          fc.nat(nodes - 1),
          fc.nat(nodes - 1),
          fc.double({ min: 1e-3, max: 100, noNaN: true }),
        )
        .map(([from, to, ohm]) => branch(from, to, ohm)),
      { maxLength: 80 },
    ),
    flows: fc.array(fc.tuple(fc.nat(79), fc.double({ min: 0, max: 10, noNaN: true })), {
      maxLength: 8,
    }),
  }),
);

// The voltages of a resistive network are the only ones that meet Kirchhoff's current law at every
// node, so that this is a whole check. The voltage law holds as every node has one voltage.
test("Kirchhoff's current law at every node of any network", () => {
  fc.assert(
    fc.property(networks, ({ nodes, branches, flows }) => {
      const injected = new Float64Array(nodes);
      // In at one end of some branch, out at the other: what a part gets and gives is equal.
      for (const [at, amps] of flows) {
        const through = branches[at % Math.max(1, branches.length)];
        if (!through) continue;
        injected[through.from]! += amps;
        injected[through.to]! -= amps;
      }
      const network = new ResistorNetwork(nodes, branches);
      const left = Float64Array.from(injected);
      for (const [i, amps] of network.amps(network.volts(injected)).entries()) {
        left[branches[i]!.from]! -= amps;
        left[branches[i]!.to]! += amps;
      }
      for (const amps of left) expect(Math.abs(amps)).toBeLessThan(1e-7);
    }),
  );
});

test('3,000 wires from blocks to loads take milliseconds', () => {
  const branches: Branch[] = [];
  for (let block = 1; block <= 30; block++) {
    branches.push(branch(0, block, 0.01));
    for (let load = 0; load < 100; load++)
      branches.push(branch(block, 31 + (block - 1) * 100 + load, 0.1));
  }
  const started = performance.now();
  const injected = new Float64Array(3031).fill(-1, 31);
  injected[0] = 3000;
  const volts = new ResistorNetwork(3031, branches).volts(injected);
  expect(performance.now() - started).toBeLessThan(500);
  // 100 A in 0.01 ohm and 1 A in 0.1 ohm.
  expect(volts[0]! - volts[3030]!).toBeCloseTo(1.1, 9);
});
