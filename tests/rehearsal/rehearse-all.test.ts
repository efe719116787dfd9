import { describe, expect, test } from 'vitest';
import { type Loaded, parseProp } from '../../src/prop/load.ts';
import { rehearseAll } from '../../src/rehearsal/rehearse-all.ts';
import { wholeFindings } from '../../src/rehearsal/rehearse-findings.ts';
import { OWL, propText, relay, servo } from '../prop/helpers.ts';

const ALWAYS = () => true;

function load(text: string): Loaded & { prop: NonNullable<Loaded['prop']> } {
  const loaded = parseProp(text, 'f.yaml');
  expect(loaded.findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  return loaded as Loaded & { prop: NonNullable<Loaded['prop']> };
}

async function found(text: string) {
  const loaded = load(text);
  const whole = await rehearseAll(loaded.prop, ALWAYS);
  return { loaded, whole, findings: wholeFindings(whole, loaded) };
}

test('the owl: all of it is rehearsed, and nothing is found', async () => {
  const { whole, findings } = await found(OWL);
  expect(findings).toEqual([]);
  expect(whole.skipped).toEqual([]);
  expect(whole.parts.map(({ of, name }) => (of === 'park' ? of : `${of} ${name}`))).toEqual([
    'wake wake',
    'cue wake',
    'cue blink',
    'cue glance',
    'cue breath',
    'idle awake',
    'park',
    'park',
  ]);
  expect(whole.parts.at(-1)!.name).not.toBe(whole.parts.at(-2)!.name);
});

describe('what shows in the rehearsal alone has the place of its step', () => {
  /** Two relays that must not be on together, each switched by a cue of its own within a third. */
  test('an interlock between cues', async () => {
    const { findings, loaded } = await found(
      propText(
        `a: ${relay(17, { requires: '[{ channel: b, is: off }]' })}\n  b: ${relay(27)}`,
        'idle: { busy: { plays: [{ cue: one, everyS: [1, 2] }, { cue: two, everyS: [1, 2] }] } }\ncues:\n  one:\n    - { at: 0, switch: { a: on }, forS: 3 }\n  two:\n    - { at: 0, switch: { b: on }, forS: 3 }',
      ),
    );
    expect(loaded.findings.filter(({ severity }) => severity !== 'note')).toEqual([]);
    expect(findings.length).toBeGreaterThan(0);
    for (const { path, wrong, severity } of findings) {
      expect(path).toMatch(/^cues\.(one|two)\[0\]$/);
      expect(wrong).toMatch(/rehearsed: idle busy, at [\d.]+ s/);
      expect(severity).toBe('warning');
    }
  });

  test('a deadline that parking from the worst pose passes', async () => {
    const slow = { speedDegS: '20', accelDegS2: '200', limitsDeg: '[-45, 45]' };
    const { loaded, whole } = await found(
      propText(
        `a: ${servo(18, slow)}\n  b: ${servo(17, slow)}`,
        'park: { stages: [[a], [b]], deadlineS: 3 }',
      ),
    );
    const park = whole.parts.filter(({ of }) => of === 'park');
    expect(park.length).toBe(2);
    for (const { events } of park) expect(events.some(({ what }) => what === 'stop')).toBe(true);
    // The check of the file says it already: it is not said again.
    expect(loaded.findings).toMatchObject([{ path: 'park.deadlineS' }]);
    expect(wholeFindings(whole, loaded)).toEqual([]);
    // And is said where the check of the file has not.
    const again = wholeFindings(whole, { ...loaded, findings: [] });
    expect(again).toMatchObject([{ path: 'park.deadlineS', severity: 'warning' }]);
    expect(again[0]!.wrong).toMatch(/rehearsed: parking with a at -?45 deg, b at -?45 deg/);
  });

  test('a relay that its duty guard opens in a trigger at night', async () => {
    const { findings } = await found(
      propText(
        `a: ${relay(17, { duty: '{ maxOnS: 2, restS: 100 }', draw: '{ onA: 0.2 }' })}`,
        'osc: { port: 9000 }\ntriggers: { call: { osc: /x, cue: twice, unattended: true } }\ncues:\n  twice:\n    - { name: x, at: 0, cue: puff }\n    - { after: x, at: 1, cue: puff }\n  puff:\n    - { at: 0, switch: { a: on }, forS: 1.5 }',
      ),
    );
    // Once, at the step that asks for it, though the trigger and its cue are rehearsed each.
    expect(findings).toMatchObject([{ path: 'cues.puff[0]', severity: 'warning' }]);
    expect(findings[0]!.wrong).toMatch(/^a opened after 2 s.*rehearsed: cue twice, at 3/);
  });

  test('what the check of the file says of a step is not said again', async () => {
    const { loaded, findings } = await found(
      propText(
        `a: ${servo(18, { speedDegS: '20' })}`,
        'cues: { w: [{ at: 0, move: { a: 40 }, overS: 0.5 }] }',
      ),
    );
    const told = loaded.findings.filter(({ path }) => path.startsWith('cues.w[0]'));
    expect(told.length).toBeGreaterThan(0);
    expect(findings).toEqual([]);
  });
});

test('a trigger with nobody there wakes, plays and parks', async () => {
  const { whole } = await found(
    propText(
      `a: ${servo(18)}`,
      'osc: { port: 9000 }\ntriggers: { call: { osc: /x, cue: w, unattended: true }, hand: { osc: /y, cue: w } }\ncues: { w: [{ at: 0, move: { a: 10 } }] }',
    ),
  );
  expect(whole.parts.map(({ of, events }) => [of, events])).toContainEqual(['trigger', []]);
  expect(whole.skipped).toEqual([]);
});

test('a time that is too short says what was not rehearsed', async () => {
  const loaded = load(OWL);
  let looks = 0;
  const whole = await rehearseAll(loaded.prop, () => ++looks <= 2);
  expect(whole.skipped).toEqual(
    expect.arrayContaining(['cue blink', 'cue glance', 'cue breath', 'idle awake']),
  );
  const [first] = wholeFindings(whole, loaded);
  expect(first).toMatchObject({ severity: 'warning', path: '(file)' });
  expect(first!.wrong).toContain('the time was too short to rehearse');
});

test('a cue without end, and one of thousands of steps, end in time', async () => {
  const steps = Array.from(
    { length: 3000 },
    (_, i) => `{ at: ${i / 100}, move: { a: ${i % 2 ? 5 : -5} } }`,
  );
  const { whole } = await found(
    propText(
      `a: ${servo(18)}`,
      `cues:\n  tick: [{ at: 0, move: { a: 5 } }]\n  on: [{ at: 0, cue: tick, times: until stopped }]\n  long: [${steps.join(', ')}]`,
    ),
  );
  expect(whole.skipped).toEqual([]);
  expect(whole.parts.filter(({ of }) => of === 'cue')).toHaveLength(3);
});
