/// <reference lib="dom" />
import { readFile } from 'node:fs/promises';
import { setTimeout as sleep } from 'node:timers/promises';
import type { Browser } from 'playwright-core';
import { afterEach, beforeEach, describe, expect, it, onTestFinished } from 'vitest';
import { patientDaemon } from '../faults/patient.ts';
import { type Daemon, OWL } from '../system/daemon.ts';
import { launchPlain, Operator } from './browser.ts';
import { Watch } from './watch.ts';

const PROMISE_MS = 500 + 100;
/** Longer than a browser needs to do anything of its own about it. */
const FROZEN_MS = 2500;
const WATCHED_MS = 1500;
const SLOW_CUE = 'cues:\n  slow:\n    - { at: 0, move: { head_turn: 20 }, overS: 25 }\n';

let daemon: Daemon;
let watch: Watch;
beforeEach(async () => {
  const owl = await readFile(OWL, 'utf8');
  daemon = await patientDaemon([], owl.replace('cues:\n', SLOW_CUE));
  watch = await Watch.on(daemon);
});
afterEach(() => daemon.cleanUp());

/** Freezes a page until what it returns is called; then `frozenMs` is known (ms since the epoch). */
type Freeze = (
  operator: Operator,
  browser: Browser,
) => Promise<() => Promise<{ frozenMs: number }>>;

declare global {
  interface Window {
    frozenMs: number;
  }
}
const NOTE_FREEZE =
  "document.addEventListener('freeze', () => { window.frozenMs = Date.now(); }, true)";

/** As a browser suspends a tab (Page Lifecycle): out of sight, then no script and no timer runs. */
const suspend: Freeze = async (operator) => {
  const session = await operator.page.context().newCDPSession(operator.page);
  await session.send('Page.setWebLifecycleState', { state: 'frozen' });
  return async () => {
    await session.send('Page.setWebLifecycleState', { state: 'active' });
    await operator.page.bringToFront();
    return { frozenMs: await operator.page.evaluate(() => window.frozenMs) };
  };
};

/** As a device suspends a browser: the page is in sight, and learns of nothing. */
const halt: Freeze = async (_, browser) => {
  const session = await browser.newBrowserCDPSession();
  const { processInfo } = await session.send('SystemInfo.getProcessInfo');
  const renderers = processInfo.filter(({ type }) => type === 'renderer').map(({ id }) => id);
  expect(renderers).not.toEqual([]);
  const frozenMs = Date.now();
  for (const id of renderers) process.kill(id, 'SIGSTOP');
  const thaw = () => {
    for (const id of renderers.splice(0)) process.kill(id, 'SIGCONT');
  };
  onTestFinished(thaw);
  return async () => {
    thaw();
    return { frozenMs };
  };
};

interface Entry {
  what: string;
  text: string;
  time: string;
  values?: Record<string, unknown>;
}

async function journal(): Promise<Entry[]> {
  const { entries } = await watch.peer.ask('journal.read', { limit: 1000 });
  return entries as Entry[];
}

/** Everything that the prop has done since `from`: its conditions, holders, and what moved. */
function since(from: number) {
  const frames = watch.peer.states.slice(from);
  return {
    conditions: [...new Set(frames.map(({ condition }) => condition))],
    holders: [...new Set(frames.map(({ holder }) => holder))],
    moved: frames.flatMap(({ channels }) =>
      Object.entries(channels)
        .filter(([, { flags }]) => (flags as string[]).includes('moving'))
        .map(([name]) => name),
    ),
  };
}

/** This browser has no mouse: the box for keys is there once one has been pressed. */
async function focusKeys({ page }: Operator): Promise<void> {
  await page.keyboard.press('Shift');
  await page.getByLabel('Keys for beak').focus();
}

const HOLDS = {
  /** The mouse is down on a button. */
  mouse: async (operator: Operator) => {
    await operator.button(/Towards high/).hover();
    await operator.page.mouse.down();
  },
  key: async (operator: Operator) => {
    await focusKeys(operator);
    await operator.page.keyboard.down('h');
  },
};

/** Freezes the page until the prop has parked; checks the times, and that it stays so after thawing. */
async function freezeUntilParked(
  operator: Operator,
  browser: Browser,
  freeze: Freeze,
  meanwhile: () => void = () => {},
): Promise<void> {
  operator.linkMayBreak = true;
  const thaw = await freeze(operator, browser);
  const startedMs = performance.now();
  await watch.peer.untilState(({ condition, holder }) => condition === 'parked' && holder === null);
  meanwhile();
  await sleep(FROZEN_MS - (performance.now() - startedMs));
  const before = watch.peer.states.length;
  const { frozenMs } = await thaw();
  const entries = await journal();
  const lost = entries.findLast(({ what }) => what === 'link lost')!;
  expect(lost.values).toMatchObject({ why: 'silent' });
  expect(Date.parse(lost.time) - frozenMs).toBeGreaterThan(0);
  expect(Date.parse(lost.time) - frozenMs).toBeLessThanOrEqual(PROMISE_MS);
  const parking = entries.findLast(
    ({ what, text }) => what === 'condition' && text.startsWith('parking'),
  )!;
  expect(parking.text).toBe('parking: link lost');
  expect(Date.parse(parking.time) - frozenMs).toBeLessThanOrEqual(PROMISE_MS);

  // What it says once it is back, and that nothing goes on by itself.
  await operator.linked();
  await operator.condition('parked');
  await operator.page
    .getByRole('alert')
    .filter({ hasText: /link was lost.*this page had control/i })
    .waitFor();
  await operator.page.getByText('Nobody has control.').waitFor();
  await expect
    .poll(() => operator.button('Take control').isEnabled(), { timeout: 5000 })
    .toBe(true);
  await sleep(WATCHED_MS);
  expect(since(before)).toEqual({ conditions: ['parked'], holders: [null], moved: [] });
}

describe.each([
  ['suspended by its browser', suspend, 'mouse'],
  ['whose process stands still', halt, 'key'],
] as const)('a page %s', (_, freeze, by) => {
  it('loses control of a cue that runs, and tells so', async () => {
    const browser = await launchPlain();
    const context = browser.contexts()[0]!;
    const operator = await Operator.open(browser, daemon, { context, scripts: [NOTE_FREEZE] });
    await operator.wake();
    await operator.button('Run slow').click();
    await watch.moving('head_turn');
    await freezeUntilParked(operator, browser, freeze);
    await operator.close();
  });

  it(`loses what is held by ${by}, which stays still`, async () => {
    const browser = await launchPlain();
    const context = browser.contexts()[0]!;
    const view = 'bench/beak';
    const operator = await Operator.open(browser, daemon, {
      context,
      view,
      scripts: [NOTE_FREEZE],
    });
    await operator.wake();
    await HOLDS[by](operator);
    await watch.until('beak', ({ value }) => (value as number) > 2);
    await freezeUntilParked(operator, browser, freeze);

    // Still down while somebody takes control again: that was for another time.
    const press = async (name: string) => {
      await expect.poll(() => operator.button(name).isEnabled(), { timeout: 5000 }).toBe(true);
      await operator.button(name).evaluate((button: HTMLElement) => button.click());
    };
    await press('Take control');
    await operator.button('Hand over').waitFor();
    await press('Wake');
    await operator.condition('live');
    const from = watch.peer.states.length;
    const atDeg = watch.deg('beak');
    if (by === 'key') {
      await operator.page.getByLabel('Keys for beak').focus();
      // A key that is down repeats.
      for (let n = 0; n < 5; n++) await operator.page.keyboard.down('h');
    }
    await sleep(1000);
    expect(since(from)).toMatchObject({ conditions: ['live'], moved: [] });
    expect(watch.deg('beak')).toBe(atDeg);
    await operator.close();
  });
});

it('presses on a page that stands still reach it late, and move nothing', async () => {
  const browser = await launchPlain();
  const context = browser.contexts()[0]!;
  const operator = await Operator.open(browser, daemon, { context, view: 'bench/beak' });
  const { page } = operator;
  await operator.wake();
  await focusKeys(operator);
  await page.evaluate(() => {
    addEventListener('keydown', () => document.body.toggleAttribute('data-pressed', true), true);
  });
  const presses: Promise<void>[] = [];
  await freezeUntilParked(operator, browser, halt, () => {
    for (const key of ['ArrowRight', 'Shift+ArrowRight']) presses.push(page.keyboard.press(key));
    presses.push(page.keyboard.down('h'));
  });
  await Promise.all(presses);
  expect(await page.evaluate(() => document.body.hasAttribute('data-pressed'))).toBe(true);
  await operator.close();
});
