/// <reference lib="dom" />
import { readFile } from 'node:fs/promises';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { loomHtml, loomSvg } from '../../src/cli/loom-drawn.tsx';
import { parseProp } from '../../src/prop/load.ts';
import { launch } from './browser.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

const files = ['owl.yaml', 'apple-hand.yaml', 'dusk-street.yaml', 'long names'];
/** Names that have to be cut short. */
const LONG = `sinew: 1
name: Long names
boards: { head: { driver: pigpio }, chip: { driver: pca9685, bus: 1, address: 0x40 }, a_meter_with_a_very_long_name: { driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 5 } }
connectors:
  A1: { board: chip, name: outputs }
  VERY_LONG_NAME_1: { name: a connector with a rather long name and many more words, cavities: 4 }
channels:
  a_very_long_channel_name_that_goes_on_and_on:
    kind: servo
    output: { board: chip, pin: 3 }
    calibration: [[1000, -45], [2000, 45]]
    park: { to: 0 }
    wire: { label: LABEL OF NEARLY 32 CHARACTERS W, cores: [{ role: signal, colour: GNYE, from: A1-3, to: VERY_LONG_NAME_1-1 }, { role: plus, colour: RDWH, from: T1-1, to: VERY_LONG_NAME_1-2 }, { role: return, colour: BK, from: T1-2, to: VERY_LONG_NAME_1-3 }] }
senses: { the_current_of_a_very_long_channel: { kind: current, board: a_meter_with_a_very_long_name, channel: a_very_long_channel_name_that_goes_on_and_on } }
`;

const read = async (file: string) => {
  if (file === 'long names') return parseProp(LONG, file).prop!;
  const text = await readFile(new URL(`../../config/${file}`, import.meta.url), 'utf8');
  return parseProp(text, file).prop!;
};

it.each(files)(
  'the drawing of %s is XML, and no text runs out of it or over another',
  async (file) => {
    const svg = loomSvg(await read(file));
    const page = await browser.newPage();
    await page.setContent('<body style="margin:0"></body>');
    const faults = await page.evaluate((text) => {
      const parsed = new DOMParser().parseFromString(text, 'image/svg+xml');
      const error = parsed.querySelector('parsererror');
      if (error) return [error.textContent];
      document.body.append(document.importNode(parsed.documentElement, true));
      const boxes = [...document.querySelectorAll('svg text')].map((element) => ({
        words: element.textContent,
        box: element.getBoundingClientRect(),
      }));
      const { width, height } = document.querySelector('svg')!.getBoundingClientRect();
      const out = boxes.filter(
        ({ box }) => box.left < 0 || box.top < 0 || box.right > width || box.bottom > height,
      );
      const over = boxes.flatMap(({ box: a, words }, i) =>
        boxes.slice(i + 1).flatMap(({ box: b, words: other }) => {
          const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
          const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
          return x > 1 && y > 5 ? [`${words} | ${other}`] : [];
        }),
      );
      return [...out.map(({ words }) => `out: ${words}`), ...over];
    }, svg);
    expect(faults).toEqual([]);
    await page.close();
  },
);

it.each(files)('the print-out of %s asks for nothing and fits the width of A4', async (file) => {
  const page = await browser.newPage();
  const asked: string[] = [];
  page.on('request', (request) => asked.push(request.url()));
  // 190 mm at 96 px an inch: A4 less its margins.
  await page.setViewportSize({ width: 718, height: 1000 });
  await page.emulateMedia({ media: 'print' });
  await page.setContent(loomHtml(await read(file)));
  expect(asked).toEqual([]);
  const widest = await page.evaluate(() => document.documentElement.scrollWidth);
  expect(widest).toBeLessThanOrEqual(718);
  const { flags, cut } = await page.evaluate(() => {
    const all = [...document.querySelectorAll('.flag')];
    const width = all.map((one) => Math.round((one.getBoundingClientRect().width / 96) * 25.4));
    const cut = all.filter((one) => one.scrollWidth > one.clientWidth).length;
    return { flags: [...new Set(width)], cut };
  });
  expect({ flags, cut }).toEqual({ flags: [60], cut: 0 });
  await page.close();
});
