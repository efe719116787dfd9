import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
import { Daemon, Peer } from '../system/daemon.ts';
import { Cable, launch, launchPlain, Operator } from './browser.ts';

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
async function pose(operator: Operator): Promise<void> {
  await operator.button('alert').click();
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
async function greys(operator: Operator, sinceMs: number): Promise<void> {
  operator.linkMayBreak = true;
  await operator.page.locator('.app.cut').waitFor();
  expect(performance.now() - sinceMs).toBeLessThan(GREY_WITHIN_MS);
  for (const part of ['header', 'main', 'footer'])
    expect(
      await operator.page.locator(part).evaluate((element) => getComputedStyle(element).filter),
    ).toBe('grayscale(1)');
  for (const part of ['header', 'main'])
    expect(await operator.page.locator(part).getAttribute('inert')).not.toBeNull();
  const alert = operator.page.getByRole('alert').filter({ hasText: 'What you see is old' });
  expect(await alert.textContent()).toMatch(/park.*by itself within 600 ms/);
  expect(await alert.isVisible()).toBe(true);
}

describe('the link is cut', () => {
  it('by a dead cable: the page greys, the owl parks, and both find each other again', async () => {
    const cable = await Cable.to(daemon);
    const operator = await Operator.open(browser, cable.url);
    await operator.wake();
    await pose(operator);
    const pulledMs = performance.now();
    const pulledAt = Date.now();
    cable.pull();
    const [parking] = await Promise.all([
      watch.untilState((frame) => frame.condition === 'parking'),
      greys(operator, pulledMs),
    ]);
    expect(parking.condition).toBe('parking');
    expect((await parkingBegan()) - pulledAt).toBeLessThanOrEqual(PROMISE_MS);
    await watch.untilState((frame) => frame.condition === 'parked' && frame.holder === null);
    cable.plug();
    await operator.linked();
    await operator.condition('parked');
    // Nothing resumes by itself.
    await operator.button('Take control').waitFor();
    await operator.close();
  });

  it('by a daemon that is killed', async () => {
    const operator = await Operator.open(browser, daemon);
    await operator.wake();
    const killedMs = performance.now();
    daemon.child.kill('SIGKILL');
    await greys(operator, killedMs);
    await operator.close();
  });

  it('by a daemon that hangs with its sockets open, until it goes on', async () => {
    const operator = await Operator.open(browser, daemon);
    const hungMs = performance.now();
    daemon.child.kill('SIGSTOP');
    await greys(operator, hungMs);
    daemon.child.kill('SIGCONT');
    await operator.linked();
    await operator.condition('parked');
    await operator.close();
  });

  it.each(['closed', 'crashed', 'reloaded'])('by a page that is %s: the owl parks', async (how) => {
    const operator = await Operator.open(browser, daemon);
    await operator.wake();
    await pose(operator);
    const goneMs = Date.now();
    if (how === 'closed') await operator.page.close();
    else if (how === 'reloaded') await operator.page.reload();
    // The page's own program is killed: it says nothing any more.
    else void operator.page.goto('chrome://crash').catch(() => {});
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
    const operator = await Operator.open(plain, daemon, { context });
    await operator.wake();
    const other = await context.newPage();
    await other.bringToFront();
    expect(await operator.page.evaluate(() => document.visibilityState)).toBe('hidden');
    await staysLive();
    await operator.page.bringToFront();
    expect(await operator.page.evaluate(() => document.visibilityState)).toBe('visible');
    await operator.button('Park').click();
    await operator.condition('parked');
    await operator.close();
  });

  it('behind another tab loses control of what moves: the owl parks', async () => {
    await patient();
    const plain = await launchPlain();
    const context = plain.contexts()[0]!;
    const operator = await Operator.open(plain, daemon, { context });
    await operator.wake();
    await operator.button('Run slow').click();
    const other = await context.newPage();
    await other.bringToFront();
    const after = await watch.untilState((frame) => frame.condition !== 'live');
    expect(after.condition).toBe('parking');
    operator.linkMayBreak = true;
    await operator.close();
  });
});

describe('a page whose script stands still loses control, though its browser answers pings', () => {
  it('in an endless loop', async () => {
    await patient();
    const operator = await Operator.open(browser, daemon);
    await operator.wake();
    await pose(operator);
    const loopMs = Date.now();
    void operator.page
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
