import { readdirSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

const FOLDER = new URL('../../src/gateway/page/', import.meta.url);

it('no view opens a modal dialog: it would make Stop and Park inert', () => {
  const files = readdirSync(FOLDER).filter((name) => /\.tsx?$/.test(name));
  expect(files.length).toBeGreaterThan(20);
  for (const name of files) {
    const text = readFileSync(new URL(name, FOLDER), 'utf8');
    expect([name, text.match(/<dialog|showModal|\b(alert|confirm|prompt)\(/)?.[0]]).toEqual([
      name,
      undefined,
    ]);
  }
});
