import { describe, expect, test } from 'vitest';
import {
  closingRange,
  type FourBar,
  flapOf,
  hornsOf,
  isRight,
  Linkage,
  toggles,
  transmissionDeg,
  velocityRatio,
} from '../../src/sums/linkage.ts';
import fc from '../fast-check.ts';
import { circlesMeet, distance, drawnFlapDeg, flapPin, hornPin, RAD, turn } from './circles.ts';

const bar = (groundMm: number, hornMm: number, couplerMm: number, flapMm: number): FourBar => ({
  groundMm,
  hornMm,
  couplerMm,
  flapMm,
});

/** Linkages that close somewhere, in steps of 0.1 mm, as a rule can tell; no link shorter than 5 mm. */
const length = fc.integer({ min: 50, max: 1000 }).map((tenths) => tenths / 10);
const bars = fc
  .tuple(length, length, length, length)
  .map((links) => bar(...links))
  .filter((one) => closingRange(one) !== undefined)
  // A kite folds onto itself: pin upon pin, or rod upon horn.
  .filter((one) => one.groundMm !== one.hornMm || one.couplerMm !== one.flapMm)
  .filter((one) => one.groundMm !== one.flapMm || one.couplerMm !== one.hornMm);

describe('published example', () => {
  // R. L. Norton, "Design of Machinery", example on position analysis by the vector loop: links
  // d = 100, a = 40, b = 120, c = 80 mm, input at 40 deg: output 57.325 deg open, -98.005 deg crossed;
  // coupler 20.30 and -60.98 deg (from memory).
  const norton = bar(100, 40, 120, 80);

  test('both branches', () => {
    expect(flapOf(norton, 40, false)).toBeCloseTo(57.325, 2);
    expect(turn(flapOf(norton, 40, true))).toBeCloseTo(-98.005, 2);
  });

  test('its transmission angle is the one between output and coupler', () => {
    expect(transmissionDeg(norton, 40)).toBeCloseTo(57.33 - 20.3, 1);
    expect(transmissionDeg(norton, 40)).toBeCloseTo(98.005 - 60.98, 1);
  });

  // The same book's velocity analysis: w4 = w2 (a sin(h - r)) / (c sin(f - r)), r the coupler (from memory).
  test('the velocity ratio from the coupler angle', () => {
    const by = (flap: number, rod: number) =>
      (40 * Math.sin((40 - rod) * RAD)) / (80 * Math.sin((flap - rod) * RAD));
    expect(velocityRatio(norton, 40, 57.325)).toBeCloseTo(by(57.325, 20.298), 3);
    expect(velocityRatio(norton, 40, -98.008)).toBeCloseTo(by(-98.008, -60.98), 3);
  });
});

describe('against a construction with circles', () => {
  test('the pin in the flap lies where two circles meet, and nowhere else', () => {
    fc.assert(
      fc.property(bars, fc.double({ min: -180, max: 180, noNaN: true }), (one, hornDeg) => {
        const pin = hornPin(one, hornDeg);
        const met = circlesMeet(pin, one.couplerMm, [one.groundMm, 0], one.flapMm);
        const angles = [false, true].map((crossed) => flapOf(one, hornDeg, crossed));
        fc.pre(met.length === 0 || distance(met[0]!, met[1]!) > 1e-3);
        if (met.length === 0) {
          // Within rounding of the limit either answer is right.
          const short = Math.abs(distance(pin, [one.groundMm, 0]) - one.couplerMm - one.flapMm);
          const long = Math.abs(
            distance(pin, [one.groundMm, 0]) - Math.abs(one.couplerMm - one.flapMm),
          );
          fc.pre(Math.min(short, long) > 1e-6);
          expect(angles).toEqual([Number.NaN, Number.NaN]);
          return;
        }
        for (const at of met)
          expect(Math.min(...angles.map((deg) => distance(flapPin(one, deg), at)))).toBeLessThan(
            1e-6,
          );
        expect(distance(flapPin(one, angles[0]!), flapPin(one, angles[1]!))).toBeGreaterThan(5e-4);
      }),
      { numRuns: 2000 },
    );
  });

  test('the horn that a flap angle needs closes the linkage, both ways', () => {
    fc.assert(
      fc.property(bars, fc.double({ min: -180, max: 180, noNaN: true }), (one, flapDeg) => {
        for (const hornDeg of hornsOf(one, flapDeg)) {
          if (Number.isNaN(hornDeg)) continue;
          const rod = distance(hornPin(one, hornDeg), flapPin(one, flapDeg));
          expect(rod).toBeCloseTo(one.couplerMm, 6);
        }
      }),
      { numRuns: 1000 },
    );
  });

  test("open and crossed are the circles' meetings to the to the left and right of the line from horn pin to hinge", () => {
    fc.assert(
      fc.property(
        bars,
        fc.double({ min: -179, max: 179, noNaN: true }),
        fc.boolean(),
        (one, hornDeg, crossed) => {
          fc.pre(transmissionDeg(one, hornDeg) > 0.1);
          const drawn = drawnFlapDeg(one, hornDeg, crossed);
          expect(Math.abs(turn(flapOf(one, hornDeg, crossed) - drawn))).toBeLessThan(1e-6);
        },
      ),
      { numRuns: 1000 },
    );
  });

  test('the velocity ratio is the numeric derivative of the construction', () => {
    fc.assert(
      fc.property(
        bars,
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.boolean(),
        (one, hornDeg, crossed) => {
          const at = (deg: number) => flapOf(one, deg, crossed);
          fc.pre(transmissionDeg(one, hornDeg) > 10);
          const step = 1e-4;
          const slope = turn(at(hornDeg + step) - at(hornDeg - step)) / (2 * step);
          const ratio = velocityRatio(one, hornDeg, at(hornDeg));
          expect(Math.abs(slope - ratio)).toBeLessThan(1e-4 * (1 + Math.abs(ratio)));
        },
      ),
      { numRuns: 1000 },
    );
  });
});

describe('where it closes', () => {
  // Grashof's criterion: the sum of the shortest and longest link is not above that of the others;
  // with the horn or the ground the shortest, the horn goes all the way round. Any textbook on
  // mechanisms, e.g. Norton, "Design of Machinery", chapter on the Grashof condition (from memory).
  test('all the way round just when Grashof says so', () => {
    fc.assert(
      fc.property(bars, (one) => {
        const links = [one.groundMm, one.hornMm, one.couplerMm, one.flapMm];
        const [s, p, q, l] = links.toSorted((a, b) => a - b) as [number, number, number, number];
        fc.pre(Math.abs(s + l - p - q) > 1e-6);
        const round = s + l < p + q && (s === one.hornMm || s === one.groundMm);
        const [low, high] = closingRange(one)!;
        expect(low === 0 && high === 180).toBe(round);
      }),
      { numRuns: 1000 },
    );
  });

  test('inside the range it closes, outside it does not', () => {
    fc.assert(
      fc.property(bars, fc.double({ min: 0, max: 180, noNaN: true }), (one, hornDeg) => {
        const [low, high] = closingRange(one)!;
        fc.pre(Math.min(Math.abs(hornDeg - low), Math.abs(hornDeg - high)) > 1e-4);
        const closes = Number.isFinite(flapOf(one, hornDeg, false));
        expect(closes).toBe(hornDeg > low && hornDeg < high);
        expect(Number.isFinite(flapOf(one, -hornDeg, true))).toBe(closes);
      }),
    );
  });

  test.each([
    [bar(80, 20, 30, 25), /80, 20, 30 and 25 mm cannot close: the longest must be shorter/],
    [bar(60, 20, 20, 20), /cannot close/],
    [
      bar(60, 20, 30, 25),
      /does not close with the horn at its middle position, 0 deg, which is 90 deg from the line shaft to hinge: it closes from 0 to 66 deg/,
    ],
  ])('%o is refused in words', (one, words) => {
    expect(() => new Linkage({ ...one, hornZeroDeg: 90, crossed: false }, 0)).toThrow(words);
  });
});

describe('toggles', () => {
  test('there, two links lie in line: found by the distances between the pins', () => {
    fc.assert(
      fc.property(bars, fc.boolean(), (one, crossed) => {
        for (const { links, hornDeg, flapDeg } of toggles(one, crossed)) {
          const [h, f] = [hornPin(one, hornDeg), flapPin(one, flapDeg)];
          expect(distance(h, f)).toBeCloseTo(one.couplerMm, 3);
          if (links === 'horn') {
            const shaft = distance([0, 0], f);
            const gap = Math.min(
              Math.abs(shaft - one.hornMm - one.couplerMm),
              Math.abs(shaft - Math.abs(one.hornMm - one.couplerMm)),
            );
            expect(gap).toBeLessThan(1e-6);
            expect(flapOf(one, hornDeg, crossed)).toBeCloseTo(
              flapDeg + 360 * Math.round((flapOf(one, hornDeg, crossed) - flapDeg) / 360),
              2,
            );
          } else {
            const hinge = distance([one.groundMm, 0], h);
            const gap = Math.min(
              Math.abs(hinge - one.flapMm - one.couplerMm),
              Math.abs(hinge - Math.abs(one.flapMm - one.couplerMm)),
            );
            expect(gap).toBeLessThan(1e-6);
          }
        }
      }),
      { numRuns: 1000 },
    );
  });

  test('a march along the horn turns back, or stops, at these positions and at no others', () => {
    fc.assert(
      fc.property(bars, fc.boolean(), (one, crossed) => {
        // A flap on a short arm, or with the horn's pin near its hinge, may go half round within one step of the march.
        fc.pre(one.couplerMm > 20 && one.flapMm > 20 && Math.abs(one.groundMm - one.hornMm) > 10);
        const found = toggles(one, crossed).map(({ hornDeg }) => hornDeg);
        const nearToggle = (deg: number) => found.some((at) => Math.abs(turn(at - deg)) < 1);
        const step = 0.2;
        for (let deg = -180; deg < 180; deg += step) {
          const [a, b, c] = [deg, deg + step, deg + 2 * step].map((x) => flapOf(one, x, crossed));
          const stops = Number.isNaN(a) !== Number.isNaN(b);
          const turnsBack = turn(b! - a!) * turn(c! - b!) < -1e-12;
          if (stops || turnsBack) expect(nearToggle(deg + step)).toBe(true);
        }
      }),
      { numRuns: 200 },
    );
  });
});

describe('Linkage', () => {
  const specs = fc
    .tuple(
      bars,
      fc.double({ min: -180, max: 180, noNaN: true }),
      fc.double({ min: -60, max: 60, noNaN: true }),
      fc.option(fc.double({ min: -180, max: 180, noNaN: true }), { nil: undefined }),
      fc.boolean(),
    )
    .map(([one, hornZeroDeg, midDeg, flapZeroDeg, crossed]) => ({
      spec: { ...one, hornZeroDeg, flapZeroDeg, crossed },
      midDeg,
    }))
    .filter(({ spec, midDeg }) =>
      [spec.hornZeroDeg, spec.hornZeroDeg + midDeg].every((deg) =>
        Number.isFinite(flapOf(spec, deg, isRight(spec))),
      ),
    )
    // In a toggle position there is no stretch to speak of.
    .filter(({ spec, midDeg }) =>
      toggles(spec, isRight(spec)).every(
        ({ hornDeg }) => Math.abs(turn(hornDeg - spec.hornZeroDeg - midDeg)) > 0.01,
      ),
    );

  test('a parallelogram turns the flap as the horn', () => {
    const linkage = new Linkage({ ...bar(50, 20, 50, 20), hornZeroDeg: 90, crossed: false }, 0);
    for (const deg of [-80, -30, 0, 45, 89]) {
      expect(linkage.toFlap(deg)).toBeCloseTo(deg, 9);
      expect(linkage.toHorn(deg)).toBeCloseTo(deg, 9);
      expect(linkage.ratioAt(deg)).toBeCloseTo(1, 9);
      expect(linkage.transmissionAt(deg)).toBeCloseTo(90 - Math.abs(deg), 6);
    }
    expect(linkage.hornRangeDeg[0]).toBeCloseTo(-90, 5);
    expect(linkage.hornRangeDeg[1]).toBeCloseTo(90, 5);
  });

  test('there and back along its stretch, to 0.0001 deg', () => {
    fc.assert(
      fc.property(
        specs,
        fc.double({ min: 0.001, max: 0.999, noNaN: true }),
        ({ spec, midDeg }, share) => {
          const linkage = new Linkage(spec, midDeg);
          const [low, high] = linkage.hornRangeDeg;
          fc.pre(high - low > 1);
          const hornDeg = low + share * (high - low);
          const flapDeg = linkage.toFlap(hornDeg);
          expect(Math.abs(linkage.toHorn(flapDeg) - hornDeg)).toBeLessThan(1e-4);
          // In the textbook's angles it is the linkage that was asked for.
          const bare = flapOf(spec, spec.hornZeroDeg + hornDeg, isRight(spec));
          const zeroDeg = spec.flapZeroDeg ?? flapOf(spec, spec.hornZeroDeg, isRight(spec));
          expect(Math.abs(turn(bare - zeroDeg - flapDeg))).toBeLessThan(1e-6);
        },
      ),
      { numRuns: 3000 },
    );
  });

  test('monotonic from end to end, and held at the ends', () => {
    fc.assert(
      fc.property(specs, ({ spec, midDeg }) => {
        const linkage = new Linkage(spec, midDeg);
        const [low, high] = linkage.hornRangeDeg;
        fc.pre(high - low > 1);
        const flaps = Array.from({ length: 101 }, (_, i) =>
          linkage.toFlap(low + (i / 100) * (high - low)),
        );
        const way = Math.sign(flaps[50]! - flaps[49]!);
        for (let i = 1; i < flaps.length; i++)
          expect((flaps[i]! - flaps[i - 1]!) * way).toBeGreaterThan(0);
        expect(linkage.toFlap(low - 5)).toBe(flaps[0]);
        expect(linkage.toFlap(high + 5)).toBe(linkage.toFlap(high));
        const [flapLow, flapHigh] = linkage.flapRangeDeg;
        expect([Math.min(...flaps), Math.max(...flaps)]).toEqual([
          expect.closeTo(flapLow, 6),
          expect.closeTo(flapHigh, 6),
        ]);
        for (const beyond of [flapLow - 1, flapHigh + 1]) {
          const hornDeg = linkage.toHorn(beyond);
          expect(hornDeg).toBeGreaterThan(low - 1e-3);
          expect(hornDeg).toBeLessThan(high + 1e-3);
        }
      }),
      { numRuns: 400 },
    );
  });

  test('the flap is at 0 where the maker says, by default where the horn is at 0', () => {
    const links = bar(60, 20, 62, 25);
    const plain = new Linkage({ ...links, hornZeroDeg: 80, crossed: false }, 10);
    expect(plain.toFlap(0)).toBeCloseTo(0, 9);
    const measured = new Linkage(
      { ...links, hornZeroDeg: 80, flapZeroDeg: 100, crossed: false },
      10,
    );
    expect(measured.toFlap(0)).toBeCloseTo(flapOf(links, 80, false) - 100, 9);
  });
});
