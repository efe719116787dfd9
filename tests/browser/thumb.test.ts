import type { CDPSession, Locator } from 'playwright-core';
import { expect, it } from 'vitest';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { AXE_MS, browserAndDaemons, LAPTOP, Operator } from './browser.ts';
import { Watch } from './watch.ts';

const UPRIGHT = { width: 360, height: 640 };
const ACROSS = { width: 640, height: 360 };
const TABLET = { width: 1024, height: 768 };
const PHONE = { viewport: UPRIGHT, hasTouch: true, isMobile: true };

const rig = browserAndDaemons(async () => patientDaemon([], await patientOwl(AXE_MS)));

/** What of an element is not in sight: under the strip, under the bar, or beyond the edge (CSS pixels). */
function hiddenPx(element: Locator): Promise<number> {
  return element.evaluate((one) => {
    const { left, right, top, bottom } = one.getBoundingClientRect();
    const strip = document.querySelector('.strip')!.getBoundingClientRect().bottom;
    const bar = document.querySelector('.safety')!.getBoundingClientRect().top;
    const beyond = [strip - top, bottom - bar, -left, right - document.documentElement.clientWidth];
    return Math.max(0, ...beyond.map(Math.round));
  });
}

async function expectInSight(
  operator: Operator,
  state: string,
  names: readonly (string | RegExp)[],
) {
  for (const name of names)
    expect(await hiddenPx(operator.button(name)), `${name}, ${state}`).toBe(0);
  const { page } = operator;
  const { width, height } = page.viewportSize()!;
  const stop = (await operator.button(/^Stop/).boundingBox())!;
  expect(stop.y + stop.height, `Stop, ${state}`).toBeLessThanOrEqual(height);
  expect(stop.x + stop.width, `Stop, ${state}`).toBeLessThanOrEqual(width);
}

const JOGS = [5, 1, 0.1].flatMap((deg) => [`Jog by minus ${deg} deg`, `Jog by plus ${deg} deg`]);
const BARS = [/Towards low/, /Towards high/];
const CAPTURES = ['Low limit here', 'Mark here', 'High limit here'];

/** The steps of the walk: with which controls each is done. */
const STEPS = {
  before: ['It is safe: begin'],
  first: ['This is the low end', ...BARS, ...JOGS],
  second: ['This is the high end', ...BARS, ...JOGS],
  marks: ['Capture the mark here', 'All marks are named', ...JOGS],
  park: ['Park it there', ...JOGS],
  try: ['Move through all places', 'Finish without the whole trial'],
  done: ['To the bench'],
} as const;

/** Opens the walk of the beak at a step, as if it had been left there. */
async function walkAt({ page }: Operator, step: string): Promise<void> {
  await page.evaluate((at) => {
    const progress = { step: at, firstEnd: 'low', marginDeg: 2, ends: {}, written: [] };
    localStorage.setItem('sinew-walk/Foyer owl/beak', JSON.stringify(progress));
    location.hash = '#bench/beak';
  }, step);
  await page.getByRole('link', { name: /the walk$/ }).waitFor();
  await page.evaluate(() => {
    location.hash = '#bench/beak/walk';
  });
  await page.locator('.walk h2').first().waitFor();
}

const readings = ({ page }: Operator) => [page.locator('.reading-angle'), page.locator('.dial')];

it('on a phone one screen has all that feeling and calibrating takes', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { ...PHONE, view: 'bench/beak' });
  const { page } = operator;
  const { keyboard } = page;
  const bench = async (state: string) => {
    await expectInSight(operator, state, [...CAPTURES, ...JOGS, ...BARS]);
    for (const one of readings(operator)) expect(await hiddenPx(one), state).toBe(0);
  };
  await page.getByText('Nobody has control.').waitFor();
  await bench('looking on');
  await operator.wake();
  await bench('awake');

  const px = await page
    .locator('.reading-angle')
    .evaluate((one) => Number.parseFloat(getComputedStyle(one).fontSize));
  expect(px).toBeGreaterThanOrEqual(48);
  for (const bar of BARS)
    expect((await operator.button(bar).boundingBox())!.height).toBeGreaterThanOrEqual(56);
  // Targets for a finger (WCAG 2.2, success criterion 2.5.5: 44 by 44 CSS pixels).
  const small = await page.locator('.app :is(button, select, a, .check)').evaluateAll((all) =>
    all.flatMap((one) => {
      const { width, height } = one.getBoundingClientRect();
      const isSmall = width > 0 && !one.matches('.skip') && Math.min(width, height) < 43.5;
      return isSmall ? [`${one.textContent}: ${width} x ${height}`] : [];
    }),
  );
  expect(small).toEqual([]);

  // Hints about keys come with the first key.
  expect(await page.locator('kbd').first().isVisible()).toBe(false);
  expect(await page.getByLabel('Keys for beak').isVisible()).toBe(false);

  // The name of a mark is asked for without a shift, and the focus comes back.
  const before = await operator.button(/Towards low/).boundingBox();
  await operator.button('Mark here').tap();
  const field = page.getByLabel('Name of the mark');
  expect(await field.evaluate((one) => one === document.activeElement)).toBe(true);
  expect(await operator.button(/Towards low/).boundingBox()).toEqual(before);
  await field.fill('ajar');
  await operator.button('Capture the mark here').tap();
  await page.getByText('mark ajar is now 0 deg').waitFor();
  const isFocused = (name: string | RegExp) =>
    expect
      .poll(() => operator.button(name).evaluate((one) => one === document.activeElement))
      .toBe(true);
  await isFocused('Mark here');
  expect(await operator.button(/Towards low/).boundingBox()).toEqual(before);
  await bench('after a capture');
  expect(await page.getByLabel('Keys for beak').isVisible()).toBe(false);

  await operator.button('Jog by plus 1 deg').focus();
  await keyboard.press('Enter');
  await page.locator('.reading-angle', { hasText: '1.0°' }).waitFor();
  await isFocused('Jog by plus 1 deg');
  await page.getByLabel('Keys for beak').waitFor();

  for (const [step, names] of Object.entries(STEPS)) {
    await walkAt(operator, step);
    await expectInSight(operator, step, names);
    if (!['before', 'done'].includes(step))
      for (const one of readings(operator)) expect(await hiddenPx(one), step).toBe(0);
  }

  // Held across.
  await page.setViewportSize(ACROSS);
  for (const step of ['first', 'second'] as const) {
    await walkAt(operator, step);
    await expectInSight(operator, `${step}, held across`, STEPS[step]);
  }
  await page.evaluate(() => {
    location.hash = '#bench/beak';
  });
  await operator.button('Mark here').waitFor();
  await bench('held across');
  await operator.close();
});

it('on a larger screen every step of the walk shows what decides, and hints about keys', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { view: 'bench/beak' });
  await operator.wake();
  for (const size of [LAPTOP, TABLET]) {
    await operator.page.setViewportSize(size);
    for (const [step, names] of Object.entries(STEPS)) {
      await walkAt(operator, step);
      const ways = step === 'before' ? ['Leave the walk'] : ['Back', 'Start again'];
      await expectInSight(operator, `${step} at ${size.width}`, [...names, ...ways]);
      if (step === 'first')
        expect(await operator.page.getByLabel('Keys for beak').isVisible()).toBe(true);
    }
  }
  await operator.close();
});

it('large text, the focus and axe-core find nothing cut off or hidden on the phone', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, {
    ...PHONE,
    view: 'bench/beak',
    scripts: [axeSource],
  });
  const { page } = operator;
  await operator.wake();
  for (const step of ['', 'first', 'marks', 'park', 'try']) {
    if (step) await walkAt(operator, step);
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme });
      expect(await breaches(operator), `${step} ${colorScheme}`).toEqual([]);
    }
    // The focus is never under the strip or the bar (WCAG 2.2, success criterion 2.4.11).
    await page.evaluate(() => (document.activeElement as HTMLElement).blur());
    const inMain = page.locator('main :focus');
    let seen = 0;
    for (let stop = 0; stop < 60; stop++) {
      await page.keyboard.press('Tab');
      if ((await inMain.count()) === 0) continue;
      seen++;
      expect(await hiddenPx(inMain), await inMain.evaluate((one) => one.outerHTML)).toBe(0);
    }
    expect(seen).toBeGreaterThan(5);

    await page.evaluate(() => {
      document.documentElement.style.fontSize = '200%';
    });
    expect(await overhang(operator), step).toBeLessThanOrEqual(0);
    const faults = await page.locator('.bench').evaluate((bench) => {
      const all = [...bench.querySelectorAll<HTMLElement>('button, input, select, p, h2')].filter(
        (one) =>
          one.checkVisibility({ visibilityProperty: true }) &&
          getComputedStyle(one).clipPath === 'none',
      );
      const found: string[] = [];
      for (const [i, one] of all.entries()) {
        const a = one.getBoundingClientRect();
        if (one.matches('button') && one.scrollWidth > one.clientWidth + 1)
          found.push(`cut off: ${one.textContent}`);
        for (const other of all.slice(i + 1)) {
          if (one.contains(other) || one.parentElement !== other.parentElement) continue;
          const b = other.getBoundingClientRect();
          const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
          const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
          if (x > 1 && y > 1) found.push(`overlap: ${one.textContent} | ${other.textContent}`);
        }
      }
      return found;
    });
    expect(faults, step).toEqual([]);
    await page.evaluate(() => {
      document.documentElement.style.fontSize = '';
    });
  }
  await operator.close();
}, 90_000);

/** Fingers on a touch screen, as the browser itself gets them. */
class Fingers {
  readonly #session: CDPSession;
  #down = new Map<number, { x: number; y: number }>();

  private constructor(session: CDPSession) {
    this.#session = session;
  }

  static async on({ page }: Operator): Promise<Fingers> {
    return new Fingers(await page.context().newCDPSession(page));
  }

  #send(
    type: 'touchStart' | 'touchMove' | 'touchEnd' | 'touchCancel',
    points: Iterable<[number, { x: number; y: number }]> = this.#down,
  ): Promise<unknown> {
    const touchPoints = [...points].map(([id, at]) => ({ ...at, id }));
    return this.#session.send('Input.dispatchTouchEvent', { type, touchPoints });
  }

  async down(id: number, element: Locator): Promise<void> {
    const { x, y, width, height } = (await element.boundingBox())!;
    this.#down.set(id, { x: x + width / 2, y: y + height / 2 });
    await this.#send('touchStart');
  }

  async slide(id: number, byX: number, byY: number): Promise<void> {
    // In steps, as a finger does.
    for (let step = 0; step < 5; step++) {
      const { x, y } = this.#down.get(id)!;
      this.#down.set(id, { x: x + byX / 5, y: y + byY / 5 });
      await this.#send('touchMove');
    }
  }

  async up(id: number): Promise<void> {
    // An end tells which ones end.
    const ended: [number, { x: number; y: number }][] = [[id, this.#down.get(id)!]];
    this.#down.delete(id);
    await this.#send('touchEnd', ended);
  }

  /** The system takes the gesture, such as to switch to another app. */
  async cancel(): Promise<void> {
    this.#down.clear();
    await this.#send('touchCancel');
  }
}

it('a bar moves only under one finger that stays on it', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { ...PHONE, view: 'bench/beak' });
  const { page } = operator;
  const watch = await Watch.on(rig.daemon);
  const fingers = await Fingers.on(operator);
  const low = operator.button(/Towards low/);
  const high = operator.button(/Towards high/);
  await operator.wake();
  await page.getByLabel('Speed').selectOption({ label: 'fast, 10 deg/s' });

  /** A finger on the bar that moves away from where the beak stands near an end. */
  const held = async (): Promise<void> => {
    const bar = watch.deg('beak') > 10 ? low : high;
    await fingers.down(0, bar);
    await watch.moving('beak');
  };
  /** It stands still, though a finger may still be there. */
  const still = async (what: string): Promise<void> => {
    const restDeg = await watch.still('beak');
    expect(await watch.still('beak'), what).toBe(restDeg);
  };

  await held();
  await fingers.cancel();
  await still('a gesture of the system');

  await held();
  await fingers.slide(0, 0, -200);
  await still('slid off');
  expect(await page.evaluate(() => scrollY)).toBe(0);
  await fingers.slide(0, 0, 200);
  await still('slid back');
  await fingers.up(0);

  await held();
  const moved = watch.deg('beak');
  const other = moved > 10 ? high : low;
  await fingers.down(1, other);
  await still('a finger on each bar');
  await page.getByText('Two at once, so it stopped. Let go of both.').waitFor();
  await fingers.up(1);
  await fingers.down(1, other);
  await still('the other bar again, while one finger rests on the first');
  await fingers.up(1);
  await fingers.up(0);

  // A long press asks for a menu: it does not come, and the bar stays in the hand.
  await held();
  const isRefused = await page.evaluate(() => {
    const asked = new MouseEvent('contextmenu', { bubbles: true, cancelable: true });
    document.querySelector('.hold.is-running')!.dispatchEvent(asked);
    return asked.defaultPrevented;
  });
  expect(isRefused).toBe(true);
  expect(await page.locator('.hold.is-running').count()).toBe(1);
  await page.evaluate(() => {
    Object.defineProperty(document, 'hidden', { configurable: true, value: true });
    document.dispatchEvent(new Event('visibilitychange'));
    Reflect.deleteProperty(document, 'hidden');
  });
  await still('hidden');
  await page.getByText('The page lost your attention, so it stopped.').waitFor();
  await fingers.up(0);

  await held();
  await page.setViewportSize(ACROSS);
  await still('turned');
  await fingers.up(0);
  await page.setViewportSize(UPRIGHT);

  // A second finger that lets go of something else ends it as well: better stopped than running on.
  await held();
  await fingers.down(1, page.locator('.reading-angle'));
  await fingers.up(1);
  await still('another finger lifted');
  await fingers.up(0);

  // While a step of the walk moves the servo itself, the bars do nothing.
  await walkAt(operator, 'first');
  const fromDeg = await watch.still('beak');
  await page.getByLabel('Margin (deg)').fill('10');
  await page.getByLabel('Margin (deg)').blur();
  await operator.button('This is the low end').tap();
  await watch.moving('beak');
  await fingers.down(0, high);
  await watch.arrives('beak', fromDeg + 10);
  await still('backed off');
  expect(watch.deg('beak')).toBeCloseTo(fromDeg + 10, 1);
  await fingers.up(0);
  await operator.close();
}, 60_000);
