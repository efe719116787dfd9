import { rm, writeFile } from 'node:fs/promises';
import { expect, it } from 'vitest';
import { explainVerb } from '../../src/cli/explain.ts';
import type { Operator as CliOperator } from '../../src/cli/verb.ts';
import { Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator, PHONE } from './browser.ts';

// What the set-up says of the prop file: its keys, its findings, its versions.

const on = browserAndDaemons();

/** The daemon looks at the file twice a second, and a busy machine takes its time. */
const SOON = { timeout: 10_000 };

const plain = (text: string) => text.replace(/\s+/g, ' ').trim();

/** What `sinew explain` prints, line by line. */
async function printed(key: string): Promise<string[]> {
  const { text } = await explainVerb.run({ key }, {} as CliOperator);
  return text
    .split('\n')
    .map((line) => plain(line.replace(/^ {2}sinew explain \S+\.(\w+)$/, '$1')))
    .filter(Boolean);
}

it('the key reference: by address, by search and by keyboard, in the words of the command line', async () => {
  const operator = await Operator.open(on.browser, on.daemon, {
    view: 'setup/keys/channels.servo.calibration',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  const title = page.locator('#key-title');
  for (const key of ['channels.servo.calibration', 'channels', 'rails.fuse', 'link', '']) {
    await page.goto(`${on.daemon.url}#setup/keys/${key}`);
    const [head, ...lines] = await printed(key);
    await page.locator(`#key-title:text-is("${head}")`).waitFor();
    // Without spaces: the text of neighbours runs together.
    const shown = (await page.locator('.key').textContent())!.replace(/\s+/g, '');
    for (const line of lines) expect(shown).toContain(line.replace(/\s+/g, ''));
    expect(await overhang(operator)).toBeLessThanOrEqual(0);
  }
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
  }

  // From the whole file to a key and back up, without a pointer.
  await page.getByRole('link', { name: 'rails', exact: true }).focus();
  await page.keyboard.press('Enter');
  await page.locator('#key-title:text-is("rails")').waitFor();
  await expect.poll(() => title.evaluate((one) => document.activeElement === one), SOON).toBe(true);
  await page.keyboard.press('Shift+Tab');
  await page.keyboard.press('Enter');
  await page.locator('#key-title:text-is("a prop file")').waitFor();

  // A search, and one of what it finds.
  await page.getByRole('searchbox', { name: 'Search' }).fill('soft limits');
  const found = page.getByRole('link', { name: 'channels.servo.limitsDeg' });
  await found.waitFor();
  expect(await breaches(operator)).toEqual([]);
  await found.click();
  await page.locator('#key-title:text-is("channels.servo.limitsDeg")').waitFor();
  expect(await page.getByRole('searchbox', { name: 'Search' }).inputValue()).toBe('');
  await page.getByRole('searchbox', { name: 'Search' }).fill('zzz <b>');
  await page.getByText('No key has “zzz <b>”').waitFor();
  await page.getByRole('searchbox', { name: 'Search' }).fill('');

  // An address with a slip of the finger says so, and leads on.
  await page.goto(`${on.daemon.url}#setup/keys/chanels`);
  await page.getByText('did you mean channels?').waitFor();
  await page.getByRole('link', { name: 'All keys' }).click();
  await page.locator('#key-title:text-is("a prop file")').waitFor();
  await operator.close();
});

it('findings: where, what and how to mend it; corrected with one press, and undone', async () => {
  const sound = await on.daemon.readProp();
  const operator = await Operator.open(on.browser, on.daemon, {
    view: 'setup/file',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  await page.getByText('Nothing is wrong with the file.').waitFor();
  // Without control: it only works things out.
  await operator.button('Rehearse everything').click();
  await page.getByText('Nothing is refused, delayed or held back on the way.').waitFor();

  // Two that are sure, two that are for a person.
  const slips = sound
    .replace('limitsDeg: [-5, 35]', 'limitsDeg: [35, -5]')
    .replace('volts: 6.0', 'volts:6.0')
    .replace('accelDegS2: ', 'accelDegs2: ')
    .replace('jerkDegS3: ', 'jerkDegs3: ');
  await writeFile(on.daemon.propFile, slips);
  await page.getByText('The file on the disk is not in use').waitFor();
  expect(await page.locator('.file-news').isVisible()).toBe(false);
  const findings = page.locator('.finding');
  const limits = findings.filter({ hasText: 'channels.beak.limitsDeg' });
  const [before] = sound.split('limitsDeg: [-5, 35]');
  const line = before!.split('\n').length;
  expect(await limits.textContent()).toContain(`Line ${line}, column`);
  expect(await limits.textContent()).toContain('give the lower one first');

  // The line itself, to read.
  await limits.getByRole('button', { name: /^Show the line/ }).click();
  const shown = limits.locator('.excerpt li.is-it');
  await shown.waitFor();
  expect(await shown.textContent()).toContain('limitsDeg: [35, -5]');
  expect(await limits.locator('.excerpt li').count()).toBe(7);

  // Filters, and the way to the key and to the channel.
  await page.getByRole('searchbox', { name: 'Words in a finding' }).fill('limits');
  expect(await findings.count()).toBe(1);
  await page.getByRole('searchbox', { name: 'Words in a finding' }).fill('');
  await page.getByLabel('Show').selectOption('note');
  await page.getByText('No finding matches.').waitFor();
  await page.getByLabel('Show').selectOption('all');
  expect(await limits.getByRole('link', { name: 'beak on the Bench' }).getAttribute('href')).toBe(
    '#bench/beak',
  );
  await limits.getByRole('link', { name: 'What this key means' }).click();
  await page.locator('#key-title:text-is("channels.beak.limitsDeg")').waitFor();
  await page.goBack();

  // All that are sure: seen first, written with control alone, and not yet enough.
  await operator.button('Make all 2 sure corrections…').click();
  const proposal = page.locator('.proposal');
  await proposal.waitFor();
  const gone = proposal.locator('.is-gone', { hasText: 'limitsDeg: [35, -5]' });
  expect(await gone.textContent()).toMatch(/^−goes: /);
  expect(await proposal.locator('.is-new', { hasText: 'limitsDeg: [-5, 35]' }).count()).toBe(1);
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBeLessThanOrEqual(0);
  }
  const write = operator.button('Write it to the file');
  expect(await write.getAttribute('aria-disabled')).toBe('true');
  await operator.takeControl();
  const press = async () => {
    await expect.poll(() => write.getAttribute('aria-disabled'), SOON).toBe('false');
    await write.click();
  };
  await press();
  await page.getByText('It still has errors, so the prop continues as before.').waitFor();
  expect(await on.daemon.readProp()).toContain('limitsDeg: [-5, 35]');
  expect(await on.daemon.readProp()).toContain('volts: 6.0');

  // The rest by hand, but for one that is corrected alone; then the way back.
  await writeFile(
    on.daemon.propFile,
    sound.replace('[-5, 35]', '[35, -5]').replace('Foyer owl', 'Night owl'),
  );
  await expect.poll(() => findings.count(), SOON).toBe(1);
  await limits.getByRole('button', { name: /^Correct it/ }).click();
  await press();
  await page.getByText('The file has a correction. It').waitFor();
  expect(await on.daemon.readProp()).toContain('limitsDeg: [-5, 35]');
  await page.getByText('Nothing is wrong with the file.').waitFor();
  await operator.button('Undo').click();
  await page.getByText('Undone: the version before is back.').waitFor();
  expect(await on.daemon.readProp()).toBe(sound);
  await operator.close();
});

it('versions: their differences, back to one of them, and two people at once', async () => {
  const { daemon } = on;
  const sound = await daemon.readProp();
  const operator = await Operator.open(on.browser, daemon, {
    view: 'setup/file',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  const versions = page.locator('.versions > li');
  await versions.first().waitFor();
  expect(await versions.count()).toBe(1);
  const peer = await Peer.holder(daemon, { live: false });
  const { version } = await peer.ask('prop.read');
  const slow = sound.replace('speedDegS: 120', 'speedDegS: 110');
  await peer.ask('prop.apply', { text: slow, version });
  await peer.close();
  await expect.poll(() => versions.count(), SOON).toBe(2);

  // What the version before differs in: by sign and word as well.
  const old = versions.nth(1);
  await old.getByRole('button', { name: /^Show the difference/ }).click();
  const comes = old.locator('.is-new', { hasText: 'speedDegS: 120' });
  expect(await comes.textContent()).toMatch(/^\+comes: /);
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBeLessThanOrEqual(0);
  }

  // Back to it: asked first, with what changes and that it waits.
  await operator.wake();
  await operator.button('Undo the last change…').click();
  const question = page.getByRole('alertdialog');
  await question.waitFor();
  const text = await question.textContent();
  expect(text).toContain('speedDegS of beak: 110 becomes 120');
  expect(text).toContain('It waits until the prop is parked.');
  await operator.button('Go back to it').click();
  await page.getByText(/is back\. It waits until the prop is parked\./).waitFor();
  expect(await daemon.readProp()).toBe(sound);
  await operator.button('Park').click();
  await operator.condition('parked');
  await page.getByText('This file is in use, as it is on the disk.').waitFor();

  // Somebody edits the file while the question stands.
  await versions
    .nth(1)
    .getByRole('button', { name: /^Go back to it/ })
    .click();
  await question.waitFor();
  const night = sound.replace('name: Foyer owl', 'name: Night owl');
  await writeFile(daemon.propFile, night);
  await operator.button('Go back to it').click();
  await page.getByText('Somebody else has changed the file meanwhile.').waitFor();
  await page.getByText('name: "Foyer owl" becomes "Night owl"').waitFor();
  expect(await daemon.readProp()).toBe(night);
  await operator.button('OK').click();

  // A version that somebody has removed from the disk.
  for (const number of [1, 2, 3]) await rm(`${daemon.propFile}.~${number}~`, { force: true });
  await versions
    .nth(1)
    .getByRole('button', { name: /^Show the difference/ })
    .click();
  await page.locator('.trouble', { hasText: /there is no version .* any more/ }).waitFor();
  await operator.close();
});
