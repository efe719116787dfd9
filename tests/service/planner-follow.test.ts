import { expect, test } from 'vitest';
import type { Recording } from '../../src/core/recorder.ts';
import { Planner } from '../../src/service/planner-answer.ts';
import { soxFile } from '../sox.ts';

// Two bursts of 0.4 s, with silence before, between and after.
const bytes = soxFile(
  'a.wav',
  '-r 44100 -c 1',
  'synth 0.4 sawtooth 200 gain -12 pad 0.5 0.5 repeat 1',
);
const how = {
  ...{ channel: 'beak', shutDeg: 2, openDeg: 30 },
  ...{ floorLufs: -50, rangeLu: 25, attackS: 0.03, releaseS: 0.08 },
};

test('the way of a servo that follows two bursts: open in both, shut between and at the end', async () => {
  const answer = await new Planner().answer({ about: 'follow', name: 'a', bytes, how });
  const { channels, samples, count } = (answer as { result: Recording }).result;
  expect(channels).toEqual(['beak']);
  const at = (s: number) => samples[Math.round(s * 50)]!;
  for (const silentS of [0, 0.4, 1.35, 1.85, (count - 1) / 50])
    expect(at(silentS)).toBeCloseTo(2, 0);
  for (const loudS of [0.75, 2.15]) expect(at(loudS)).toBeCloseTo(30, 0);
  expect(Math.max(...samples)).toBeLessThanOrEqual(30);
  expect(Math.min(...samples)).toBeGreaterThanOrEqual(2);
  // Within a window and three time constants of the burst.
  expect(at(0.5 + 0.03 + 3 * 0.03)).toBeGreaterThan(25);
});

test('loudness for a drawing, and a refusal for what is no sound', async () => {
  const { result } = (await new Planner().answer({ about: 'loudness', name: 'a', bytes })) as {
    result: { lufs: number[]; durationS: number; stepS: number };
  };
  expect(result.durationS).toBeCloseTo(2.8, 2);
  expect(result.stepS).toBe(0.02);
  expect(result.lufs[0]).toBe(-100);
  expect(Math.max(...result.lufs)).toBeGreaterThan(-25);
  const refused = await new Planner().answer({
    about: 'loudness',
    name: 'a',
    bytes: new Uint8Array(9),
  });
  expect(refused).toMatchObject({
    code: 'sound.unreadable',
    reason: expect.stringContaining('save it again'),
  });
});
