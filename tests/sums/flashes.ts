import { worstFlashes, worstRedFlashes } from '../../src/sums/flash.ts';
import { type Rgb, writeLinear } from '../../src/sums/light.ts';

/** General flashes in the worst second of samples, row by row. */
export function generalFlashes(samples: readonly { tS: number; luminance: number }[]): number {
  return worstFlashes(
    samples.map(({ tS }) => tS),
    samples.map(({ luminance }) => luminance),
  );
}

/** Red flashes in the worst second of sRGB samples, row by row. */
export function redFlashes(samples: readonly (Readonly<Rgb> & { tS: number })[]): number {
  const lights = samples.map((colour) => {
    const light = { red: 0, green: 0, blue: 0 };
    writeLinear(colour, light);
    return light;
  });
  return worstRedFlashes({
    tS: samples.map(({ tS }) => tS),
    red: lights.map(({ red }) => red),
    green: lights.map(({ green }) => green),
    blue: lights.map(({ blue }) => blue),
  });
}
