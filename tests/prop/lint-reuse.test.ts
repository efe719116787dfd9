import { describe, expect, test } from 'vitest';
import { cuePlan } from '../../src/prop/cue-plan.ts';
import type { Edit } from '../../src/prop/edit-text.ts';
import { kindOf } from '../../src/prop/kinds/registry.ts';
import { lintBudget } from '../../src/prop/lint-budget.ts';
import { lintLoom } from '../../src/prop/lint-loom.ts';
import { lintPins } from '../../src/prop/lint-pins.ts';
import { isWiring, lintWiring, WIRING } from '../../src/prop/lint-wiring.ts';
import { editProp, type Loaded, parseProp } from '../../src/prop/load.ts';
import { Notes } from '../../src/prop/notes.ts';
import { largePropText } from '../bench/large-prop.ts';
import fc from '../fast-check.ts';
import { OWL } from './helpers.ts';

/**
 * What is kept from one version for the next must never show: after any edits, findings and plans are
 * those of the same text read for the first time.
 */

/** Cues within cues, choices, circles of names, poses, groups, lights and relays in one small prop. */
const NESTED = `sinew: 1
name: nested
boards: { b: { driver: sim } }
rails:
  r: { volts: 5, limitA: 2.4 }
channels:
  s1:
    kind: servo
    output: { board: b, pin: 11 }
    rail: r
    draw: { idleA: 0.1, movingA: 0.8, stallA: 2 }
    calibration: [[1000, -90], [2000, 90]]
    limitsDeg: [-80, 80]
    marks: { low: -20, high: 40 }
    park: { to: 0 }
  s2:
    kind: servo
    output: { board: b, pin: 12 }
    rail: r
    draw: { idleA: 0.1, movingA: 0.8, stallA: 2 }
    calibration: [[1000, -90], [2000, 90]]
    speedDegS: 60
    jerkDegS3: 4000
    marks: { low: -30, high: 30 }
    park: { to: low }
  l1:
    kind: lamp
    through: n-mosfet
    output: { board: b, pin: 13 }
    rail: r
    draw: { fullA: 0.5 }
    fadeS: 0.5
    park: { to: 0 }
  k1:
    kind: relay
    output: { board: b, pin: 16 }
    rail: r
    draw: { onA: 0.7 }
    duty: { maxOnS: 5, restS: 1 }
    park: { to: off }
groups:
  both: [s1, s2]
poses:
  open: { s1: high, s2: high, l1: 1 }
  shut: { s1: low, s2: low, l1: 0, k1: off }
cues:
  wave:
    - { at: 0, move: { s1: high }, ease: ease-in-out, name: up }
    - { after: up, at: 0.1, move: { s1: low }, overS: 0.4 }
  flash:
    - { at: 0, dim: { l1: 1 }, fadeS: 0.2 }
    - { at: 0.5, switch: { k1: on }, forS: 1 }
  twice:
    - { at: 0, cue: wave, times: 2 }
    - { at: 0.3, pose: open, ease: "cubic-bezier(0.3, 0, 0.6, 1)" }
  some:
    - { at: 0, choose: [wave, flash, twice], times: 3 }
    - { at: 0.2, move: { both: { around: 5, spread: 3 } } }
  endless:
    - { at: 0, cue: some, times: until stopped }
`;

/** With the kind of channel that no other text here has. */
const SOUNDS = NESTED.replace('sim }', 'sim }, card: { driver: alsa }').replace(
  'groups:',
  '  voice: { kind: sound, output: { board: card } }\ngroups:',
);

const seen = ({ text, raw, prop, findings }: Loaded) =>
  JSON.stringify([
    text,
    raw,
    prop,
    findings,
    prop && Object.keys(prop.cues).map((name) => cuePlan(prop, name)),
  ]);

const small = fc.integer({ min: -25, max: 45 });
const channel = (servo: string): fc.Arbitrary<Edit> =>
  fc.oneof(
    small.map((value) => ({ path: ['channels', servo, 'marks', 'high'], value })),
    small.map((value) => ({ path: ['channels', servo, 'marks', 'low'], value })),
    small.map((value) => ({ path: ['channels', servo, 'marks', 'other'], value })),
    fc
      .integer({ min: 20, max: 200 })
      .map((value) => ({ path: ['channels', servo, 'speedDegS'], value })),
    fc
      .integer({ min: 100, max: 900 })
      .map((value) => ({ path: ['channels', servo, 'accelDegS2'], value })),
    fc
      .constantFrom(undefined, 3000, 5000)
      .map((value) => ({ path: ['channels', servo, 'jerkDegS3'], value })),
    fc
      .constantFrom(0.2, 0.8, 1.6)
      .map((value) => ({ path: ['channels', servo, 'draw', 'movingA'], value })),
    fc
      .constantFrom('low', 'high', 0, 12)
      .map((value) => ({ path: ['channels', servo, 'park', 'to'], value })),
    fc
      .constantFrom([-80, 80], [-60, 50], undefined)
      .map((value) => ({ path: ['channels', servo, 'limitsDeg'], value })),
  );
const nestedEdits: fc.Arbitrary<Edit> = fc.oneof(
  { weight: 6, arbitrary: fc.constantFrom('s1', 's2').chain(channel) },
  fc
    .constantFrom(0.2, 0.5, 1.5)
    .map((value) => ({ path: ['channels', 'l1', 'draw', 'fullA'], value })),
  fc.constantFrom(0, 0.5, 2).map((value) => ({ path: ['channels', 'l1', 'fadeS'], value })),
  fc.constantFrom(0, 0.7).map((value) => ({ path: ['channels', 'l1', 'park', 'to'], value })),
  fc.constantFrom('on', 'off').map((value) => ({ path: ['channels', 'k1', 'park', 'to'], value })),
  fc.constantFrom(3, 0.5).map((value) => ({ path: ['channels', 'k1', 'duty', 'maxOnS'], value })),
  small.map((value) => ({ path: ['poses', 'open', 's1'], value })),
  fc.constantFrom(0.2, 1).map((value) => ({ path: ['poses', 'open', 'l1'], value })),
  fc.constantFrom(1, 2, 5).map((value) => ({ path: ['cues', 'twice', 0, 'times'], value })),
  fc
    .constantFrom('wave', 'flash', 'some')
    .map((value) => ({ path: ['cues', 'twice', 0, 'cue'], value })),
  fc.constantFrom(0, 0.4, 2).map((value) => ({ path: ['cues', 'wave', 1, 'overS'], value })),
  fc.constantFrom(['s1'], ['s1', 's2']).map((value) => ({ path: ['groups', 'both'], value })),
  fc.constantFrom(0.9, 2, 6).map((value) => ({ path: ['rails', 'r', 'limitA'], value })),
);

const LARGE = largePropText();
const largeEdits: fc.Arbitrary<Edit> = fc.oneof(
  fc
    .tuple(fc.integer({ min: 1, max: 60 }), fc.constantFrom('down', 'half', 'open', 'new'), small)
    .map(([i, mark, value]) => ({ path: ['channels', `feather_${i}`, 'marks', mark], value })),
  fc
    .tuple(fc.integer({ min: 1, max: 60 }), fc.constantFrom(0.1, 0.4, 3))
    .map(([i, value]) => ({ path: ['channels', `feather_${i}`, 'wire', 'lengthM'], value })),
  fc
    .tuple(fc.integer({ min: 1, max: 60 }), fc.constantFrom('W001', 'W999'))
    .map(([i, value]) => ({ path: ['channels', `feather_${i}`, 'wire', 'label'], value })),
  fc
    .tuple(fc.integer({ min: 1, max: 60 }), fc.constantFrom(0.1, 0.5, 0.7))
    .map(([i, value]) => ({ path: ['channels', `feather_${i}`, 'draw', 'movingA'], value })),
);
const owlEdits: fc.Arbitrary<Edit> = fc
  .tuple(
    fc.constantFrom('beak', 'lid_left', 'lid_right', 'head_turn', 'wing_left'),
    fc.constantFrom('shut', 'open', 'closed', 'left'),
    small,
  )
  .map(([name, mark, value]) => ({ path: ['channels', name, 'marks', mark], value }));

/** A thing that notes which of its keys are read. */
const watched = <T extends object>(thing: T, note: (key: string) => void): T =>
  new Proxy(thing, {
    get: (target, key, receiver) => {
      if (typeof key === 'string') note(key);
      return Reflect.get(target, key, receiver);
    },
  });

const ALL_GIVEN = { has: () => true, broken: () => false, sound: true };

describe('what is kept from version to version', () => {
  test.each([
    ['nested cues', NESTED, nestedEdits, 120, 6],
    ['the owl', OWL, owlEdits, 12, 4],
    ['a large prop', LARGE, largeEdits, 5, 4],
  ] as const)(
    '%s: findings and plans are those of the text read afresh',
    (_, text, edits, runs, most) => {
      const first = parseProp(text, 'f');
      expect(first.prop).toBeDefined();
      fc.assert(
        fc.property(fc.array(edits, { minLength: 1, maxLength: most }), (steps) => {
          let loaded = first;
          for (const step of steps) {
            let next: Loaded;
            try {
              next = editProp(loaded, [step]);
            } catch (error) {
              if (error instanceof RangeError) continue;
              throw error;
            }
            expect(seen(next)).toBe(seen(parseProp(next.text, 'f')));
            if (next.prop) loaded = next;
          }
        }),
        { numRuns: runs },
      );
    },
  );

  test('a mark that no cue uses leaves every plan the same object; one that is used makes it new', () => {
    const first = parseProp(NESTED, 'f');
    const plan = (loaded: Loaded, cue: string) => cuePlan(loaded.prop!, cue);
    const other = editProp(first, [{ path: ['channels', 's1', 'marks', 'spare'], value: 3 }]);
    for (const cue of ['wave', 'flash', 'twice', 'some', 'endless'])
      expect(plan(other, cue)).toBe(plan(first, cue));
    const used = editProp(other, [{ path: ['channels', 's1', 'marks', 'high'], value: 41 }]);
    expect(plan(used, 'flash')).toBe(plan(first, 'flash'));
    for (const cue of ['wave', 'twice', 'some', 'endless'])
      expect(plan(used, cue)).not.toBe(plan(first, cue));
  });

  test('lints of the wiring look at nothing that is not compared', () => {
    for (const text of [OWL, LARGE, NESTED]) {
      const { prop } = parseProp(text, 'f');
      const touched = new Set<string>();
      const unwired = new Set<string>();
      const channels = Object.fromEntries(
        Object.entries(prop!.channels).map(([name, spec]) => [
          name,
          watched(spec, (key) => {
            if (!isWiring(spec, key)) unwired.add(`${name} ${key}`);
          }),
        ]),
      );
      const watchedProp = watched({ ...prop!, channels }, (key) => touched.add(`prop ${key}`));
      for (const lint of [lintPins, lintBudget, lintLoom]) {
        lint(new Notes(watchedProp, ALL_GIVEN));
      }
      const inside = ['channels', ...WIRING].map((part) => `prop ${part}`);
      expect(
        [...touched].filter((one) => one.startsWith('prop ') && !inside.includes(one)),
      ).toEqual([]);
      expect([...unwired]).toEqual([]);
      expect(touched.size).toBeGreaterThan(5);
    }
  });

  test('the check of a channel by itself looks at nothing but that channel and the boards', () => {
    const kinds = new Set<string>();
    for (const text of [OWL, LARGE, NESTED, SOUNDS]) {
      const { prop } = parseProp(text, 'f');
      for (const [name, channel] of Object.entries(prop!.channels)) {
        kinds.add(channel.kind);
        const touched = new Set<string>();
        const channels = watched({ ...prop!.channels }, (key) => touched.add(`channel ${key}`));
        const only = watched({ ...prop!, channels }, (key) => touched.add(key));
        kindOf(channel).check(new Notes(only, ALL_GIVEN), name, channel, new Map());
        const others = [...touched].filter(
          (one) => !['boards', 'channels', `channel ${name}`].includes(one),
        );
        expect(others).toEqual([]);
      }
    }
    expect([...kinds].sort()).toEqual(['lamp', 'relay', 'rgb', 'servo', 'sound']);
  });

  test('a value that is written out counts as given, though it is the default', () => {
    const text = NESTED.replace('draw: { onA: 0.7 }', 'coil: { volts: 5, ohm: 70 }');
    const first = parseProp(text, 'f');
    const warnings = ({ findings }: Loaded) => findings.filter(({ path }) => /k1.coil/.test(path));
    expect(warnings(first)).toHaveLength(1);
    const next = editProp(first, [{ path: ['channels', 'k1', 'coil', 'gain'], value: 100 }]);
    expect(warnings(next)).toEqual([]);
    expect(seen(next)).toBe(seen(parseProp(next.text, 'f')));
  });

  test.each([
    ['s1', 'marks', { low: 1, high: 40 }, 1],
    ['s1', 'limitsDeg', [-70, 80], 1],
    ['s1', 'park', { to: 3 }, 1],
    ['l1', 'park', { to: 1 }, 2],
    ['k1', 'park', { to: 'on' }, 2],
    ['s1', 'draw', { movingA: 0.3 }, 2],
  ])('after an edit of %s (%s: %j) wiring lints have run %i times', (name, key, value, runs) => {
    let count = 0;
    const lint = () => {
      count++;
    };
    const first = parseProp(NESTED, 'f').prop!;
    const spec = { ...first.channels[name]!, [key]: value };
    const next = { ...first, channels: { ...first.channels, [name]: spec } } as typeof first;
    for (const prop of [first, next]) lintWiring(new Notes(prop, ALL_GIVEN), lint);
    expect(count).toBe(runs);
  });
});
