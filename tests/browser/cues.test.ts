import { fileURLToPath } from 'node:url';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { LAPTOP, launch, Operator, PHONE } from './browser.ts';

const STREET = fileURLToPath(new URL('../../config/dusk-street.yaml', import.meta.url));

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

async function street(): Promise<Daemon> {
  const daemon = await Daemon.start({ prop: STREET });
  onTestFinished(() => daemon.cleanUp());
  return daemon;
}

/** The row of a cue or an idle behaviour, by the name of the button that starts it. */
const row = ({ page }: Operator, start: string) =>
  page
    .getByRole('listitem')
    .filter({ has: page.getByRole('button', { name: start, exact: true }) });

/** Whether a row says that it runs. */
const says = (operator: Operator, start: string, running: boolean) =>
  row(operator, start)
    .getByText('running')
    .waitFor({ state: running ? 'visible' : 'detached' });

it('runs and ends cues and the idle behaviour, and a second page shows it', async () => {
  const daemon = await street();
  const operator = await Operator.open(browser, daemon);
  const second = await Operator.open(browser, daemon);
  await operator.button('Run evening').waitFor();
  for (const name of ['Run evening', 'End evening', 'Start at_home'])
    expect(await operator.button(name).isDisabled()).toBe(true);
  await operator.wake();

  await operator.button('Run evening').click();
  await says(second, 'Run evening', true);
  await operator.button('Start at_home').click();
  await says(second, 'Start at_home', true);
  expect(await second.button('End evening').isDisabled()).toBe(true);
  await operator.button('End evening').click();
  await says(second, 'Run evening', false);
  await operator.button('End at_home').click();
  await says(second, 'Start at_home', false);

  // One that comes to its own end.
  await operator.button('Run bakery_tidies').click();
  await says(second, 'Run bakery_tidies', true);
  await says(second, 'Run bakery_tidies', false);

  await operator.button('Start at_home').click();
  await says(operator, 'Start at_home', true);
  await operator.button('Run town_at_night').click();
  await says(operator, 'Run town_at_night', true);
  await operator.button('Park').click();
  for (const start of ['Start at_home', 'Run town_at_night']) await says(second, start, false);
  await operator.close();
  await second.close();
});

it('says who may arm the triggers, and whether they are armed', async () => {
  const daemon = await street();
  const operator = await Operator.open(browser, daemon);
  const second = await Operator.open(browser, daemon);
  const state = ({ page }: Operator, text: string) =>
    page
      .getByRole('region', { name: 'Triggers' })
      .getByRole('status')
      .filter({ hasText: new RegExp(`^\\W*${text}$`) })
      .waitFor();
  await state(operator, 'not armed');
  expect(await operator.button('Arm the triggers').isDisabled()).toBe(true);
  await operator.page.getByText('Take control to arm or disarm them.').waitFor();
  await operator.wake();
  await operator.button('Arm the triggers').click();
  await state(second, 'armed');
  await operator.button('Disarm the triggers').click();
  await state(second, 'not armed');
  await operator.button('Arm the triggers').click();
  await state(second, 'armed');
  await operator.button('Hand over').click();
  await state(second, 'not armed');
  await operator.close();
  await second.close();
});

it.each([
  ['a phone', PHONE],
  ['a laptop', LAPTOP],
])('is within reach of everybody on %s, in both themes', async (_, viewport) => {
  const daemon = await street();
  for (const colorScheme of ['light', 'dark'] as const) {
    const operator = await Operator.open(browser, daemon, {
      viewport,
      colorScheme,
      scripts: [axeSource],
    });
    await operator.wake();
    await operator.button('Run town_at_night').click();
    await says(operator, 'Run town_at_night', true);
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBe(0);
    await operator.button('Park').click();
    await operator.condition('parked');
    await operator.button('Hand over').click();
    await operator.button('Take control').waitFor();
    await operator.close();
  }
});
