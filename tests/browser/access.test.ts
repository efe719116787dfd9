import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
import { type Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { AXE_MS, LAPTOP, launch, Operator, PHONE, VIEWS } from './browser.ts';

let browser: Browser;
let daemon: Daemon;
let holder: Peer;
const patient = async () => patientDaemon([], await patientOwl(AXE_MS));
beforeAll(async () => {
  browser = await launch();
  // Awake, so that there is something to see and to press; held by this process, which may be slow
  // to answer while axe-core is at work beside it.
  daemon = await patient();
  holder = await Peer.holder(daemon);
});
afterAll(async () => {
  await browser?.close();
  await daemon?.cleanUp();
});

const sizes = [
  ['phone', PHONE],
  ['laptop', LAPTOP],
] as const;

describe.each(['light', 'dark'] as const)('%s', (colorScheme) => {
  it.each(sizes)(
    'on a %s axe-core finds nothing serious and nothing sticks out',
    async (_, viewport) => {
      const operator = await Operator.open(browser, daemon, {
        colorScheme,
        viewport,
        scripts: [axeSource],
      });
      for (const view of VIEWS) {
        await operator.view(view);
        expect(await breaches(operator), view).toEqual([]);
        expect(await overhang(operator), view).toBeLessThanOrEqual(0);
      }
      await operator.close();
    },
  );
});

it.each([
  ['phone', 'light', PHONE],
  ['laptop', 'dark', LAPTOP],
] as const)(
  'on a %s, %s, it stays so in control, on the walk, stopped and cut',
  async (_, colorScheme, viewport) => {
    const own = await patient();
    onTestFinished(() => own.cleanUp());
    const operator = await Operator.open(browser, own, {
      colorScheme,
      viewport,
      scripts: [axeSource],
    });
    const check = async (state: string) => {
      expect(await breaches(operator), state).toEqual([]);
      expect(await overhang(operator), state).toBeLessThanOrEqual(0);
    };
    await operator.wake();
    await check('overview');
    await operator.button('mist on').click();
    await operator.button('OK: dismiss the message').waitFor();
    await check('refused');
    await operator.view('bench');
    await check('bench');
    await operator.page.getByRole('link', { name: 'Start the walk' }).click();
    await operator.button('It is safe: begin').waitFor();
    await check('before the walk');
    await operator.button('It is safe: begin').click();
    await operator.button('This is the low end').waitFor();
    await check('walk');
    await operator.page.keyboard.press('Escape');
    await operator.condition('stopped');
    await check('stopped');
    operator.linkMayBreak = true;
    own.child.kill('SIGKILL');
    await operator.page.locator('.app.cut').waitFor();
    await check('cut');
    await operator.close();
  },
);

/** What the keyboard reaches from the top of the page, in order, until it comes round. */
async function tabStops(operator: Operator): Promise<string[]> {
  const names: string[] = [];
  await operator.page.evaluate(() => (document.activeElement as HTMLElement).blur());
  for (let stop = 0; stop < 300; stop++) {
    await operator.page.keyboard.press('Tab');
    const name = await operator.page.evaluate(() => {
      const element = document.activeElement!;
      if (element === document.body) return null;
      const { outlineStyle, outlineWidth } = getComputedStyle(element);
      if (outlineStyle === 'none' || outlineWidth === '0px')
        return `no sign of focus on ${element.outerHTML.slice(0, 80)}`;
      const label = (element as HTMLInputElement).labels?.[0];
      return (element.getAttribute('aria-label') ?? (label ?? element).textContent ?? '').trim();
    });
    if (name === null) break;
    names.push(name);
  }
  return names;
}

it('the keyboard alone reaches everything in the frame, and the skip link leads past it', async () => {
  const operator = await Operator.open(browser, daemon, { view: 'bench' });
  await operator.page.getByText('holder has control.').waitFor();
  const stops = await tabStops(operator);
  expect(stops.filter((name) => name.startsWith('no sign'))).toEqual([]);
  expect(stops.slice(0, 7)).toEqual([
    'Skip to the controls',
    'Overview',
    'Show',
    'Bench',
    'Cues',
    'Wiring',
    'Set-up',
  ]);
  expect(stops.slice(-2)).toEqual(['Park', 'Stop Esc']);

  await operator.page.evaluate(() => (document.activeElement as HTMLElement).blur());
  await operator.page.reload();
  await operator.linked();
  await operator.page.keyboard.press('Tab');
  await operator.page.keyboard.press('Enter');
  expect(await operator.page.evaluate(() => document.activeElement?.id)).toBe('main');
  // Skipping stays in the view.
  await operator.page.locator('nav a[href="#bench"][aria-current="page"]').waitFor();
  expect(new URL(operator.page.url()).hash).toBe('#bench');
  await operator.close();
});

it('control is taken, the prop woken and parked by keyboard alone, which reaches every control', async () => {
  const own = await patient();
  onTestFinished(() => own.cleanUp());
  const operator = await Operator.open(browser, own);
  const { keyboard } = operator.page;
  const press = async (name: string) => {
    for (let stop = 0; stop < 300; stop++) {
      await keyboard.press('Tab');
      const there = await operator.page.evaluate(() => document.activeElement?.textContent?.trim());
      if (there === name) return keyboard.press('Enter');
    }
    throw new Error(`the keyboard does not reach ${name}`);
  };
  await press('Take control');
  await operator.button('Hand over').waitFor();
  // For a moment the button takes no second press.
  await expect.poll(() => operator.button('Wake').isEnabled()).toBe(true);
  await press('Wake');
  await operator.condition('live');
  for (const view of VIEWS) {
    await operator.view(view);
    // Within a set of radio buttons the arrows lead on, so Tab stops at one of them.
    const controls = operator.page
      .locator(
        'main :is(button, input:not([type=radio]), select):enabled, main :is(summary, a[href])',
      )
      .filter({ visible: true });
    await expect.poll(() => controls.count()).toBeGreaterThan(10);
    const all = await controls.count();
    await controls.evaluateAll((elements) => {
      for (const element of elements) {
        element.setAttribute('data-unreached', '');
        element.addEventListener('focus', () => element.removeAttribute('data-unreached'));
      }
    });
    for (let stop = 0; stop < all + 40; stop++) await keyboard.press('Tab');
    const left = await operator.page
      .locator('[data-unreached]')
      .evaluateAll((rest) => rest.map(({ outerHTML }) => outerHTML.slice(0, 120)));
    expect(left, view).toEqual([]);
  }
  await press('Park');
  await operator.condition('parked');
  await operator.close();
});

it('nothing moves on screen by itself for those who asked for less motion', async () => {
  const operator = await Operator.open(browser, daemon, { reducedMotion: 'reduce' });
  for (const view of VIEWS) {
    await operator.view(view);
    await holder.ask('channel.move', { channel: 'beak', to: 'open' });
    const moving = await operator.page.evaluate(() => {
      const found = [...document.querySelectorAll('*')].filter((element) => {
        const { transitionDuration, animationName } = getComputedStyle(element);
        return /[1-9]/.test(transitionDuration) || animationName !== 'none';
      });
      return [
        ...found.map((element) => element.outerHTML.slice(0, 100)),
        ...document.getAnimations().map((animation) => animation.constructor.name),
      ];
    });
    expect(moving, view).toEqual([]);
    await holder.ask('channel.move', { channel: 'beak', to: 'shut', wait: true });
  }
  await operator.close();
});

it('in forced colours a track, and where a servo is on it, are seen', async () => {
  const operator = await Operator.open(browser, daemon, { view: 'overview' });
  const { page } = operator;
  await page.emulateMedia({ forcedColors: 'active' });
  const track = page.locator('.track:not(.is-unknown)').first();
  await track.waitFor();
  // The system's own colours; the page's would all be that of the sheet (CSS Color Adjustment 1, 3.1).
  const [sheet, ...drawn] = await track.evaluate((one) => {
    const colour = (of: Element, pseudo?: string) => getComputedStyle(of, pseudo).backgroundColor;
    const at = one.querySelector('.at')!;
    return [colour(one.closest('.sheet')!), colour(one, '::before'), colour(at, '::before')];
  });
  for (const colour of drawn) {
    expect(colour).not.toBe(sheet);
    expect(colour).not.toBe('rgba(0, 0, 0, 0)');
  }
  await operator.close();
});
