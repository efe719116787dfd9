import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { cueText, stepsOf } from '../../src/editing/cue-steps.ts';
import { type PropText, readText } from '../../src/prop/text.ts';
import fc from '../fast-check.ts';

// Random edits of the steps of the example props, each step with a comment above it and one beside it.

type Step = Record<string, unknown>;

const FILES = ['owl', 'lidded-chest', 'apple-hand', 'dusk-street'];
const plain = FILES.map((name) => {
  return readFileSync(new URL(`../../config/${name}.yaml`, import.meta.url), 'utf8');
});

/** With a comment above each step of a cue, and one beside it. */
function commented(text: string): PropText {
  const lines = text.split('\n');
  const from = lines.indexOf('cues:');
  const end = lines.findIndex((line, i) => i > from && /^\w/.test(line));
  let n = 0;
  const cues = lines.slice(from, end).flatMap((line) => {
    const [, indent] = /^( +)- \{.*\}( *#.*)?$/.exec(line) ?? [];
    if (indent === undefined) return [line];
    n++;
    const beside = line.includes('} #') ? `${line}, beside ${n}` : `${line} # beside ${n}`;
    return [`${indent}# above ${n}`, beside];
  });
  expect(n).toBeGreaterThan(2);
  return readText([...lines.slice(0, from), ...cues, ...lines.slice(end)].join('\n'));
}
const props = plain.map(commented);

const EDITS = ['at', 'value', 'more', 'less', 'add', 'remove', 'move', 'copy'] as const;
type Edit = { do: (typeof EDITS)[number]; step: number; to: number; amount: number };

const edits = (kinds: readonly Edit['do'][]) =>
  fc.array(
    fc.record({
      do: fc.constantFrom(...kinds),
      step: fc.nat(30),
      to: fc.nat(30),
      amount: fc.integer({ min: 1, max: 900 }),
    }),
    { minLength: 1, maxLength: 6 },
  );

function edited(steps: readonly Step[], { do: what, step, to, amount }: Edit): Step[] {
  const next = structuredClone(steps) as Step[];
  const at = step % next.length;
  const one = next[at]!;
  const place = to % (next.length + 1);
  const value = amount / 100;
  switch (what) {
    case 'at':
      one.at = value;
      break;
    case 'value':
      for (const part of ['move', 'dim']) {
        const values = one[part] as Step | undefined;
        if (values) values[Object.keys(values)[0]!] = part === 'dim' ? value / 10 : value;
      }
      break;
    case 'more':
      one.spreadS = value;
      break;
    case 'less':
      for (const key of ['overS', 'fadeS', 'ease', 'forS']) delete one[key];
      break;
    case 'add':
      next.splice(place, 0, { at: value, pose: `pose${amount}`, overS: 1 });
      break;
    case 'remove':
      if (next.length > 1) next.splice(at, 1);
      break;
    case 'move':
      next.splice(to % next.length, 0, ...next.splice(at, 1));
      break;
    case 'copy':
      next.splice(place, 0, structuredClone(one));
  }
  return next;
}

const comments = (text: string, word: string) =>
  [...text.matchAll(new RegExp(`${word} \\d+`, 'g'))].map(([found]) => found).sort();

const cases = (kinds: readonly Edit['do'][]) =>
  fc.record({
    prop: fc.nat(props.length - 1),
    cue: fc.nat(30),
    edits: edits(kinds),
    windows: fc.boolean(),
  });

function played(given: { prop: number; cue: number; edits: Edit[]; windows: boolean }) {
  const { windows } = given;
  const prop = props[given.prop]!;
  const before = windows ? readText(prop.text.replaceAll('\n', '\r\n')) : prop;
  const names = Object.keys((before.raw as { cues: object }).cues);
  const cue = names[given.cue % names.length]!;
  const old = stepsOf(before.raw, cue)!.steps as Step[];
  const steps = given.edits.reduce(edited, old);
  const after = cueText(before, { cue, steps });
  return { before, after, cue, old, steps };
}

/** What is outside of the lines that changed. */
function outside(before: string, after: string): void {
  const [was, is] = [before.split('\n'), after.split('\n')];
  const cues = (lines: string[]) => {
    const from = lines.findIndex((line) => /^cues:/.test(line));
    return [from, lines.findIndex((line, i) => i > from && /^\w/.test(line))] as const;
  };
  const [from, end] = cues(was);
  const [, isEnd] = cues(is);
  expect(is.slice(0, from)).toEqual(was.slice(0, from));
  expect(is.slice(isEnd)).toEqual(was.slice(end));
}

describe('random edits of steps', () => {
  test('keep every comment where nothing is removed, and say what was asked for', () => {
    fc.assert(
      fc.property(cases(EDITS.filter((one) => one !== 'remove')), (given) => {
        const { before, after, cue, steps } = played(given);
        expect(stepsOf(after.raw, cue)!.steps).toEqual(steps);
        expect(comments(after.text, 'above')).toEqual(comments(before.text, 'above'));
        expect(comments(after.text, 'beside')).toEqual(comments(before.text, 'beside'));
        expect(/(^|[^\r])\n/.test(after.text)).toBe(!given.windows);
        outside(before.text, after.text);
      }),
      { numRuns: 80 },
    );
  });

  test('keep the lines of unchanged steps, their order and the comments above, also where some go', () => {
    const kinds = EDITS.filter((one) => one !== 'move' && one !== 'copy');
    fc.assert(
      fc.property(cases(kinds), (given) => {
        const { before, after, cue, old, steps } = played(given);
        expect(stepsOf(after.raw, cue)!.steps).toEqual(steps);
        expect(comments(after.text, 'above')).toEqual(comments(before.text, 'above'));
        outside(before.text, after.text);
        // What is not a line of a step that was changed or removed is there, in its order.
        const kept = new Set(steps.map((step) => JSON.stringify(step)));
        const gone = old.filter((step) => !kept.has(JSON.stringify(step))).length;
        const is = after.text.split('\n');
        let at = 0;
        let missing = 0;
        for (const line of before.text.split('\n')) {
          const found = is.indexOf(line, at);
          if (found < 0) missing++;
          else at = found + 1;
        }
        expect(missing).toBeLessThanOrEqual(gone);
      }),
      { numRuns: 80 },
    );
  });

  test('a change and the change back keep every comment', () => {
    fc.assert(
      fc.property(cases(['at', 'value', 'add']), (given) => {
        const { before, after, cue, old } = played(given);
        const back = cueText(after, { cue, steps: old });
        expect(stepsOf(back.raw, cue)!.steps).toEqual(old);
        expect(comments(back.text, 'above')).toEqual(comments(before.text, 'above'));
        expect(comments(back.text, 'beside')).toEqual(comments(before.text, 'beside'));
      }),
      { numRuns: 60 },
    );
  });
});
