import { cp, readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { parse } from 'yaml';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
import { BASELINE, GPS_ON_ITS_SIDE } from '../prop/picture/pictures.ts';
import { Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { AXE_MS, browserAndDaemons, Operator } from './browser.ts';

const OWL_SVG = fileURLToPath(new URL('../../config/owl.svg', import.meta.url));
const PHONE = { viewport: { width: 360, height: 640 }, hasTouch: true, isMobile: true };

const rig = browserAndDaemons(async () => patientDaemon([], await patientOwl(AXE_MS)));

const toggle = (operator: Operator) => operator.button('Picture of the prop');
const panel = ({ page }: Operator) =>
  page.getByRole('complementary', { name: 'Picture of the prop' });
const mark = (operator: Operator, channel: string) =>
  panel(operator).getByRole('button', { name: new RegExp(`^${channel}: `) });
const inFile = async () => parse(await rig.daemon.readProp()).picture;
/** Puts the owl's drawing beside the prop file: it names it already. */
const putBeside = () => cp(OWL_SVG, join(dirname(rig.daemon.propFile), 'owl.svg'));

it('without a picture a schematic by groups shows every channel; a tap leads on and moves nothing', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, { scripts: [axeSource] });
  const { page } = operator;
  await page.locator('.channels').first().waitFor();
  await expect.poll(() => toggle(operator).getAttribute('aria-expanded')).toBe('false');
  await toggle(operator).click();
  await panel(operator).getByRole('region', { name: 'tail', exact: true }).waitFor();
  expect(await panel(operator).locator('.schematic .mark').count()).toBe(15);
  await panel(operator).getByText('owl.svg is not beside the prop file').waitFor();
  expect(await breaches(operator)).toEqual([]);

  await operator.wake();
  const watch = await Peer.connect(rig.daemon);
  await watch.ask('session.open', { client: 'watch' });
  const { entries: before } = (await watch.ask('journal.read', {})) as { entries: object[] };
  await mark(operator, 'beak').click();
  const ways = page.getByRole('region', { name: 'Ways to beak' });
  await ways.getByRole('button', { name: 'Wire W07' }).click();
  await page.getByText(/^1 wire of \d+ for “W07”$/).waitFor();
  await toggle(operator).click();
  // On another view it is open or folded by itself; what was tapped is still open.
  await ways.getByRole('button', { name: 'Fault finding' }).click();
  await page.getByText(/^\d+ steps\. It depends on/).waitFor();
  expect(await page.locator('.fault select').first().inputValue()).toBe('beak');
  await ways.getByRole('link', { name: 'Controls' }).click();
  await page.locator('.pad').waitFor();
  expect(await page.locator('#bench-channel').inputValue()).toBe('beak');
  const { entries } = (await watch.ask('journal.read', {})) as { entries: object[] };
  expect(entries).toEqual(before);
  // It stays open there, and folded elsewhere, when the page is loaded again.
  await operator.view('wiring');
  await page.reload();
  await operator.linked();
  await panel(operator).locator('.mark').first().waitFor();
  await operator.view('show');
  expect(await panel(operator).count()).toBe(0);
  await operator.close();
});

it('the picture shows what moves, is lit, is on and was refused', async () => {
  await putBeside();
  const operator = await Operator.open(rig.browser, rig.daemon, { scripts: [axeSource] });
  const { page } = operator;
  const image = panel(operator).locator('img');
  await image.waitFor();
  await expect
    .poll(() => image.evaluate((one: HTMLImageElement) => one.naturalWidth))
    .toBeGreaterThan(0);
  await operator.wake();
  const look = (channel: string) => mark(operator, channel).getAttribute('class');
  await expect.poll(() => look('eye_left')).not.toContain('is-lit');
  await operator.button('mist on').click();
  await expect.poll(() => look('mist')).toContain('is-refused');
  expect(await mark(operator, 'mist').textContent()).toContain('!');
  await operator.button('fan on').click();
  await expect.poll(() => look('fan')).toContain('is-on');
  expect(await mark(operator, 'fan').textContent()).toContain('on');
  await operator.button('Run wake').click();
  await expect.poll(() => look('lid_left')).toContain('is-moving');
  await expect.poll(() => look('eye_left')).toContain('is-lit');
  expect(await mark(operator, 'lid_left').getAttribute('aria-label')).toBe('lid_left: moves');
  // The light in its own colour.
  const colours = () =>
    page.evaluate(() => {
      const dot = document.querySelector('.mark[aria-label^="eye_left"] .mark-dot')!;
      const swatch = document.querySelector('.swatch')!;
      return [dot, swatch].map((one) => getComputedStyle(one).backgroundColor);
    });
  await expect.poll(async () => new Set(await colours()).size, { timeout: 10_000 }).toBe(1);
  await expect.poll(() => look('lid_left'), { timeout: 10_000 }).not.toContain('is-moving');
  expect(await breaches(operator)).toEqual([]);

  // Whoever knows the address gets the picture, and nothing but a picture.
  const address = (await image.getAttribute('src'))!;
  const answer = await fetch(new URL(address, rig.daemon.url));
  expect(answer.headers.get('content-security-policy')).toContain('sandbox');
  expect((await fetch(new URL('/picture/owl.svg', rig.daemon.url))).status).toBe(404);
  await operator.close();
});

it('on a phone it takes no room until it is opened', async () => {
  await putBeside();
  const operator = await Operator.open(rig.browser, rig.daemon, {
    ...PHONE,
    view: 'bench/beak',
    scripts: [axeSource],
  });
  const { page } = operator;
  await page.locator('.pad').waitFor();
  expect(await panel(operator).count()).toBe(0);
  const box = (await toggle(operator).boundingBox())!;
  expect(Math.min(box.width, box.height)).toBeGreaterThanOrEqual(44);
  await toggle(operator).tap();
  await panel(operator).locator('img').waitFor();
  // A finger beside a mark is meant for it.
  const beak = (await mark(operator, 'beak').boundingBox())!;
  await page.touchscreen.tap(beak.x + beak.width / 2 + 20, beak.y + beak.height / 2 + 6);
  await page.getByRole('region', { name: 'Ways to beak' }).waitFor();
  expect(await overhang(operator)).toBe(0);
  expect(await breaches(operator)).toEqual([]);
  await toggle(operator).tap();
  expect(await panel(operator).count()).toBe(0);
  await operator.close();
});

it('a picture is chosen, refused, placed by tap, drag and keys, saved and undone', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, {
    view: 'setup/picture',
    viewport: { width: 1024, height: 768 },
    scripts: [axeSource],
  });
  const { page } = operator;
  const choose = async (name: string, mimeType: string, buffer: Buffer) =>
    page.locator('input[type=file]').first().setInputFiles({ name, mimeType, buffer });
  const stage = page.locator('.placing .stage');
  const status = page.getByText(/channels placed/);

  await operator.takeControl();
  const before = await inFile();
  const bad = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><script/></svg>';
  await choose('bad.svg', 'image/svg+xml', Buffer.from(bad));
  await page.getByRole('alert').filter({ hasText: 'it has a script. Save it as plain' }).waitFor();
  expect(await inFile()).toEqual(before);
  await operator.button('OK: dismiss the message').click();

  // A photo that lies on its side is shown upright, and keeps the places there are.
  await choose('IMG 1.JPG', 'image/jpeg', GPS_ON_ITS_SIDE);
  await page.getByText('IMG-1.jpg is the picture now').waitFor();
  const size = (await stage.boundingBox())!;
  expect(size.width / size.height).toBeCloseTo(16 / 24, 1);
  expect(await inFile()).toEqual({ ...before, file: 'IMG-1.jpg' });
  expect(await breaches(operator)).toEqual([]);

  // Another one; the first stays beside the file.
  await choose('IMG 1.JPG', 'image/jpeg', BASELINE);
  await page.getByText('IMG-1-2.jpg is the picture now').waitFor();
  await page.getByRole('button', { name: 'Undo: the picture' }).click();
  await expect.poll(async () => (await inFile()).file).toBe('IMG-1.jpg');
  expect(await readdir(dirname(rig.daemon.propFile))).toEqual(
    expect.arrayContaining(['IMG-1.jpg', 'IMG-1-2.jpg']),
  );

  await operator.button('Remove the place of beak').click();
  await status.filter({ hasText: '14 of 15 channels placed, not saved yet' }).waitFor();
  const box = (await stage.boundingBox())!;
  await stage.click({ position: { x: box.width * 0.9, y: box.height * 0.5 } });
  const beak = page.locator('#place-beak');
  await beak.waitFor();
  await beak.focus();
  for (const key of ['ArrowLeft', 'Shift+ArrowDown', 'ArrowUp']) await page.keyboard.press(key);
  const fan = (await page.locator('#place-fan').boundingBox())!;
  await page.mouse.move(fan.x + 22, fan.y + 22);
  await page.mouse.down();
  await page.mouse.move(fan.x + 22 + box.width * 0.1, fan.y + 22 - box.height * 0.2, { steps: 4 });
  await page.mouse.up();
  await page.locator('#place-mist').focus();
  await page.keyboard.press('Delete');
  await page.locator('#place-mist').waitFor({ state: 'detached' });
  expect((await inFile()).places).toEqual(before.places);
  const text = await rig.daemon.readProp();
  await operator.button('Save the places').click();
  await expect.poll(async () => (await inFile()).places.mist).toBeUndefined();
  const { places } = await inFile();
  expect(places.beak[0]).toBeCloseTo(0.89, 2);
  expect(places.beak[1]).toBeCloseTo(0.54, 2);
  expect(places.fan[0]).toBeCloseTo(before.places.fan[0] + 0.1, 1);
  expect(places.fan[1]).toBeCloseTo(before.places.fan[1] - 0.2, 1);
  expect(places.lantern).toEqual(before.places.lantern);
  // Comments are kept, and one press goes back.
  expect(await rig.daemon.readProp()).toContain('# Where each channel is on the drawing');
  await page.getByRole('button', { name: 'Undo: places on the picture' }).click();
  await expect.poll(() => rig.daemon.readProp()).toBe(text);
  await page.locator('#place-mist').waitFor();
  expect(await overhang(operator)).toBe(0);

  await operator.button('Remove the picture').click();
  await expect.poll(inFile).toBeUndefined();
  await operator.button('Choose a picture').waitFor();
  expect(await readdir(dirname(rig.daemon.propFile))).toContain('IMG-1.jpg');
  await operator.close();
});
