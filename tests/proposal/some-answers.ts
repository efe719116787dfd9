import { partsFor } from '../../src/prop/parts.ts';
import {
  type Answers,
  COMPUTERS,
  type GivenAnswers,
  LOAD_WORDS,
  LOADS,
  readAnswers,
  WIRED,
} from '../../src/proposal/answers.ts';
import fc from '../fast-check.ts';

/** Answers as makers may give them, at random: 1 to 40 servos, lights, relays, supplies. */

const name = fc.constantFrom('claw', 'arm', 'lid', 'eye', 'tail', 'mist', 'fan', 'glow', 'jaw');
const lengthM = fc.integer({ min: 1, max: 40 }).map((dm) => dm / 10);

const move = fc.record({
  name,
  count: fc.integer({ min: 1, max: 20 }),
  part: fc.constantFrom(...partsFor('servo')),
  travelDeg: fc.integer({ min: 5, max: 120 }),
  rests: fc.constantFrom('end' as const, 'middle' as const),
  lengthM,
});

const light = fc.constantFrom('rgb' as const, 'lamp' as const).chain((kind) =>
  fc.record({
    name,
    count: fc.integer({ min: 1, max: 6 }),
    kind: fc.constant(kind),
    part: fc.constantFrom(...partsFor(kind)),
    wired: fc.constantFrom(...WIRED),
    lengthM,
  }),
);

const relay = fc.constantFrom(...LOAD_WORDS).chain((load) => {
  const own = LOADS[load].part === undefined;
  return fc.record({
    name,
    count: fc.integer({ min: 1, max: 4 }),
    load: fc.constant(load),
    closesOn: fc.constantFrom('low' as const, 'high' as const),
    lengthM,
    ...(own && {
      volts: fc.constantFrom(5, 6, 12, 24),
      amps: fc.integer({ min: 1, max: 50 }).map((tenths) => tenths / 10),
    }),
    ...(load === 'vapour' && { tankMl: fc.integer({ min: 50, max: 1000 }) }),
  });
});

const supply = fc.record({
  volts: fc.constantFrom(5, 6, 7.4, 12, 24),
  amps: fc.integer({ min: 1, max: 80 }).map((halves) => halves / 2),
  source: fc.constantFrom('mains' as const, 'battery' as const),
  capacityAh: fc.integer({ min: 1, max: 20 }),
});

/** No more than so many together. */
function upTo<T extends { count: number }>(list: readonly T[], most: number): T[] {
  let left = most;
  return list.flatMap((one) => {
    const count = Math.min(one.count, left);
    left -= count;
    return count > 0 ? [{ ...one, count }] : [];
  });
}

export const someAnswers: fc.Arbitrary<Answers> = fc
  .record({
    name: fc.string({ minLength: 1, maxLength: 30 }),
    computer: fc.constantFrom(...COMPUTERS),
    moves: fc.array(move, { minLength: 1, maxLength: 5 }),
    lights: fc.array(light, { maxLength: 3 }),
    relays: fc.array(relay, { maxLength: 4 }),
    sounds: fc.array(fc.record({ name }), { maxLength: 1 }),
    supplies: fc.array(supply, { maxLength: 4 }),
    stopButton: fc.boolean(),
  })
  .map((one) => {
    const given: GivenAnswers = {
      ...one,
      moves: upTo(one.moves, 40),
      lights: upTo(one.lights, 12),
      relays: upTo(one.relays, 10),
    };
    const read = readAnswers(given);
    if ('wrong' in read) throw new Error(read.wrong.join('\n'));
    return read.answers;
  });
