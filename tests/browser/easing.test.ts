import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { parseEase } from '../../src/sums/ease.ts';
import { launch } from './browser.ts';

// The browser is an independent implementation of the same specification (Web Animations Level 1: the
// progress of an effect is that of its easing).

let browser: Browser;
let page: Page;
beforeAll(async () => {
  browser = await launch();
  page = await browser.newPage();
});
afterAll(() => browser?.close());

const AT = Array.from({ length: 200 }, (_, i) => i / 200);
const inBrowser = (easing: string) =>
  page.evaluate(
    ({ easing, at }) => {
      const animation = document.body.animate([{ opacity: 0 }, { opacity: 1 }], {
        duration: 1000,
        easing,
      });
      animation.pause();
      return at.map((share) => {
        animation.currentTime = 1000 * share;
        return animation.effect!.getComputedTiming().progress!;
      });
    },
    { easing, at: AT },
  );

it.each([
  'linear(0, 1)',
  'linear(0, 0.7 40%, 1)',
  'linear(0, 1 20%, 0.5, 0.2, 1 80%, 1)',
  'linear(0, 0.5 25% 75%, 1)',
  'linear(0, 25% 75% 0.5, 1)',
  'linear(0, 0.2 50%, 0.8 30%, 1)',
  'linear(0.5 50%, 1)',
  'linear(0, 0.5 25%, 0.5 50%)',
  'linear(-1 -100%, 1 100%)',
  'linear(0, 1.2 60%, 0.9 80%, 1.05, 1)',
  'cubic-bezier(0.4, 0, 0.2, 1)',
  'steps(4, jump-none)',
])('%s is what the browser makes of it', async (text) => {
  const ease = parseEase(text)!;
  const theirs = await inBrowser(text);
  for (const [i, share] of AT.entries())
    expect(theirs[i], `at ${share}`).toBeCloseTo(ease(share), 5);
});
