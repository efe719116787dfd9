import { describe, expect, test } from 'vitest';
import { rehearseShow } from '../../src/show/rehearse-show.ts';
import { PROP, read, showText } from './birds.ts';

async function rehearse(rest: string, prop = PROP) {
  const { show, props, findings } = await read(showText(rest), prop);
  if (!show) throw new Error(findings.map(({ wrong }) => wrong).join('\n'));
  return rehearseShow(show, props);
}
const said = ({ remarks }: Awaited<ReturnType<typeof rehearse>>) =>
  remarks.map(({ severity, path, wrong }) => `${severity} ${path.join('.')}: ${wrong}`);

describe('the rehearsal of a show', () => {
  const PSU =
    'supplies: { psu: { volts: 6, limitA: 3, rails: { left: [servo6v], right: [servo6v] } } }\n';

  test('adds up what props draw from one supply, each by itself within its rail', async () => {
    const together = await rehearse(`${PSU}timeline: [{ at: 0, go: { birds: nod } }]`);
    // Two servos that start at once, 2 A each (stallA).
    expect(together.supplies[0]).toMatchObject({ peakA: 4, limitA: 3 });
    expect(said(together)).toEqual([
      expect.stringMatching(/^error supplies.psu.limitA: the props draw up to 4 A .* 3 A/),
    ]);
    const apart = await rehearse(
      `${PSU}timeline: [{ at: 0, go: { left: nod } }, { at: 1, go: { right: nod } }]`,
    );
    // One starts, one holds: 2 A and 0.1 A.
    expect(apart.supplies[0]!.peakA).toBe(2.1);
    expect(said(apart)).toEqual([]);
  });

  test('counts the loss of a converter', async () => {
    const half = PSU.replace('volts: 6', 'volts: 12, efficiency: 0.8');
    const { supplies } = await rehearse(`${half}timeline: [{ at: 0, go: { left: nod } }]`);
    // 6 V x 2 A / (12 V x 0.8); the other prop is parked, and draws nothing.
    expect(supplies[0]!.peakA).toBe(1.25);
  });

  test('finds flashes that only all props together make', async () => {
    const eyes = PROP.replace(
      '{ at: 0.5, dim: { eye: 0 } }',
      '{ at: 0.1, dim: { eye: 0 } }',
    ).replace(
      'glow: [{ at: 0, cue: blink, times: until stopped }]',
      'thrice: [{ at: 0, dim: { eye: 1 } }, { at: 0.1, dim: { eye: 0 } }, { at: 0.4, dim: { eye: 1 } }, { at: 0.5, dim: { eye: 0 } }]',
    );
    const alone = await rehearse('timeline: [{ at: 0, go: { left: thrice } }]', eyes);
    expect([alone.light.flashes, said(alone)]).toEqual([2, []]);
    const both = await rehearse(
      'timeline: [{ at: 0, go: { left: thrice } }, { at: 0.2, go: { right: thrice } }]',
      eyes,
    );
    expect(both.light.flashes).toBe(4);
    expect(said(both)).toEqual([
      expect.stringMatching(/^error timeline: all light together flashes up to 4/),
    ]);
  });

  test('finds cues that meet on one prop, and what is refused', async () => {
    const done = await rehearse(
      'timeline: [{ at: 0, go: { left: nod } }, { at: 1, go: { left: blink } }, { at: 1.2, go: { left: shake } }]',
    );
    expect(said(done)).toEqual([
      expect.stringMatching(/^warning timeline.1: cue blink of left starts while nod still runs/),
      expect.stringMatching(/^error timeline.2: left refuses cue shake: .*\(at 1.2 s\)$/),
    ]);
  });

  test('leaves out steps whose condition does not hold, and ends where the file says so', async () => {
    const step = (otherwise: string) =>
      `leadS: 1\ntimeline: [{ at: 0, go: { left: nod } }, { at: 1.5, go: { right: nod }, only: [{ prop: left, is: idle }]${otherwise} }, { at: 6, go: { right: blink } }]`;
    const done = async (otherwise: string) =>
      (await rehearse(step(otherwise))).steps.map(({ atS, skipped }) => [atS, skipped === true]);
    expect(await done('')).toEqual([
      [0, false],
      [1.5, true],
      [6, false],
    ]);
    expect(await done(', otherwise: end')).toEqual([
      [0, false],
      [1.5, true],
    ]);
  });

  test('ends when the step that ends it would be sent: what was sent before still starts', async () => {
    const { steps } = await rehearse(
      `leadS: 4
timeline:
  - { at: 0, go: { left: nod } }
  - { at: 9, go: { right: nod }, only: [{ prop: left, runs: shake }], otherwise: end }
  - { at: 8, go: { left: blink } }
  - { at: 7, park: [right] }
  - { at: 12, go: { right: blink } }`,
    );
    // Sent at 5 s: nothing that would be sent later happens, and the cue sent at 4 s does.
    expect(steps.map(({ atS, act, skipped }) => [atS, act, skipped === true])).toEqual([
      [0, 'go', false],
      [8, 'go', false],
      [9, 'go', true],
    ]);
    const ended = await rehearse(
      `leadS: 4
timeline:
  - { at: 0, go: { left: nod } }
  - { at: 3, park: [right], only: [{ prop: left, runs: shake }], otherwise: end }
  - { at: 6, go: { left: blink } }
  - { at: 8, go: { left: blink } }`,
    );
    expect(ended.steps.map(({ atS }) => atS)).toEqual([0, 3, 6]);
  });

  test('counts a prop on which a cue waits as not idle, as its status does', async () => {
    const { steps } = await rehearse(
      'timeline: [{ at: 0, go: { left: nod } }, { at: 4, go: { right: nod }, only: [{ prop: left, is: idle }] }]',
    );
    // It is sent at -4 s, when nod waits.
    expect(steps.map(({ skipped }) => skipped === true)).toEqual([false, true]);
  });

  test('finds that the end of what runs also ends what waits', async () => {
    const timeline = (at: number) =>
      `leadS: 2\ntimeline: [{ at: 0, go: { left: glow } }, { at: 3, end: [birds] }, { at: ${at}, go: { left: nod } }]`;
    expect(said(await rehearse(timeline(4)))).toEqual([
      expect.stringMatching(/^error timeline.2: cue nod of left has been sent and waits/),
    ]);
    expect(said(await rehearse(timeline(6)))).toEqual([]);
  });

  test('ends a cue without an end, and finds a prop that is parked when its cue comes', async () => {
    const done = await rehearse(
      'timeline: [{ at: 0, go: { birds: glow } }, { at: 3, end: [left] }, { at: 4, park: [right] }, { at: 5, go: { right: nod } }]',
    );
    expect(said(done)).toEqual([
      expect.stringMatching(/^error timeline.3: right is parked, so it cannot start cue nod/),
    ]);
    expect(done.cutShort).toBe(false);
  });
});
