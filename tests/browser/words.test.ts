import { expect, it } from 'vitest';
import { METHODS } from '../../src/api/methods.ts';
import { browserAndDaemons, Operator } from './browser.ts';

const on = browserAndDaemons();

/** Everything that a view says: its text, and what is read out or shown in empty fields. */
const said = ({ page }: Operator) =>
  page.evaluate(() => {
    for (const one of document.querySelectorAll('details')) one.open = true;
    const labels = [...document.querySelectorAll('[aria-label], [placeholder], [title]')].flatMap(
      (one) => ['aria-label', 'placeholder', 'title'].map((name) => one.getAttribute(name) ?? ''),
    );
    const texts: string[] = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const { parentElement, nodeValue } = walker.currentNode;
      if (!parentElement?.closest('script, style')) texts.push(nodeValue ?? '');
    }
    return [...texts, ...labels].join('\n');
  });

/** Names of methods and of keys of the file, and a hyphen where a minus is meant. */
function wrongWords(text: string): string[] {
  const methods = Object.keys(METHODS).filter((name) => name.includes('.'));
  const found = [
    ...methods.filter((name) => text.includes(name)),
    ...(text.match(/\b[a-z]+[A-Z]\w*/g) ?? []),
    ...(text.match(/(?<![\w.\-/])-\d[\d.]*/g) ?? []),
    ...(text.match(/\bleases?\b|\bconfirm: "/g) ?? []),
  ];
  return [...new Set(found)];
}

it('no view says a name of the API or of the file, and every minus is a true one', async () => {
  expect(wrongWords('call lease.take; limitsDeg is -5 deg')).toEqual([
    'lease.take',
    'limitsDeg',
    '-5',
    'lease',
  ]);
  const operator = await Operator.open(on.browser, on.daemon);
  const { page } = operator;
  const other = await Operator.open(on.browser, on.daemon, { view: 'show' });
  await operator.wake();
  // Refusals, a stop, and one who has no control, all in the journal.
  await operator.button('mist on').click();
  await page.locator('.trouble').waitFor();
  await page.locator('.journal').getByText('has control').first().waitFor();
  for (const view of [
    'overview',
    'show',
    'bench/beak',
    'bench/mist',
    'bench/eye_left',
    'bench/lantern',
    'wiring',
  ]) {
    await page.evaluate((hash) => {
      location.hash = hash;
    }, view);
    await page.locator(`nav a[href="#${view.split('/')[0]}"][aria-current="page"]`).waitFor();
    if (view === 'wiring') await page.locator('table.wires tbody tr').first().waitFor();
    expect(wrongWords(await said(operator)), view).toEqual([]);
  }
  expect(wrongWords(await said(other)), 'without control').toEqual([]);
  await other.close();

  // A wire is found by GPIO, by pin of the header, by its number and by what it is for.
  const search = page.getByLabel('Search');
  for (const [text, label] of [
    ['GPIO 17', 'W11'],
    ['pin 11', 'W11'],
    ['W12', 'W12'],
    ['wire 12', 'W12'],
  ] as const) {
    await search.fill(text);
    await page.locator('.count', { hasText: `1 wire of` }).filter({ hasText: text }).waitFor();
    expect(await page.locator('table.wires tbody th').allTextContents()).toEqual([label]);
  }
  await search.fill('left wing');
  await page.locator('.count', { hasText: 'for “left wing”' }).waitFor();
  expect(await page.locator('table.wires tbody td').first().textContent()).toContain('wing_left');

  // A field takes a true minus sign, typed and copied.
  await operator.view('overview');
  const angle = page.getByLabel('to (deg)').first();
  await angle.focus();
  await page.keyboard.insertText('−4');
  await page.keyboard.type('.5');
  expect(await angle.inputValue()).toBe('-4.5');
  await operator.close();
});
