import { fileURLToPath } from 'node:url';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { Desk, LAPTOP, launch, PHONE } from './browser.ts';

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
const row = ({ page }: Desk, start: string) =>
  page
    .getByRole('listitem')
    .filter({ has: page.getByRole('button', { name: start, exact: true }) });

/** Whether a row says that it runs. */
const says = (desk: Desk, start: string, running: boolean) =>
  row(desk, start)
    .getByText('running')
    .waitFor({ state: running ? 'visible' : 'detached' });

it('runs and ends cues and the idle behaviour, and a second page shows it', async () => {
  const daemon = await street();
  const desk = await Desk.open(browser, daemon);
  const second = await Desk.open(browser, daemon);
  await desk.button('Run evening').waitFor();
  for (const name of ['Run evening', 'End evening', 'Start at_home'])
    expect(await desk.button(name).isDisabled()).toBe(true);
  await desk.wake();

  await desk.button('Run evening').click();
  await says(second, 'Run evening', true);
  await desk.button('Start at_home').click();
  await says(second, 'Start at_home', true);
  expect(await second.button('End evening').isDisabled()).toBe(true);
  await desk.button('End evening').click();
  await says(second, 'Run evening', false);
  await desk.button('End at_home').click();
  await says(second, 'Start at_home', false);

  // One that comes to its own end.
  await desk.button('Run bakery_tidies').click();
  await says(second, 'Run bakery_tidies', true);
  await says(second, 'Run bakery_tidies', false);

  await desk.button('Start at_home').click();
  await says(desk, 'Start at_home', true);
  await desk.button('Run town_at_night').click();
  await says(desk, 'Run town_at_night', true);
  await desk.button('Park').click();
  for (const start of ['Start at_home', 'Run town_at_night']) await says(second, start, false);
  await desk.close();
  await second.close();
});

it('says who may arm the triggers, and whether they are armed', async () => {
  const daemon = await street();
  const desk = await Desk.open(browser, daemon);
  const second = await Desk.open(browser, daemon);
  const state = ({ page }: Desk, text: string) =>
    page
      .getByRole('region', { name: 'Triggers' })
      .getByRole('status')
      .filter({ hasText: new RegExp(`^\\W*${text}$`) })
      .waitFor();
  await state(desk, 'not armed');
  expect(await desk.button('Arm the triggers').isDisabled()).toBe(true);
  await desk.page.getByText('Take control to arm or disarm them.').waitFor();
  await desk.wake();
  await desk.button('Arm the triggers').click();
  await state(second, 'armed');
  await desk.button('Disarm the triggers').click();
  await state(second, 'not armed');
  await desk.button('Arm the triggers').click();
  await state(second, 'armed');
  await desk.button('Hand over').click();
  await state(second, 'not armed');
  await desk.close();
  await second.close();
});

it.each([
  ['a phone', PHONE],
  ['a laptop', LAPTOP],
])('is within reach of everybody on %s, in both themes', async (_, viewport) => {
  const daemon = await street();
  for (const colorScheme of ['light', 'dark'] as const) {
    const desk = await Desk.open(browser, daemon, { viewport, colorScheme, scripts: [axeSource] });
    await desk.wake();
    await desk.button('Run town_at_night').click();
    await says(desk, 'Run town_at_night', true);
    expect(await breaches(desk)).toEqual([]);
    expect(await overhang(desk)).toBe(0);
    await desk.button('Park').click();
    await desk.condition('parked');
    await desk.button('Hand over').click();
    await desk.button('Take control').waitFor();
    await desk.close();
  }
});
