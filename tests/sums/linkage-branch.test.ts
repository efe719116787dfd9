import { describe, expect, test } from 'vitest';
import { type FourBar, Linkage, type LinkageSpec } from '../../src/sums/linkage.ts';
import { ServoMapping } from '../../src/sums/servo-mapping.ts';
import { distance, flapPin, hornPin, type Point, RAD, turn } from './circles.ts';

// Open or crossed, with the horn anywhere round its turn. The linkage is closed here by numbers alone: the
// flap's arm is turned until its pin is a rod's length from the horn's pin (bisection on the loop's gap),
// and followed from one horn angle to the next, as the real one cannot jump. No formula of the program,
// and none of a textbook, is used for it.

/** Every angle of the flap arm (deg, -180 to 180) that closes the loop. */
function closes(bar: FourBar, hornDeg: number): number[] {
  const pin = hornPin(bar, hornDeg);
  const gapMm = (deg: number) => distance(pin, flapPin(bar, deg)) - bar.couplerMm;
  const found: number[] = [];
  for (let deg = -180; deg < 180; deg += 2) {
    let [low, high] = [deg, deg + 2];
    if (gapMm(low) > 0 === gapMm(high) > 0) continue;
    const rises = gapMm(low) < 0;
    for (let i = 0; i < 50; i++) {
      const middle = (low + high) / 2;
      if (gapMm(middle) < 0 === rises) low = middle;
      else high = middle;
    }
    found.push(low);
  }
  return found;
}

/** Which side of the way from p to q a point lies on: the signed area of the triangle. */
const side = (p: Point, q: Point, at: Point) =>
  (q[0] - p[0]) * (at[1] - p[1]) - (q[1] - p[1]) * (at[0] - p[0]);

const SHAFT: Point = [0, 0];

/** Whether two stretches between points cross. */
const cross = (a: Point, b: Point, c: Point, d: Point) =>
  side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;

/** As the README's drawing says it: shaft and flap pin on one side of the line horn pin to hinge. */
function isCrossed(bar: FourBar, hornDeg: number, flapDeg: number): boolean {
  const [pin, hinge] = [hornPin(bar, hornDeg), [bar.groundMm, 0] as Point];
  return side(pin, hinge, SHAFT) * side(pin, hinge, flapPin(bar, flapDeg)) > 0;
}

interface Drawn {
  bar: FourBar;
  hornZeroDeg: number;
  crossed: boolean;
}

/** Linkages at random, drawn with the horn anywhere: the same ones in each run (a generator by Lehmer). */
function* drawings(count: number): Generator<Drawn> {
  let seed = 20_261;
  const random = (low: number, high: number) => {
    seed = (seed * 48_271) % 2_147_483_647;
    return low + ((high - low) * seed) / 2_147_483_647;
  };
  for (let found = 0; found < count; ) {
    const one = {
      bar: {
        groundMm: random(20, 120),
        hornMm: random(8, 60),
        couplerMm: random(15, 150),
        flapMm: random(8, 80),
      },
      hornZeroDeg: random(-180, 180),
      crossed: random(0, 1) < 0.5,
    };
    if (drawnAt(one) === undefined) continue;
    found++;
    yield one;
  }
}

/** The drawn flap (deg) with the horn at its zero; undefined where the drawing does not tell. */
function drawnAt({ bar, hornZeroDeg, crossed }: Drawn): number | undefined {
  // On the line, or at a toggle position, open and crossed look alike.
  if (Math.abs(Math.sin(hornZeroDeg * RAD)) < 0.02) return undefined;
  const both = closes(bar, hornZeroDeg);
  if (both.length !== 2 || Math.abs(turn(both[0]! - both[1]!)) < 10) return undefined;
  const told = both.filter((deg) => isCrossed(bar, hornZeroDeg, deg) === crossed);
  expect(told).toHaveLength(1);
  return told[0];
}

const spec = (one: Drawn): LinkageSpec => ({
  ...one.bar,
  hornZeroDeg: one.hornZeroDeg,
  flapZeroDeg: 0,
  crossed: one.crossed,
});

/** The flap (deg) at each horn angle of a march in steps of a degree; ends where it opens or turns back. */
function march(bar: FourBar, fromDeg: number, byDeg: number, flapDeg: number): number[] {
  const way: number[] = [flapDeg];
  const step = Math.sign(byDeg);
  for (let i = 1; i <= Math.abs(byDeg); i++) {
    const both = closes(bar, fromDeg + i * step);
    if (both.length < 2 || Math.abs(turn(both[0]! - both[1]!)) < 8) return way;
    const last = way.at(-1)!;
    const near = both.toSorted((a, b) => Math.abs(turn(a - last)) - Math.abs(turn(b - last)))[0]!;
    const moved = turn(near - last);
    // Near a toggle position the two ways of closing meet, or the flap turns back: the stretch ends.
    if (Math.abs(moved) > 6) return way;
    if (way.length > 1 && moved * (last - way.at(-2)!) <= 0) return way;
    way.push(last + moved);
  }
  return way;
}

describe('open and crossed, with the horn anywhere', () => {
  test('a rod that crosses the line shaft to hinge is always crossed', () => {
    let seen = 0;
    for (const { bar, hornZeroDeg } of drawings(1000))
      for (const flapDeg of closes(bar, hornZeroDeg)) {
        const [pin, other] = [hornPin(bar, hornZeroDeg), flapPin(bar, flapDeg)];
        if (!cross(pin, other, SHAFT, [bar.groundMm, 0])) continue;
        seen++;
        expect(isCrossed(bar, hornZeroDeg, flapDeg)).toBe(true);
      }
    expect(seen).toBeGreaterThan(400);
  });

  test('the flap stands where the drawing shows it', () => {
    for (const one of drawings(2000))
      expect(Math.abs(turn(new Linkage(spec(one), 0).toFlap(0) - drawnAt(one)!))).toBeLessThan(
        1e-6,
      );
  });

  test('on its whole way it follows the drawn one, also over the line, and back', () => {
    let [all, below, over] = [0, 0, 0];
    for (const one of drawings(200)) {
      const byDeg = one.bar.flapMm > one.bar.hornMm ? 60 : -60;
      const way = march(one.bar, one.hornZeroDeg, byDeg, drawnAt(one)!);
      if (way.length < 10) continue;
      const lastDeg = Math.sign(byDeg) * (way.length - 1);
      const linkage = new Linkage(spec(one), lastDeg / 2);
      const [from, to] = [one.hornZeroDeg, one.hornZeroDeg + lastDeg];
      all++;
      if (Math.sin(from * RAD) < 0) below++;
      if (Math.sin(from * RAD) * Math.sin(to * RAD) < 0) over++;
      const offDeg = linkage.toFlap(0) - way[0]!;
      for (const [i, flapDeg] of way.entries()) {
        const hornDeg = Math.sign(byDeg) * i;
        const is = linkage.toFlap(hornDeg);
        // Within its last step the real one may turn back.
        if (i === 0 || i === way.length - 1) continue;
        expect(Math.abs(is - offDeg - flapDeg)).toBeLessThan(1e-6);
        expect(Math.abs(linkage.toHorn(is) - hornDeg)).toBeLessThan(1e-4);
        const turns = (way[i + 1]! - way[i - 1]!) / (2 * Math.sign(byDeg));
        expect(Math.sign(linkage.ratioAt(is))).toBe(Math.sign(turns));
        // By differences over two degrees; the ratio itself bends.
        expect(Math.abs(linkage.ratioAt(is) - turns)).toBeLessThan(0.02 + 0.1 * Math.abs(turns));
      }
    }
    expect(all).toBeGreaterThan(120);
    expect(below).toBeGreaterThan(40);
    expect(over).toBeGreaterThan(20);
  });

  test('in the mirror, with the horn below the line, the flap does the same the other way round', () => {
    for (const one of drawings(500)) {
      const linkage = new Linkage(spec(one), 0);
      const mirror = new Linkage(spec({ ...one, hornZeroDeg: -one.hornZeroDeg }), 0);
      for (const hornDeg of [-20, -5, 0, 5, 20])
        expect(Math.abs(turn(linkage.toFlap(hornDeg) + mirror.toFlap(-hornDeg)))).toBeLessThan(
          1e-6,
        );
    }
  });

  // Grübler's four pins as a parallelogram: horn and flap stay parallel, above the line and below it.
  test.each([90, -90, 60, -60, 120, -120, 45, -135])('a parallelogram at %d deg', (hornZeroDeg) => {
    const mapping = new ServoMapping({
      calibration: [
        [1000, -30],
        [2000, 30],
      ],
      linkage: { groundMm: 50, hornMm: 20, couplerMm: 50, flapMm: 20, hornZeroDeg, crossed: false },
    });
    for (const us of [1000, 1250, 1500, 1900, 2000]) {
      expect(mapping.toDeg(us)).toBeCloseTo((us - 1500) * 0.06, 9);
      expect(mapping.toPulseUs((us - 1500) * 0.06)).toBeCloseTo(us, 6);
    }
  });

  test('the calibration may start far from its zero: the drawing at the zero tells', () => {
    // Horn's zero above the line, its travel below: a closed way over the line leads there.
    const linkage = { groundMm: 60, hornMm: 15, couplerMm: 62, flapMm: 30, hornZeroDeg: 20 };
    const start = drawnAt({ bar: linkage, hornZeroDeg: 20, crossed: false })!;
    const way = march(linkage, 20, -70, start);
    expect(way.length).toBe(71);
    const mapping = new ServoMapping({
      calibration: [
        [1000, -20],
        [2000, -70],
      ],
      linkage: { ...linkage, crossed: false },
    });
    expect(mapping.toDeg(1000)).toBeCloseTo(way[20]! - way[0]!, 6);
    expect(mapping.toDeg(2000)).toBeCloseTo(way[70]! - way[0]!, 6);
  });
});
