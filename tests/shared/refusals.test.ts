import { readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { withRefusalTable } from '../../src/api/refusal-table.ts';
import { CODES, Refusal } from '../../src/shared/errors.ts';
import { REFUSALS, type RefusalCode } from '../../src/shared/refusals.ts';

const root = new URL('../../', import.meta.url);

/** Words at the places where something is refused; a comparison with one raises nothing. */
function raised(): Set<string> {
  const files = readdirSync(new URL('src', root), { recursive: true, encoding: 'utf8' });
  const words = new Set<string>();
  for (const file of files.filter((name) => /\.tsx?$/.test(name))) {
    const text = readFileSync(new URL(`src/${file}`, root), 'utf8');
    const calls = text.matchAll(
      /(?:Refusal|refuseReset)\(\s*(?:[^,'"()]*\?\s*'([^']+)'\s*:\s*)?'([^']+)'/g,
    );
    for (const [, either, word] of calls) for (const one of [either, word]) words.add(one ?? '');
    for (const [, word] of text.matchAll(/'([^']+)' satisfies RefusalCode/g)) words.add(word!);
  }
  words.delete('');
  return words;
}

test('every word of the catalogue is raised somewhere, and no other', () => {
  expect([...raised()].sort()).toEqual(Object.keys(REFUSALS).sort());
});

test('the table in DEVELOPERS.md is up to date (npm run codes)', () => {
  const text = readFileSync(new URL('DEVELOPERS.md', root), 'utf8');
  expect(withRefusalTable(text)).toBe(text);
});

test('a word is two parts in lower case; meaning and remedy are sentences', () => {
  for (const [word, [, meaning, remedy]] of Object.entries(REFUSALS)) {
    expect(word).toMatch(/^[a-z]+(-[a-z]+)*\.[a-z]+(-[a-z]+)*$/);
    expect(meaning).toMatch(/^[A-Za-z].*\.$/);
    expect(remedy).toMatch(/^[A-Z`].*\.$/);
  }
});

test('a refusal carries its word beside the sentence, and the number of its class', () => {
  const words = Object.keys(REFUSALS) as RefusalCode[];
  for (const word of words) {
    const { code, data } = new Refusal(word, 'no; do this', { limit: 3 }).toObject();
    expect(code).toBe(CODES[REFUSALS[word][0]]);
    expect(data).toEqual({ code: word, reason: 'no; do this', limit: 3 });
  }
});
