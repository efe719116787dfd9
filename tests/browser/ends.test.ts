/// <reference lib="dom" />
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { parse } from 'yaml';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches } from './axe.ts';
import { browserAndDaemons, Operator } from './browser.ts';
import { Watch } from './watch.ts';

/** A flap whose stops are at -5 and 5.5 deg, and a sensor that reads its current. */
const PROP = fileURLToPath(new URL('./ends.yaml', import.meta.url));
const STOPS_DEG = [-5, 5.5] as const;
/** A second: the sign of the hand, and what a busy machine adds. */
const HEEDED_MS = 3000;

const rig = browserAndDaemons(() => Daemon.start({ prop: PROP }));

const flapOf = async (daemon: Daemon) =>
  parse(await daemon.readProp()).channels.flap as Record<string, unknown>;

async function open() {
  const { daemon, browser } = rig;
  const watch = await Watch.on(daemon);
  const operator = await Operator.open(browser, daemon, {
    view: 'bench/flap/measure',
    viewport: { width: 360, height: 640 },
    scripts: [axeSource],
  });
  await operator.button('Take control').click();
  await operator.button('Wake').click();
  await watch.peer.untilState(({ condition }) => condition === 'live');
  return { daemon, watch, operator, page: operator.page };
}

it('finds both ends while the button is held, and writes what it proposes', async () => {
  const { daemon, operator, page } = await open();
  const button = operator.button('Hold to find both ends');
  await button.hover();
  await page.mouse.down();
  await page.getByText(/^Measured in \d+ s\.$/).waitFor({ timeout: 60_000 });
  await page.mouse.up();
  expect(await breaches(operator)).toEqual([]);
  await operator.button('Write all of it').click();
  await page.getByText('Written to the prop file').waitFor();
  const { limitsDeg, marks, envelopeUs } = await flapOf(daemon);
  const [low, high] = limitsDeg as [number, number];
  // Two degrees inside of where the stops are.
  expect(Math.abs(low - (STOPS_DEG[0] + 2))).toBeLessThan(1);
  expect(Math.abs(high - (STOPS_DEG[1] - 2))).toBeLessThan(1);
  expect(marks).toBeDefined();
  expect(envelopeUs).toBeDefined();
}, 120_000);

it('let go, it stops, and nothing is proposed', async () => {
  const { daemon, watch, operator, page } = await open();
  const before = await flapOf(daemon);
  await operator.button('Hold to find both ends').hover();
  await page.mouse.down();
  await expect.poll(() => Math.abs(watch.deg('flap')), { timeout: 30_000 }).toBeGreaterThan(2);
  await page.mouse.up();
  await page.getByText(/^Nothing is proposed/).waitFor({ timeout: HEEDED_MS });
  await watch.peer.untilState(({ channels }) => !channels.flap!.moving);
  const stoodDeg = watch.deg('flap');
  await watch.peer.ask('journal.read', { limit: 1 });
  expect(watch.deg('flap')).toBe(stoodDeg);
  expect(await flapOf(daemon)).toEqual(before);
});
