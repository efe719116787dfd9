import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator } from './browser.ts';

const GATE = fileURLToPath(new URL('show.yaml', import.meta.url));
const PHONE = { width: 360, height: 640 };

const rig = browserAndDaemons(() => Daemon.start({ prop: GATE }));

/** The place of a cue in the list, whatever stands in it. */
const places = ({ page }: Operator) =>
  page.locator('.show-list .show-cue').evaluateAll((cells) =>
    cells.map((cell) => {
      const { x, y, width, height } = cell.getBoundingClientRect();
      return [x, y + scrollY, width, height];
    }),
  );

const names = ({ page }: Operator) =>
  page
    .locator('.show-list .show-cue .show-name')
    .evaluateAll((all) => all.map((one) => one.firstChild?.textContent));

/** Looks repeatedly until a busy machine has had its time. */
const poll = <T>(look: () => Promise<T>) => expect.poll(look, { timeout: 15_000 });

const cue = ({ page }: Operator, name: string) =>
  page.locator('.show-list .show-cue > button', {
    has: page.locator('.show-name', { hasText: new RegExp(`^${name}( next)?$`) }),
  });

const side = ({ page }: Operator, name: string) =>
  page.locator('.show-side .show-cue > button', { hasText: name });

const next = ({ page }: Operator) => page.locator('.show-next .primary');

it('runs a show by one thumb', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon, {
    viewport: PHONE,
    hasTouch: true,
    view: 'show',
    scripts: [axeSource],
  });
  const { page } = operator;
  const second = await Operator.open(rig.browser, rig.daemon, { view: 'show' });

  // Nothing runs without control; what each takes is said.
  expect(await cue(operator, 'rise').isDisabled()).toBe(true);
  expect(await cue(operator, 'rise').textContent()).toContain('takes 4.0 s');
  expect(await cue(operator, 'twinkle').textContent()).toContain('until ended');
  await operator.wake();

  // Before it is pressed: the gate is shut, and nobody knows what the relay did before.
  await poll(() => cue(operator, 'puff').textContent()).toMatch(/! mist (rests|needs gate)/);
  const shown = await places(operator);
  // Next, stop and the cue are on one screen.
  for (const one of [next(operator), operator.button(/^Stop/), cue(operator, 'rise')])
    expect(await one.boundingBox().then((box) => box!.y + box!.height)).toBeLessThanOrEqual(640);

  // The next one runs, and the one after it is next; a double tap is one tap.
  expect(await next(operator).textContent()).toContain('rise');
  await next(operator).dblclick({ delay: 10 });
  await poll(() => next(operator).textContent()).toContain('puff');
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/▶ 1 s · 3 s left/);
  await poll(() => cue(second, 'rise').textContent()).toMatch(/ 2 s · 2 s left/);
  expect(await cue(operator, 'shut').textContent()).toContain('not beside rise: both use gate');
  expect(await places(operator)).toEqual(shown);

  // Refused at its button, and nothing shifts.
  await cue(operator, 'shut').tap();
  const refusal = page.locator('.trouble-place');
  await refusal.getByText('shares channels with rise').waitFor();
  expect(await cue(operator, 'shut').textContent()).not.toContain('left out');
  expect(await places(operator)).toEqual(shown);
  await operator.button('OK: dismiss the message').click();

  // A second tap asks, in the same place; what was meant for the cue does not answer.
  await cue(operator, 'rise').tap();
  const question = page.getByRole('group', { name: 'rise is running' });
  await question.waitFor();
  expect(await places(operator)).toEqual(shown);
  expect(await question.getByText('End rise').getAttribute('aria-disabled')).toBe('true');
  await question.getByText('Let it run').click();
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/▶/);
  await cue(operator, 'rise').tap();
  await poll(() => question.getByText('Start again').getAttribute('aria-disabled')).toBe('false');
  await question.getByText('Start again').click();
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/▶ [01] s · [34] s left/);
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBe(0);
  await cue(operator, 'rise').tap();
  await poll(() => question.getByText('End rise').getAttribute('aria-disabled')).toBe('false');
  await question.getByText('End rise').click();
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/takes 4.0 s/);

  // A part that is left out is said at the button of its cue, until that is no longer true.
  await cue(operator, 'shut').tap();
  await poll(() => cue(operator, 'shut').textContent()).toMatch(/▶/);
  await poll(() => cue(operator, 'shut').textContent()).toMatch(/takes/);
  const remaining = page.locator('.show-side .show-state', { hasText: 'rests for' });
  await remaining.waitFor({ state: 'detached', timeout: 15_000 });
  expect(await cue(operator, 'puff').textContent()).toContain('mist needs gate above 20.0°');
  await cue(operator, 'puff').tap();
  await poll(() => cue(operator, 'puff').textContent()).toContain('left out: mist needs gate');
  expect(await places(operator)).toEqual(shown);
  await cue(operator, 'rise').tap();
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/▶/);
  await poll(() => cue(operator, 'rise').textContent()).toMatch(/takes/);
  expect(await cue(operator, 'puff').textContent()).toContain('takes 1.0 s');

  // Relays: a momentary one is one button, the other one counts down how long it is on and rests.
  const closed = page.locator('.show-side .is-running', { hasText: 'chime' });
  await Promise.all([closed.waitFor(), side(operator, 'Pulse chime').tap()]);
  await closed.waitFor({ state: 'detached' });
  await side(operator, 'mist').tap();
  await poll(() => side(operator, 'mist').textContent()).toMatch(/on for [12] s more/);
  await poll(() => side(operator, 'mist').textContent()).toMatch(/rests for [56] s more/);
  await poll(() => side(operator, 'mist').textContent()).toMatch(/rests for [34] s more/);
  expect(await cue(operator, 'puff').textContent()).toMatch(/mist rests for [234] s more/);
  await side(operator, 'mist').tap();
  await refusal.getByText(/rests/).waitFor();
  await refusal.waitFor({ state: 'attached' });
  await page.locator('.trouble').waitFor({ state: 'detached', timeout: 15_000 });

  // One without an end shows how long it has run; idle behaviour says that it runs.
  await cue(operator, 'twinkle').tap();
  await poll(() => cue(operator, 'twinkle').textContent()).toMatch(/▶ 1 s, until ended/);
  await side(operator, 'breathing').tap();
  await poll(() => side(second, 'breathing').textContent()).toContain('running');

  // The order: by buttons, by keys on the handle, by touch; kept over a reload.
  await operator.button('Order').click();
  await operator.button('Move twinkle up').click();
  await page.getByRole('button', { name: /^Move dawn: / }).press('ArrowUp');
  expect(await page.evaluate(() => document.activeElement?.getAttribute('aria-label'))).toMatch(
    /^Move dawn: /,
  );
  await page.getByLabel('puff is in the show').uncheck();
  const handle = page.getByRole('button', { name: /^Move shut: / });
  const from = (await handle.boundingBox())!;
  const to = (await page.getByRole('button', { name: /^Move rise: / }).boundingBox())!;
  await page.mouse.move(from.x + 20, from.y + 20);
  await page.mouse.down();
  await page.mouse.move(from.x + 20, to.y + 60, { steps: 5 });
  await page.mouse.move(from.x + 20, to.y + 10, { steps: 5 });
  await page.mouse.up();
  expect(await breaches(operator)).toEqual([]);
  await operator.button('Done').click();
  const order = ['shut', 'rise', 'twinkle', 'dawn'];
  expect(await names(operator)).toEqual(order);
  page.on('dialog', (dialog) => dialog.accept());
  await page.reload();
  await operator.linked();
  await cue(operator, 'shut').waitFor();
  expect(await names(operator)).toEqual(order);
  expect(await names(second)).toEqual(['rise', 'puff', 'shut', 'twinkle', 'dawn']);
  await operator.close();
  await second.close();
}, 90_000);
