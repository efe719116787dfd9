import { tidy } from '../shared/units.ts';

/** Linear light, or gains, of red, green and blue. */
export type Three = readonly [red: number, green: number, blue: number];

/** A gain of 0 would leave a colour dark for good. */
const LEAST_GAIN = 0.01;
const GAIN_DECIMALS = 3;

/**
 * The white balance (above 0, up to 1) of three amounts of linear light that look white together: the
 * same proportions with the largest at 1, so that white is as bright as it can be. Scaling the linear
 * light of each primary is the von Kries rule applied to the primaries themselves; by eye, no source.
 */
export function whiteBalanceOf(match: Three): [number, number, number] {
  const most = Math.max(...match);
  return match.map((one) =>
    most > 0 ? Math.max(LEAST_GAIN, tidy(one / most, GAIN_DECIMALS)) : 1,
  ) as [number, number, number];
}

/**
 * The linear light to ask for so that a light with the gains that are in use shows what it would show
 * as white with others. Where it cannot be as bright, the proportions count.
 * @param gains those to try
 * @param inUse those that the light multiplies with now
 */
export function whiteToShow(gains: Three, inUse: Three): [number, number, number] {
  const asked = gains.map((gain, i) => gain / inUse[i]!);
  const most = Math.max(1, ...asked);
  return asked.map((one) => one / most) as [number, number, number];
}

/** A colour of linear light as CSS writes it (CSS Color 4, section 10.4, from memory). */
export function linearColour(light: Three): string {
  return `color(srgb-linear ${light.map((one) => tidy(one, 4)).join(' ')})`;
}
