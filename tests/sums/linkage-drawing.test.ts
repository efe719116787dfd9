import { describe, expect, test } from 'vitest';
import { Linkage, type LinkageSpec } from '../../src/sums/linkage.ts';
import { ServoMapping } from '../../src/sums/servo-mapping.ts';
import fc from '../fast-check.ts';
import { type Point, RAD, turn } from './circles.ts';

// The linkage as the drawing in the readme has it, with the horn at any angle of the whole turn. The
// other way here is brute force: where the rod has its length is looked for along the flap's whole
// circle, with no formula for a four-bar linkage (loop closure: any textbook on mechanisms, e.g. R. L.
// Norton, "Design of Machinery", position analysis; from memory).

type Lengths = Pick<LinkageSpec, 'groundMm' | 'hornMm' | 'couplerMm' | 'flapMm'>;

const pinAt = (x: number, lengthMm: number, deg: number): Point => [
  x + lengthMm * Math.cos(deg * RAD),
  lengthMm * Math.sin(deg * RAD),
];

/** Both angles of the flap arm (deg) at which the rod spans the pins; fewer where they nearly meet. */
function closures({ groundMm, hornMm, couplerMm, flapMm }: Lengths, hornDeg: number): number[] {
  const [hx, hy] = pinAt(0, hornMm, hornDeg);
  const miss = (deg: number) => {
    const [fx, fy] = pinAt(groundMm, flapMm, deg);
    return Math.hypot(fx - hx, fy - hy) - couplerMm;
  };
  const found: number[] = [];
  for (let from = -180; from < 180; from += 2) {
    let [a, b] = [from, from + 2];
    if (miss(a) * miss(b) > 0) continue;
    for (let i = 0; i < 60; i++) {
      const half = (a + b) / 2;
      if (miss(a) * miss(half) <= 0) b = half;
      else a = half;
    }
    found.push((a + b) / 2);
  }
  return found;
}

/** On which side of a line from p to q a point lies: above 0 to the left. */
const side = ([px, py]: Point, [qx, qy]: Point, [x, y]: Point) =>
  (qx - px) * (y - py) - (qy - py) * (x - px);

/** Whether two stretches meet: each has the ends of the other on either side of it. */
const cross = (p: Point, q: Point, r: Point, s: Point) =>
  side(p, q, r) * side(p, q, s) < 0 && side(r, s, p) * side(r, s, q) < 0;

/** Whether the rod crosses the line from shaft to hinge, as somebody sees who looks at it. */
function rodCrosses(bar: Lengths, hornDeg: number, flapDeg: number): boolean {
  const hinge: Point = [bar.groundMm, 0];
  const [horn, flap] = [pinAt(0, bar.hornMm, hornDeg), pinAt(bar.groundMm, bar.flapMm, flapDeg)];
  return cross(horn, flap, [0, 0], hinge);
}

/** Whether the flap's pin is on the shaft's side of a ruler from the horn's pin to the hinge. */
function onShaftSide(bar: Lengths, hornDeg: number, flapDeg: number): boolean {
  const [horn, flap] = [pinAt(0, bar.hornMm, hornDeg), pinAt(bar.groundMm, bar.flapMm, flapDeg)];
  const hinge: Point = [bar.groundMm, 0];
  return side(horn, hinge, flap) * side(horn, hinge, [0, 0]) > 0;
}

const length = (min: number, max: number) =>
  fc.integer({ min: min * 10, max: max * 10 }).map((n) => n / 10);
const lengths = fc.record({
  groundMm: length(30, 120),
  hornMm: length(8, 40),
  couplerMm: length(20, 140),
  flapMm: length(10, 60),
});
/** The whole turn, but not in line with the hinge, where nothing can be seen of sides. */
const hornAngle = fc.integer({ min: -179, max: 180 }).filter((deg) => deg % 180 !== 0);

/** A linkage, drawn, and what it says of itself in the prop file. */
const drawn = fc
  .record({ bar: lengths, hornZeroDeg: hornAngle, pick: fc.nat(1) })
  .map(({ bar, hornZeroDeg, pick }) => {
    const both = closures(bar, hornZeroDeg);
    return { bar, hornZeroDeg, both, flapDeg: both[pick] ?? Number.NaN, other: both[1 - pick] };
  })
  .filter(({ both }) => both.length === 2 && Math.abs(turn(both[0]! - both[1]!)) > 5);

/** The flap, followed in small steps from where it is drawn: it cannot jump to the other closure. */
function follow(bar: Lengths, fromDeg: number, flapDeg: number, toDeg: number): number | undefined {
  const steps = Math.ceil(Math.abs(toDeg - fromDeg) / 0.5);
  let at = flapDeg;
  for (let i = 1; i <= steps; i++) {
    const both = closures(bar, fromDeg + ((toDeg - fromDeg) * i) / steps);
    if (both.length !== 2 || Math.abs(turn(both[0]! - both[1]!)) < 5) return undefined;
    const [one, other] = both as [number, number];
    at = Math.abs(turn(one - at)) < Math.abs(turn(other - at)) ? one : other;
  }
  return at;
}

describe('with the horn at any angle of the whole turn', () => {
  test('a rod that is seen to cross the line is `crossed`, and one that is not, while the other way does, is not', () => {
    const seen = { crossed: 0, open: 0, below: 0 };
    fc.assert(
      fc.property(drawn, ({ bar, hornZeroDeg, flapDeg, other }) => {
        const crossed = rodCrosses(bar, hornZeroDeg, flapDeg);
        fc.pre(crossed !== rodCrosses(bar, hornZeroDeg, other!));
        seen[crossed ? 'crossed' : 'open']++;
        if (hornZeroDeg < 0) seen.below++;
        const linkage = new Linkage({ ...bar, hornZeroDeg, flapZeroDeg: 0, crossed }, 0);
        expect(Math.abs(turn(linkage.toFlap(0) - flapDeg))).toBeLessThan(1e-5);
      }),
      { numRuns: 2000 },
    );
    for (const count of Object.values(seen)) expect(count).toBeGreaterThan(300);
  });

  test('where no look at the line tells, the ruler from horn pin to hinge does', () => {
    fc.assert(
      fc.property(drawn, ({ bar, hornZeroDeg, flapDeg }) => {
        const crossed = onShaftSide(bar, hornZeroDeg, flapDeg);
        const linkage = new Linkage({ ...bar, hornZeroDeg, flapZeroDeg: 0, crossed }, 0);
        expect(Math.abs(turn(linkage.toFlap(0) - flapDeg))).toBeLessThan(1e-5);
      }),
      { numRuns: 2000 },
    );
  });

  test('a rising pulse moves the flap as the drawing does: place, way, speed and torque', () => {
    const ways = { rises: 0, falls: 0 };
    fc.assert(
      fc.property(
        drawn,
        fc.integer({ min: -50, max: 50 }).filter((deg) => deg !== 0),
        fc.boolean(),
        ({ bar, hornZeroDeg, flapDeg }, byDeg, calibrationFalls) => {
          const crossed = onShaftSide(bar, hornZeroDeg, flapDeg);
          const moved = follow(bar, hornZeroDeg, flapDeg, hornZeroDeg + byDeg);
          const before = follow(bar, hornZeroDeg, flapDeg, hornZeroDeg + byDeg - 0.05);
          const after = follow(bar, hornZeroDeg, flapDeg, hornZeroDeg + byDeg + 0.05);
          fc.pre(moved !== undefined && before !== undefined && after !== undefined);
          const end = calibrationFalls ? -50 : 50;
          const spec = {
            calibration: [
              [1000, -end],
              [2000, end],
            ] as [number, number][],
            linkage: { ...bar, hornZeroDeg, flapZeroDeg: 0, crossed },
          };
          const mapping = new ServoMapping(spec);
          const [low, high] = mapping.linkage!.hornRangeDeg;
          fc.pre(byDeg - 0.1 > low && byDeg + 0.1 < high);
          const us = mapping.calibration.toPulseUs(byDeg);
          expect(Math.abs(turn(mapping.toDeg(us) - moved))).toBeLessThan(1e-5);
          // The inverse, by which moves and captures go.
          expect(Math.abs(mapping.toPulseUs(mapping.toDeg(us)) - us)).toBeLessThan(1e-3);
          // Turn of the flap for a turn of the horn, and so, by virtual work, the torque.
          const slope = turn(after - before) / 0.1;
          fc.pre(Math.abs(slope) < 20);
          const ratio = mapping.linkage!.ratioAt(mapping.toDeg(us));
          expect(Math.abs(ratio - slope)).toBeLessThan(2e-3 * (1 + slope * slope));
          if (Math.abs(slope) < 0.01) return;
          const way = mapping.toDeg(us + 0.5) - mapping.toDeg(us - 0.5);
          expect(Math.sign(way)).toBe(Math.sign(calibrationFalls ? -slope : slope));
          ways[way > 0 ? 'rises' : 'falls']++;
        },
      ),
      { numRuns: 200 },
    );
    expect(Math.min(...Object.values(ways))).toBeGreaterThan(30);
  });

  test('the mirror image of a linkage moves as its mirror image', () => {
    fc.assert(
      fc.property(drawn, fc.double({ min: -60, max: 60, noNaN: true }), ({ bar, ...it }, byDeg) => {
        const crossed = onShaftSide(bar, it.hornZeroDeg, it.flapDeg);
        const one = new Linkage({ ...bar, hornZeroDeg: it.hornZeroDeg, crossed }, 0);
        const mirror = new Linkage({ ...bar, hornZeroDeg: -it.hornZeroDeg, crossed }, 0);
        // At a toggle position rounding grows without bound.
        fc.pre(byDeg > one.hornRangeDeg[0] + 0.1 && byDeg < one.hornRangeDeg[1] - 0.1);
        expect(mirror.toFlap(-byDeg)).toBeCloseTo(-one.toFlap(byDeg), 6);
        expect(mirror.toHorn(one.toFlap(byDeg) * -1)).toBeCloseTo(-byDeg, 4);
      }),
      { numRuns: 1000 },
    );
  });

  // The parallel linkage of the readme's drawing, turned over: everybody sees that the flap goes with
  // the horn, on both sides of the line.
  test.each([90, 45, 170, -90, -45, -170, 270])(
    'a parallelogram with the horn at %d deg',
    (deg) => {
      const bar = { groundMm: 62, hornMm: 24, couplerMm: 62, flapMm: 24 };
      const linkage = new Linkage({ ...bar, hornZeroDeg: deg, crossed: false }, 0);
      for (const by of [-8, 5, 8]) expect(linkage.toFlap(by)).toBeCloseTo(by, 9);
    },
  );

  test('a horn that swings over the line stays on the branch that it has where the calibration says 0', () => {
    fc.assert(
      fc.property(
        drawn,
        fc.integer({ min: 5, max: 80 }),
        fc.boolean(),
        ({ bar, hornZeroDeg, flapDeg }, beyond, toLine) => {
          // From its zero to as far on the other side of the line, over 0 or over 180 deg.
          const line = toLine ? 0 : Math.sign(hornZeroDeg) * 180;
          const toDeg = line + Math.sign(line - hornZeroDeg) * beyond;
          const moved = follow(bar, hornZeroDeg, flapDeg, toDeg);
          fc.pre(moved !== undefined);
          const crossed = onShaftSide(bar, hornZeroDeg, flapDeg);
          const spec = { ...bar, hornZeroDeg, flapZeroDeg: 0, crossed };
          for (const midDeg of [0, (toDeg - hornZeroDeg) / 2, toDeg - hornZeroDeg]) {
            const linkage = new Linkage(spec, midDeg);
            const [low, high] = linkage.hornRangeDeg;
            const byDeg = toDeg - hornZeroDeg;
            if (byDeg < low || byDeg > high) continue;
            expect(Math.abs(turn(linkage.toFlap(byDeg) - moved!))).toBeLessThan(1e-5);
          }
        },
      ),
      { numRuns: 150 },
    );
  });
});
