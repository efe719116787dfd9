import { spawn } from 'node:child_process';
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, expect, it, onTestFinished } from 'vitest';
import { freePort } from '../mosquitto.ts';
import { CLI } from '../system/daemon.ts';
import { onlooker, RealShow } from '../system/real-show.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { LAPTOP, launch, PHONE } from './browser.ts';

// The page of a show, of `sinew show serve` and of a prop, with a real broker and two real daemons.

let real: RealShow;
let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());
beforeEach(async () => {
  real = await RealShow.make();
});
afterEach(() => real?.cleanUp());

/** Serves the page. @returns its address */
async function serve(): Promise<string> {
  const port = await freePort();
  const file = await real.file([{ at: 0, park: ['all'] }]);
  const where = `127.0.0.1:${port}`;
  const child = spawn(process.execPath, [CLI, 'show', 'serve', file, '--listen', where], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const ended = new Promise((resolve) => child.once('exit', resolve));
  onTestFinished(async () => {
    child.kill('SIGINT');
    await ended;
  });
  await new Promise((resolve) => child.stdout.once('data', resolve));
  return `http://${where}/`;
}

const names = (page: Page) => page.locator('.props h2').allTextContents();
const poll = <T>(look: () => Promise<T>) => expect.poll(look, { timeout: 15_000 });

it('shows a prop with a problem first, and its Stop reaches a prop that nobody armed', async () => {
  const page = await browser.newPage({ viewport: PHONE });
  onTestFinished(() => page.close());
  await page.addInitScript({ content: axeSource });
  await page.goto(await serve());
  await poll(async () => (await names(page)).toSorted()).toEqual(['barn', 'owl']);
  await poll(() => page.locator('.props').getByText('parked, not armed').count()).toBe(2);

  const [first, second] = (await names(page)) as ['owl' | 'barn', 'owl' | 'barn'];
  const [other, peer] = await Promise.all([onlooker(real[first]), onlooker(real[second])]);
  await peer.ask('lockout.set', { reason: 'a wire is loose' });
  await poll(() => names(page)).toEqual([second, first]);
  const amiss = page.locator('.props .amiss');
  expect(await amiss.locator('h2').allTextContents()).toEqual([second]);
  expect(await amiss.textContent()).toContain('a wire is loose');

  // Without control no cue can be started, and Stop works all the same.
  expect(await page.getByRole('button', { name: `Go: the cue of ${first}` }).isDisabled()).toBe(
    true,
  );
  await page.getByRole('button', { name: `Stop ${first}` }).click();
  await other.untilState(({ condition }) => condition === 'stopped');
  await poll(() => page.locator('.props .amiss h2').allTextContents()).toHaveLength(2);

  for (const size of [PHONE, LAPTOP]) {
    await page.setViewportSize(size);
    expect(await overhang({ page })).toBe(0);
  }
  expect(await breaches({ page })).toEqual([]);
  // It reaches all of them from everywhere on the page.
  await peer.ask('lockout.clear');
  await page.getByRole('button', { name: 'Stop all' }).click();
  await peer.untilState(({ condition }) => condition === 'stopped');
});

it('a prop serves it too, from a link on its own page, and says where the broker keeps it from acting', async () => {
  const context = await browser.newContext({ viewport: PHONE });
  onTestFinished(() => context.close());
  const bench = await context.newPage();
  await bench.goto(`${real.owl.url}#show`);
  // The new tab gets the token that this one keeps.
  await bench.evaluate(() => sessionStorage.setItem('sinew-token', 'kept'));
  const opened = context.waitForEvent('page');
  await bench.getByRole('link', { name: 'All props of foyer' }).click();
  const page = await opened;
  expect(await page.evaluate(() => sessionStorage.getItem('sinew-token'))).toBe('kept');
  await poll(async () => (await names(page)).toSorted()).toEqual(['barn', 'owl']);
  const peer = await onlooker(real.barn);
  await page.getByRole('button', { name: 'Stop barn' }).click();
  await peer.untilState(({ condition }) => condition === 'stopped');
  await poll(() => page.getByText('stop: barn').count()).toBe(1);
  expect(await overhang({ page })).toBe(0);

  await page.goto(`${real.barn.url}show/`);
  await poll(() => page.getByRole('alert').textContent()).toContain('does not let barn write');
});
