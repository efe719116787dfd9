import { describe, expect, it } from 'vitest';
import { type Exchange, ShowClock, sampleOf, TOLERANCE_PPM } from '../../src/show/clock.ts';
import fc from '../fast-check.ts';

/** Two clocks and a network: what the prop measures, and what is true. */
class Pair {
  /** True time (ms). */
  now = 0;
  readonly #offsetMs: number;
  readonly #ppm: number;

  constructor(offsetMs: number, ppm: number) {
    this.#offsetMs = offsetMs;
    this.#ppm = ppm;
  }

  /** The prop's clock. */
  get own(): number {
    return 5000 + this.now;
  }

  /** The conductor's clock. */
  get theirs(): number {
    return 5000 + this.now * (1 + this.#ppm / 1e6) + this.#offsetMs;
  }

  get offsetMs(): number {
    return this.theirs - this.own;
  }

  exchange(thereMs: number, workMs: number, backMs: number): Exchange {
    const t1 = this.own;
    this.now += thereMs;
    const t2 = this.theirs;
    this.now += workMs;
    const t3 = this.theirs;
    this.now += backMs;
    return { t1, t2, t3, t4: this.own };
  }
}

describe('one exchange', () => {
  // Worked by hand with the formulas of RFC 5905, section 8.
  it.each([
    // As much time there as back: the offset is exact.
    [{ t1: 1000, t2: 6010, t3: 6012, t4: 1030 }, 4996, 28],
    // All of it on the way there: half the delay off.
    [{ t1: 1000, t2: 6028, t3: 6030, t4: 1030 }, 5014, 28],
    // A conductor that is behind.
    [{ t1: 9000, t2: 500, t3: 503, t4: 9013 }, -8505, 10],
  ])('%j: offset %d ms, delay %d ms', (times, offsetMs, delayMs) => {
    expect(sampleOf(times)).toMatchObject({ offsetMs, delayMs, atMs: times.t4 });
  });

  it('that cannot be true says nothing', () => {
    expect(sampleOf({ t1: 10, t2: 0, t3: 0, t4: 9 })).toBeUndefined();
    expect(sampleOf({ t1: 10, t2: 5, t3: 4, t4: 12 })).toBeUndefined();
    expect(sampleOf({ t1: 10, t2: 0, t3: 5, t4: 12 })).toBeUndefined();
    expect(sampleOf({ t1: 0, t2: 0, t3: 0, t4: 2001 })).toBeUndefined();
    expect(sampleOf({ t1: 0, t2: Number.NaN, t3: 0, t4: 1 })).toBeUndefined();
    expect(new ShowClock().add({ t1: 10, t2: 5, t3: 4, t4: 12 })).toBe(false);
  });
});

describe('the clock', () => {
  it('knows nothing before the first exchange', () => {
    expect(new ShowClock().at(0)).toBeUndefined();
    expect(new ShowClock().ownMs(0, 0)).toBeUndefined();
  });

  it('takes the exchange with the least delay, until it is too old', () => {
    const pair = new Pair(1000, 0);
    const clock = new ShowClock();
    clock.add(pair.exchange(10, 1, 30));
    clock.add(pair.exchange(1, 1, 1));
    clock.add(pair.exchange(30, 1, 0));
    expect(clock.at(pair.own)).toMatchObject({ offsetMs: 1000, delayMs: 2 });
    // 100 ppm of 200 s are 20 ms: by then one of 5 ms is better.
    pair.now += 200_000;
    clock.add(pair.exchange(4, 0, 1));
    expect(clock.at(pair.own)).toMatchObject({ offsetMs: 1001.5, delayMs: 5 });
  });

  it('grows less certain as it ages: by the tolerance of two undisciplined clocks', () => {
    const pair = new Pair(0, 0);
    const clock = new ShowClock();
    clock.add(pair.exchange(1, 0, 1));
    const { uncertaintyMs } = clock.at(pair.own)!;
    expect(uncertaintyMs).toBeCloseTo(1.05 + 2e-6 * TOLERANCE_PPM, 9);
    expect(clock.at(pair.own + 60_000)!.uncertaintyMs).toBeCloseTo(
      1.05 + 0.060002 * TOLERANCE_PPM,
      9,
    );
  });

  it('measures drift, and is more certain for it', () => {
    const pair = new Pair(1000, 40);
    const clock = new ShowClock();
    for (let i = 0; i < 100; i++) {
      clock.add(pair.exchange(0.4, 0.1, 0.3));
      pair.now += 10_000;
    }
    const reading = clock.at(pair.own)!;
    expect(reading.driftPpm).toBeGreaterThan(35);
    expect(reading.driftPpm).toBeLessThan(45);
    pair.now += 60_000;
    const later = clock.at(pair.own)!;
    expect(Math.abs(later.offsetMs - pair.offsetMs)).toBeLessThan(0.5);
    expect(later.uncertaintyMs).toBeLessThan(3);
  });

  it('begins again when a clock was set, and with one whose drift is a fault', () => {
    const pair = new Pair(1000, 0);
    const clock = new ShowClock();
    for (let i = 0; i < 8; i++) clock.add(pair.exchange(1, 0, 1));
    const other = new Pair(4000, 0);
    other.now = pair.now;
    clock.add(other.exchange(2, 0, 2));
    expect(clock.at(other.own)).toMatchObject({ offsetMs: 4000, delayMs: 4 });
  });

  it('tells when a time of the show is on its own clock', () => {
    const pair = new Pair(1000, 50);
    const clock = new ShowClock();
    for (let i = 0; i < 50; i++) {
      clock.add(pair.exchange(0.1, 0, 0.1));
      pair.now += 10_000;
    }
    const own = clock.ownMs(pair.theirs + 30_000, pair.own)!;
    expect(Math.abs(own - (pair.own + 30_000 / (1 + 50e-6)))).toBeLessThan(0.5);
  });

  it('is never further off than it says, whatever the network does', () => {
    const wait = fc.double({ min: 0, max: 300, noNaN: true });
    fc.assert(
      fc.property(
        fc.double({ min: -1e9, max: 1e9, noNaN: true }),
        fc.double({ min: -TOLERANCE_PPM, max: TOLERANCE_PPM, noNaN: true }),
        fc.array(fc.tuple(wait, wait, wait, fc.double({ min: 0, max: 100_000, noNaN: true })), {
          minLength: 1,
          maxLength: 40,
        }),
        (offsetMs, ppm, exchanges) => {
          const pair = new Pair(offsetMs, ppm);
          const clock = new ShowClock();
          for (const [there, work, back, pause] of exchanges) {
            clock.add(pair.exchange(there, work, back));
            for (const ms of [0, pause]) {
              pair.now += ms;
              const { offsetMs: said, uncertaintyMs } = clock.at(pair.own)!;
              // Both are sums of the same numbers in another order.
              expect(Math.abs(said - pair.offsetMs)).toBeLessThanOrEqual(uncertaintyMs + 1e-9);
            }
          }
        },
      ),
      // Drift in an exchange that takes long, and all of the way in one direction.
      { examples: [[0, TOLERANCE_PPM, [[0, 300, 300, 0]]]] },
    );
  });
});
