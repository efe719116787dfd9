import { randomBytes } from 'node:crypto';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { launch, Operator, PHONE, VIEWS } from './browser.ts';

const token = randomBytes(32).toString('base64url');
let browser: Browser;
let daemon: Daemon;
let folder: string;
beforeAll(async () => {
  browser = await launch();
  folder = await mkdtemp(join(tmpdir(), 'sinew-token-'));
  const file = join(folder, 'token');
  await writeFile(file, `${token}\n`, { mode: 0o600 });
  daemon = await Daemon.start({ args: ['--token-file', file] });
});
afterAll(async () => {
  await browser?.close();
  await daemon?.cleanUp();
  await rm(folder, { recursive: true, force: true });
});

it('asks for the token, says why a wrong one will not do, and keeps the right one in the tab', async () => {
  const operator = await Operator.open(browser, daemon, {
    open: false,
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  const field = page.getByLabel('The token of this prop');
  await field.waitFor();
  expect(await page.getByRole('alert').count()).toBe(0);
  expect(await field.getAttribute('type')).toBe('password');

  await field.fill('not the one');
  await field.press('Enter');
  await page.getByRole('alert').filter({ hasText: /token/ }).waitFor();
  expect(await page.locator('.app').count()).toBe(0);
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  // The next try is typed at once.
  await page.locator('input[name=token]:focus').waitFor();

  await field.fill(` ${token} `);
  await operator.button('Enter').click();
  await operator.linked();
  await operator.takeControl();

  await page.reload();
  await operator.linked();
  await operator.button('Take control').waitFor();

  // Nothing of it is left anywhere but in this tab.
  const left = await page.evaluate(() => ({
    local: localStorage.length,
    cookies: document.cookie,
    address: location.href,
  }));
  expect(left).toEqual({ local: 0, cookies: '', address: daemon.url });
  const other = await page.context().newPage();
  await other.goto(daemon.url);
  await other.getByLabel('The token of this prop').waitFor();
  await operator.close();
});

it('is let in by a link, once; the code does not stay in the address', async () => {
  const asked = await Peer.connect(daemon);
  await asked.ask('session.open', { client: 'laptop', token });
  const { links } = await asked.ask('token.invite', { forS: 60 });
  const link = String((links as string[])[0]).replace(/^http:\/\/[^/]+\//, daemon.url);
  const phone = await browser.newContext({ viewport: PHONE });
  const page = await phone.newPage();
  await page.goto(link);
  await page.locator('.app').waitFor();
  expect(page.url()).not.toContain('invite');
  // It comes back by itself, with a token of its own.
  await page.reload();
  await page.locator('.app').waitFor();

  const second = await (await browser.newContext()).newPage();
  await second.goto(link);
  await second
    .getByRole('alert')
    .filter({ hasText: /used already/ })
    .waitFor();
  await second.context().close();
  await phone.close();
  await asked.close();
});

it('opens every view, and keeps the token for the page, where the browser may keep nothing', async () => {
  const operator = await Operator.open(browser, daemon, {
    open: false,
    scripts: [
      `for (const name of ['localStorage', 'sessionStorage'])
        Object.defineProperty(window, name, { get() { throw new DOMException('no', 'SecurityError'); } });`,
    ],
  });
  const field = operator.page.getByLabel('The token of this prop');
  await field.fill(token);
  await field.press('Enter');
  await operator.linked();
  for (const view of VIEWS) await operator.view(view);
  await operator.close();
});
