import { readFile, writeFile } from 'node:fs/promises';
import { expect, it } from 'vitest';
import { budgetSvg } from '../../src/cli/cue-drawn.tsx';
import { budgetOf } from '../../src/prop/budget.ts';
import { parseProp } from '../../src/prop/load.ts';
import { rehearsedLoad } from '../../src/rehearsal/rehearsed-load.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, LAPTOP, Operator, PHONE } from './browser.ts';

const rig = browserAndDaemons();

const sizes = [
  ['phone', 'light', PHONE],
  ['laptop', 'dark', LAPTOP],
] as const;

it.each(sizes)(
  'on a %s, %s, a cue shows the load of its rails',
  async (_, colorScheme, viewport) => {
    const operator = await Operator.open(rig.browser, rig.daemon, {
      colorScheme,
      viewport,
      scripts: [axeSource],
    });
    const row = operator.page
      .getByRole('listitem')
      .filter({ has: operator.page.getByRole('button', { name: 'Run wake', exact: true }) });
    // Nobody has control: looking is free.
    await row.getByText('Rail load').click();
    await row
      .getByRole('img', {
        name: /^Load of servo6v: peak \d\.\d+ A of 5 A \(\d+ %\) at \d+(\.\d+)? s/,
      })
      .waitFor();
    await row.getByRole('img', { name: /^Load of logic5v: peak / }).waitFor();
    // In the words of the command line's picture.
    const { prop } = parseProp(await rig.daemon.readProp(), 'prop.yaml');
    const svg = budgetSvg(prop!, [await rehearsedLoad(prop!, 'wake')]);
    const captions = await row.locator('figcaption').allTextContents();
    expect(captions).toHaveLength(2);
    const pictures = row.locator('.cue-rails').getByRole('img');
    expect(
      await pictures.evaluateAll((all) => all.map((one) => one.getAttribute('aria-label'))),
    ).toEqual(captions.map((words) => `Load of ${words.replace(' ', ': ')}`));
    for (const words of [...captions, await row.locator('.cue-rails .hint').textContent()])
      expect(svg).toContain(words);
    for (const limit of await row.locator('.limit-text').allTextContents())
      expect(svg).toContain(`>${limit}</text>`);
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBe(0);
    await operator.close();
  },
);

it.each(sizes)('on a %s, %s, every channel has its voltage', async (_, colorScheme, viewport) => {
  const operator = await Operator.open(rig.browser, rig.daemon, {
    colorScheme,
    viewport,
    scripts: [axeSource],
  });
  await operator.view('wiring');
  const sheet = operator.page.locator('.drops');
  await sheet.locator('tbody tr').first().waitFor();
  const { prop } = parseProp(await rig.daemon.readProp(), 'prop.yaml');
  const { channels } = budgetOf(prop!);
  expect(await sheet.locator('tbody tr').count()).toBe(channels.length);
  for (const { name, movingV } of channels) {
    const row = sheet.getByRole('row', { name: new RegExp(`^${name} `) });
    expect(await row.locator('td').first().textContent()).toBe(`${movingV!.toFixed(2)} V`);
  }
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBe(0);
  await operator.close();
});

it('what the check says of fuses and wires stands below', async () => {
  const text = await readFile(rig.daemon.propFile, 'utf8');
  await writeFile(
    rig.daemon.propFile,
    text.replace(/fuse: \{ ratingA: [\d.]+/, 'fuse: { ratingA: 20'),
  );
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.view('wiring');
  await operator.page.getByText('a fuse of 20 A does not protect').waitFor();
  await operator.close();
});
