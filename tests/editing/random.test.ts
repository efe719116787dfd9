import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { isMap, isScalar, isSeq, Lexer } from 'yaml';
import type { Change } from '../../src/editing/change.ts';
import { type Plan, planChange } from '../../src/editing/plan.ts';
import { editProp, type Loaded, parseProp } from '../../src/prop/load.ts';
import { Refusal } from '../../src/shared/errors.ts';
import fc from '../fast-check.ts';

// Random changes of the owl and of a prop with nested groups, both forms of a cue, and an arm.

const read = (file: string) => readFileSync(new URL(file, import.meta.url), 'utf8');
// The torque of an arm takes seconds to work out.
const withoutArm = read('./crane.yaml').replaceAll(/^ +load:.*\n( +arm:.*\n)?/gm, '');
const PROPS = [
  parseProp(read('../../config/owl.yaml'), 'owl.yaml'),
  parseProp(withoutArm, 'crane.yaml'),
];

function namesOf({ raw }: Loaded) {
  const file = raw as Record<string, Record<string, Record<string, unknown>>>;
  const keys = (section: string) => Object.keys(file[section] ?? {});
  const marks = keys('channels').flatMap((channel) =>
    Object.keys((file.channels![channel]!.marks as object | undefined) ?? {}),
  );
  const wires = file.wires as unknown as { label: string }[] | undefined;
  const own = Object.values(file.channels!).flatMap(({ wire }) =>
    wire ? [(wire as { label: string }).label] : [],
  );
  return {
    channel: keys('channels'),
    rail: keys('rails'),
    group: keys('groups'),
    pose: keys('poses'),
    mark: [...new Set(marks)],
    wire: [...(wires ?? []).map(({ label }) => label), ...own],
  };
}

type Names = ReturnType<typeof namesOf>;
const WHAT = ['channel', 'rail', 'group', 'pose', 'mark', 'wire'] as const;
const some = <T>(list: readonly T[]) => fc.constantFrom(...list);
const servosWith = ({ raw }: Loaded, mark: string): string[] =>
  Object.entries((raw as { channels: Record<string, { marks?: object }> }).channels)
    .filter(([, { marks }]) => marks && Object.hasOwn(marks, mark))
    .map(([name]) => name);

interface Target {
  what: (typeof WHAT)[number];
  name: string;
  channels?: string[];
}

function target(loaded: Loaded, names: Names): fc.Arbitrary<Target> {
  return some(WHAT.filter((what) => names[what].length > 0)).chain((what) =>
    some(names[what]).chain(
      (name): fc.Arbitrary<Target> =>
        what === 'mark'
          ? fc
              .subarray(servosWith(loaded, name), { minLength: 1 })
              .map((channels) => ({ what, name, channels }))
          : fc.constant({ what, name }),
    ),
  );
}

/** A name that occurs nowhere else. */
const FRESH = 'Zz_1-fresh';

const renames = (loaded: Loaded) =>
  target(loaded, namesOf(loaded)).map((one): Change => ({ do: 'rename', ...one, to: FRESH }));

function changes(loaded: Loaded): fc.Arbitrary<Change> {
  const names = namesOf(loaded);
  const pins = fc.array(fc.integer({ min: 0, max: 30 }), { minLength: 1, maxLength: 3 });
  const stages = (loaded.raw as { park?: { stages?: unknown[] } }).park?.stages?.length ?? 0;
  const stage = fc.integer({ min: -1, max: stages });
  return fc.oneof(
    renames(loaded),
    target(loaded, names).map((one): Change => ({ do: 'remove', ...one })),
    fc
      .record({
        name: some(names.channel),
        pins: fc.option(pins, { nil: undefined }),
        rail: fc.option(some(names.rail), { nil: undefined }),
      })
      .map((one): Change => ({ do: 'move', what: 'channel', board: undefined, ...one })),
    some(['channel', 'rail', 'group', 'pose'] as const)
      .filter((what) => names[what].length > 0)
      .chain((what) =>
        fc.record({
          do: fc.constant('order' as const),
          what: fc.constant(what),
          name: some(names[what]),
          place: fc.nat(12),
        }),
      ),
    fc.record({
      do: fc.constant('move' as const),
      what: fc.constant('stage' as const),
      name: some([...names.channel, ...names.group]),
      stage,
    }),
    fc.record({
      do: fc.constant('order' as const),
      what: fc.constant('stage' as const),
      stage: fc.nat(4),
      place: fc.nat(4),
    }),
    fc.record({
      do: fc.constant('add' as const),
      what: fc.constant('channel' as const),
      name: some([FRESH, ...names.channel]),
      kind: some(['servo', 'relay', 'rgb', 'lamp']),
      part: fc.option(some(['servo-9g', 'relay-board-5v', 'rgb-led', 'nothing']), {
        nil: undefined,
      }),
    }),
    fc.record({
      do: fc.constant('add' as const),
      what: fc.constant('group' as const),
      name: fc.constant(FRESH),
      members: fc.subarray([...names.channel, ...names.group]),
    }),
    fc.record({
      do: fc.constant('add' as const),
      what: fc.constant('mark' as const),
      name: fc.constant(FRESH),
      channels: fc.subarray(names.channel),
      deg: fc.integer({ min: -90, max: 90 }),
    }),
    fc.record({
      do: fc.constant('move' as const),
      what: fc.constant('wire' as const),
      name: some(names.wire.length > 0 ? names.wire : ['W1']),
      core: fc.nat(3),
      end: some(['from', 'to'] as const),
      to: some(['TB1-12', 'J1-39', 'X9-1']),
    }),
  );
}

function planned(loaded: Loaded, change: Change): Plan | undefined {
  try {
    return planChange(loaded, change);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    expect(error.word).toBe('change.refused');
    // A sentence with a remedy.
    expect(error.message).toMatch(/;|\?|there (is|are) /);
    return undefined;
  }
}

const comments = (text: string) => [...new Lexer().lex(text)].filter((one) => one.startsWith('#'));

/** The comments within what the edits take out. */
function goingWith(loaded: Loaded, { edits }: Plan): string[] {
  return edits.flatMap(({ path, value, rename, place }) => {
    if (value !== undefined || rename !== undefined || place !== undefined) return [];
    let node: unknown = loaded.source!.document!.contents;
    let start = 0;
    for (const key of path) {
      const pair = isMap(node)
        ? node.items.find((one) => isScalar(one.key) && one.key.value === key)
        : undefined;
      const item = isSeq(node) ? node.items[Number(key)] : undefined;
      node = pair ? pair.value : item;
      start = ((pair ? pair.key : item) as { range: number[] } | undefined)?.range[0] ?? start;
    }
    const end = (node as { range?: number[] } | null)?.range?.[2] ?? start;
    return comments(loaded.text.slice(start, end));
  });
}

/** The same characters, in whatever order. */
const sorted = (text: string) => [...text].sort().join('');

const count = (list: readonly string[], one: string) => list.filter((each) => each === one).length;

describe.each(PROPS.map((loaded) => [loaded.file, loaded] as const))('%s', (_, loaded) => {
  test('is sound to begin with', () => {
    expect(loaded.findings).toEqual([]);
  });

  test('a change is a sound file with its comments, and says what check will say', () => {
    let done = 0;
    fc.assert(
      fc.property(changes(loaded), (change) => {
        const plan = planned(loaded, change);
        if (!plan) return;
        done++;
        const { edits, after, findings } = plan;
        const made = editProp(loaded, edits);
        const again = parseProp(made.text, loaded.file);
        expect(made.text).toBe(after.text);
        expect(again.prop).toBeDefined();
        expect(again.findings).toEqual(findings);
        if (change.do === 'rename' || change.do === 'order') expect(findings).toEqual([]);
        const [before, now] = [comments(loaded.text), comments(after.text)];
        const gone = goingWith(loaded, plan);
        for (const one of new Set(before))
          expect(count(now, one) + count(gone, one), one).toBeGreaterThanOrEqual(
            count(before, one),
          );
        // What is not part of the change is as it was, to the byte: each edit changes a line or an entry.
        if (change.do === 'order') expect(sorted(after.text)).toBe(sorted(loaded.text));
      }),
      { numRuns: 80 },
    );
    expect(done).toBeGreaterThanOrEqual(10);
  });

  test('another name changes nothing but the name, and the old one gives the same bytes', () => {
    let done = 0;
    fc.assert(
      fc.property(renames(loaded), (change) => {
        const plan = planned(loaded, change);
        if (!plan || change.do !== 'rename') return;
        done++;
        const back = (text: string) => text.replaceAll(FRESH, change.name);
        expect(back(plan.after.text)).toBe(loaded.text);
        expect(back(JSON.stringify(plan.after.prop))).toBe(JSON.stringify(loaded.prop));
        // The places that are named, and the entries themselves.
        const { channels } = change;
        const self = channels?.length ?? 1;
        const lines = plan.after.text.split('\n').filter((line) => line.includes(FRESH)).length;
        expect(plan.edits.length).toBeGreaterThanOrEqual(lines);
        expect(plan.edits.length - self).toBeGreaterThanOrEqual(plan.touches.length);
        const home = planned(plan.after, { ...change, name: FRESH, to: change.name });
        expect(home!.after.text).toBe(loaded.text);
      }),
      { numRuns: 40 },
    );
    expect(done).toBeGreaterThan(15);
  });
});
