import { fileURLToPath } from 'node:url';
import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { Daemon } from '../system/daemon.ts';
import { Cable, launch, launchPlain, Operator, PHONE } from './browser.ts';
import { Watch } from './watch.ts';

const FLAP = fileURLToPath(new URL('./flap.yaml', import.meta.url));

let browser: Browser;
let daemon: Daemon;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());
afterEach(() => daemon.cleanUp());

async function flapOf(from: Daemon) {
  return parse(await from.readProp()).channels.flap as {
    limitsDeg: [number, number];
    marks: Record<string, number>;
    park: { to: string };
  };
}

it('walks from a servo that nobody has calibrated to limits and marks in the prop file', async () => {
  daemon = await Daemon.start({ prop: FLAP, known: false });
  const [lowStop, highStop] = parse(await daemon.readProp()).boards.head.plant.flap.stopsDeg;
  const watch = await Watch.on(daemon);
  const operator = await Operator.open(browser, daemon, { view: 'bench/flap', viewport: PHONE });
  const { page } = operator;
  const message = (text: string | RegExp) =>
    page.getByRole('status').filter({ hasText: text }).waitFor();
  const step = (title: string) => page.getByRole('heading', { name: title, exact: true }).waitFor();
  await operator.wake();
  await page.getByRole('link', { name: 'Start the walk' }).click();
  await operator.button('It is safe: begin').click();

  for (const [end, stop] of [
    ['low', lowStop],
    ['high', highStop],
  ] as const) {
    await step(`Find the ${end} end`);
    await page.getByLabel('Speed').selectOption({ label: 'fast, 10 deg/s' });
    await operator.button(new RegExp(`Towards ${end}`)).hover();
    await page.mouse.down();
    await watch.moving('flap');
    await message('It pushes against something, so it stopped.');
    await page.mouse.up();
    // It went on until the stop, and not much further.
    expect(Math.abs((await watch.still('flap', 0.3)) - stop)).toBeLessThan(3);
    await operator.button(`This is the ${end} end`).click();
  }

  await step('Name the marks');
  const after = await flapOf(daemon);
  // 2 deg inside the ends where the simulated flap stops.
  expect(after.limitsDeg[0]).toBeCloseTo(lowStop + 2, 0);
  expect(after.limitsDeg[1]).toBeCloseTo(highStop - 2, 0);

  // The walk is left, the page closed and opened again: it goes on where it was.
  await page.reload();
  await operator.linked();
  await step('Name the marks');
  await operator.takeControl();
  await operator.button('Wake').click();
  await operator.condition('live');

  await watch.still('flap', 0.3);
  const openDeg = watch.deg('flap');
  await page.getByLabel('Name of the mark').fill('open');
  await operator.button('Capture the mark here').click();
  await message(/mark open is now/);
  for (const [jog, fromOpenDeg] of [
    ['Jog by minus 5 deg', -5],
    ['Jog by minus 1 deg', -6],
    ['Jog by plus 0.1 deg', -5.9],
  ] as const) {
    await operator.button(jog).click();
    await watch.arrives('flap', openDeg + fromOpenDeg);
  }
  await page.getByLabel('Name of the mark').fill('shut');
  await page.getByLabel('Name of the mark').press('Enter');
  await message(/mark shut is now/);
  await operator.button('All marks are named').click();

  await step('Choose the park position');
  await page.getByRole('radio', { name: /^at shut/ }).check();
  await operator.button('Park it there').click();

  await step('Try it slowly');
  await operator.button('Move through all places').click();
  await operator.button('It moves well: finish').click({ timeout: 30_000 });
  await step('Done');

  const flap = await flapOf(daemon);
  expect(flap.limitsDeg).toEqual(after.limitsDeg);
  expect(flap.marks.open).toBeCloseTo(openDeg, 1);
  expect(flap.marks.shut).toBeCloseTo(openDeg - 5.9, 1);
  expect(flap.park.to).toBe('shut');
  // What stood in the file beside it still does.
  expect(await daemon.readProp()).toContain('# where the flap really ends');
  await operator.button('Park').click();
  await operator.condition('parked');
  await operator.close();
}, 60_000);

describe('hold-to-run', () => {
  /** A servo that moves because the mouse is down on a button. */
  async function held(operator: Operator): Promise<Watch> {
    const watch = await Watch.on(daemon);
    await operator.wake();
    await operator.page.getByLabel('Speed').selectOption({ label: 'fast, 10 deg/s' });
    await operator.button(/Towards high/).hover();
    await operator.page.mouse.down();
    await watch.until('beak', ({ value }) => (value as number) > 2);
    return watch;
  }

  /** Checks that it stops at once, and stays there though the button is still held. */
  async function stops(watch: Watch, fromDeg: number): Promise<void> {
    const restDeg = await watch.still('beak');
    // At 10 deg/s: the step that is under way, and one that had been asked for.
    expect(restDeg - fromDeg).toBeLessThan(2.5);
    expect(restDeg).toBeLessThan(30);
    expect(await watch.still('beak')).toBe(restDeg);
  }

  it('stops when the button is let go', async () => {
    daemon = await Daemon.start();
    const operator = await Operator.open(browser, daemon, { view: 'bench/beak' });
    const watch = await held(operator);
    // It goes on for as long as it is held.
    await watch.until('beak', ({ value }) => (value as number) > 8);
    const fromDeg = watch.deg('beak');
    await operator.page.mouse.up();
    await stops(watch, fromDeg);
    await operator.close();
  });

  it('stops when the pointer slides off the button', async () => {
    daemon = await Daemon.start();
    const operator = await Operator.open(browser, daemon, { view: 'bench/beak' });
    const watch = await held(operator);
    const fromDeg = watch.deg('beak');
    await operator.page.mouse.move(2, 2);
    await stops(watch, fromDeg);
    await operator.close();
  });

  it('stops when the key is let go, and when the focus leaves', async () => {
    daemon = await Daemon.start();
    const watch = await Watch.on(daemon);
    const operator = await Operator.open(browser, daemon, { view: 'bench/beak' });
    await operator.wake();
    const keys = operator.page.getByLabel('Keys for beak');
    await keys.focus();
    await operator.page.keyboard.down('h');
    await watch.until('beak', ({ value }) => (value as number) > 2);
    let fromDeg = watch.deg('beak');
    await operator.page.keyboard.up('h');
    await stops(watch, fromDeg);

    fromDeg = watch.deg('beak');
    await operator.page.keyboard.down('h');
    await watch.until('beak', ({ value }) => (value as number) > fromDeg + 1);
    fromDeg = watch.deg('beak');
    await operator.button('Park').focus();
    await stops(watch, fromDeg);
    await operator.page.keyboard.up('h');

    // The arrows move by 1, with shift by 5, with control by 0.1 deg.
    await keys.focus();
    fromDeg = watch.deg('beak');
    for (const [key, byDeg] of [
      ['ArrowRight', 1],
      ['Shift+ArrowRight', 5],
      ['Control+ArrowLeft', -0.1],
    ] as const) {
      await operator.page.keyboard.press(key);
      fromDeg += byDeg;
      await watch.arrives('beak', fromDeg);
    }
    await operator.close();
  });

  it('stops when the window loses the focus', async () => {
    daemon = await Daemon.start();
    const plain = await launchPlain();
    const context = plain.contexts()[0]!;
    const operator = await Operator.open(plain, daemon, { context, view: 'bench/beak' });
    const other = await context.newPage();
    await operator.page.bringToFront();
    const watch = await held(operator);
    const fromDeg = watch.deg('beak');
    await other.bringToFront();
    await stops(watch, fromDeg);
    // Coming back moves nothing.
    await operator.page.bringToFront();
    const restDeg = watch.deg('beak');
    expect(await watch.still('beak')).toBe(restDeg);
    await operator.page.getByText('The page lost your attention, so it stopped.').waitFor();
    await operator.close();
  });

  it('stops when the link hesitates, and does not go on when it is back', async () => {
    daemon = await Daemon.start();
    const cable = await Cable.to(daemon);
    const operator = await Operator.open(browser, cable.url, { view: 'bench/beak' });
    const watch = await held(operator);
    const fromDeg = watch.deg('beak');
    // Longer than it waits for an answer, shorter than the time after which the link is lost.
    await cable.hesitate(400);
    await stops(watch, fromDeg);
    await operator.page.getByText('The link hesitated, so it stopped.').waitFor();
    await operator.condition('live');
    await operator.close();
  });
});
