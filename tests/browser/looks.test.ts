import { expect, it } from 'vitest';
import { browserAndDaemons, Operator } from './browser.ts';
import { differences, expectLook, isAlike, type Look, lookOf } from './looks.ts';

const on = browserAndDaemons();
const PHONE = { width: 360, height: 640 };
const TABLET = { width: 1024, height: 768 };
const SCHEMES = ['light', 'dark'] as const;

/** Where the pictures differ see `looks.ts`; `npm run looks` writes them. */
it('looks as it did on a phone', async () => {
  const operator = await Operator.open(on.browser, on.daemon, {
    viewport: PHONE,
    hasTouch: true,
    isMobile: true,
  });
  const { page } = operator;
  await operator.wake();
  for (const colorScheme of SCHEMES) {
    await page.emulateMedia({ colorScheme });
    await expectLook(operator, `overview-360-${colorScheme}`);
  }
  await page.evaluate(() => {
    location.hash = '#bench/beak';
  });
  await page.locator('.pad').waitFor();
  for (const colorScheme of SCHEMES) {
    await page.emulateMedia({ colorScheme });
    await expectLook(operator, `bench-360-${colorScheme}`);
  }
  await operator.close();
});

it('looks as it did on a laptop', async () => {
  const operator = await Operator.open(on.browser, on.daemon);
  const { page } = operator;
  await operator.wake();
  for (const colorScheme of SCHEMES) {
    await page.emulateMedia({ colorScheme });
    await expectLook(operator, `overview-1440-${colorScheme}`);
  }
  await page.evaluate(() => {
    location.hash = '#bench/beak/walk';
  });
  await operator.button('It is safe: begin').click();
  await operator.button('This is the low end').waitFor();
  await page.emulateMedia({ colorScheme: 'light' });
  await expectLook(operator, 'walk-1440-light');
  await operator.view('wiring');
  await page.setViewportSize(TABLET);
  await expectLook(operator, 'wiring-1024-light');
  await operator.close();
});

/** How many cells differ once that has been done to the elements; it is undone after. */
async function changed({ page }: Operator, whole: Look, selector: string, css: string) {
  const elements = page.locator(selector);
  expect(await elements.count(), selector).toBeGreaterThan(0);
  const before = await elements.evaluateAll(
    (found, style) =>
      found.map((one) => {
        const { cssText } = (one as HTMLElement).style;
        (one as HTMLElement).style.cssText += `;${style}`;
        return cssText;
      }),
    css,
  );
  const now = await lookOf({ page });
  await elements.evaluateAll((found, texts) => {
    for (const [i, one] of found.entries()) (one as HTMLElement).style.cssText = texts[i]!;
  }, before);
  return differences(whole, now);
}

it('a look tells what is missing, has moved or has another colour, and nothing else', async () => {
  const operator = await Operator.open(on.browser, on.daemon, { view: 'bench/beak' });
  await operator.page.locator('.pad').waitFor();
  await operator.page.getByText('Nobody has control.').waitFor();
  let whole = await lookOf(operator);
  // Until nothing comes any more.
  await expect
    .poll(async () => {
      const before = whole;
      await operator.page.waitForTimeout(500);
      whole = await lookOf(operator);
      return differences(before, whole);
    })
    .toEqual([]);
  for (const [what, selector, css] of [
    ['a missing panel', '.bench .sheet >> nth=0', 'visibility: hidden'],
    ['a panel that has moved', '.bench .sheet >> nth=0', 'transform: translateY(24px)'],
    ['a missing picture', '.dial', 'visibility: hidden'],
    ['one missing button', '.pad-jogs button >> nth=0', 'visibility: hidden'],
    ['a button in another colour', '.stop', 'background: teal'],
  ] as const) {
    const found = await changed(operator, whole, selector, css);
    expect(isAlike(found), `${what}: ${found?.length} cells`).toBe(false);
  }
  for (const [what, selector, css] of [
    ['nothing', 'main', ''],
    ['a part of a pixel', 'main', 'transform: translate(0.4px, 0.6px)'],
    ['letters a little bolder', 'main', '-webkit-text-stroke: 0.2px'],
  ] as const) {
    const found = await changed(operator, whole, selector, css);
    expect(isAlike(found), `${what}: ${found?.length} cells`).toBe(true);
  }
  await operator.close();
});
