/// <reference lib="dom" />
import { execFile } from 'node:child_process';
import { mkdir, mkdtemp, readdir, readFile, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import type { Browser, Locator } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { readAnswers } from '../../src/proposal/answers.ts';
import { propose } from '../../src/proposal/propose.ts';
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
  // One sound card, so one loudspeaker; what loud sound does stands where it is added.
  await operator.button('Add a loudspeaker').click();
  await list('Sound').getByText('Loud sound damages hearing').waitFor();
  expect(await operator.button('Add a loudspeaker').count()).toBe(0);
  await operator.button('Remove voice').click();
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

it('an existing prop is replaced only after a question; on a phone it fits', async () => {
  const daemon = await fromNothing();
  const operator = await Operator.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  const { page } = operator;
  await operator.button('Propose the prop').click();
  await page.locator('#review').waitFor();
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  await operator.takeControl();
  await operator.button('Use this prop file').click();
  await page.getByText('My prop is in use.').waitFor();
  // Its wires came with it.
  await page.goto(`${new URL(daemon.url).origin}/#setup/loom`);
  await page.getByText('Nothing is missing that can be proposed.').waitFor();

  // A second one is asked about, and Cancel keeps the first.
  await page.goto(`${new URL(daemon.url).origin}/#setup/new`);
  await operator.button('Another new prop').click();
  await page.getByText('The prop that is in use stays as it is until you say otherwise.').waitFor();
  await page.getByLabel('Name of the prop').fill('Other');
  await operator.button('Propose the prop').click();
  await operator.button('Use this prop file').click();
  const question = page.getByRole('alertdialog');
  await question.getByText('Replace My prop?').waitFor();
  await operator.button('Cancel').click();
  expect(await daemon.readProp()).toContain('name: "My prop"');

  // A computer whose pins this machine has not: the boards before stay, and the page says why.
  await page.getByLabel('Computer').selectOption('linux');
  await operator.button('Propose again').click();
  await page.getByText('You have changed something').waitFor({ state: 'hidden' });
  await operator.button('Use this prop file').click();
  await operator.button('Replace it').click();
  await page
    .locator('.trouble', { hasText: /boards cannot do this.*the file is as it was before/ })
    .waitFor();
  await operator.button('OK: dismiss the message').click();
  expect(await daemon.readProp()).toContain('name: "My prop"');

  // More than fits into one message is used without its wires, which Loom adds.
  await page.getByLabel('How many').fill('64');
  await operator.button('Propose again').click();
  await page.getByText('With its wires the file is too large to send at once').waitFor();
  await page.getByLabel('How many').fill('65');
  await operator.button('Propose again').click();
  await page.getByText('flap, how many: is above 64; give how many, 1 to 64').waitFor();
  expect(await breaches(operator)).toEqual([]);
  await operator.close();
});

it('Loom adds what is missing but for what is left out, with lengths; the shopping list is saved and printed', async () => {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-loom-'));
  await mkdir(join(folder, 'state'));
  const answers = readAnswers({
    name: 'Box',
    moves: [{ name: 'flap', count: 3, place: 'front' }],
    wiring: false,
  });
  if ('wrong' in answers) throw new Error(answers.wrong.join());
  await writeFile(join(folder, 'prop.yaml'), propose(answers.answers).text);
  const daemon = await Daemon.start({ folder });
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon, {
    ...{ viewport: PHONE, scripts: [axeSource], view: 'setup/loom' },
  });
  const { page } = operator;
  await page.getByRole('heading', { name: /front: these run together/ }).waitFor();
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  expect(await breaches(operator)).toEqual([]);
  await page.getByText('Cable lengths').click();
  await page.getByLabel('flap_1 (m)').fill('1,25');
  await page.getByLabel('flap_2 (m)').fill('long');
  await page.getByText('flap_2: long is not a length').waitFor();
  await page.getByLabel('flap_2 (m)').fill('');
  await page.getByRole('checkbox', { name: 'flap_3' }).click();
  await page.getByRole('checkbox', { name: 'flap_3, left out' }).waitFor();
  await operator.takeControl();
  const add = operator.button(/^Add all \d+ to the prop file$/);
  await add.click();
  await page.getByText(/additions are in the prop file/).waitFor();
  const { prop, findings } = parseProp(await daemon.readProp(), 'prop.yaml');
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  expect(prop!.channels.flap_1!.wire).toMatchObject({ lengthM: 1.25 });
  expect(prop!.channels.flap_2!.wire).toMatchObject({ lengthM: 0.5 });
  expect(prop!.channels.flap_3!.wire).toBeUndefined();
  // Comments are kept: it is a change of the file, and can be put back.
  expect(await daemon.readProp()).toContain('# Proposed by sinew new');

  const list = page.locator('#shopping');
  await list.getByText('sleeve').waitFor();
  const saved = page.waitForEvent('download');
  await list.getByRole('link', { name: 'Save as a table (CSV)' }).click();
  const download = await saved;
  expect(download.suggestedFilename()).toBe('box-shopping.csv');
  const csv = await readFile((await download.path())!, 'utf8');
  expect(csv).toMatch(/^quantity,unit,item,size,for\r\n/);
  expect(csv).toMatch(/1\.4,m,sleeve,for 6 cores,front/);
  await page.emulateMedia({ media: 'print' });
  expect(await page.locator('.paper').textContent()).toContain('sleeve');
  expect(await page.locator('main .sheet:visible').count()).toBe(0);
  await page.emulateMedia({ media: 'screen' });
  await page.goto(`${new URL(daemon.url).origin}/#wiring`);
  await page.getByText('2 wires, 6 cores, the longest 1.25 m').waitFor();
  await operator.close();
});
