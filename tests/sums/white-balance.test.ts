import { converter, modeLrgb, modeRgb, useMode } from 'culori/fn';
import { expect, test } from 'vitest';
import { parseColour, srgbToLinear } from '../../src/sums/light.ts';
import {
  linearColour,
  type Three,
  whiteBalanceOf,
  whiteToShow,
} from '../../src/sums/white-balance.ts';

useMode(modeRgb);
useMode(modeLrgb);
const toLinear = converter('lrgb');

test('the brightest part stays at full, and the proportions are those of the match', () => {
  expect(whiteBalanceOf([0.5, 0.4, 0.3])).toEqual([1, 0.8, 0.6]);
  expect(whiteBalanceOf([1, 1, 1])).toEqual([1, 1, 1]);
});

test('no gain is ever what the prop file refuses: above 0, up to 1', () => {
  for (const match of [
    [0, 0, 0],
    [1, 0, 0],
    [1e-9, 1, 1e-12],
  ] as Three[])
    for (const gain of whiteBalanceOf(match)) {
      expect(gain).toBeGreaterThan(0);
      expect(gain).toBeLessThanOrEqual(1);
    }
});

test('what is tried looks like the white that it will make, through the colour that is really sent', () => {
  const gains: Three = [1, 0.8, 0.55];
  for (const inUse of [
    [1, 1, 1],
    [1, 0.6, 0.9],
    [0.3, 1, 0.2],
  ] as Three[]) {
    const light = whiteToShow(gains, inUse);
    for (const part of light) expect(part).toBeLessThanOrEqual(1);
    // The daemon reads the colour, makes it linear, and multiplies with the gains in use.
    const { red, green, blue } = parseColour(linearColour(light))!;
    const out = [red, green, blue].map((part, i) => srgbToLinear(part) * inUse[i]!);
    for (const i of [1, 2]) expect(out[i]! / out[0]!).toBeCloseTo(gains[i]! / gains[0]!, 2);
    // The same by the general library.
    const { r, g, b } = toLinear({ mode: 'rgb', r: red, g: green, b: blue });
    for (const [one, other] of [
      [r, light[0]],
      [g, light[1]],
      [b, light[2]],
    ] as const)
      expect(one).toBeCloseTo(other, 4);
  }
});

test('where the light multiplies with nothing, what is tried is what will be', () => {
  expect(whiteToShow([1, 0.8, 0.6], [1, 1, 1])).toEqual([1, 0.8, 0.6]);
});
