import { readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { METHODS } from '../../src/api/methods.ts';
import { EVENT_NAMES, levelOf } from '../../src/shared/journal.ts';

test('every event is told somewhere, by its name or as a method', () => {
  const src = new URL('../../src/', import.meta.url);
  const files = ['core', 'service', 'startup'].flatMap((folder) =>
    readdirSync(new URL(folder, src)).map((name) => `${folder}/${name}`),
  );
  const text = files.map((file) => readFileSync(new URL(file, src), 'utf8')).join('\n');
  for (const name of EVENT_NAMES)
    expect(text.includes(`'${name}'`) || Object.hasOwn(METHODS, name), name).toBe(true);
});

test('commands are for the search of a fault, what matters is a warning, the rest is news', () => {
  expect(levelOf('channel.move')).toBe('debug');
  expect(levelOf('wake')).toBe('info');
  expect(levelOf('refused')).toBe('info');
  expect(levelOf('link lost')).toBe('warn');
  expect(levelOf('fault')).toBe('warn');
});
