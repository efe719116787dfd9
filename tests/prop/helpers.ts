import { readFileSync } from 'node:fs';
import { expect } from 'vitest';
import { type Finding, parseProp } from '../../src/prop/load.ts';

export const OWL_FILE = new URL('../../config/owl.yaml', import.meta.url);
export const OWL = readFileSync(OWL_FILE, 'utf8');

/** Says where a finding is expected, in front of that place; it is taken out before reading. */
const MARK = '»';

interface Expected {
  severity?: Finding['severity'];
  path?: string;
  wrong: RegExp | string;
  right?: RegExp | string;
}

/** Reads a text with one mark for each finding that is expected, in order, and no others. */
export function expectFindings(marked: string, expected: Expected[]): void {
  const parts = marked.split(MARK);
  let before = '';
  const places = parts.slice(0, -1).map((part) => {
    before += part;
    const lines = before.split('\n');
    return { line: lines.length, column: lines.at(-1)!.length + 1 };
  });
  const { findings, prop } = parseProp(parts.join(''), 'test.yaml');
  expect(
    findings.map(({ severity, line, column, path, wrong, right }, i) => ({
      severity,
      line,
      column,
      // Only what is asked for is compared, but nothing is left out: the lists must be as long.
      ...(expected[i]?.path === undefined ? {} : { path }),
      wrong,
      right,
    })),
  ).toEqual(
    expected.map(({ severity = 'error', path, wrong, right = '' }, i) => ({
      severity,
      ...places[i],
      ...(path === undefined ? {} : { path }),
      wrong: expect.stringMatching(wrong),
      right: expect.stringMatching(right),
    })),
  );
  expect(places).toHaveLength(expected.length);
  for (const { wrong, right } of findings) {
    expect(wrong).not.toContain(';');
    expect(right).not.toBe('');
  }
  const blocked = findings.some(({ severity }) => severity === 'error');
  expect(prop === undefined).toBe(blocked);
}

/** A small sound prop; `channels` and `rest` are YAML lines. */
export function propText(channels: string, rest = '', boards = 'head: { driver: sim }'): string {
  return `sinew: 1
name: Test
boards:
  ${boards}
channels:
  ${channels}
${rest}`;
}

/** A servo in flow style; `more` is added to it, or replaces what it has by default. */
export function servo(pin: number | string, more: Record<string, string> = {}): string {
  return flow({
    kind: 'servo',
    output: `{ board: head, pin: ${pin} }`,
    calibration: '[[1000, -45], [2000, 45]]',
    park: '{ to: 0 }',
    ...more,
  });
}

/** A relay in flow style, released by the level that its pin is pulled to. */
export function relay(pin: number, more: Record<string, string> = {}): string {
  return flow({
    kind: 'relay',
    output: `{ board: head, pin: ${pin}, activeLow: ${pin <= 8} }`,
    ...more,
  });
}

function flow(pairs: Record<string, string>): string {
  return `{ ${Object.entries(pairs)
    .map(([key, value]) => `${key}: ${value}`)
    .join(', ')} }`;
}
