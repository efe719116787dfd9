import { describe, expect, test } from 'vitest';
import { cueChanged, stepsOf } from '../../src/editing/cue-steps.ts';
import { type Loaded, parseProp } from '../../src/prop/load.ts';
import type { Refusal } from '../../src/shared/errors.ts';
import { OWL } from '../prop/helpers.ts';

type Step = Record<string, unknown>;

const owl = parseProp(OWL, 'owl.yaml');
/** The owl with another text in place of its cues. */
function withCues(cues: string): Loaded {
  const from = OWL.indexOf('\ncues:\n') + 1;
  const text = `${OWL.slice(0, from)}${cues}`;
  const loaded = parseProp(text, 'owl.yaml');
  expect(loaded.prop, JSON.stringify(loaded.findings.slice(0, 3))).toBeDefined();
  return loaded;
}
const steps = (loaded: Loaded, cue: string): Step[] =>
  structuredClone(stepsOf(loaded.raw, cue)!.steps);
/** The cues of the text after other steps were saved. */
function saved(loaded: Loaded, cue: string, next: Step[]): string {
  const after = cueChanged(loaded, { cue, steps: next });
  expect(after.prop, JSON.stringify(after.findings.slice(0, 3))).toBeDefined();
  expect(stepsOf(after.raw, cue)!.steps).toEqual(next);
  return after.text.slice(after.text.indexOf('\ncues:\n') + 1);
}
const refusal = (work: () => unknown): Refusal => {
  try {
    work();
  } catch (error) {
    return error as Refusal;
  }
  throw new Error('it was not refused');
};

const COMMENTED = `cues:
  # The first one.
  hello: # said at the door
    # both lids
    - { at: 0, move: { lid_left: open, lid_right: open }, overS: 1.20 } # slowly
    # then the beak

    # (it creaks)
    - { name: up,   at: 1.5, move: { beak: open } } # wide
    - at: 3 # written over lines
      move: # these two
        beak: shut
        lid_left: shut
    - { after: up, at: 0.5, until: { channel: beak, above: 20, withinS: 2 } }
    # the end

  # The second one.
  bye: { clash: take over, seed: 4, steps: [{ at: 0, pose: asleep }] } # long form
  long:
    seed: 7 # of dice
    steps:
      - { at: 0, choose: [hello, bye] } # one of them
...
`;

describe('saving a cue', () => {
  test('what was read, saved again, changes no byte', () => {
    for (const loaded of [owl, withCues(COMMENTED)])
      for (const cue of Object.keys(loaded.prop!.cues))
        expect(cueChanged(loaded, { cue, steps: steps(loaded, cue) })).toBe(loaded);
  });

  test('a changed step keeps its comments, its spacing and the keys that were not changed', () => {
    const loaded = withCues(COMMENTED);
    const next = steps(loaded, 'hello');
    next[0]!.move = { lid_left: 12.5, lid_right: 'open' };
    next[1]!.at = 2;
    next[1]!.overS = 0.8;
    (next[2]!.move as Step).lid_left = 'open';
    delete (next[2]!.move as Step).beak;
    expect(saved(loaded, 'hello', next)).toBe(
      COMMENTED.replace('lid_left: open, lid_right', 'lid_left: 12.5, lid_right')
        .replace('at: 1.5, move: { beak: open } }', 'at: 2, move: { beak: open }, overS: 0.8 }')
        .replace('        beak: shut\n        lid_left: shut', '        lid_left: open'),
    );
  });

  test('new steps are written as those beside them are', () => {
    const loaded = withCues(COMMENTED);
    const next = steps(loaded, 'hello');
    next.splice(1, 0, { at: 0.7, colour: { eye_left: '#ff0000' }, fadeS: 0.5 });
    next.push({ at: 5, switch: { mist: 'on' }, forS: 2 });
    expect(saved(loaded, 'hello', next)).toBe(
      COMMENTED.replace(
        '# slowly\n',
        '# slowly\n    - { at: 0.7, colour: { eye_left: "#ff0000" }, fadeS: 0.5 }\n',
      ).replace(
        'withinS: 2 } }\n',
        'withinS: 2 } }\n    - { at: 5, switch: { mist: on }, forS: 2 }\n',
      ),
    );
    const first = steps(loaded, 'hello');
    first.unshift({ at: 0, pose: 'asleep' });
    expect(saved(loaded, 'hello', first)).toBe(
      COMMENTED.replace('    # both lids\n', '    - { at: 0, pose: asleep }\n    # both lids\n'),
    );
  });

  test('of a step that goes, the comment on its own line goes with it, and what is above stays', () => {
    const loaded = withCues(COMMENTED);
    const next = steps(loaded, 'hello');
    next.splice(2, 1);
    const left = `    - at: 3 # written over lines
      move: # these two
        beak: shut
        lid_left: shut
`;
    expect(saved(loaded, 'hello', next)).toBe(COMMENTED.replace(left, ''));
    const [, ...rest] = steps(loaded, 'hello');
    expect(saved(loaded, 'hello', rest)).toBe(COMMENTED.replace(/ {4}- \{ at: 0, move.*\n/, ''));
  });

  test('a step that goes elsewhere takes its comments along', () => {
    const loaded = withCues(COMMENTED);
    const [a, b, c, d] = steps(loaded, 'hello') as [Step, Step, Step, Step];
    const text = saved(loaded, 'hello', [a, c, d, { ...b, overS: 2 }]);
    expect(text).toContain(
      'withinS: 2 } }\n    # (it creaks)\n    - { name: up,   at: 1.5, move: { beak: open }, overS: 2 } # wide\n    # the end\n',
    );
    expect(text).toContain('# slowly\n    # then the beak\n\n    - at: 3');
  });

  test('cues in the long form, and lists in brackets, keep what is around the steps', () => {
    const loaded = withCues(COMMENTED);
    expect(saved(loaded, 'bye', [{ at: 0, pose: 'asleep', overS: 2 }])).toBe(
      COMMENTED.replace('pose: asleep }', 'pose: asleep, overS: 2 }'),
    );
    const two = [
      { at: 0, pose: 'asleep' },
      { at: 3, cue: 'hello' },
    ];
    expect(saved(loaded, 'bye', two)).toBe(
      COMMENTED.replace('pose: asleep }]', 'pose: asleep }, { at: 3, cue: hello }]'),
    );
    expect(
      saved(loaded, 'long', [
        { at: 0, choose: ['hello', 'bye'] },
        { at: 9, cue: 'bye' },
      ]),
    ).toBe(COMMENTED.replace('# one of them\n', '# one of them\n      - { at: 9, cue: bye }\n'));
  });

  test('a new cue is the last one, a line for each step; without cues there is a place for them', () => {
    const next = [
      { at: 0, move: { beak: 'open' } },
      { at: 1, pose: 'asleep', overS: 2 },
    ];
    const lines =
      '    - { at: 0, move: { beak: open } }\n    - { at: 1, pose: asleep, overS: 2 }\n';
    expect(saved(withCues(COMMENTED), 'nod', next)).toBe(
      COMMENTED.replace('...\n', `  nod:\n${lines}...\n`),
    );
    const none = withCues('park: { deadlineS: 7 }\n...\n'.replace(/^park.*\n/, ''));
    const after = cueChanged(none, { cue: 'nod', steps: next });
    expect(after.prop?.cues.nod).toHaveLength(2);
    expect(after.text).toBe(none.text.replace(/\n\.\.\.\n$/, `\ncues:\n  nod:\n${lines}\n...\n`));
  });

  test('some steps can be replaced by themselves; those that are not there are refused', () => {
    const loaded = withCues(COMMENTED);
    const [, second] = steps(loaded, 'hello');
    const change = { cue: 'hello', steps: [{ ...second!, at: 2 }], from: 1, count: 1 };
    expect(cueChanged(loaded, change).text).toBe(loaded.text.replace('at: 1.5', 'at: 2'));
    expect(refusal(() => cueChanged(loaded, { ...change, from: 4 }))).toMatchObject({
      word: 'cue.no-such-steps',
      message: expect.stringContaining('cue hello has 4 steps'),
    });
  });

  test('what an alias shares is not changed behind its back', () => {
    const shared = withCues(
      'cues:\n  a:\n    - &up { at: 0, move: { beak: open } }\n  b:\n    - *up\n',
    );
    for (const cue of ['a', 'b'])
      expect(
        refusal(() => cueChanged(shared, { cue, steps: [{ at: 1, pose: 'asleep' }] })),
      ).toMatchObject({
        word: 'file.cannot-edit',
        message: expect.stringMatching(/owl\.yaml:\d+: .*up/),
      });
  });
});

describe('removing a cue', () => {
  test('what uses it is named; otherwise it goes with its steps', () => {
    expect(refusal(() => cueChanged(owl, { cue: 'blink' }))).toMatchObject({
      word: 'cue.in-use',
      message: expect.stringContaining('idle behaviour awake'),
    });
    expect(refusal(() => cueChanged(withCues(COMMENTED), { cue: 'bye' })).message).toMatch(
      /cue long, step 1/,
    );
    expect(refusal(() => cueChanged(owl, { cue: 'nod' })).word).toBe('cue.unknown');
    const after = cueChanged(withCues(COMMENTED), { cue: 'long' });
    expect(after.prop!.cues).not.toHaveProperty('long');
    expect(after.text.slice(after.text.indexOf('cues:\n'))).toBe(
      COMMENTED.replace(/ {2}long:\n(.*\n){3}/, ''),
    );
  });
});
