import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { Daemon, Peer } from '../system/daemon.ts';
import { Cable, Desk, launch, launchPlain } from './browser.ts';

const TIMEOUT_MS = 500;
const PROMISE_MS = TIMEOUT_MS + 100;
/** The page greys within this time of the last word from the daemon. */
const GREY_WITHIN_MS = 1000;

let browser: Browser;
let daemon: Daemon;
let watch: Peer;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());
beforeEach(async () => {
  daemon = await Daemon.start();
  watch = await Peer.connect(daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
});
afterEach(() => daemon.cleanUp());

/** Takes a pose other than the one it parks in, so that parking takes its time. */
async function pose(desk: Desk): Promise<void> {
  await desk.button('alert').click();
  // A frame has only what has changed.
  for (const moving of [true, false])
    await watch.untilState(
      ({ channels }) =>
        channels.tail_1 !== undefined &&
        (channels.tail_1.flags as string[]).includes('moving') === moving,
    );
}

/** When the daemon says that parking began (ms since the epoch). */
async function parkingBegan(): Promise<number> {
  const { entries } = (await watch.ask('journal.read', { limit: 1000 })) as {
    entries: { what: string; text: string; time: string }[];
  };
  const entry = entries.findLast(
    (one) => one.what === 'condition' && one.text.startsWith('parking'),
  );
  return Date.parse(entry!.time);
}

/** Checks that the whole page greys in time, and what it then says. */
async function greys(desk: Desk, sinceMs: number): Promise<void> {
  desk.linkMayBreak = true;
  await desk.page.locator('.app.cut').waitFor();
  expect(performance.now() - sinceMs).toBeLessThan(GREY_WITHIN_MS);
  for (const part of ['header', 'main', 'footer'])
    expect(
      await desk.page.locator(part).evaluate((element) => getComputedStyle(element).filter),
    ).toBe('grayscale(1)');
  for (const part of ['header', 'main'])
    expect(await desk.page.locator(part).getAttribute('inert')).not.toBeNull();
  const alert = desk.page.getByRole('alert').filter({ hasText: 'What you see is old' });
  expect(await alert.textContent()).toMatch(/park.*by itself within 600 ms/);
  expect(await alert.isVisible()).toBe(true);
}

describe('the link is cut', () => {
  it('by a dead cable: the page greys, the owl parks, and both find each other again', async () => {
    const cable = await Cable.to(daemon);
    const desk = await Desk.open(browser, cable.url);
    await desk.wake();
    await pose(desk);
    const pulledMs = performance.now();
    const pulledAt = Date.now();
    cable.pull();
    const [parking] = await Promise.all([
      watch.untilState((frame) => frame.condition === 'parking'),
      greys(desk, pulledMs),
    ]);
    expect(parking.condition).toBe('parking');
    expect((await parkingBegan()) - pulledAt).toBeLessThanOrEqual(PROMISE_MS);
    await watch.untilState((frame) => frame.condition === 'parked' && frame.holder === null);
    cable.plug();
    await desk.linked();
    await desk.condition('parked');
    // Nothing resumes by itself.
    await desk.button('Take control').waitFor();
    await desk.close();
  });

  it('by a daemon that is killed', async () => {
    const desk = await Desk.open(browser, daemon);
    await desk.wake();
    const killedMs = performance.now();
    daemon.child.kill('SIGKILL');
    await greys(desk, killedMs);
    await desk.close();
  });

  it('by a daemon that hangs with its sockets open, until it goes on', async () => {
    const desk = await Desk.open(browser, daemon);
    const hungMs = performance.now();
    daemon.child.kill('SIGSTOP');
    await greys(desk, hungMs);
    daemon.child.kill('SIGCONT');
    await desk.linked();
    await desk.condition('parked');
    await desk.close();
  });

  it.each(['closed', 'crashed', 'reloaded'])('by a page that is %s: the owl parks', async (how) => {
    const desk = await Desk.open(browser, daemon);
    await desk.wake();
    await pose(desk);
    const goneMs = Date.now();
    if (how === 'closed') await desk.page.close();
    else if (how === 'reloaded') await desk.page.reload();
    // The page's own program is killed: it says nothing any more.
    else void desk.page.goto('chrome://crash').catch(() => {});
    await watch.untilState((frame) => frame.condition !== 'live');
    expect((await parkingBegan()) - goneMs).toBeLessThanOrEqual(PROMISE_MS);
    await watch.untilState((frame) => frame.condition === 'parked');
  });
});

describe('a page that is only busy or out of sight keeps control', () => {
  /** Four time-outs long, by the daemon's own clock. */
  async function staysLive(): Promise<void> {
    const { t } = await watch.untilState(() => true);
    const later = await watch.untilState(
      (frame) => frame.t > t + (4 * TIMEOUT_MS) / 1000 || frame.condition !== 'live',
    );
    expect(later.condition).toBe('live');
    expect(later.holder).toMatch(/^page/);
  }

  it('behind another tab', async () => {
    const plain = await launchPlain();
    const context = plain.contexts()[0]!;
    const desk = await Desk.open(plain, daemon, { context });
    await desk.wake();
    const other = await context.newPage();
    await other.bringToFront();
    expect(await desk.page.evaluate(() => document.visibilityState)).toBe('hidden');
    await staysLive();
    await desk.page.bringToFront();
    expect(await desk.page.evaluate(() => document.visibilityState)).toBe('visible');
    await desk.button('Park').click();
    await desk.condition('parked');
    await desk.close();
  });

  it('frozen by the browser, as phones do', async () => {
    const desk = await Desk.open(browser, daemon);
    await desk.wake();
    const session = await desk.page.context().newCDPSession(desk.page);
    await session.send('Page.setWebLifecycleState', { state: 'frozen' });
    await staysLive();
    await session.send('Page.setWebLifecycleState', { state: 'active' });
    await staysLive();
    expect(await desk.button('Hand over').isVisible()).toBe(true);
    await desk.close();
  });

  it('held up by its own work, or by the dialogue for printing', async () => {
    const desk = await Desk.open(browser, daemon);
    await desk.wake();
    await desk.page.evaluate((forMs) => {
      const endMs = performance.now() + forMs;
      while (performance.now() < endMs);
    }, 3 * TIMEOUT_MS);
    await staysLive();
    expect(await desk.page.locator('.app.cut').count()).toBe(0);
    await desk.close();
  });
});
