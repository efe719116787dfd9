import { setTimeout as sleep } from 'node:timers/promises';
import { describe, expect, it } from 'vitest';
import { Peer } from '../system/daemon.ts';
import { browserAndDaemons, Operator, PHONE, VIEWS } from './browser.ts';

const rig = browserAndDaemons();

it('stops by key without control, in every view, and says so to everyone', async () => {
  const holder = await Peer.holder(rig.daemon);
  await holder.ask('state.follow', { hz: 50 });
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.condition('live');
  for (const view of VIEWS) {
    await operator.view(view);
    await holder.ask('channel.move', { channel: 'wing_left', to: 'spread', overS: 5 });
    await operator.page.keyboard.press('Escape');
    const stopped = await holder.untilState((frame) => frame.condition === 'stopped');
    expect(stopped.holder).toBe('holder');
    await operator.condition('stopped');
    const moved = await holder.call('channel.move', { channel: 'beak', to: 'open' });
    expect(moved.error).toMatchObject({ code: -32003 });
    const { error } = await holder.call('reset');
    expect(error).toMatchObject({ data: { code: 'reset.confirm' } });
    await sleep(2000);
    await holder.ask('reset', { confirm: error!.data.stoppedBy });
    await holder.ask('wake', { wait: true, confirm: 'unknown' });
    await operator.condition('live');
  }
  await operator.close();
});

it('stops by key while a text is being typed', async () => {
  const holder = await Peer.holder(rig.daemon);
  await holder.ask('state.follow', { hz: 50 });
  const operator = await Operator.open(rig.browser, rig.daemon, { view: 'wiring' });
  const search = operator.page.getByRole('searchbox');
  await search.fill('W0');
  await search.press('Escape');
  await holder.untilState((frame) => frame.condition === 'stopped');
  await operator.condition('stopped');
  await operator.close();
});

it('has stop, park and what comes next on screen wherever one scrolls, on a phone too', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { viewport: PHONE });
  for (const view of VIEWS) {
    await operator.view(view);
    for (const top of [0, 100_000]) {
      await operator.page.evaluate((y) => scrollTo(0, y), top);
      for (const name of [/^Stop/, 'Park', 'Take control']) {
        const box = await operator.button(name).boundingBox();
        expect(box!.x).toBeGreaterThanOrEqual(0);
        expect(box!.x + box!.width).toBeLessThanOrEqual(PHONE.width);
        expect(box!.y).toBeGreaterThanOrEqual(0);
        expect(box!.y + box!.height).toBeLessThanOrEqual(PHONE.height);
      }
    }
  }
  await operator.close();
});

it('takes control, wakes, parks, resets after a stop, and hands over', async () => {
  const watch = await Peer.connect(rig.daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
  const operator = await Operator.open(rig.browser, rig.daemon);
  expect(await operator.button('Wake').count()).toBe(0);
  await operator.wake();
  await operator.button('Park').click();
  await operator.condition('parked');

  await operator.button('Wake').click();
  await operator.condition('live');
  await operator.button(/^Stop/).click();
  await operator.condition('stopped');
  await operator.button('Reset').click();
  await operator.condition('parked');

  await operator.button('Wake').click();
  await operator.condition('live');
  await operator.button('Hand over').click();
  // With grace: live and still for the next one.
  const free = await watch.untilState((frame) => frame.holder === null);
  expect(free.condition).toBe('live');
  await watch.ask('lease.take');
  await watch.ask('channel.move', { channel: 'beak', to: 'open', wait: true });
  await operator.close();
});

it('shows what the daemon refuses, in its words, until it is dismissed', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.wake();
  const alert = operator.page.getByRole('alert').filter({ hasText: /./ });
  expect(await alert.count()).toBe(0);
  // The prop file lets the mist run only while the tail is up.
  await operator.button('mist on').click();
  await alert.filter({ hasText: /mist.*tail_1/ }).waitFor();
  await operator.button('OK: dismiss the message').click();
  await alert.waitFor({ state: 'detached' });

  await operator.page.getByText('Colour of eye_left').click();
  await operator.page.getByLabel('Name or hex of a colour for eye_left').fill('no colour');
  await operator.button('Set the colour of eye_left').click();
  await alert.filter({ hasText: 'no colour' }).waitFor();
  await operator.close();
});

it('lets a second page follow the first', async () => {
  const first = await Operator.open(rig.browser, rig.daemon);
  const second = await Operator.open(rig.browser, rig.daemon, { viewport: PHONE });
  await first.wake();
  await second.condition('live');
  const holder = await second.page.locator('.lease').textContent();
  expect(holder).toMatch(/^page \d+ has control\./);
  expect(await second.button('Take control').count()).toBe(0);
  expect(await second.button('Wake').count()).toBe(0);
  await second.button('Ask for control').waitFor();

  await first.button('Hand over').click();
  await second.takeControl();
  await first.page.getByText(/^page \d+ has control\./).waitFor();
  await second.button('Park').click();
  await first.condition('parked');
  await first.close();
  await second.close();
});

it('does not take two pages of one window for each other', async () => {
  const first = await Operator.open(rig.browser, rig.daemon);
  await first.takeControl();
  // A page opened from another inherits a copy of what that one keeps for its tab.
  const opened = first.page.context().waitForEvent('page');
  await first.page.evaluate(() => void open(location.href));
  const second = await opened;
  await second.getByText(/^page \d+ has control\./).waitFor();
  expect(await second.getByRole('button', { name: 'Take control' }).count()).toBe(0);
  await first.close();
});

describe('the stop button', () => {
  const stops = async (watch: Peer): Promise<number> => {
    const { entries } = (await watch.ask('journal.read', { limit: 1000 })) as {
      entries: { what: string }[];
    };
    return entries.filter(({ what }) => what === 'stop').length;
  };
  const watching = async (): Promise<Peer> => {
    const watch = await Peer.connect(rig.daemon);
    await watch.ask('session.open', { client: 'watch' });
    await watch.ask('state.follow', { hz: 50 });
    return watch;
  };

  it('stops on the press, before it is let go, and once', async () => {
    const watch = await watching();
    const operator = await Operator.open(rig.browser, rig.daemon);
    const box = (await operator.button(/^Stop/).boundingBox())!;
    await operator.page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await operator.page.mouse.down();
    await watch.untilState((frame) => frame.condition === 'stopped');
    await operator.page.mouse.up();
    await operator.condition('stopped');
    expect(await stops(watch)).toBe(1);
    await operator.close();
  });

  it.each(['Escape', 'Enter', ' '])('a held key (%j) is one stop', async (key) => {
    const watch = await watching();
    const operator = await Operator.open(rig.browser, rig.daemon);
    if (key !== 'Escape') await operator.button(/^Stop/).focus();
    for (let n = 0; n < 20; n++) await operator.page.keyboard.down(key);
    await watch.untilState((frame) => frame.condition === 'stopped');
    await operator.page.keyboard.up(key);
    await operator.condition('stopped');
    expect(await stops(watch)).toBe(1);
    await operator.close();
  });

  it('a click without a press, as a screen reader sends it, stops each time', async () => {
    const watch = await watching();
    const operator = await Operator.open(rig.browser, rig.daemon);
    await operator.button(/^Stop/).evaluate((button: HTMLElement) => button.click());
    await watch.untilState((frame) => frame.condition === 'stopped');
    await operator.button(/^Stop/).click();
    await operator.button(/^Stop/).evaluate((button: HTMLElement) => button.click());
    // It is stopped since the first: the last may still be on its way.
    await expect.poll(() => stops(watch)).toBe(3);
    await operator.close();
  });
});

/** Whether Stop and Park are within what is seen, and nothing lies over them. */
async function inSight(operator: Operator): Promise<void> {
  for (const name of [/^Stop/, 'Park'])
    await expect
      .poll(() =>
        operator.button(name).evaluate((button) => {
          const { left, right, top, bottom } = button.getBoundingClientRect();
          const { offsetLeft, offsetTop, width, height } = visualViewport!;
          const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
          return {
            // To a pixel: the scale is a fraction.
            inside:
              left >= offsetLeft - 1 &&
              right <= offsetLeft + width + 1 &&
              top >= offsetTop - 1 &&
              bottom <= offsetTop + height + 1,
            free: hit !== null && (hit === button || button.contains(hit)),
            large: (right - left) * visualViewport!.scale >= 24,
          };
        }),
      )
      // 24 CSS pixels: WCAG 2.2, success criterion 2.5.8.
      .toEqual({ inside: true, free: true, large: true });
}

it('keeps stop and park in sight under pinch zoom', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { viewport: PHONE });
  const session = await operator.page.context().newCDPSession(operator.page);
  for (const pageScaleFactor of [2, 4, 1.5, 1]) {
    await session.send('Emulation.setPageScaleFactor', { pageScaleFactor });
    await inSight(operator);
    await operator.page.mouse.move(100, 100);
    await operator.page.mouse.wheel(150, 400);
    await inSight(operator);
  }
  await operator.close();
});

/**
 * In place of the visual viewport of a phone: headless Chromium has no keyboard that covers the page, and
 * no bar of its own that slides away.
 */
const STAND_IN = `
  const real = visualViewport;
  const now = {};
  class Seen extends EventTarget {
    now = now;
    constructor() {
      super();
      for (const type of ['resize', 'scroll'])
        real.addEventListener(type, () => this.dispatchEvent(new Event(type)));
    }
  }
  for (const name of ['scale', 'offsetLeft', 'offsetTop', 'width', 'height'])
    Object.defineProperty(Seen.prototype, name, { get: () => now[name] ?? real[name] });
  Object.defineProperty(window, 'visualViewport', { value: new Seen() });
`;

/** What of the page is seen from now on, as its own script learns of it. */
function see(operator: Operator, seen: Partial<VisualViewport>): Promise<void> {
  return operator.page.evaluate((now) => {
    Object.assign((visualViewport as VisualViewport & { now: object }).now, now);
    for (const type of ['scroll', 'resize']) visualViewport!.dispatchEvent(new Event(type));
  }, seen);
}

const TOUCH = { viewport: { width: 360, height: 640 }, isMobile: true, hasTouch: true };

async function tapStop(operator: Operator): Promise<void> {
  const { x, y, width, height } = (await operator.button(/^Stop/).boundingBox())!;
  await operator.page.touchscreen.tap(x + width / 2, y + height / 2);
  await operator.condition('stopped');
}

describe('an on-screen keyboard', () => {
  it('that lies over the page leaves stop and park in sight', async () => {
    const operator = await Operator.open(rig.browser, rig.daemon, {
      ...{ ...TOUCH, view: 'bench/beak', scripts: [STAND_IN] },
    });
    await operator.wake();
    await operator.page.getByLabel('Angle (deg)').focus();
    for (const offsetTop of [0, 340, 120]) {
      await see(operator, { height: 300, offsetTop });
      await inSight(operator);
    }
    // Zoomed in as well.
    await see(operator, { scale: 2, width: 180, height: 150, offsetTop: 90, offsetLeft: 70 });
    await inSight(operator);
    await see(operator, { scale: 1, width: 360, height: 300, offsetTop: 120, offsetLeft: 0 });
    await inSight(operator);
    await tapStop(operator);
    await see(operator, { height: 640, offsetTop: 0 });
    await inSight(operator);
    await operator.close();
  });

  it('that makes the page shorter leaves stop and park in sight, and the field too', async () => {
    const operator = await Operator.open(rig.browser, rig.daemon, { ...TOUCH, view: 'bench/beak' });
    await operator.wake();
    const field = operator.page.getByLabel('Angle (deg)');
    await field.focus();
    const session = await operator.page.context().newCDPSession(operator.page);
    const shorter = { width: 360, height: 300, deviceScaleFactor: 1, mobile: true };
    await session.send('Emulation.setDeviceMetricsOverride', shorter);
    await expect.poll(() => operator.page.evaluate(() => visualViewport!.height)).toBe(300);
    await inSight(operator);
    // Scrolled to by the browser, but not under the bar.
    await field.evaluate((input) => input.scrollIntoView({ block: 'end' }));
    const bar = (await operator.page.locator('.safety').boundingBox())!;
    const box = (await field.boundingBox())!;
    expect(box.y + box.height).toBeLessThanOrEqual(bar.y);
    await tapStop(operator);
    await operator.close();
  });
});

it("keeps stop and park in sight when a browser's own bar has slid away", async () => {
  // What is seen is then higher than the layout that the root reports (Chromium for Android).
  const root = `Object.defineProperty(document.documentElement, 'clientHeight', {
    configurable: true, get: () => innerHeight - 56 });`;
  const late = `document.addEventListener('readystatechange', () => { ${root} });`;
  const operator = await Operator.open(rig.browser, rig.daemon, {
    ...TOUCH,
    scripts: [STAND_IN, late],
  });
  await inSight(operator);
  await see(operator, { height: 640 });
  await inSight(operator);
  await operator.close();
});

it.each([200, 400])('keeps stop and park in sight with text at %i %', async (percent) => {
  const operator = await Operator.open(rig.browser, rig.daemon, { viewport: PHONE });
  await operator.page.evaluate((size) => {
    document.documentElement.style.fontSize = `${size}%`;
  }, percent);
  await inSight(operator);
  await operator.close();
});

it('keeps stop and park above whatever covers the page', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.page.evaluate(() => {
    const cover = document.createElement('div');
    cover.style.cssText = 'position:fixed;inset:0;z-index:2147483647;background:red';
    document.body.append(cover);
  });
  await inSight(operator);
  await operator.close();
});
