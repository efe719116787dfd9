import { expect, it } from 'vitest';
import { Peer } from '../system/daemon.ts';
import { browserAndDaemons, Operator } from './browser.ts';

const rig = browserAndDaemons();

it('a device says its name once, and is known by it', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  const { page } = operator;
  operator.linkMayBreak = true;
  await operator.button('Name this device').click();
  await page.getByLabel('Name of this device').fill('workbench phone');
  await operator.button('Save the name').click();
  await page.getByText(/^This is workbench phone \d{4}\./).waitFor();
  await page.reload();
  await operator.linked();
  await operator.takeControl();
  const watch = await Peer.connect(rig.daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
  const { holder } = await watch.untilState((frame) => frame.holder !== null);
  expect(holder).toMatch(/^workbench phone \d{4}$/);
  await operator.close();
});

it('the tab tells prop and condition, and asks before it is left in control', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  const { page } = operator;
  await expect.poll(() => page.title()).toBe('parked · Foyer owl');
  const asks = () =>
    page.evaluate(() => !window.dispatchEvent(new Event('beforeunload', { cancelable: true })));
  expect(await asks()).toBe(false);
  await operator.wake();
  await expect.poll(() => page.title()).toBe('live · Foyer owl');
  expect(await asks()).toBe(true);
  await operator.button('Hand over').click();
  await operator.button('Take control').waitFor();
  expect(await asks()).toBe(false);
  await operator.close();
});

it('a relay tells how long it stays on and rests, and a running cue asks before it starts again', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  const { page } = operator;
  await operator.wake();
  await operator.button('Run wake').click();
  await page.getByText('running').first().waitFor();
  await operator.button('Run wake').click();
  const question = page.getByRole('alertdialog', { name: 'wake is already running' });
  await question.waitFor();
  await operator.button('Cancel').click();
  await operator.button('End wake').click();
  await operator.button('open: move tail').click();
  const mist = page
    .getByRole('listitem')
    .filter({ has: page.getByRole('link', { name: 'mist', exact: true }) });
  await page.getByText(/^Moves .*tail_1/).waitFor();
  await page.getByText('Nothing moves').waitFor();
  await operator.button('mist on').click();
  await mist.getByText(/^on for \d+ s more$/).waitFor();
  await operator.close();
});

it('the journal is searched and downloaded', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  const { page } = operator;
  await operator.takeControl();
  const journal = page.getByLabel('Journal', { exact: true });
  await page.getByLabel('Search the journal').fill('has control');
  await expect.poll(() => journal.getByRole('listitem').count()).toBe(1);
  const waiting = page.waitForEvent('download');
  await operator.button('Download').click();
  const file = await waiting;
  expect(file.suggestedFilename()).toMatch(/^journal-\d{4}-\d\d-\d\d\.txt$/);
  await page.getByLabel('Search the journal').fill('nothing is called that');
  await journal.getByText('Nothing matches.').waitFor();
  await operator.close();
});
