import { expect, it } from 'vitest';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator } from './browser.ts';

const on = browserAndDaemons();

/** Contrast of two opaque colours (WCAG 2.2, relative luminance). */
function contrast(one: string, other: string): number {
  const luminance = (css: string) => {
    const parts = css.match(/[\d.]+/g)!.slice(0, 3);
    const [r, g, b] = parts.map((part) => {
      const c = Number(part) / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r! + 0.7152 * g! + 0.0722 * b!;
  };
  const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
  return (high! + 0.05) / (low! + 0.05);
}

it('a light has one colour control: presets, recent colours, sliders, parts, names and hex', async () => {
  const operator = await Operator.open(on.browser, on.daemon, {
    viewport: { width: 360, height: 640 },
    hasTouch: true,
    view: 'bench/eye_left',
    scripts: [axeSource],
  });
  const { page } = operator;
  await operator.wake();
  const value = page.locator('.figures dd').first();
  const isNow = (hex: string) => value.filter({ hasText: hex }).waitFor();
  const slider = (label: string) => page.getByLabel(`${label} of eye_left`);

  await operator.button('orange: eye_left').tap();
  await isNow('#ffa500');
  await page.locator('[aria-label="orange: eye_left"][aria-pressed="true"]').waitFor();
  expect(await slider('Hue (°)').inputValue()).toBe('39');
  expect(await page.getByLabel('Green of eye_left, 0 to 255').inputValue()).toBe('165');

  // By keys: half as bright, the same hue; it is among the recent ones then, and the preset is not.
  await slider('Brightness (%)').fill('50');
  await isNow('#805300');
  await page.getByLabel('Blue of eye_left, 0 to 255').fill('255');
  await page.keyboard.press('Tab');
  await isNow('#8053ff');
  await page.getByLabel('Name or hex of a colour for eye_left').fill('rebeccapurple');
  await page.keyboard.press('Enter');
  await isNow('#663399');
  const recent = page.getByRole('list', { name: 'Recent colours for eye_left' });
  expect((await recent.locator('.colour-name').allTextContents()).slice(0, 3)).toEqual([
    '#663399',
    '#8053ff',
    '#805300',
  ]);

  // Every target of a finger is 44 px, and every swatch is seen on its sheet.
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    const seen = await page.locator('.colour-chip').evaluateAll((chips) =>
      chips.map((chip) => {
        const { width, height } = chip.getBoundingClientRect();
        const swatch = getComputedStyle(chip.querySelector('.colour-swatch')!);
        return {
          size: Math.min(width, height),
          border: swatch.borderTopColor,
          sheet: getComputedStyle(chip).backgroundColor,
        };
      }),
    );
    for (const { size, border, sheet } of seen) {
      expect(size).toBeGreaterThanOrEqual(44);
      expect(contrast(border, sheet)).toBeGreaterThanOrEqual(3);
    }
    expect(await breaches(operator)).toEqual([]);
  }
  expect(await overhang(operator)).toBe(0);
  await page.emulateMedia({ forcedColors: 'active' });
  const black = page.locator('[aria-label="black: eye_left"] .colour-swatch');
  const forced = await black.evaluate((one) => {
    const { borderTopColor, backgroundColor } = getComputedStyle(one);
    return { borderTopColor, backgroundColor };
  });
  expect(forced.backgroundColor).toBe('rgb(0, 0, 0)');
  expect(contrast(forced.borderTopColor, await canvas(operator))).toBeGreaterThan(3);

  // The other eye has the same recent colours, after a reload too, and on the overview.
  page.on('dialog', (dialog) => dialog.accept());
  await page.emulateMedia({ forcedColors: 'none' });
  await page.goto(`${on.daemon.url}#overview`);
  await page.reload();
  await operator.linked();
  await page.getByText('Colour of eye_right').click();
  await page
    .getByRole('list', { name: 'Recent colours for eye_right' })
    .getByText('#663399')
    .waitFor();
  await operator.close();
});

const canvas = ({ page }: Operator) =>
  page.evaluate(() => {
    const probe = document.body.appendChild(document.createElement('i'));
    probe.style.cssText = 'forced-color-adjust: none; color: Canvas';
    const { color } = getComputedStyle(probe);
    probe.remove();
    return color;
  });
