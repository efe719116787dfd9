import { fileURLToPath } from 'node:url';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished, vi } from 'vitest';
import { parse } from 'yaml';
import { Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { launch, Operator } from './browser.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

it('a position that nobody knows is said to be unknown, and never an angle', async () => {
  const daemon = await Daemon.start({ known: false });
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon);
  const { page } = operator;
  const beak = page
    .getByRole('listitem')
    .filter({ has: page.getByRole('link', { name: 'beak', exact: true }) });
  await beak.locator('.value', { hasText: /^unknown$/ }).waitFor();
  await beak.getByText(/limp/).waitFor();
  expect(await beak.locator('.track .at').isVisible()).toBe(false);
  await operator.view('bench');
  await page.locator('.dial-unknown').waitFor();
  expect(await page.locator('.dial .dial-needle').isVisible()).toBe(false);
  expect(await page.locator('.bench-servo').textContent()).not.toMatch(/Angle[−\d]/);
  await operator.wake();
  await page.locator('.dial-unknown').waitFor({ state: 'hidden' });
  await operator.close();
});

it('before the first link nothing is claimed of the prop', async () => {
  const daemon = await Daemon.start();
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon, {
    open: false,
    scripts: ['globalThis.WebSocket = class extends EventTarget { send() {} close() {} };'],
  });
  const text = (await operator.page.locator('.strip').textContent())!;
  expect(text).toContain('no link yet');
  expect(text).not.toMatch(/parked|control|moves|live/i);
  await operator.close();
});

it('what is measured is told apart from what is estimated, and what is not measured is said to be so', async () => {
  const prop = fileURLToPath(new URL('sensed.yaml', import.meta.url));
  const daemon = await Daemon.start({ prop });
  onTestFinished(() => daemon.cleanUp());
  const peer = await Peer.holder(daemon);
  const operator = await Operator.open(browser, daemon, {
    viewport: { width: 360, height: 640 },
    scripts: [axeSource],
  });
  const { page } = operator;
  const row = (name: string) => page.locator('.senses li', { hasText: new RegExp(`^${name}\\b`) });
  await row('supply')
    .getByText(/^[56]\.\d\d V$/)
    .waitFor();
  await row('supply').getByText('Parks below 5.20 V. Warns below 5.50 V.').waitFor();
  await row('angle').getByText('of gate').waitFor();
  await row('lid').getByText('open', { exact: true }).waitFor();
  await page
    .locator('.rails')
    .getByText(/^Estimated\. Measured: .+ A \([+−].+\), .+ V$/)
    .waitFor();
  await peer.ask('wake');
  await peer.ask('sim.set', {
    board: 'meter',
    senses: { supply: { value: 5 }, draw: { gone: true } },
  });
  await row('draw').getByText('not measured', { exact: true }).waitFor();
  await row('draw')
    .getByText(/does not answer/)
    .waitFor();
  await operator.condition('parked');
  await page.getByText('supply is below 5.20 V; the prop does not wake. See Measured').waitFor();
  expect((await peer.call('wake')).error?.data.code).toBe('sense.low');
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBe(0);
  await operator.close();
});

it('a servo is turned by hand, and its mark is where it is measured', async () => {
  const prop = fileURLToPath(new URL('sensed.yaml', import.meta.url));
  const daemon = await Daemon.start({ prop });
  onTestFinished(() => daemon.cleanUp());
  const operator = await Operator.open(browser, daemon, {
    viewport: { width: 360, height: 640 },
  });
  const { page } = operator;
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client: 'hand' });
  await operator.wake();
  await operator.view('bench');
  const part = page.getByRole('region', { name: 'By hand', exact: true });
  const go = page.getByLabel('Angle (deg)');
  // Its sense has to show that it follows first: the refusal says so.
  await vi.waitFor(async () => {
    for (const to of ['-10', '15', '0']) {
      await go.fill(to);
      await go.press('Enter');
      await page.locator('.reading-angle', { hasText: angleText(to) }).waitFor();
      await page.waitForTimeout(1000);
    }
    await part.getByRole('button', { name: 'Let it go limp…' }).click();
    await page.getByRole('button', { name: 'I hold it: let it go limp' }).click();
    await part.getByText('gate is limp.').waitFor({ timeout: 2000 });
  }, 25_000);
  await peer.ask('sim.set', { board: 'head', turned: { gate: 20 } });
  await part.locator('.number', { hasText: /^(19|20)\.\d°$/ }).waitFor();
  expect(await overhang(operator)).toBe(0);
  await part.getByRole('button', { name: 'Mark here' }).click();
  await part.getByLabel('Name of the mark').fill('ajar');
  // Until it has been still for a while, it is refused, and the name stays.
  await vi.waitFor(async () => {
    await part.getByRole('button', { name: 'Capture the mark here' }).click({ timeout: 1000 });
    await part
      .getByText(/gate: mark ajar is now (19|20)(\.\d+)? deg, in the prop file/)
      .waitFor({ timeout: 1000 });
  }, 15_000);
  const { marks } = parse(await daemon.readProp()).channels.gate;
  expect(Math.abs(marks.ajar - 20)).toBeLessThan(1);
  await part.getByRole('button', { name: 'Hold it where it is…' }).click();
  await page.getByRole('button', { name: 'Hands are clear: hold it there' }).click();
  await part.getByRole('button', { name: 'Let it go limp…' }).waitFor();
  await operator.condition('live');
  await operator.close();
});

/** As the page writes an angle. */
function angleText(deg: string): RegExp {
  return new RegExp(`^${deg.replace('-', '−')}\\.0°$`);
}
