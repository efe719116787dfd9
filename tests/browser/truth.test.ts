import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { launch, Operator } from './browser.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

it('a position that nobody knows is said to be unknown, and never an angle', async () => {
  const daemon = await Daemon.start({ known: false });
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon);
  const { page } = operator;
  const beak = page
    .getByRole('listitem')
    .filter({ has: page.getByRole('link', { name: 'beak', exact: true }) });
  await beak.locator('.value', { hasText: /^unknown$/ }).waitFor();
  await beak.getByText(/limp/).waitFor();
  expect(await beak.locator('.track .at').isVisible()).toBe(false);
  await operator.view('bench');
  await page.locator('.dial-unknown').waitFor();
  expect(await page.locator('.dial .dial-needle').isVisible()).toBe(false);
  expect(await page.locator('.bench-servo').textContent()).not.toMatch(/Angle[−\d]/);
  await operator.wake();
  await page.locator('.dial-unknown').waitFor({ state: 'hidden' });
  await operator.close();
});

it('before the first link nothing is claimed of the prop', async () => {
  const daemon = await Daemon.start();
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon, {
    open: false,
    scripts: ['globalThis.WebSocket = class extends EventTarget { send() {} close() {} };'],
  });
  const text = (await operator.page.locator('.strip').textContent())!;
  expect(text).toContain('no link yet');
  expect(text).not.toMatch(/parked|control|moves|live/i);
  await operator.close();
});
