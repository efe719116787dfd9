import fs from 'node:fs/promises';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { parseTake } from '../../src/prop/take/take-text.ts';
import { tidy } from '../../src/shared/units.ts';
import { patientDaemon, patientOwl } from '../faults/patient.ts';
import { Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { AXE_MS, browserAndDaemons, Operator, PHONE } from './browser.ts';

// Servos led by hand: a take of two passes, one by a slider and one by a gamepad.

const on = browserAndDaemons(async () => patientDaemon([], await patientOwl(AXE_MS)));
/** As long as a busy machine may take. */
const poll = <T>(of: () => T) => expect.poll(of, { timeout: 10_000 });

/** A gamepad that the test plugs in and holds, in the shape that the page gets (W3C Gamepad). */
const GAMEPAD = `
  window.pad = null;
  navigator.getGamepads = () => [window.pad];
  window.plugIn = (axis, held) => {
    const buttons = Array.from({ length: 17 }, (_, i) => ({
      pressed: i === 4 && held, touched: false, value: i === 4 && held ? 1 : 0,
    }));
    window.pad = { id: 'Test pad', index: 0, connected: true, mapping: 'standard', timestamp: 0,
      axes: [axis, 0, 0, 0], buttons };
    dispatchEvent(new Event('gamepadconnected'));
  };
`;
const plugIn = (axis: number, held: boolean) => `plugIn(${axis}, ${held})`;

it('a take of two passes is performed, recorded, saved, and found in the prop file', async () => {
  const { browser, daemon } = on;
  const operator = await Operator.open(browser, daemon, {
    view: 'cues/perform',
    scripts: [GAMEPAD, axeSource],
  });
  const { page } = operator;
  const { keyboard } = page;
  const status = (text: string | RegExp) =>
    page.getByRole('status').filter({ hasText: text }).first().waitFor();
  const watcher = await Peer.connect(daemon);
  await watcher.ask('session.open', { client: 'watcher' });
  const at = async (name: string) => {
    const { channels } = await watcher.ask('channel.list');
    return (channels as Record<string, { value: number }>)[name]!.value;
  };

  // What leads what: the beak by a slider, the head by the left stick.
  await operator.button('Lead it too').click();
  await page.getByLabel(/^Servo/).selectOption('head_turn');
  await operator.button('Lead it too').click();
  await page.locator('.lead-form summary', { hasText: 'head_turn' }).click();
  await page.getByLabel('Led by').last().selectOption('axis-0');
  await page.getByText('No gamepad yet').waitFor();
  await operator.wake();

  // Until the controls are ready, nothing here moves anything.
  const slider = page.getByRole('slider', { name: 'Lead beak' });
  const line = async () => {
    await slider.scrollIntoViewIfNeeded();
    const { x, y, width, height } = (await slider.boundingBox())!;
    return { x: x + width / 4, y: y + height / 2, width };
  };
  const drag = async (share: number) => {
    const { x, y, width } = await line();
    await page.mouse.move(x, y);
    await page.mouse.down();
    for (let i = 1; i <= 10; i++) {
      await page.mouse.move(x + (share * width * i) / 10, y);
      await page.waitForTimeout(30);
    }
  };
  await drag(0.5);
  await page.mouse.up();
  expect(await at('beak')).toBe(0);

  // First pass: it begins when the hand takes hold. A tap alone moves nothing.
  await operator.button('Make the controls ready').click();
  const { x, y } = await line();
  await page.mouse.move(x + 60, y);
  await page.mouse.down();
  await page.waitForTimeout(200);
  await page.mouse.up();
  expect(await at('beak')).toBeCloseTo(0, 1);
  await page.getByLabel('head_turn', { exact: true }).uncheck();
  await operator.button('Record').click();
  await status('Take hold of a control');
  await drag(0.5);
  await poll(() => at('beak')).toBeGreaterThan(15);
  await page.getByText('Recording beak').waitFor();
  await page.mouse.up();
  await operator.button(/^End the recording/).click();
  await page.getByRole('img', { name: /^beak in/ }).waitFor();
  await page.getByLabel('Name of the take').fill('chatter');
  await operator.button('Save the take').click();
  await status('Saved as take chatter');
  await page.getByLabel('Name of the new cue').fill('talk');
  await operator.button('Put it there, at 0 s').click();
  await status('Cue talk plays take chatter');

  // Second pass, over a cue that plays the first: the gamepad leads only while its button is held.
  await page.getByLabel('head_turn', { exact: true }).check();
  await page.getByLabel('beak', { exact: true }).uncheck();
  await page.getByLabel('Begin when I take hold').uncheck();
  await poll(() => page.getByLabel('While this runs').inputValue()).toBe('talk');
  await page.evaluate(plugIn(1, false));
  await page.getByText('Hold its left shoulder').waitFor();
  await operator.button('Record again').click();
  await page.getByText('Recording head_turn while cue talk runs').waitFor();
  expect(await at('head_turn')).toBe(0);
  await page.evaluate(plugIn(1, true));
  await page.getByText('Held: it leads.').waitFor();
  await poll(() => at('head_turn')).toBeGreaterThan(20);
  await page.evaluate(plugIn(1, false));
  await operator.button(/^End the recording/).click();
  await page.getByRole('img', { name: /^head_turn in/ }).waitFor();
  await page.getByLabel('Name of the take').fill('chatter');
  await operator.button('Save the take').click();
  // That one is taken: it is not replaced without a word.
  await operator.button('Replace take chatter').waitFor();
  await page.getByLabel('Name of the take').fill('look');
  await operator.button('Save the take').click();
  await status('Saved as take look');
  await operator.button('Put it there, at 0 s').click();
  await status('Cue talk plays take look');

  // Both are in the prop file, in the cue, and beside it, as they were performed.
  const text = await daemon.readProp();
  expect(text).toMatch(/chatter: chatter\.take/);
  expect(text).toMatch(/look: look\.take/);
  const read = async (name: string) => {
    const { take } = parseTake(await fs.readFile(join(daemon.folder, name), 'utf8'), name);
    return take!.servos;
  };
  const [beak] = await read('chatter.take');
  expect(beak!.name).toBe('beak');
  expect(Math.max(...beak!.deg)).toBeGreaterThan(15);
  const [head] = await read('look.take');
  expect(head!.name).toBe('head_turn');
  expect(Math.max(...head!.deg)).toBeGreaterThan(20);
  const { entries } = await watcher.ask('journal.read', { limit: 500 });
  const journal = (entries as { text: string }[]).map((entry) => entry.text);
  expect(journal).toContainEqual(expect.stringMatching(/^records head_turn while cue talk runs/));

  // A take is changed into another one; it stays as it is itself.
  const before = await fs.readFile(join(daemon.folder, 'chatter.take'), 'utf8');
  await page.getByRole('combobox', { name: 'Change' }).selectOption('chatter');
  await page.getByLabel('Higher by (deg)').fill('2');
  await keyboard.press('Enter');
  await page.getByRole('img', { name: /^beak in .* 2 deg apart at most/ }).waitFor();
  await operator.button('Save the take').click();
  await status('Saved as take chatter_2');
  expect(await fs.readFile(join(daemon.folder, 'chatter.take'), 'utf8')).toBe(before);
  expect((await read('chatter_2.take'))[0]!.deg).toEqual(beak!.deg.map((deg) => tidy(deg + 2)));

  // A page that hangs lets go of what it leads.
  await page.evaluate(plugIn(-1, true));
  await poll(() => at('head_turn')).toBeLessThan(15);
  await page.evaluate('for (const endMs = performance.now() + 900; performance.now() < endMs; );');
  const held = async () => {
    const { entries: all } = await watcher.ask('journal.read', { limit: 100 });
    return (all as { text: string }[]).map((entry) => entry.text).join('\n');
  };
  await poll(held).toMatch(/performs nothing any more/);
  await status(/everything holds/);

  await page.setViewportSize(PHONE);
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  expect(await breaches(operator)).toEqual([]);
  await watcher.close();
  await operator.close();
});
