import { expect, test } from 'vitest';
import { howOf, madeOf } from '../../src/gateway/page/cues-voice-state.ts';

const beak = { marks: { shut: 0, open: 30 }, limitsDeg: [-5, 35] };
const kept = { shut: 2, open: 'open', floorLufs: -45, rangeLu: 20, attackS: 0.05, releaseS: 0.2 };
const data = {
  sounds: { hoot: { file: 'hoot.wav', follow: { beak: kept } }, screech: 'screech.wav' },
  takes: { hoot_beak: 'hoot_beak.take' },
};

test('a servo follows as the file has it, or as suits most voices', () => {
  expect(howOf(data, 'hoot', 'beak', beak)).toEqual(kept);
  const usual = { floorLufs: -50, rangeLu: 25, attackS: 0.03, releaseS: 0.1 };
  expect(howOf(data, 'screech', 'beak', beak)).toEqual({ shut: 'shut', open: 'open', ...usual });
  expect(howOf(data, 'hoot', 'tail', { limitsDeg: [-9.96, 20] })).toEqual({
    ...{ shut: -10, open: 20 },
    ...usual,
  });
});

test('what is made is of this sound and this servo, with these settings', () => {
  const of = (sound: string, servo: string) =>
    madeOf(data, sound, servo, howOf(data, sound, servo));
  expect(of('hoot', 'beak')).toEqual({ take: 'hoot_beak', isSame: true });
  expect(of('screech', 'beak')).toBeUndefined();
  expect(of('hoot', 'tail')).toBeUndefined();
  expect(madeOf(data, 'hoot', 'beak', { ...howOf(data, 'hoot', 'beak'), rangeLu: 21 })).toEqual({
    take: 'hoot_beak',
    isSame: false,
  });
  // Somebody has taken the take out of the file.
  expect(
    madeOf({ ...data, takes: {} }, 'hoot', 'beak', howOf(data, 'hoot', 'beak')),
  ).toBeUndefined();
});
