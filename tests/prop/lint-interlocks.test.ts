import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

// The mark » stands before the place of the finding.

const needs = (requires: string, more: Record<string, string> = {}) => ({
  ...more,
  requires: `[${requires}]`,
});

describe('marks', () => {
  const door = `door: ${servo(5, { marks: '{ half: 20, far: 45 }' })}`;

  test('are resolved, and must be there', () => {
    expectFindings(
      propText(`a: ${servo(4, needs('{ channel: door, above: half }'))}\n  ${door}`),
      [],
    );
    expectFindings(
      propText(`a: ${servo(4, needs('{ channel: door, above: »hlaf }'))}\n  ${door}`),
      [{ path: 'channels.a.requires[0].above', wrong: 'door has no mark "hlaf"', right: 'half' }],
    );
  });

  test('count where they are for what is never met, or never together', () => {
    expectFindings(propText(`a: ${servo(4, needs('{ channel: door, above: »far }'))}\n  ${door}`), [
      { wrong: 'door is never above far, 45 deg' },
    ]);
    const both = '{ channel: door, above: half }, »{ channel: door, below: 10 }';
    expectFindings(propText(`a: ${servo(4, needs(both))}\n  ${door}`), [
      { wrong: 'never met together' },
    ]);
  });
});

describe('parked', () => {
  test('two channels may exclude each other', () => {
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, is: parked }'))}
  b: ${servo(5, needs('{ channel: a, is: parked }'))}
  l: { kind: lamp, output: { board: head, pin: 12 }, requires: [{ channel: r, is: parked }] }
  r: ${relay(7, needs('{ channel: l, is: parked }'))}`,
      ),
      [],
    );
    // In degrees, as long as the park positions meet it.
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, below: 10 }'))}
  b: ${servo(5, needs('{ channel: a, below: 10 }'))}`,
      ),
      [],
    );
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, below: -10 }'))}
  b: ${servo(5, needs('{ channel: »a, below: -10 }'))}`,
      ),
      [{ wrong: 'wait for each other: a -> b -> a', right: 'park positions' }],
    );
  });

  test('what is needed away by the one that it needs parked never leaves', () => {
    expectFindings(
      propText(
        `a: ${servo(4, needs('»{ channel: b, is: parked }'))}
  b: ${servo(5, needs('{ channel: c, above: 5 }'))}
  c: ${servo(6, needs('{ channel: a, above: 5 }'))}`,
      ),
      [{ path: 'channels.a.requires[0]', wrong: 'b never leaves its park position' }],
    );
  });

  test('against what is required besides', () => {
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, is: parked }, »{ channel: b, above: 5 }'))}
  b: ${servo(5)}`,
      ),
      [{ wrong: 'never met together' }],
    );
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: r, is: parked }, »{ channel: r, is: on }'))}
  r: ${relay(7)}`,
      ),
      [{ wrong: 'never met together' }],
    );
  });

  test('what is on or lit while parked must have what it needs', () => {
    expectFindings(
      propText(
        `r: ${relay(20, needs('»{ channel: s, above: 5 }', { park: '{ to: on }', safe: 'on' })).replace('activeLow: false', 'activeLow: true')}
  l: { kind: lamp, output: { board: head, pin: 12 }, park: { to: 0.2 }, requires: [»{ channel: f, is: on }] }
  s: ${servo(5)}
  f: ${relay(8)}`,
      ),
      [
        { path: 'channels.r.requires[0]', wrong: 'r parks on, but needs s above 5 deg' },
        { path: 'channels.l.requires[0]', wrong: 'l parks lit, but needs f on' },
      ],
    );
  });
});

test('while: moving is for servos', () => {
  const some = '{ channel: s, above: 5, while: moving }';
  expectFindings(propText(`a: ${servo(4, needs(some))}\n  s: ${servo(5)}`), []);
  expectFindings(
    propText(`r: ${relay(7, needs(some.replace('while: ', 'while: »')))}\n  s: ${servo(5)}`),
    [{ wrong: 'r is a relay, which does not move' }],
  );
});

test('a pose that leaves a channel without what it requires', () => {
  const channels = `arm: ${servo(4, needs('{ channel: door, above: 20 }'))}\n  door: ${servo(5)}`;
  expectFindings(propText(channels, 'poses: { p: { arm: 5, door: »10 } }'), [
    { path: 'poses.p.door', wrong: 'arm needs door above 20 deg in this pose' },
  ]);
  expectFindings(propText(channels, 'poses: { p: { arm: 0, door: 10 }, q: { arm: 5 } }'), []);
});

describe('a cue that breaks an interlock', () => {
  const channels = `arm: ${servo(4, needs('{ channel: door, above: 20 }'))}
  door: ${servo(5, { marks: '{ open: 40 }' })}
  fan: ${relay(7)}
  fog: ${relay(8, needs('{ channel: fan, is: on }'))}
  eye: { kind: lamp, output: { board: head, pin: 12 }, requires: [{ channel: door, above: 20 }] }
  turn: ${servo(6, needs('{ channel: door, above: 20, while: moving }'))}`;
  const rest = 'groups: { g: [door] }\nposes: { shut: { door: 0 } }\n';
  const findingsOf = (cue: string) => {
    const text = propText(channels, `${rest}cues:\n  c: [${cue}]\n`);
    const { findings } = parseProp(text, 'f');
    return findings.map(({ severity, path, wrong }) => `${severity} ${path}: ${wrong}`);
  };
  const open = '{ name: open, at: 0, move: { door: open } }';
  const out = '{ name: out, after: open, move: { arm: 30 } }';

  test.each([
    [`${open}, ${out}, { after: out, move: { door: 0 } }`, 'cues.c[2].move.door', 'arm'],
    [`${open}, ${out}, { after: out, move: { g: 20 } }`, 'cues.c[2].move.g', 'arm'],
    [`${open}, ${out}, { after: out, pose: shut }`, 'cues.c[2].pose', 'arm'],
    [
      `${open}, ${out}, { after: out, move: { door: { around: 25, spread: 6 } } }`,
      'cues.c[2].move.door',
      'arm',
    ],
    // On its way out, and on its way home.
    [`${open}, ${out}, { after: open, at: 0.1, move: { door: 0 } }`, 'cues.c[2].move.door', 'arm'],
    [
      `${open}, ${out}, { name: home, after: out, move: { arm: 0 }, overS: 1 }, { after: out, at: 0.9, move: { door: 0 } }`,
      'cues.c[3].move.door',
      'arm',
    ],
    // Sent away in the same step.
    [`${open}, { after: open, move: { arm: 20, door: 0 } }`, 'cues.c[1].move.door', 'arm'],
    [
      '{ at: 0, switch: { fan: on } }, { at: 1, switch: { fog: on } }, { at: 2, switch: { fan: off } }',
      'cues.c[2].switch.fan',
      'fog',
    ],
    [
      `${open}, { after: open, dim: { eye: 1 } }, { at: 9, move: { door: 0 } }`,
      'cues.c[2].move.door',
      'eye',
    ],
    [
      `${open}, { after: open, move: { turn: 30 }, overS: 2 }, { after: open, at: 1, move: { door: 0 } }`,
      'cues.c[2].move.door',
      'turn',
    ],
  ])('%s', (cue, path, by) => {
    const errors = findingsOf(cue).filter((one) => one.startsWith('error'));
    expect(errors).toEqual([expect.stringContaining(`${path}: `)]);
    expect(errors[0]).toContain(`while ${by} is `);
  });

  test.each([
    `${open}, ${out}, { name: home, after: out, move: { arm: 0 } }, { after: home, move: { door: 0 } }`,
    `${open}, ${out}, { after: out, move: { door: 21 } }`,
    '{ at: 0, switch: { fan: on } }, { at: 1, switch: { fog: on }, forS: 1 }, { at: 2, switch: { fan: off } }',
    '{ at: 0, switch: { fan: on } }, { at: 1, switch: { fog: on } }, { at: 2, switch: { fan: off, fog: off } }',
    `${open}, { after: open, dim: { eye: 1 } }, { at: 9, dim: { eye: 0 }, fadeS: 1 }, { at: 10, move: { door: 0 } }`,
    `${open}, { name: t, after: open, move: { turn: 30 }, overS: 2 }, { after: t, move: { door: 0 } }`,
    // It may be meant to follow another cue.
    '{ at: 0, move: { door: 0 } }',
  ])('fine: %s', (cue) => {
    expect(findingsOf(cue)).toEqual([]);
  });
});
