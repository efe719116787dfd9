import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type axe from 'axe-core';
import type { Operator } from './browser.ts';

/** To be run in the page before its own scripts, as its security policy forbids to add it later. */
export const axeSource = readFileSync(
  createRequire(import.meta.url).resolve('axe-core/axe.min.js'),
  'utf8',
);

/** Breaches that axe-core calls serious or critical, with where they are. */
export async function breaches({ page }: Pick<Operator, 'page'>): Promise<string[]> {
  const { violations } = await page.evaluate(() =>
    (globalThis as unknown as { axe: typeof axe }).axe.run(),
  );
  return violations
    .filter(({ impact }) => impact === 'serious' || impact === 'critical')
    .map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 120)).join(' | ')}`);
}

/**
 * How far the page is wider than the viewport that was asked for (CSS pixels). What the page itself says of
 * its window is no measure: a phone lays a page that is too wide out on more than its screen.
 */
export function overhang({ page }: Pick<Operator, 'page'>): Promise<number> {
  const { width } = page.viewportSize()!;
  return page.evaluate((width) => document.documentElement.scrollWidth - width, width);
}
