import { expect, it } from 'vitest';
import { explainVerb } from '../../src/cli/explain.ts';
import type { Operator as CliOperator } from '../../src/cli/verb.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator, PHONE } from './browser.ts';

// What the set-up says of the prop file: its keys, its findings, its versions.

const on = browserAndDaemons();

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
  await expect.poll(() => title.evaluate((one) => document.activeElement === one)).toBe(true);
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
