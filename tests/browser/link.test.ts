import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
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

/** A daemon whose link may be silent for 3 s, as browser and daemon share this machine, and a long cue. */
async function patient(): Promise<void> {
  await daemon.cleanUp();
  const slow = 'cues:\n  slow:\n    - { at: 0, move: { head_turn: 20 }, overS: 25 }\n';
  daemon = await patientDaemon([], (await patientOwl()).replace('cues:\n', slow));
  watch = await Peer.connect(daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
}
const PATIENT_MS = 3100;

describe('a page that is out of sight', () => {
  /** Four time-outs long, by the daemon's own clock. */
  async function staysLive(): Promise<void> {
    const { t } = await watch.untilState(() => true);
    const later = await watch.untilState(
      (frame) => frame.t > t + (4 * TIMEOUT_MS) / 1000 || frame.condition !== 'live',
    );
    expect(later.condition).toBe('live');
    expect(later.holder).toMatch(/^page/);
  }

  it('behind another tab keeps control while nothing moves', async () => {
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

  it('behind another tab loses control of what moves: the owl parks', async () => {
    await patient();
    const plain = await launchPlain();
    const context = plain.contexts()[0]!;
    const desk = await Desk.open(plain, daemon, { context });
    await desk.wake();
    await desk.button('Run slow').click();
    const other = await context.newPage();
    await other.bringToFront();
    const after = await watch.untilState((frame) => frame.condition !== 'live');
    expect(after.condition).toBe('parking');
    desk.linkMayBreak = true;
    await desk.close();
  });
});

describe('a page whose script stands still loses control, though its browser answers pings', () => {
  it('in an endless loop', async () => {
    await patient();
    const desk = await Desk.open(browser, daemon);
    await desk.wake();
    await pose(desk);
    const loopMs = Date.now();
    void desk.page
      .evaluate(() => {
        for (;;);
      })
      .catch(() => {});
    await watch.untilState((frame) => frame.condition !== 'live');
    // The loop begins a little after it is asked for.
    expect((await parkingBegan()) - loopMs).toBeLessThanOrEqual(PATIENT_MS + 1000);
    await watch.untilState((frame) => frame.condition === 'parked' && frame.holder === null);
  }, 60_000);
});
