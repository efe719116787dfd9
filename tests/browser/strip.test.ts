import { describe, expect, it } from 'vitest';
import { Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { browserAndDaemons, Operator } from './browser.ts';

const SIZES = [
  { width: 360, height: 640 },
  { width: 1024, height: 768 },
  { width: 1440, height: 900 },
] as const;

const rig = browserAndDaemons();

const strip = ({ page }: Operator) => page.getByRole('region', { name: 'State of the prop' });

it.each(SIZES)(
  'the strip tells everything at $width px and never changes its height',
  async (size) => {
    const operator = await Operator.open(rig.browser, rig.daemon, {
      viewport: size,
      scripts: [axeSource],
    });
    const bar = strip(operator);
    const says = (text: string | RegExp) => bar.getByText(text).first().waitFor();
    const heights = new Set<number>();
    const measure = async () => {
      await operator.page.evaluate(() => scrollTo(0, 100_000));
      const box = (await bar.boundingBox())!;
      expect(box.y).toBe(0);
      heights.add(Math.round(box.height));
      expect(await overhang(operator)).toBeLessThanOrEqual(0);
    };
    await operator.page.locator('.channels').first().waitFor();
    await says('Nobody has control.');
    await says('Nothing moves');
    await measure();
    // Whatever a slow link takes.
    await operator.page.evaluate(() => {
      document.querySelector('.trip')!.textContent = 'link 123456 ms';
    });
    await measure();
    await operator.wake();
    await says('You have control.');
    await measure();
    await operator.page.evaluate(() => scrollTo(0, 0));
    await operator.button('Run wake').click();
    await says(/^Runs wake \d+ of \d+ s$/);
    await says(/^Moves .*lid_left/);
    await measure();
    await operator.button('Hand over').click();
    await says(/^Handed over: parks in \d+ s\.$/);
    await operator.takeControl();
    await operator.button(/^Stop/).click();
    await operator.condition('stopped');
    await says(/by you/);
    await measure();
    await operator.button('Hands in').click();
    await says(/^Hands in: page \d+ \(hands in the prop\)$/);
    await measure();
    expect(heights.size).toBe(1);
    expect(await breaches(operator)).toEqual([]);
    await operator.close();
  },
);

it('leaves room for who has control beside a long refusal', async () => {
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.wake();
  await operator.button('mist on').click();
  await operator.page.getByRole('alert').filter({ hasText: 'mist needs' }).waitFor();
  // As where nobody has control: there is no button then.
  await operator.page.evaluate(() => document.querySelector('.strip > button')!.remove());
  const { width } = (await operator.page.locator('.lease').boundingBox())!;
  expect(width).toBeGreaterThan(200);
  await operator.close();
});

it('tells who stopped the prop, also to a page that comes later', async () => {
  const holder = await Peer.holder(rig.daemon);
  await holder.ask('stop', { category: 1 });
  const operator = await Operator.open(rig.browser, rig.daemon);
  await operator.condition('stopped');
  await strip(operator)
    .getByText(/by holder/)
    .waitFor();
  // Control is somebody else's, so that there is nothing to take and nothing to reset.
  await operator.button('Ask for control').click();
  await operator.button('Stop asking').waitFor();
  const { asks } = (await holder.ask('lease.ask', { wanted: false })) as { asks: string[] };
  expect(asks).toEqual([expect.stringMatching(/^page \d+$/)]);
  await operator.close();
});

describe('a refusal', () => {
  it('stands beside the hand with value and remedy, shifts nothing, and goes when it is over', async () => {
    const operator = await Operator.open(rig.browser, rig.daemon, { viewport: SIZES[0] });
    await operator.wake();
    const on = operator.button('mist on');
    await on.scrollIntoViewIfNeeded();
    const before = (await on.boundingBox())!;
    const scrolled = await operator.page.evaluate(() => scrollY);
    await on.click();
    const alert = operator.page.getByRole('alert').filter({ hasText: /./ });
    await alert
      .filter({ hasText: /mist needs tail_1 above .*; it is at −?[\d.]+°\. Move tail to \w+\./ })
      .waitFor();
    expect((await on.boundingBox())!.y - before.y).toBeCloseTo(
      scrolled - (await operator.page.evaluate(() => scrollY)),
      0,
    );
    const box = (await alert.boundingBox())!;
    const gap = Math.max(box.y - (before.y + before.height), before.y - (box.y + box.height));
    expect(gap).toBeLessThan(60);
    // Somebody brings the tail up: it is no longer true.
    await operator.button(/^open: move tail/).click();
    await alert.waitFor({ state: 'detached', timeout: 20_000 });
    await operator.close();
  });

  it('of what only the other condition forbids goes with that condition', async () => {
    const operator = await Operator.open(rig.browser, rig.daemon);
    await operator.wake();
    await operator.button(/^Stop/).click();
    await operator.condition('stopped');
    await operator.page.evaluate(() => {
      for (const one of document.querySelectorAll('fieldset')) one.disabled = false;
    });
    await operator.button('fan on').click();
    const alert = operator.page.getByRole('alert').filter({ hasText: /./ });
    await alert.waitFor();
    await operator.button('Reset').click();
    await operator.condition('parked');
    await alert.waitFor({ state: 'detached' });
    await operator.close();
  });
});

describe('the main button', () => {
  it('takes no second tap that was meant for what it was before', async () => {
    const operator = await Operator.open(rig.browser, rig.daemon);
    const at = (await operator.button('Take control').boundingBox())!;
    await operator.page.mouse.dblclick(at.x + at.width / 2, at.y + at.height / 2);
    await operator.button('Hand over').waitFor();
    const watch = await Peer.connect(rig.daemon);
    await watch.ask('session.open', { client: 'watch' });
    await watch.ask('state.follow', { hz: 50 });
    const { t } = await watch.untilState(() => true);
    expect((await watch.untilState((frame) => frame.t > t + 1)).condition).toBe('parked');
    // It is the same button, so that the keyboard's place is kept.
    expect(await operator.page.evaluate(() => document.activeElement?.textContent)).toBe('Wake');
    await operator.close();
  });
});
