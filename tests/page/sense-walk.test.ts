import { expect, it } from 'vitest';
import { freshOf, SenseWalk, type WalkParts } from '../../src/gateway/page/sense-walk.ts';
import type { SensePoints } from '../../src/sums/sense-points.ts';

/** A servo with a potentiometer, and no time to wait for. */
function bench(over: Partial<WalkParts> = {}) {
  const said: string[] = [];
  const steps: number[] = [];
  let deg = 3;
  let found: SensePoints | undefined;
  const walk = new SenseWalk({
    limitsDeg: [-40, 40],
    commandedDeg: () => deg,
    jog: async (byDeg) => {
      steps.push(byDeg);
      deg += byDeg;
      return deg;
    },
    reading: () => ({ raw: 1.5 + 0.02 * deg, ageS: 0.1 }),
    sleep: () => new Promise((resolve) => setImmediate(resolve)),
    say: (text) => said.push(text),
    done: (points) => {
      found = points;
    },
    ...over,
  });
  const until = async (what: () => boolean) => {
    for (let i = 0; i < 5000 && !what(); i++) await new Promise((resolve) => setImmediate(resolve));
    expect(what()).toBe(true);
  };
  return { walk, said, steps, until, found: () => found, deg: () => deg };
}

it('held, it goes in small steps to five angles within the limits, and comes to points', async () => {
  const { walk, steps, until, found, said } = bench();
  walk.press();
  await until(() => found() !== undefined);
  expect(found()!.calibration.map(([, deg]) => deg)).toEqual([-40, -20, 0, 20, 40]);
  expect(found()!.calibration[0]![0]).toBeCloseTo(0.7, 6);
  expect(Math.max(...steps.map(Math.abs))).toBeLessThanOrEqual(1);
  expect(said.at(-1)).toMatch(/^Done: let go/);
});

it('let go, it takes no further step, and proposes nothing', async () => {
  const { walk, steps, until, found, said } = bench();
  walk.press();
  await until(() => steps.length > 10);
  walk.stop();
  const after = steps.length;
  await new Promise((resolve) => setTimeout(resolve, 20));
  // One that was on its way is answered still.
  expect(steps.length).toBeLessThanOrEqual(after + 1);
  expect([found(), said.at(-1)]).toEqual([undefined, expect.stringMatching(/^It stopped/)]);
  walk.stop();
  expect(said.filter((text) => text.startsWith('It stopped'))).toHaveLength(1);
});

it('a step that is answered late ends it, as with every held button', async () => {
  let answer: (deg: number) => void = () => {};
  const { walk, said, until, found } = bench({
    jog: () =>
      new Promise((resolve) => {
        answer = resolve;
      }),
  });
  walk.press();
  await until(() => /^The link hesitated/.test(said.at(-1) ?? ''));
  answer(4);
  await new Promise((resolve) => setTimeout(resolve, 20));
  expect(said.at(-1)).toMatch(/^The link hesitated/);
  expect(found()).toBeUndefined();
});

it('a refused step, or a sensor without readings, ends it with the reason', async () => {
  const refused = bench({ jog: () => Promise.reject(new Error('an interlock holds it')) });
  refused.walk.press();
  await refused.until(() => refused.said.at(-1) === 'It stopped: an interlock holds it.');
  const gone = bench({ reading: () => undefined });
  gone.walk.press();
  await gone.until(() => /gives no reading/.test(gone.said.at(-1) ?? ''));
  const stuck = bench({ reading: () => ({ raw: 1.5, ageS: 0.1 }) });
  stuck.walk.press();
  await stuck.until(() => /^No calibration: .* connected/.test(stuck.said.at(-1) ?? ''));
  expect(stuck.found()).toBeUndefined();
});

it('a reading that is older than its stand is no point: it stops, and says what to look at', async () => {
  let reads = 0;
  const { walk, said, steps, until, found } = bench({
    // From the third angle on nothing new comes.
    reading: () => ({ raw: 1.5 + 0.02 * reads, ageS: ++reads > 45 ? 0.1 * (reads - 40) : 0.1 }),
  });
  walk.press();
  await until(() => /^It stopped/.test(said.at(-1) ?? ''));
  expect(said.at(-1)).toMatch(/^It stopped: the last reading of the sensor is 0.6 s old; look at/);
  const after = steps.length;
  await new Promise((resolve) => setTimeout(resolve, 20));
  expect([steps.length, found()]).toEqual([after, undefined]);
});

it('a reading counts while it is fresh, to the end of half a second', () => {
  expect(freshOf({ raw: 1.2, ageS: 0.5 })).toBe(1.2);
  expect(freshOf({ raw: 1.2, ageS: 0.51 })).toBeUndefined();
  expect(freshOf({ raw: 1.2, ageS: Number.NaN })).toBeUndefined();
  expect(freshOf(undefined)).toBeUndefined();
});
