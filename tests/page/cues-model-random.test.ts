import { expect, it } from 'vitest';
import {
  addStep,
  begin,
  blocksOf,
  changed,
  copyAt,
  differing,
  dropPart,
  moveStep,
  redone,
  removeStep,
  rowsOf,
  type Step,
  type Steps,
  same,
  setAfter,
  setKey,
  setName,
  setTarget,
  stretch,
  timesOf,
  undone,
} from '../../src/gateway/page/cues-model.ts';
import fc from '../fast-check.ts';

// Not fc.double: nearly all of its numbers are next to 0.
const SECONDS = fc.integer({ min: 0, max: 60_000 }).map((ms) => ms / 1000);

/** A step with keys that the desk does not know, so that it can be told from the others. */
const STEP = fc.record(
  {
    at: SECONDS,
    move: fc.dictionary(fc.constantFrom('beak', 'wings', 'tail'), fc.integer(), { maxKeys: 3 }),
    switch: fc.dictionary(fc.constantFrom('mist', 'fan'), fc.constantFrom('on', 'off')),
    overS: SECONDS,
    until: fc.record({ channel: fc.constant('beak'), above: fc.integer(), withinS: SECONDS }),
    choose: fc.constant(['a', 'b']),
    scent: fc.string(),
    puffs: fc.array(fc.integer(), { maxLength: 3 }),
  },
  { requiredKeys: ['at'] },
);

/** A change, at a place that is counted round and round the list. */
const CHANGE = fc.record({
  what: fc.constantFrom(
    ...(['move', 'stretch', 'target', 'no target', 'drop', 'after', 'clock'] as const),
    ...(['name', 'no name', 'copy', 'remove', 'spread'] as const),
  ),
  at: fc.nat(1000),
  other: fc.nat(1000),
  byS: fc.integer({ min: -20_000, max: 20_000 }).map((ms) => ms / 1000),
  part: fc.constantFrom('move', 'switch', 'until', 'choose', 'pose'),
  name: fc.constantFrom('one', 'two', 'three'),
});

function apply(steps: Steps, change: typeof CHANGE extends fc.Arbitrary<infer C> ? C : never) {
  const at = change.at % steps.length;
  const other = change.other % steps.length;
  if (steps.length === 0) return steps;
  switch (change.what) {
    case 'move':
      return moveStep(steps, at, change.byS);
    case 'stretch':
      return stretch(steps, at, change.part, change.byS);
    case 'target':
      return setTarget(steps, at, 'move', 'beak', change.byS);
    case 'no target':
      return setTarget(steps, at, 'switch', 'mist', undefined);
    case 'drop':
      return dropPart(steps, at, change.part);
    case 'after':
      return setAfter(steps, at, other);
    case 'clock':
      return setAfter(steps, at, undefined);
    case 'name':
      return setName(steps, at, change.name);
    case 'no name':
      return setName(steps, at, '');
    case 'copy':
      return addStep(steps, copyAt(steps[at]!, Math.abs(change.byS))).steps;
    case 'remove':
      return removeStep(steps, at);
    case 'spread':
      return setKey(steps, at, 'spreadS', Math.abs(change.byS) || undefined);
  }
}

const foreign = ({ id, scent, puffs }: Step) => JSON.stringify([id, scent, puffs]);

it('whatever is done, what the desk does not know stays, every step has a time, and all can be undone', () => {
  fc.assert(
    fc.property(
      fc.array(STEP, { maxLength: 6 }),
      fc.array(CHANGE, { maxLength: 60, size: 'max' }),
      (given, changes) => {
        const first: Steps = given.map((step, id) => ({ ...step, id }));
        const known = new Set(first.map(foreign));
        let history = begin(first);
        for (const change of changes) {
          const before = history.now;
          const now = apply(before, change);
          // What was not changed is the same object, so it is written to the file as it was.
          const kept = now.filter((step) => before.includes(step)).length;
          if (['move', 'stretch', 'target', 'spread'].includes(change.what))
            expect(kept).toBeGreaterThanOrEqual(before.length - 1);
          for (const step of now) expect(known).toContain(foreign(step));
          history = changed(history, now);
          const times = timesOf(now);
          expect(times).toHaveLength(now.length);
          for (const { startS, endS, spreadS, never } of times) {
            expect(never).toBe(false);
            expect(Number.isFinite(endS) && startS >= 0 && endS >= startS && spreadS >= 0).toBe(
              true,
            );
          }
          // Every step is within reach, and every block has a row.
          const blocks = blocksOf(now);
          expect(new Set(blocks.map(({ step }) => step)).size).toBe(now.length);
          const rows = rowsOf(now);
          for (const { row } of blocks) expect(rows).toContain(row);
          // What is sent stands for all of it.
          const { from, count, steps } = differing(first, now);
          expect(same([...first.slice(0, from), ...steps, ...first.slice(from + count)], now)).toBe(
            true,
          );
        }
        const last = history.now;
        while (history.past.length > 0) history = undone(history);
        expect(same(history.now, first)).toBe(true);
        while (history.future.length > 0) history = redone(history);
        expect(same(history.now, last)).toBe(true);
      },
    ),
    { numRuns: 40 },
  );
});
