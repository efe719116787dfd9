import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, expect, it } from 'vitest';
import { parse } from 'yaml';
import { loomHtml, loomSvg } from '../../src/cli/loom-drawn.tsx';
import { parseProp } from '../../src/prop/load.ts';
import { Loom } from '../../src/prop/loom.ts';
import { splitEnd } from '../../src/prop/loom-words.ts';
import { Daemon } from '../system/daemon.ts';
import { launch, Operator } from './browser.ts';
import { Watch } from './watch.ts';

let browser: Browser;
let daemon: Daemon;
let watch: Watch;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());
beforeEach(async () => {
  daemon = await Daemon.start();
  watch = await Watch.on(daemon);
});
afterEach(() => daemon.cleanUp());

/** What a rail delivers once everything stands still. */
async function settledAmps(rail: string): Promise<number> {
  const isMoving = ({ flags }: Record<string, unknown>) => (flags as string[]).includes('moving');
  await watch.peer.until(() => {
    const servos = ['head_turn', 'lid_left', 'lid_right', 'tail_1', 'tail_4'];
    return servos.some((servo) => isMoving(watch.of(servo))) ? undefined : true;
  });
  return watch.peer.states.findLast(({ rails }) => rails[rail])!.rails[rail]!.amps;
}

it('the overview switches, dims, colours and poses, and a second page shows it', async () => {
  const operator = await Operator.open(browser, daemon);
  const second = await Operator.open(browser, daemon);
  const shown = (channel: string, text: string) =>
    second.page
      .getByRole('listitem')
      .filter({ has: second.page.getByRole('link', { name: channel, exact: true }) })
      .locator('.value', { hasText: new RegExp(`^${text}$`) })
      .waitFor();
  expect(await operator.button('fan on').isDisabled()).toBe(true);
  await operator.wake();

  await operator.button('fan on').click();
  await watch.until('fan', ({ value }) => value === true);
  await shown('fan', 'on');
  await operator.button('fan off').click();
  await watch.until('fan', ({ value }) => value === false);
  await shown('fan', 'off');

  await operator.page.getByLabel('Brightness (%) of lantern').fill('40');
  await watch.until('lantern', ({ value }) => value === 0.4);
  await shown('lantern', '40 %');

  // CSS Color 4, section 6.1: rebeccapurple is #663399.
  await operator.page.getByText('Colour of eye_left').click();
  await operator.page.getByLabel('Name or hex of a colour for eye_left').fill('rebeccapurple');
  await operator.button('Set the colour of eye_left').click();
  await watch.until('eye_left', ({ value }) => value === '#663399');
  await shown('eye_left', '#663399');

  const prop = parse(await daemon.readProp());
  await operator.button('alert').click();
  for (const lid of ['lid_left', 'lid_right']) {
    const openDeg = prop.channels[lid].marks.open;
    await watch.until(lid, ({ value }) => value === openDeg);
    await shown(lid, `${openDeg.toFixed(1)}°`);
  }
  for (const [rail, { limitA }] of Object.entries<{ limitA: number }>(prop.rails)) {
    const meter = second.page.getByRole('meter', { name: `Load of ${rail} (A)` });
    expect(await meter.getAttribute('max')).toBe(String(limitA));
    await expect
      .poll(async () => Number(await meter.getAttribute('value')))
      .toBeCloseTo(await settledAmps(rail), 2);
  }
  await second.page
    .getByLabel('Journal')
    .getByText(/pose.*alert|alert.*pose/)
    .first()
    .waitFor();
  await operator.close();
  await second.close();
});

it('the wiring view finds a wire by label, end, channel and colour, and identifies it', async () => {
  const prop = parse(await daemon.readProp());
  const own = Object.entries<{ wire?: { label: string; cores: { colour: string }[] } }>(
    prop.channels,
  ).flatMap(([channel, { wire }]) => (wire ? [{ channel, ...wire }] : []));
  const wires = [...own, ...(prop.wires as typeof own)];
  const operator = await Operator.open(browser, daemon, { view: 'wiring' });
  const rows = operator.page.locator('table.wires tbody tr');
  await operator.page.getByText(`${wires.length} wires in all`).waitFor();
  expect(await rows.count()).toBe(wires.length);
  const search = operator.page.getByRole('searchbox', { name: 'Search' });
  for (const text of ['W07', 'J1-12', 'beak', 'beak YE']) {
    await search.fill(text);
    await operator.page.getByText(`1 wire of ${wires.length} for “${text}”`).waitFor();
    expect(await rows.getByRole('rowheader').allTextContents()).toEqual(['W07']);
  }
  for (const colour of ['VT', 'GY']) {
    const having = wires.filter(({ cores }) => cores.some((core) => core.colour === colour));
    await search.fill(colour);
    await operator.page.getByText(`1 wire of ${wires.length} for “${colour}”`).waitFor();
    expect(await rows.getByRole('rowheader').allTextContents()).toEqual(
      having.map(({ label }) => label),
    );
  }
  // A feed belongs to no channel, so that there is nothing to identify.
  await search.fill('W22');
  await operator.page.getByText(`1 wire of ${wires.length} for “W22”`).waitFor();
  expect(await rows.first().textContent()).toMatch(/W22servo6v14 AWG.*PS1-2 → TB1-8/);
  expect(await rows.getByRole('button').count()).toBe(0);
  await search.fill('nothing is called that');
  await operator.page.getByText('No wire matches').waitFor();

  await search.fill('W07');
  const identify = rows.getByRole('button', { name: 'Identify beak' });
  expect(await identify.isDisabled()).toBe(true);
  await operator.wake();
  const fromDeg = await watch.still('beak', 0.1);
  await identify.click();
  await watch.until('beak', ({ value }) => Math.abs((value as number) - fromDeg) > 0.5);
  expect(await watch.still('beak')).toBeCloseTo(fromDeg, 2);
  await operator.close();
});

it('the wiring view tells what to check when a channel fails', async () => {
  const operator = await Operator.open(browser, daemon, { view: 'wiring' });
  const sheet = operator.page.locator('.fault');
  await sheet.getByLabel('Channel').selectOption('mist');
  const steps = sheet.locator('.fault-steps > li');
  await steps.first().waitFor();
  await sheet.getByText(/depends on rail logic5v, fuse F2, wires W30 W31 W32 W16/).waitFor();
  expect(await steps.nth(2).textContent()).toMatch(/Power on.*PS2-1 against PS2-2.*Good: 5 V/);
  await sheet.getByLabel('What is wrong').selectOption('it stays on');
  await steps.first().getByText('sinew switch mist off').waitFor();
  const first = steps.first().getByRole('checkbox');
  await first.check();
  expect(await first.isChecked()).toBe(true);
  expect(await steps.first().textContent()).not.toContain('Else:');
  await sheet.getByLabel('Channel').selectOption('beak');
  await steps.nth(5).getByText('SV3-2 against SV3-3').waitFor();
  expect(await steps.first().getByRole('checkbox').isChecked()).toBe(false);
  await operator.close();
});

it('the wiring view prints the loom and the flags, and nothing else', async () => {
  const prop = parse(await daemon.readProp());
  const labels = Object.values<{ wire?: { label: string } }>(prop.channels).flatMap(({ wire }) =>
    wire ? [wire.label] : [],
  );
  labels.push(...prop.wires.map(({ label }: { label: string }) => label));
  const operator = await Operator.open(browser, daemon, { view: 'wiring' });
  const { page } = operator;
  await page.getByText('wires in all').waitFor();
  expect(await page.locator('.paper').isVisible()).toBe(false);
  await page.emulateMedia({ media: 'print' });
  for (const part of ['header', 'footer', '.wiring-sheets'])
    expect(await page.locator(part).isVisible(), part).toBe(false);
  const paper = page.locator('.paper');
  expect(await paper.isVisible()).toBe(true);
  const printed = async () => (await paper.textContent())!.match(/W\d\d/g)!.sort();
  expect(await printed()).toEqual(labels.toSorted());

  await page.emulateMedia({ media: 'screen' });
  await page.getByRole('radio', { name: 'Wire flags' }).check();
  await page.emulateMedia({ media: 'print' });
  // Both sides of a flag at each connector that a wire goes to.
  const { wires } = new Loom(parseProp(await daemon.readProp(), 'prop.yaml').prop!);
  const flags = wires.flatMap(({ label, cores }) => {
    const ends = cores.flatMap(({ from, to }) => [from, to].map((end) => splitEnd(end).connector));
    return Array(2 * new Set(ends).size).fill(label);
  });
  expect(await printed()).toEqual(flags.sort());
  await operator.close();
});

it('what the page shows and prints of the wiring is what the command line does', async () => {
  const { prop } = parseProp(await daemon.readProp(), 'prop.yaml');
  const paper = await browser.newPage();
  await paper.setContent(loomHtml(prop!));
  const svg = loomSvg(prop!);
  const operator = await Operator.open(browser, daemon, { view: 'wiring' });
  const { page } = operator;
  await page.locator('.header-pins').waitFor();
  const texts = (where: Page, what: string) => where.locator(what).allTextContents();

  const legend = await texts(page, '.pinmap .legend li');
  expect(legend).toHaveLength(5);
  expect(await texts(paper, '.legend li')).toEqual(legend);
  for (const entry of legend) expect(svg).toContain(`>${entry.trim()}</text>`);
  const [title] = await texts(page, '.pinmap h2');
  for (const drawn of [svg, (await texts(paper, '.board h3'))[0]]) expect(drawn).toContain(title);
  const [caption] = await texts(paper, '.board .hint');
  expect(svg).toContain(caption);
  expect((await texts(page, '.pinmap .hint'))[0]).toContain(caption);

  const section = (of: string) => `section:has(> h2:text-is("${of}"))`;
  // In the list by connector the page knows of wires alone, so not of what is free.
  for (const order of ['channel', 'label']) {
    await page.getByLabel('Sorted by').selectOption(order);
    for (const part of ['thead tr:last-child th', 'tbody tr'])
      expect(await texts(page, `.paper ${part}`)).toEqual(
        await texts(paper, `${section(`By ${order}`)} ${part}`),
      );
  }
  await page.getByRole('radio', { name: 'Wire flags' }).check();
  expect(await texts(page, '.paper .flag')).toEqual(await texts(paper, '.flag'));
  expect(await texts(page, '.paper p:last-of-type')).toEqual(
    await texts(paper, `${section('Wire flags')} p`),
  );
  await paper.close();
  await operator.close();
});

it('the pin map shows every pin of the header, and what hangs on it', async () => {
  const operator = await Operator.open(browser, daemon, { view: 'wiring' });
  const pins = operator.page.locator('.header-pins > li');
  await pins.first().waitFor();
  expect(await pins.count()).toBe(40);
  // The 40-pin header of the Raspberry Pi (from memory): pin 12 is GPIO 18, pin 6 is ground and
  // pins 27 and 28 are kept for the identification of boards on top.
  expect(await pins.nth(11).textContent()).toMatch(/12beakGPIO 18/);
  expect(await pins.nth(5).textContent()).toMatch(/ground/i);
  for (const pin of [27, 28]) expect(await pins.nth(pin - 1).textContent()).toMatch(/reserved/i);
  await pins.nth(11).getByRole('button').click();
  await operator.page.locator('.pinmap').getByText('W07').waitFor();
  await operator.close();
});

it('a stop unfolds into the seconds before it, and maintenance is noted in place by who has control', async () => {
  const operator = await Operator.open(browser, daemon);
  const { page } = operator;
  await operator.wake();
  await watch.peer.call('stop', { category: 1 });
  const journal = page.getByLabel('Journal', { exact: true });
  await journal.getByText('The seconds before it').first().click();
  await journal.getByText(/by watch, while live/).waitFor();
  await journal.locator('.kept-curve').first().waitFor();
  await journal.getByRole('heading', { name: 'Wear' }).click();
  await operator.button('beak was maintained').click();
  await journal.getByLabel('What was done to beak').fill('new horn');
  await operator.button('Yes, beak was maintained').click();
  await journal.getByText(/^Maintained .*: new horn$/).waitFor();
  await operator.close();
});
