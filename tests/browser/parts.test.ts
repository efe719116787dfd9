import { writeFile } from 'node:fs/promises';
import { expect, it } from 'vitest';
import { Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator, PHONE } from './browser.ts';

// The parts of a prop, changed on a phone.

const on = browserAndDaemons();

it('parts are renamed, removed, added and undone, and speeds are tried out while held', async () => {
  const { browser, daemon } = on;
  const original = await daemon.readProp();
  const operator = await Operator.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  const { page } = operator;
  await page.evaluate(() => {
    location.hash = '#setup/parts';
  });
  const said = page.locator('.parts-said');
  const review = page.locator('.parts-review');
  const open = (name: string) =>
    page
      .locator('.parts-name')
      .filter({ hasText: new RegExp(`^${name}\\b`) })
      .click();
  const press = async (name: string | RegExp) => {
    const button = operator.button(name).first();
    await expect.poll(() => button.isEnabled()).toBe(true);
    await button.click();
  };

  // Without control everything can be looked at, and nothing is changed.
  await open('beak');
  await page.locator('#setup, .part').first().waitFor();
  await page.locator('.hint', { hasText: 'speed limit (deg/s)' }).first().waitFor();
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
    expect(await overhang(operator)).toBeLessThanOrEqual(0);
  }
  const small = await page
    .locator('.parts button, .parts input, .parts select')
    .evaluateAll((all) =>
      all
        .filter((one) => (one as HTMLInputElement).type !== 'checkbox')
        .map((one) => [one.getBoundingClientRect().height, one.textContent] as const)
        .filter(([height]) => height > 0 && height < 44),
    );
  expect(small).toEqual([]);

  expect(await operator.button('Look for boards').getAttribute('aria-disabled')).toBe('true');

  // A rename is looked through first, follows everywhere, and is undone to the same bytes.
  const renaming = page.locator('form', { has: operator.button('Rename beak') });
  await renaming.locator('input').fill('bill');
  await press('Rename beak');
  await review.waitFor();
  expect(await review.textContent()).toMatch(/pose asleep[\s\S]*park stage 2[\s\S]*waits until/);
  expect(await operator.button('Take control first').getAttribute('aria-disabled')).toBe('true');
  expect(await breaches(operator)).toEqual([]);
  await operator.takeControl();
  await press('Change it');
  await page.locator('.parts-said', { hasText: 'Done: Rename channel beak to bill' }).waitFor();
  const renamed = await daemon.readProp();
  expect(renamed).toContain('  bill:\n');
  expect(renamed).toContain('asleep: { lid_left: shut, lid_right: shut, bill: shut }');
  expect(renamed.length).toBe(original.length);
  await press(/^Undo: Rename channel beak/);
  await page.locator('.parts-said', { hasText: 'Undone' }).waitFor();
  expect(await daemon.readProp()).toBe(original);

  // What an interlock needs is not removed, and it is said which.
  await open('tail_1');
  await press('Remove channel tail_1');
  await page.locator('.parts-said', { hasText: 'interlock of mist' }).waitFor();
  expect(await review.count()).toBe(0);
  await open('mist');
  await press('Remove channel mist');
  await review.waitFor();
  expect(await review.textContent()).toMatch(
    /cue wake, step 4[\s\S]*wire W34[\s\S]*interlock of mist/,
  );
  await press('Cancel');

  // A loudspeaker brings its sound card: the review names it first.
  await page.locator('section[aria-label="Add a part"] select').first().selectOption('sound');
  await page.locator('section[aria-label="Add a part"] input').first().fill('voice');
  await press('Propose');
  await review.waitFor();
  expect(await review.textContent()).toMatch(/board speaker, which is added[\s\S]*Loud sound/);
  await press('Cancel');

  // The angle of a servo is measured by a free input, and the bench is where its points come from.
  const adding = page.locator('section[aria-label="Add a part"]');
  await adding.locator('select').first().selectOption('position');
  await adding
    .locator('label', { hasText: /^Servo/ })
    .locator('select')
    .selectOption('beak');
  await press('Propose');
  await review.waitFor();
  expect(await review.textContent()).toMatch(
    /Add beak_angle[\s\S]*input: 0[\s\S]*Calibrate the sensor/,
  );
  await press('Cancel');

  // A board that a scan has found goes into the form; the bus of a simulated board is called that.
  await press('Look for boards');
  await page.locator('h3', { hasText: 'Simulated I2C bus' }).waitFor();
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  await press(/^Add 0x48/);
  await press('Propose');
  await review.waitFor();
  expect(await review.textContent()).toMatch(/Add ads1115[\s\S]*0x48 on bus 1/);
  await press('Cancel');

  // A servo is added with what is proposed for it; somebody else's change keeps it from being undone.
  await page.locator('section[aria-label="Add a part"] select').first().selectOption('servo');
  await page.locator('section[aria-label="Add a part"] input').first().fill('tongue');
  await press('Propose');
  await review.waitFor();
  expect(await review.textContent()).toMatch(/head 9[\s\S]*servo6v[\s\S]*Pinch points/);
  await press('Change it');
  await page.locator('.parts-said', { hasText: 'Done: Add tongue' }).waitFor();
  const added = await daemon.readProp();
  expect(added).toContain('  tongue:\n');
  await writeFile(daemon.propFile, added.replace('name: Foyer owl', 'name: Night owl'));
  await page.locator('header h1:text-is("Night owl")').waitFor({ state: 'attached' });
  await operator.button(/^Undo: Add tongue/).waitFor({ state: 'detached' });
  const undo = page.locator('.parts-top').getByRole('button', { name: 'Undo', exact: true });
  expect(await undo.getAttribute('aria-disabled')).toBe('true');
  expect(await daemon.readProp()).toContain('  tongue:\n');

  // Speeds are tried while the button is held, at most as fast as the file allows.
  await press('Wake');
  const hands = operator.button('Hands are clear: wake');
  const live = page.locator('.condition.is-live');
  await hands.or(live).first().waitFor();
  if (await hands.isVisible()) await hands.click();
  await operator.condition('live');
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client: 'watcher' });
  const beak = async () => {
    const { channels } = await peer.ask('channel.list');
    return (channels as Record<string, { value: number; flags: string[] }>).beak!;
  };
  await open('beak');
  const speed = page.locator('form', { has: operator.button('Save speedDegS of beak') });
  const tryout = operator.button('Hold to run back and forth');
  await speed.locator('input').fill('400');
  await page.locator('.hint', { hasText: 'Faster than the file allows now' }).waitFor();
  expect(await tryout.getAttribute('aria-disabled')).toBe('true');
  await speed.locator('input').fill('20');
  // 30 deg at 20 deg/s: 30 / 20 + 20 / 600 + 600 / 6000 s.
  await page.locator('.part strong', { hasText: '1.63 s' }).waitFor();
  await tryout.scrollIntoViewIfNeeded();
  const pulses = async () => (await beak()).value;
  const box = (await tryout.boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  const seen: number[] = [];
  await expect
    .poll(
      async () => {
        seen.push(await pulses());
        return Math.max(...seen);
      },
      { timeout: 10_000, interval: 50 },
    )
    .toBeGreaterThan(10);
  await page.mouse.up();
  await expect.poll(async () => (await beak()).flags.includes('moving')).toBe(false);
  const rested = await pulses();
  await page.waitForTimeout(800);
  expect(await pulses()).toBe(rested);
  expect(await said.count()).toBe(1);

  // What else ends it, with the button still down.
  const { x, y } = { x: box.x + box.width / 2, y: box.y + box.height / 2 };
  const endings: [string, () => Promise<unknown>][] = [
    ['slides off', () => page.mouse.move(x, box.y - 20, { steps: 4 })],
    ['the screen turns', () => page.setViewportSize({ width: 740, height: 360 })],
    [
      'the page is hidden',
      () =>
        page.evaluate(() => {
          Object.defineProperty(document, 'hidden', { configurable: true, value: true });
          document.dispatchEvent(new Event('visibilitychange'));
          Reflect.deleteProperty(document, 'hidden');
        }),
    ],
    ['a menu', () => page.evaluate(() => dispatchEvent(new MouseEvent('contextmenu')))],
    ['the park', () => peer.ask('park')],
  ];
  for (const [what, end] of endings) {
    await page.mouse.move(x, y);
    await page.mouse.down();
    await expect.poll(() => tryout.getAttribute('aria-pressed'), { message: what }).toBe('true');
    await end();
    await expect.poll(() => tryout.getAttribute('aria-pressed'), { message: what }).toBe('false');
    if (what !== 'the park')
      await expect
        .poll(async () => (await beak()).flags.includes('moving'), { message: what })
        .toBe(false);
    await page.mouse.up();
    await page.setViewportSize(PHONE);
  }
  await peer.close();
  await operator.close();
}, 60_000);
