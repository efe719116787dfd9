/// <reference lib="dom" />
import { fileURLToPath } from 'node:url';
import type { Page } from 'playwright-core';
import { expect, it } from 'vitest';
import { parse } from 'yaml';
import { Calibration } from '../../src/sums/calibration.ts';
import { upOf } from '../../src/sums/tilt.ts';
import { Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches } from './axe.ts';
import { browserAndDaemons, Cable, Operator, PHONE } from './browser.ts';
import { Watch } from './watch.ts';

/** A flap, a light and two relays; nothing in the file is measured. */
const PROP = fileURLToPath(new URL('./measure.yaml', import.meta.url));

const rig = browserAndDaemons(() => Daemon.start({ prop: PROP, known: false }));

async function channelOf(daemon: Daemon, name: string) {
  return parse(await daemon.readProp()).channels[name] as Record<string, unknown>;
}

const said = (page: Page, text: string | RegExp) =>
  page.getByRole('status').filter({ hasText: text }).first().waitFor();

/** What the servo of the test really does: 82.5 deg for 1000 us, and 2 deg off at 1500 us. */
const trueDeg = (pulseUs: number) => 2 + (pulseUs - 1500) * 0.0825;

it('measures the true angle of a servo, and writes it with its marks where they were', async () => {
  const { daemon, browser } = rig;
  const watch = await Watch.on(daemon);
  const operator = await Operator.open(browser, daemon, {
    view: 'bench/flap',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  const pulse = () => watch.of('flap').pulseUs as number;
  const told = async () => {
    const { channels } = await watch.peer.ask('channel.list');
    return (channels as Record<string, Record<string, unknown>>).flap!;
  };
  expect((await told()).measured).toEqual({ calibration: null });
  await page.getByText('with a protractor or a phone: not measured').waitFor();
  await page.getByRole('link', { name: 'Measure it' }).click();
  await page.getByRole('heading', { name: 'True angle of flap' }).waitFor();

  const take = async (deg: number) => {
    await page.getByLabel('Angle (deg)').fill(String(deg));
    await operator.button('Take this point').click();
  };
  const goTo = async (deg: number) => {
    for (let left = deg - watch.deg('flap'); Math.abs(left) > 0.5; left = deg - watch.deg('flap')) {
      const step = Math.min(5, Math.abs(left)) >= 5 ? 5 : 1;
      const target = watch.deg('flap') + step * Math.sign(left);
      await operator.button(`Jog by ${left < 0 ? 'minus' : 'plus'} ${step} deg`).click();
      await watch.arrives('flap', target);
    }
    // The page hears of it a moment later.
    await page.locator('.reading-state', { hasText: /^at rest$/ }).waitFor();
  };

  // Nobody knows where it stands: nothing can be said of it.
  await take(0);
  await said(page, 'Not taken: nobody knows where it stands');
  await operator.wake();
  await watch.arrives('flap', 0);

  await goTo(-20);
  await take(trueDeg(pulse()));
  await said(page, /Taken: 1278 us is −16.\d deg/);
  await page.getByText('One more point, at least.').waitFor();
  // Too near to the one before.
  await goTo(-15);
  await take(trueDeg(pulse()));
  await said(page, 'points must be 100 us apart');

  // Stop in the middle: the point stays, also when the page is loaded again, and a limp servo gives none.
  await operator.button(/^Stop/).click();
  await operator.condition('stopped');
  await take(-10);
  await said(page, /Not taken: (nobody knows where it stands|it is limp)/);
  await operator.button('Reset').click();
  await operator.condition('parked');
  await page.reload();
  await operator.linked();
  await page.getByRole('list', { name: 'Points taken' }).getByText('1278 us').waitFor();
  await operator.wake();
  await watch.arrives('flap', 0);

  // A slip in reading is asked about.
  await goTo(20);
  await take(trueDeg(pulse()));
  await goTo(0);
  await take(trueDeg(pulse()) + 11);
  await page.getByText('Is the point at 1500 us right?').waitFor();
  await operator.button('Leave out the point at 1500 us').click();
  await page.getByText(/It differs from the prop file by up to/).waitFor();
  await page
    .getByText(/are extrapolated/)
    .first()
    .waitFor();

  // Somebody else takes control meanwhile and captures a mark: it is not lost.
  await operator.button('Hand over').click();
  await operator.button('Take control').waitFor();
  const other = await Peer.connect(daemon);
  await other.ask('session.open', { client: 'other' });
  await other.ask('lease.take');
  await watch.peer.until(() => watch.peer.states.at(-1)?.condition);
  await other.ask('mark.capture', { channel: 'flap', mark: 'middle' });
  await other.ask('lease.release', { graceS: 30 });
  await other.close();
  await page.getByRole('row', { name: /^middle/ }).waitFor();
  // With nobody in control: the check holds up the page's script for seconds.
  expect(await breaches(operator)).toEqual([]);
  await operator.takeControl();

  const before = new Calibration([
    [500, -90],
    [2500, 90],
  ]);
  await operator.button('Write this calibration').click();
  await said(page, 'It counts once the prop is parked');
  // Until then the old one counts, and the page says so.
  expect((await told()).calibration).toEqual([
    [500, -90],
    [2500, 90],
  ]);
  await operator.button('Park now').click();
  await operator.condition('parked');
  await page.getByText(/In the prop file: measured on \d+ \w+ \d+/).waitFor();

  const flap = await channelOf(daemon, 'flap');
  const points = flap.calibration as [number, number][];
  expect(points).toHaveLength(2);
  for (const [us, deg] of points) expect(deg).toBeCloseTo(trueDeg(us), 0);
  const now = new Calibration(points);
  for (const [mark, deg] of Object.entries({ shut: 0, open: 30, middle: 0 }))
    expect(now.toPulseUs((flap.marks as Record<string, number>)[mark]!)).toBeCloseTo(
      before.toPulseUs(deg),
      0,
    );
  expect(flap.envelopeUs).toEqual([500, 2500]);
  expect(await daemon.readProp()).toContain('# common values');
  // It is where it was, and the page knows that no point waits any more.
  await page.getByText('None yet. They stay in this browser').waitFor();
  await operator.close();
}, 90_000);

it('takes the angle from the phone that lies on the flap, and prints a protractor of true size', async () => {
  const { daemon, browser } = rig;
  const watch = await Watch.on(daemon);
  const cable = await Cable.to(daemon);
  const operator = await Operator.open(browser, cable.url, {
    view: 'bench/flap/measure',
    viewport: PHONE,
  });
  const { page } = operator;
  await operator.wake();
  await watch.arrives('flap', 0);

  // Against the browser's own matrices (CSS Transforms: rotations multiplied in this order).
  for (const [alpha, beta, gamma] of [
    [30, 40, -20],
    [200, -100, 60],
    [0, 90, 0],
  ] as const) {
    const up = upOf({ alpha, beta, gamma });
    const matrix = await page.evaluate(
      ([a, b, g]) => {
        const m = new DOMMatrix()
          .rotateAxisAngleSelf(0, 0, 1, a)
          .rotateAxisAngleSelf(1, 0, 0, b)
          .rotateAxisAngleSelf(0, 1, 0, g);
        return [m.m13, m.m23, m.m33];
      },
      [alpha, beta, gamma] as const,
    );
    expect(up.x).toBeCloseTo(matrix[0]!, 6);
    expect(up.y).toBeCloseTo(matrix[1]!, 6);
    expect(up.z).toBeCloseTo(matrix[2]!, 6);
  }

  const lie = (beta: number) =>
    page.evaluate(async (deg) => {
      for (let i = 0; i < 8; i++) {
        const angles = { alpha: 12, beta: deg, gamma: 1 };
        dispatchEvent(new DeviceOrientationEvent('deviceorientation', angles));
        await new Promise((resume) => setTimeout(resume, 100));
      }
    }, beta);
  await operator.button('Use this phone’s tilt').click();
  await lie(7);
  await operator.button('This is 0').click();
  await page.locator('.phone-angle', { hasText: /^0 deg$/ }).waitFor();
  await operator.button('Take the phone’s angle').click();
  await said(page, 'Taken: 1500 us is 0 deg.');
  for (const to of [5, 10, 15, 20]) {
    await operator.button('Jog by plus 5 deg').click();
    await watch.arrives('flap', to);
  }
  await page.locator('.reading-state', { hasText: /^at rest$/ }).waitFor();
  await lie(26.5);
  await operator.button('Take the phone’s angle').click();
  await said(page, 'Taken: 1722 us is 19.5 deg.');
  await page.getByText('8.78 deg for 100 us').waitFor();

  // Without the link nobody knows where it stands: nothing can be taken or written, and nothing is lost.
  operator.linkMayBreak = true;
  cable.pull();
  await page.locator('.app.cut main[inert]').waitFor();
  cable.plug();
  await operator.linked();
  await page.getByRole('list', { name: 'Points taken' }).getByText('1722 us').waitFor();

  // On paper: CSS counts 96 px to an inch of 25.4 mm (CSS Values 4, section 6.2).
  await page.emulateMedia({ media: 'print' });
  const mm = 96 / 25.4;
  for (const paper of ['a4', 'letter']) {
    await page.evaluate((value) => {
      const select = [...document.querySelectorAll('select')].find((one) =>
        one.value !== value ? [...one.options].some((option) => option.value === value) : true,
      )!;
      select.value = value;
      select.dispatchEvent(new Event('change', { bubbles: true }));
    }, paper);
    await page.locator(`.measure-paper.is-${paper}`).waitFor();
    const [across, down] = await page.locator('.control line').evaluateAll((lines) =>
      ['across', 'down'].map((name) => {
        const line = lines.find((one) => one.classList.contains(name)) as SVGLineElement;
        const { a, b, c, d } = line.getScreenCTM()!;
        const [x, y] = [line.x2, line.y2].map(
          ({ baseVal }, i) => baseVal.value - (i === 0 ? line.x1 : line.y1).baseVal.value,
        );
        return Math.hypot(a * x! + c * y!, b * x! + d * y!);
      }),
    );
    expect(across! / mm).toBeCloseTo(100, 2);
    expect(down! / mm).toBeCloseTo(100, 2);
    const sheet = await page.pdf({ preferCSSPageSize: true });
    // One sheet, of the paper's size in points (ISO 32000: 72 to an inch).
    const text = sheet.toString('latin1');
    expect(text.match(/\/Type\s*\/Page\b/g)).toHaveLength(1);
    const box = /\/MediaBox\s*\[0 0 ([0-9.]+) ([0-9.]+)\]/.exec(text)!;
    const inches = paper === 'a4' ? [210 / 25.4, 297 / 25.4] : [8.5, 11];
    expect(Number(box[1])).toBeCloseTo(inches[0]! * 72, -0.5);
    expect(Number(box[2])).toBeCloseTo(inches[1]! * 72, -0.5);
  }
  await operator.close();
}, 60_000);

/** Answers one of the questions of a section. */
const answer = (operator: Operator, question: string, nth: number, label: string) =>
  operator.page
    .getByRole('group', { name: question, exact: true })
    .nth(nth)
    .getByRole('button', { name: label, exact: true })
    .click();

const measuredOf = async (watch: Watch, channel: string) => {
  const { channels } = await watch.peer.ask('channel.list');
  return (channels as Record<string, { measured: Record<string, string | null> }>)[channel]!
    .measured;
};

async function parkNow(operator: Operator) {
  await operator.button('Park now').click();
  await operator.condition('parked');
  await operator.button('Wake').click();
  await operator.condition('live');
}

it('corrects the level of a relay, and calls it measured only once that was seen to be right', async () => {
  const { daemon, browser } = rig;
  const watch = await Watch.on(daemon);
  const operator = await Operator.open(browser, daemon, {
    view: 'bench/mist',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  await page.getByRole('link', { name: 'Measure it' }).click();
  await operator.wake();
  const on = (is: boolean) => watch.until('mist', ({ value }) => value === is);
  /** @param lit what it feeds is on with the relay off, and on */
  const walk = async (lit: readonly [whileOff: string, whileOn: string]) => {
    await operator.button('On for 1 s').click();
    await on(true);
    await on(false);
    await answer(operator, 'What did you hear?', 0, 'This relay, twice');
    await operator.button('Off').click();
    await answer(operator, 'Is what it feeds on now?', 0, lit[0]);
    await expect
      .poll(() =>
        operator
          .button('On for 5 s')
          .click()
          .then(() => watch.of('mist').value),
      )
      .toBe(true);
    await answer(operator, 'Is what it feeds on now?', 1, lit[1]);
    await answer(operator, 'Is what it feeds on now?', 2, 'It is off');
  };
  // The duty guard holds here as anywhere: it cannot be on for longer than its 20 s in all.
  await walk(['It is on', 'It is off']);
  await page.getByText('the level is the wrong one').waitFor();
  expect(await operator.button('Note it as measured').count()).toBe(0);
  await operator.button('Make the file right').click();
  await said(page, 'It counts once the prop is parked');
  await parkNow(operator);
  expect(((await channelOf(daemon, 'mist')).output as Record<string, unknown>).activeLow).toBe(
    false,
  );
  expect(await measuredOf(watch, 'mist')).toEqual({ contact: null });

  await walk(['It is off', 'It is on']);
  await operator.button('Note it as measured').click();
  await said(page, 'and it counts now');
  expect((await measuredOf(watch, 'mist')).contact).toMatch(/^\d{4}-\d\d-\d\d$/);
  await page.getByText(/In the prop file: measured on/).waitFor();
  await operator.button('Hand over').click();
  await operator.button('Take control').waitFor();
  expect(await breaches(operator)).toEqual([]);
  await operator.close();
}, 60_000);

it('puts the colours of a light in order, balances its white, and checks its resistors', async () => {
  const { daemon, browser } = rig;
  const watch = await Watch.on(daemon);
  const operator = await Operator.open(browser, daemon, {
    view: 'bench/eye/measure',
    viewport: PHONE,
    scripts: [axeSource],
  });
  const { page } = operator;
  await operator.wake();
  const look = async (seen: readonly string[]) => {
    for (const [i, colour] of ['red', 'green', 'blue'].entries()) {
      await operator.button(`Show ${colour}`).click();
      const hex = `#${[0, 1, 2].map((j) => (j === i ? 'ff' : '00')).join('')}`;
      await watch.until('eye', ({ value }) => value === hex);
      await answer(operator, 'What do you see?', i, seen[i]!);
    }
  };
  await look(['Green', 'Red', 'Blue']);
  await page.getByText('red is on 6, green on 5, blue on 13').waitFor();
  await operator.button('Exchange the pins in the file').click();
  await said(page, 'It counts once the prop is parked');
  await parkNow(operator);
  const { output } = (await channelOf(daemon, 'eye')) as { output: { pins: number[] } };
  expect(output.pins).toEqual([6, 5, 13]);
  expect((await measuredOf(watch, 'eye')).colours).toBeNull();
  await look(['Red', 'Green', 'Blue']);
  await operator.button('Note it as measured').click();
  await said(page, 'and it counts now');
  expect((await measuredOf(watch, 'eye')).colours).not.toBeNull();

  // The light shows what will be white: 60 % of the linear light of blue is #cb of its sRGB (IEC 61966-2-1).
  const inSection = (name: string, text: string) =>
    page.getByRole('region', { name }).getByRole('status').filter({ hasText: text }).waitFor();
  await page.getByLabel('blue of eye (%)').fill('60');
  await watch.until('eye', ({ value }) => value === '#ffffcb');
  await operator.button('Write this white balance').click();
  await inSection('White balance', 'It counts once the prop is parked');
  await parkNow(operator);
  expect((await channelOf(daemon, 'eye')).whiteBalance).toEqual([1, 1, 0.6]);
  expect((await measuredOf(watch, 'eye')).white).not.toBeNull();
  // From now on, white is that, and is shown as white.
  await page.getByText('In the prop file: 1, 1, 0.6; measured on').waitFor();

  const volts = async (name: string, value: number) =>
    page.getByLabel(`Volts across the resistor of ${name}`).fill(String(value));
  await volts('red', 3);
  await volts('green', 1.8);
  // Blue is on for 60 % of the time, and a meter shows the average: here of too large a current.
  await volts('blue', 1.8);
  await page.getByText('more than the LED may have').waitFor();
  expect(await operator.button('Note the resistors as measured').count()).toBe(0);
  await volts('blue', 1.08);
  await operator.button('Note the resistors as measured').click();
  await inSection('Resistors', 'and it counts now');
  expect(Object.values(await measuredOf(watch, 'eye'))).not.toContain(null);
  await operator.button('Hand over').click();
  await operator.button('Take control').waitFor();
  expect(await breaches(operator)).toEqual([]);
  await operator.close();
}, 60_000);
