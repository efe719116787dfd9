import { mkdtemp, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { needAplay } from '../alsa.ts';
import { patientOwl } from '../faults/patient.ts';
import { soxFile } from '../sox.ts';
import { Daemon, leaveParked } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { AXE_MS, browserAndDaemons, Operator, PHONE } from './browser.ts';

// Cues made on the desk: from nothing, by keyboard and mouse; two people at one cue.

/** The owl with a voice, on a sound device that takes everything and plays nothing (alsa-lib's null). */
async function owlWithVoice(): Promise<Daemon> {
  needAplay();
  const folder = await mkdtemp(join(tmpdir(), 'sinew-test-'));
  const text = (await patientOwl(AXE_MS))
    .replace('boards:\n', 'boards:\n  speaker: { driver: alsa, device: "null" }\n')
    .replace(
      'channels:\n',
      'sounds: { call: call.wav }\nchannels:\n  voice: { kind: sound, output: { board: speaker }, ceiling: 0.2 }\n',
    );
  await writeFile(join(folder, 'prop.yaml'), text);
  await writeFile(
    join(folder, 'call.wav'),
    soxFile('call.wav', '-r 44100 -c 1', 'synth 1.5 sine 500 gain -20'),
  );
  await leaveParked(folder);
  return Daemon.start({ folder });
}

const on = browserAndDaemons(owlWithVoice);
/** As long as a busy machine may take. */
const poll = <T>(of: () => T) => expect.poll(of, { timeout: 10_000 });

it('a cue of flap, light, vapour and voice is made from nothing, rehearsed, saved and played', async () => {
  const { browser, daemon } = on;
  const original = await daemon.readProp();
  const operator = await Operator.open(browser, daemon, { view: 'cues', scripts: [axeSource] });
  const { page } = operator;
  const { keyboard } = page;
  /** The labels of the steps in the timeline, in its order. */
  const labels = () =>
    page.locator('.desk-block').evaluateAll((all) => all.map((one) => one.ariaLabel));
  const status = (text: string | RegExp) =>
    page.getByRole('status').filter({ hasText: text }).first().waitFor();
  const addRow = (row: string) => page.getByLabel('Add a row').selectOption(row);
  const block = (label: RegExp) => page.getByRole('button', { name: label }).first();

  // A new cue; nothing of it is in the file yet, and no control is needed.
  await page.getByText('New cue, duplicate, remove').click();
  await page.getByLabel('New cue').fill('hoot');
  await keyboard.press('Enter');
  await status('hoot is on the desk');

  // The flap, by keyboard alone: placed, moved, stretched, copied.
  await addRow('wings');
  await operator.button('Add a step to wings at 0 s').focus();
  await keyboard.press('Enter');
  await poll(labels).toEqual(['wings to spread, at 0 s, 1 s long, step 1']);
  await page.locator('.desk-block:focus').waitFor();
  for (let i = 0; i < 5; i++) await keyboard.press('ArrowRight');
  await keyboard.press('Shift+ArrowLeft');
  for (let i = 0; i < 5; i++) await keyboard.press('Control+ArrowRight');
  await keyboard.press('Control+d');
  await poll(labels).toEqual([
    'wings to spread, at 0.49 s, 1.5 s long, step 1',
    'wings to spread, at 2 s, 1.5 s long, step 2',
  ]);
  await page.getByLabel('wings moves to').selectOption('folded');
  await page.getByLabel('Starts at (s)').fill('2,5');
  await keyboard.press('Tab');
  await block(/^wings to folded, at 2.5 s/).waitFor();

  // The light, with the mouse: placed by a double click, dragged, stretched by its end.
  await addRow('eye_left');
  const lane = page.locator('.desk-row', { hasText: 'eye_left' }).locator('.desk-lane');
  const { x, y } = (await lane.boundingBox())!;
  await page.mouse.dblclick(x + 90, y + 50);
  const light = block(/^eye_left to moccasin/);
  await light.waitFor();
  const says = (text: string) => poll(() => light.getAttribute('aria-label')).toContain(text);
  await says('at 1 s, 1 s long');
  const drag = async (fromX: number, byX: number) => {
    await page.mouse.move(fromX, y + 28);
    await page.mouse.down();
    await page.mouse.move(fromX + byX / 2, y + 28);
    await page.mouse.move(fromX + byX, y + 28);
    await page.mouse.up();
  };
  await drag(x + 120, -45);
  await says('at 0.5 s, 1 s long');
  await drag(x + 132, 45);
  await says('at 0.5 s, 1.5 s long');

  // The vapour at the cursor. The tail covers its outlet: that is said, at its place, and leads to the step.
  const cursor = page.getByRole('slider', { name: /^Cursor/ });
  await cursor.press('Home');
  await cursor.press('PageUp');
  await addRow('mist');
  await operator.button('Add a step to mist at 1 s').click();
  await block(/^mist on, at 1 s, 2 s long/).waitFor();
  await page.locator('.desk-form .caution', { hasText: 'Vapour is hot' }).waitFor();
  const remark = page.locator('.desk-remarks li', { hasText: 'mist' }).first();
  await remark.waitFor();
  expect(await remark.textContent()).toMatch(/tail_1/);
  await page.locator('.desk-mark').first().click();
  await remark.getByRole('button').press('Enter');
  await page.locator('.desk-block.is-switch.is-selected').waitFor();
  await cursor.press('Home');
  await addRow('tail');
  await operator.button('Add a step to tail at 0 s').click();
  await remark.waitFor({ state: 'detached' });
  // The voice, whose length is that of its file.
  await addRow('voice');
  await operator.button('Add a step to voice at 0 s').click();
  await block(/^voice call, at 0 s, 1.5\d? s long/).waitFor();
  await page.locator('.desk-form .caution', { hasText: 'Loud sound' }).waitFor();
  await status(/^It takes \d/);

  // What the core would do is drawn: curves, the closure, the load of the rails.
  const drawn = await page.locator('.desk-scroll').evaluate((all) => ({
    curves: all.querySelectorAll('.desk-curve').length,
    closed: all.querySelectorAll('.desk-closed').length,
    rails: all.querySelectorAll('.desk-load').length,
    band: getComputedStyle(all.querySelector('.is-colour')!.parentElement!).backgroundImage,
  }));
  expect(drawn).toMatchObject({ curves: 6, closed: 1, rails: 2 });
  expect(drawn.band).toContain('linear-gradient');

  // It is played on the screen, and the prop stays where it is.
  await operator.button('Play').click();
  await page.locator('.desk-stage .is-moving').first().waitFor();
  await operator.button('Pause').first().click();
  expect(await page.locator('.condition').textContent()).toContain('parked');

  // Taken back and done again; and it outlives a reload.
  const made = await labels();
  await operator.button('Undo').click();
  await poll(async () => (await labels()).length).toBe(made.length - 1);
  await operator.button('Redo').click();
  await poll(labels).toEqual(made);
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme });
    expect(await breaches(operator)).toEqual([]);
  }
  await page.setViewportSize(PHONE);
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  await page.setViewportSize({ width: 1440, height: 900 });
  await page.reload();
  await operator.linked();
  await poll(labels).toEqual(made);
  expect(await daemon.readProp()).toBe(original);

  // Saved: the file has the cue, and everything else as it was.
  await operator.wake();
  await operator.button('Save').click();
  await status('hoot is saved in the prop file.');
  const saved = await daemon.readProp();
  expect(saved).toMatch(/ {2}hoot:\n/);
  expect(saved).toMatch(/sound: \{ voice: call \}/);
  const lines = saved.split('\n');
  expect(original.split('\n').filter((line) => !lines.includes(line))).toEqual([]);
  expect(saved).toContain('# down and up again, as fast as the lids allow');

  // Another page sees it; each sees what the other saves, or is asked where both have changed it.
  const second = await Operator.open(browser, daemon, { view: 'cues/desk/hoot' });
  const theirs = second.page.getByRole('button', { name: /^mist on/ }).first();
  await theirs.waitFor();
  await block(/^mist on/).focus();
  await keyboard.press('ArrowRight');
  await operator.button('Save').click();
  await poll(() => theirs.getAttribute('aria-label')).toContain('at 1.1 s');
  await theirs.focus();
  await second.page.keyboard.press('ArrowRight');
  await block(/^mist on/).focus();
  await keyboard.press('ArrowLeft');
  await operator.button('Save').click();
  const question = second.page.locator('.desk-met');
  await question.waitFor();
  expect(await question.textContent()).toMatch(/≠ at 1.2 s: mist on[\s\S]*≠ at 1 s: mist on/);
  await second.button('Take theirs').click();
  await question.waitFor({ state: 'detached' });
  await poll(() => theirs.getAttribute('aria-label')).toContain('at 1 s');
  await second.button('Undo').click();
  await poll(() => theirs.getAttribute('aria-label')).toContain('at 1.2 s');
  await second.close();

  // A pose of the prop as it stands, and steps from pose to pose.
  await page.getByRole('link', { name: 'Poses' }).click();
  await page.getByLabel('Name', { exact: true }).fill('rest');
  await page.getByLabel('only some channels').check();
  await page.getByLabel('beak', { exact: true }).check();
  await operator.button('Capture').click();
  await status('rest is captured: beak shut.');
  expect(await daemon.readProp()).toMatch(/ {2}rest: *\{? *\n? *beak: shut/);
  await page.getByRole('combobox', { name: 'To', exact: true }).selectOption('rest');
  await operator.button('Put it in').click();
  await page.getByRole('link', { name: 'Show it on the desk' }).click();
  await block(/^pose rest, at 0 s, 2 s long/).waitFor();
  await operator.button('Undo').click();
  await block(/^pose rest/).waitFor({ state: 'detached' });
  await operator.button('Undo the saved change of pose rest').click();
  await status('Undone: pose rest.');
  expect(await daemon.readProp()).not.toContain('rest:');

  // On the prop itself: only what is saved, and only by its own button, which ends it as well. At half
  // speed the voice is left out, which is said. A loop ends when the desk is left.
  const onTheProp = page.getByRole('region', { name: 'On the prop' });
  await onTheProp.getByLabel('in a loop').check();
  await page.getByLabel('Speed on the prop').selectOption('half');
  await operator.button('Play hoot on the prop').click();
  await status('▶ running, at 50 % of its speed, in a loop');
  await page.locator('.desk-prop li', { hasText: 'voice' }).waitFor();
  await page.getByRole('link', { name: 'Poses' }).click();
  await page.getByRole('link', { name: 'Desk' }).click();
  await onTheProp.getByLabel('in a loop').uncheck();
  await page.getByLabel('Speed on the prop').selectOption('1');
  await operator.button('Play hoot on the prop').click();
  await status('▶ running');
  await operator.button('End hoot on the prop').click();
  await operator.button('Play hoot on the prop').waitFor();
  await operator.button('Park').click();
  await operator.condition('parked');

  // Removed again, the file is what it was, to the byte.
  await page.getByText('New cue, duplicate, remove').click();
  await operator.button('Remove the cue').click();
  await operator.button('Remove it').click();
  await status('hoot is removed');
  expect(await daemon.readProp()).toBe(original);
  await operator.close();
}, 120_000);
