import { writeFile } from 'node:fs/promises';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { Desk, launch, PHONE } from './browser.ts';

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
  const desk = await Desk.open(browser, daemon);
  await desk.view('overview');
  await save(
    text
      .replace('name: Foyer owl', 'name: Foyer owl by night')
      .replace('\nposes:\n', '\nposes:\n  listening: { beak: shut }\n'),
  );
  await desk.page.locator('header h1:text-is("Foyer owl by night")').waitFor();
  await desk.button('listening').waitFor();
  expect(await desk.page.locator('.file-news').count()).toBe(0);
  await desk.close();
});

it('a faulty file is shown with its findings, can be put aside, and is over when it is mended', async () => {
  const { daemon, text, save } = await start();
  const desk = await Desk.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  await save(text.replace('speedDegS: ', 'speedDegS: -'));
  const banner = desk.page.locator('.file-news.is-problem');
  await banner.waitFor();
  expect(await banner.textContent()).toMatch(
    /not in force[\s\S]*line \d+, column \d+[\s\S]*speedDegS/,
  );
  for (const colorScheme of ['light', 'dark'] as const) {
    await desk.page.emulateMedia({ colorScheme });
    expect(await breaches(desk)).toEqual([]);
    expect(await overhang(desk)).toBeLessThanOrEqual(0);
  }
  await desk.button('Hide this notice about the prop file').click();
  await banner.waitFor({ state: 'detached' });
  await desk.button(/The file is not in force/).click();
  await banner.waitFor();
  await save(text);
  await desk.page.locator('.file-news.is-over').waitFor();
  await desk.button('Hide this notice about the prop file').click();
  await desk.page.locator('.file-news').waitFor({ state: 'detached' });
  await desk.close();
});

it('a new limit waits until the prop is parked, and nothing shifts under the hand that moves it', async () => {
  const { daemon, text, save } = await start();
  const desk = await Desk.open(browser, daemon);
  await desk.wake();
  await desk.view('bench');
  const pad = desk.page.locator('.pad').first();
  const before = await pad.boundingBox();
  await save(text.replace('limitsDeg: [-5, 35]', 'limitsDeg: [-5, 34]'));
  await desk.button('The file waits').waitFor();
  expect(await pad.boundingBox()).toEqual(before);
  await desk.button('The file waits').click();
  const banner = desk.page.locator('.file-news.is-waits');
  expect(await banner.textContent()).toMatch(/waits until the prop is parked[\s\S]*34/);
  await desk.button('Park').click();
  await desk.condition('parked');
  await desk.page.locator('.file-news.is-over, .file-sign.is-over').waitFor();
  await desk.close();
});
