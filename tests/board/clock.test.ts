import { readdirSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

const here = new URL('.', import.meta.url);

// This machine's clock gives a quarter of the truth here: see SlowBoard. The fixture's own test compares both.
const EXEMPT = ['board.ts', 'clock.test.ts', 'fixture.test.ts'];

it.each(readdirSync(here).filter((name) => /\.ts$/.test(name) && !EXEMPT.includes(name)))(
  '%s looks at no clock but the board’s',
  (name) => {
    const text = readFileSync(new URL(name, here), 'utf8');
    const found =
      /\b(setTimeout|setInterval|performance\.|Date\.now|hrtime|new Date|timers)\b/.exec(text);
    expect(found?.[0]).toBeUndefined();
  },
);
