import { writeFile } from 'node:fs/promises';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { launch, Operator, PHONE } from './browser.ts';

// A prop file that is edited on the disk while the page is open.

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

async function start(): Promise<{
  daemon: Daemon;
  text: string;
  save: (text: string) => Promise<void>;
}> {
  const daemon = await Daemon.start();
  onTestFinished(() => daemon.cleanUp());
  const text = await daemon.readProp();
  return { daemon, text, save: (changed) => writeFile(daemon.propFile, changed) };
}

it('what takes effect at once is shown everywhere, without a word', async () => {
  const { daemon, text, save } = await start();
  const operator = await Operator.open(browser, daemon);
  await operator.view('overview');
  await save(
    text
      .replace('name: Foyer owl', 'name: Foyer owl by night')
      .replace('\nposes:\n', '\nposes:\n  listening: { beak: shut }\n'),
  );
  await operator.page.locator('header h1:text-is("Foyer owl by night")').waitFor();
  await operator.button('listening').waitFor();
  expect(await operator.page.locator('.file-news').count()).toBe(0);
  await operator.close();
});

it('a faulty file is shown with its findings, can be put aside, and is over when it is mended', async () => {
  const { daemon, text, save } = await start();
  const operator = await Operator.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  await save(text.replace('speedDegS: ', 'speedDegS: -'));
  const banner = operator.page.locator('.file-news.is-problem');
  await banner.waitFor();
  expect(await banner.textContent()).toMatch(
    /not in use[\s\S]*line \d+, column \d+[\s\S]*speedDegS/,
  );
  for (const colorScheme of ['light', 'dark'] as const) {
    await operator.page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBeLessThanOrEqual(0);
  }
  await operator.button('Hide this notice about the prop file').click();
  await banner.waitFor({ state: 'detached' });
  await operator.button(/The file is not in use/).click();
  await banner.waitFor();
  await save(text);
  await operator.page.locator('.file-news.is-over').waitFor();
  await operator.button('Hide this notice about the prop file').click();
  await operator.page.locator('.file-news').waitFor({ state: 'detached' });
  await operator.close();
});

it('a new limit waits until the prop is parked, and nothing shifts under the hand that moves it', async () => {
  const { daemon, text, save } = await start();
  const operator = await Operator.open(browser, daemon);
  await operator.wake();
  await operator.view('bench');
  const pad = operator.page.locator('.pad').first();
  const before = await pad.boundingBox();
  await save(text.replace('limitsDeg: [-5, 35]', 'limitsDeg: [-5, 34]'));
  await operator.button('The file waits').waitFor();
  expect(await pad.boundingBox()).toEqual(before);
  await operator.button('The file waits').click();
  const banner = operator.page.locator('.file-news.is-waits');
  expect(await banner.textContent()).toMatch(/waits until the prop is parked[\s\S]*34/);
  await operator.button('Park').click();
  await operator.condition('parked');
  await operator.page.locator('.file-news.is-over, .file-sign.is-over').waitFor();
  await operator.close();
});
