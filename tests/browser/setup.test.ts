/// <reference lib="dom" />
import { execFile } from 'node:child_process';
import { mkdir, mkdtemp, readdir } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import type { Browser, Locator } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { CLI, Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { launch, Operator, PHONE } from './browser.ts';

// From an empty folder to a prop that is checked, live and parked: what a newcomer does, counted.

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

/** What a newcomer may need at most: presses and filled fields. */
const MOST = 60;

/** A daemon in an empty folder. */
async function fromNothing(): Promise<Daemon> {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-new-'));
  await mkdir(join(folder, 'state'));
  expect(await readdir(folder)).toEqual(['state']);
  const daemon = await Daemon.start({ folder, args: ['--new'] });
  onTestFinished(() => daemon.cleanUp());
  return daemon;
}

/** A hand whose every press and filled field is counted. */
class Hand {
  count = 0;

  async press(what: Locator): Promise<void> {
    this.count++;
    await what.click();
  }

  /** The first button changes its meaning, and takes no press for a moment then. */
  async pressSettled(what: Locator): Promise<void> {
    await expect.poll(() => what.isEnabled()).toBe(true);
    await this.press(what);
  }

  async fill(what: Locator, text: string): Promise<void> {
    this.count++;
    await what.fill(text);
  }
}

it('from an empty folder to a checked, live and parked prop, with its papers', async () => {
  const daemon = await fromNothing();
  const operator = await Operator.open(browser, daemon, { scripts: [axeSource] });
  const { page } = operator;
  const hand = new Hand();
  const form = page.locator('.new-form');
  const list = (title: string | RegExp) => form.getByRole('group', { name: title });
  const add = (name: string) => hand.press(operator.button(name));

  // The address that it prints leads to what comes first.
  await page.getByRole('heading', { name: /Welcome: what is on the table/ }).waitFor();
  await hand.fill(form.getByLabel('Name of the prop'), 'Shutter box');
  await hand.fill(list('What moves').getByLabel('How many'), '4');
  await add('Add a light');
  await hand.fill(list('Lights').getByLabel('How many'), '2');
  await add('Add a relay');
  await add('Add a supply');
  await add('Add a supply');
  const own = list(/^Supplies/)
    .locator('.new-thing')
    .nth(1);
  await hand.fill(own.getByLabel('Voltage'), '24');
  await hand.fill(own.getByLabel('Current'), '1');

  // Nothing is lost by reload.
  await page.reload();
  await operator.linked();
  expect(await form.getByLabel('Name of the prop').inputValue()).toBe('Shutter box');
  expect(await own.getByLabel('Voltage').inputValue()).toBe('24');

  await hand.press(operator.button('Propose the prop'));
  const review = page.locator('#review');
  await review.waitFor();
  // Each value has its reason, and can be changed: what follows from it follows.
  const decisions = review.locator('.review-row');
  expect(await decisions.count()).toBeGreaterThan(30);
  for (const why of await decisions.locator('p').allTextContents()) expect(why.trim()).not.toBe('');
  await hand.press(review.locator('summary', { hasText: /^flap_1/ }));
  const speed = review.locator('details[open]').getByLabel('speed');
  await hand.fill(speed, '9000');
  await speed.press('Enter');
  await review.getByText(/9000 is not a number within 10 to 400 deg\/s/).waitFor();
  await hand.fill(speed, '90');
  await speed.press('Enter');
  await review.getByText('you chose it').first().waitFor();
  expect(await breaches(operator)).toEqual([]);

  // Nothing is put to use without control.
  const use = operator.button('Use this prop file');
  expect(await use.getAttribute('aria-disabled')).toBe('true');
  await hand.press(operator.button('Take control'));
  await operator.button('Hand over').waitFor();
  await hand.pressSettled(use);
  await review.getByText('Shutter box is in use.').waitFor();
  await page.locator('header h1', { hasText: 'Shutter box' }).waitFor();

  // Its papers: loom list and wire flags, as they come out of the printer.
  await hand.press(review.getByRole('link', { name: 'Print loom list and wire flags' }));
  await page.locator('table.wires tbody tr').first().waitFor();
  const { prop } = parseProp(await daemon.readProp(), 'prop.yaml');
  const labels = [
    ...Object.values(prop!.channels).flatMap(({ wire }) => wire?.label ?? []),
    ...prop!.wires.map(({ label }) => label),
  ];
  expect(labels.length).toBeGreaterThan(15);
  const paper = async (): Promise<string | null> => {
    await page.emulateMedia({ media: 'print' });
    const text = await page.locator('.paper').textContent();
    const pdf = await page.pdf();
    expect(pdf.subarray(0, 5).toString()).toBe('%PDF-');
    await page.emulateMedia({ media: 'screen' });
    return text;
  };
  const loomList = await paper();
  await hand.press(page.getByLabel('Wire flags'));
  await page.locator('.paper svg, .paper .flag').first().waitFor({ state: 'attached' });
  const flags = await paper();
  for (const label of labels) {
    expect(loomList).toContain(label);
    expect(flags).toContain(label);
  }

  // Live: four flaps move together.
  await hand.press(page.locator('header nav a[href="#overview"]'));
  const wake = operator.button('Wake');
  await wake.waitFor();
  await hand.pressSettled(wake);
  await hand.press(operator.button('Hands are clear: wake'));
  await operator.condition('live');
  await hand.pressSettled(operator.button('out: move flaps'));
  const watcher = await Peer.connect(daemon);
  await watcher.ask('session.open', { client: 'watcher' });
  const positionOf = async (name: string) => {
    const { channels } = await watcher.ask('channel.list');
    return (channels as Record<string, { value: unknown }>)[name]!.value;
  };
  for (const name of ['flap_1', 'flap_2', 'flap_3', 'flap_4'])
    await expect.poll(() => positionOf(name), { timeout: 15_000 }).toBeCloseTo(60, 0);
  await hand.pressSettled(operator.button('mist on'));
  // Nobody knows what a relay that is new did before: it rests first, and says for how long.
  await page.locator('.trouble', { hasText: /rest.*\d+ s/ }).waitFor();
  await hand.press(operator.button('OK: dismiss the message'));
  await hand.press(operator.button('Park'));
  await operator.condition('parked');
  expect(await positionOf('flap_1')).toBeCloseTo(0, 0);

  expect(hand.count).toBeLessThanOrEqual(MOST);
  console.info(`from an empty folder to a parked prop: ${hand.count} presses and fields`);

  // Checked from outside: no findings, and every part with a rail of its own supply.
  const check = await promisify(execFile)(process.execPath, [CLI, 'check', daemon.propFile]);
  expect(check.stdout + check.stderr).toMatch(/no findings/);
  const mist = prop!.channels.mist as unknown as { contact: { rail: string } };
  expect(prop!.rails[mist.contact.rail]).toMatchObject({ volts: 24 });
  expect(prop!.groups.flaps).toHaveLength(4);
  expect(Object.values(prop!.channels).filter(({ kind }) => kind === 'rgb')).toHaveLength(2);
  await operator.close();
});

it('an existing prop is replaced only after a question; on a phone it fits, and Loom adds what is left out', async () => {
  const daemon = await fromNothing();
  const operator = await Operator.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  const { page } = operator;
  await operator.button('Propose the prop').click();
  await page.locator('#review').waitFor();
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  await operator.takeControl();
  await operator.button('Use this prop file').click();
  await page.getByText('My prop is in use.').waitFor();
  // A second one is asked about, and Cancel keeps the first.
  await operator.button('Another new prop').click();
  await page.getByLabel('Name of the prop').fill('Other');
  await operator.button('Propose the prop').click();
  await operator.button('Use this prop file').click();
  const question = page.getByRole('alertdialog');
  await question.getByText('Replace My prop?').waitFor();
  await operator.button('Cancel').click();
  expect(await daemon.readProp()).toContain('name: "My prop"');
  expect(await breaches(operator)).toEqual([]);
  await operator.close();
});
