import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

// Rules without a source are common practice. The mark » stands before the place of the finding.

const CHANNELS = `s: ${servo(4, { limitsDeg: '[-10, 30]', marks: '{ open: 5 }' })}
  t: ${servo(8)}
  r: ${relay(7, { duty: '{ maxOnS: 5, restS: 5 }' })}
  m: ${relay(5, { contact: 'momentary', pulseMs: '100' })}
  e: { kind: rgb, output: { board: head, pins: [16, 6, 9] } }
  l: { kind: lamp, output: { board: head, pin: 12 } }`;
const MORE =
  'groups: { g: [s, t] }\nposes: { p: { s: 0 }, lit: { l: 1 }, airy: { r: on }, none: {} }\n';

interface Expected {
  severity?: 'warning';
  path?: string;
  wrong: string | RegExp;
  right?: string;
}

/** One step in each form of a cue. */
function expectStep(step: string, expected: Expected[]): void {
  expectFindings(propText(CHANNELS, `${MORE}cues: { c: [{ at: 0, ${step} }] }`), expected);
  const long = `${MORE}cues:\n  c:\n    clash: take over\n    seed: 7\n    steps:\n      - { at: 0, ${step} }\n`;
  expectFindings(propText(CHANNELS, long), expected);
}

function expectCues(cues: string, expected: Expected[]): void {
  expectFindings(propText(CHANNELS, `${MORE}cues: { ${cues} }`), expected);
}

describe('one step', () => {
  test.each([
    'move: { g: 5 }, overS: 1',
    'move: { s: open }',
    'move: { s: { around: 10, spread: 20 } }',
    'pose: p, overS: 2, ease: ease-in-out',
    'pose: lit, fadeS: 1, ease: "steps(3)"',
    'pose: airy, forS: 2',
    'colour: { e: red }, fadeS: 1, ease: step-end',
    'dim: { l: 0.5 }, switch: { r: on }, forS: 5',
    'until: { channel: s, above: 29, withinS: 3 }',
    'until: { channel: r, is: off, withinS: 3, otherwise: park }',
  ])('%s is fine', (step) => {
    expectStep(step, []);
  });

  test.each<[string, ...Expected[]]>([
    ['move: { »x: 1 }', { wrong: 'no channel or group x' }],
    ['move: { s: »31 }', { wrong: '31 deg is outside' }],
    ['move: { s: »opne }', { wrong: 'no mark', right: 'open' }],
    ['move: { g: »31 }', { wrong: 'soft limits of s' }],
    ['move: { g: »open }', { wrong: 't has no mark "open"' }],
    ['move: { g: 1, »s: 2 }', { wrong: 's is moved by g' }],
    ['move: { »r: 1 }', { wrong: 'r is a relay', right: 'write switch: { r: on }' }],
    ['move: { s: »{ around: 25, spread: 6 } }', { wrong: '^31 deg is outside' }],
    ['move: { s: »{ around: -9.9, spread: 0.3 } }', { wrong: '^-10.2 deg is outside' }],
    ['switch: { »s: on }', { wrong: 's is a servo', right: 'write move: { s: 20 }' }],
    ['switch: { »x: on }', { wrong: 'no channel x' }],
    ['colour: { »l: red }', { wrong: 'l is a lamp', right: 'write dim: { l: 0.5 }' }],
    ['dim: { »e: 1 }', { wrong: 'e is an rgb', right: 'write colour: { e: "#ffcc00" }' }],
    ['pose: »q', { wrong: 'no pose q' }],
    ['cue: »cc', { wrong: 'no cue cc', right: 'did you mean c' }],
    ['choose: [»a, »b]', { wrong: 'no cue a' }, { wrong: 'no cue b' }],
    ['move: { s: 1 }, times: »3', { wrong: 'only a cue', right: 'cue of its own' }],
    ['dim: { l: 1 }, overS: »1', { severity: 'warning', wrong: 'overS has no effect' }],
    ['pose: lit, overS: »1', { severity: 'warning', wrong: 'overS has no effect' }],
    ['move: { s: 1 }, fadeS: »1', { severity: 'warning', wrong: 'fadeS has no effect' }],
    ['move: { s: 1 }, forS: »1', { severity: 'warning', wrong: 'forS has no effect' }],
    ['switch: { r: on }, ease: »ease', { severity: 'warning', wrong: 'ease has no effect' }],
    ['switch: { r: on }, forS: »6', { severity: 'warning', wrong: 'opens it after 5 s' }],
    ['pose: airy, forS: »6', { severity: 'warning', wrong: 'opens it after 5 s' }],
    ['switch: { m: on }, forS: »1', { severity: 'warning', wrong: 'm is momentary' }],
    ['dim: { l: 1 }, ease: »bouncy', { wrong: '"bouncy" is not an easing function' }],
    // CSS Easing Functions Level 1, section 2.2: x1 and x2 in 0 to 1.
    ['dim: { l: 1 }, ease: »"cubic-bezier(2, 0, 0, 1)"', { wrong: 'not an easing function' }],
    ['dim: { l: 1 }, ease: »"linear(0, 0.5)"', { wrong: 'leads from 0 to 0.5 of the way' }],
    ['dim: { l: 1 }, ease: »"linear(0.2, 1)"', { wrong: 'leads from 0.2 to 1 of the way' }],
    ['move: { s: 1 }, ease: »"linear(0, 0.2 50%, 0.8 50%, 1)"', { wrong: 'a servo cannot follow' }],
    ['move: { s: 1 }, ease: »"steps(3)"', { wrong: 'a servo cannot follow' }],
    ['pose: p, ease: »step-start', { wrong: 'a servo cannot follow' }],
    ['until: { channel: »x, is: on, withinS: 1 }', { wrong: 'no channel x' }],
    ['until: { channel: s, is: »on, withinS: 1 }', { wrong: 's is a servo', right: 'above' }],
    ['until: { channel: r, above: »1, withinS: 1 }', { wrong: 'r is a relay', right: 'is: on' }],
    ['until: { channel: l, below: »1, withinS: 1 }', { wrong: 'l is a lamp' }],
    ['until: { channel: s, above: »30, withinS: 1 }', { wrong: 's is never above 30 deg' }],
    ['until: { channel: s, below: »-10, withinS: 1 }', { wrong: 's is never below -10 deg' }],
  ])('%s', (step, ...expected) => {
    expectStep(step, expected);
  });

  test('one that does nothing', () => {
    expectCues('c: [»{ at: 0 }]', [{ wrong: 'does nothing' }]);
  });

  test('cue and choose together', () => {
    expectCues('a: [{ at: 0, pose: p }], c: [{ at: 0, cue: a, choose: »[a, a] }]', [
      { path: 'cues.c[0].choose', wrong: 'both given' },
    ]);
  });

  test('what the schema refuses in one step hides nothing in the others', () => {
    expectCues('c: [{ at: 0, »mvoe: { s: 1 } }, { at: 1, move: { s: »31 } }]', [
      { path: 'cues.c[0].mvoe', wrong: 'unknown key', right: 'move' },
      { path: 'cues.c[1].move.s', wrong: '31 deg' },
    ]);
    expectCues('c: { clash: »never, steps: [»{ pose: p }, { at: 1, move: { s: »31 } }] }', [
      { path: 'cues.c.clash', wrong: '"never" is neither refuse nor take over' },
      { path: 'cues.c.steps[0]', wrong: 'does not say when' },
      { path: 'cues.c.steps[1].move.s', wrong: '31 deg' },
    ]);
  });
});

describe('the order of steps', () => {
  test('an unknown step, and a name given twice', () => {
    expectCues(
      'c: [{ name: one, at: 0, pose: p }, { name: »one, at: 1, pose: lit }, { after: »oen, pose: airy }]',
      [
        { path: 'cues.c[1].name', wrong: 'step 1 is called one, too' },
        { path: 'cues.c[2].after', wrong: 'no step oen', right: 'did you mean one' },
      ],
    );
    expectCues('c: { steps: [{ after: »x, pose: p }] }', [
      { path: 'cues.c.steps[0].after', wrong: 'no step x', right: 'there are none' },
    ]);
  });

  test('a step whose name was lost with it', () => {
    expectCues('c: [{ name: one, at: »x, pose: p }, { after: one, pose: lit }]', [
      { wrong: 'is not a number' },
    ]);
  });

  test('a step after itself', () => {
    expectCues('c: [{ name: a, after: »a, pose: p }]', [{ wrong: 'step a comes after itself' }]);
  });

  test('circles are told once, with their way round', () => {
    expectCues(
      `c: [{ name: z, after: a, pose: p }, { name: a, after: b, pose: p }, { name: b, after: d, pose: p },
      { name: d, after: »a, pose: lit }, { at: 0, pose: airy }]`,
      [{ path: 'cues.c[3].after', wrong: 'a -> b -> d -> a$' }],
    );
    expectCues('c: [{ name: a, at: 0, pose: p }, { name: b, after: a, pose: lit }]', []);
  });

  test('after a step that never ends', () => {
    const blink = 'b: [{ at: 0, dim: { l: 1 } }, { at: 1, dim: { l: 0 } }]';
    const on = (after: string) =>
      `${blink}, c: [{ name: on, at: 0, cue: b, times: until stopped }, ${after}]`;
    expectCues(on('{ after: »on, pose: p }'), [
      { path: 'cues.c[1].after', wrong: 'step on goes on until it is stopped' },
    ]);
    expectCues(on('{ at: 1, pose: p }'), []);
    // Within another cue, and among those to choose from.
    expectCues(
      `${on('{ at: 1, pose: p }')}, d: [{ name: x, at: 0, choose: [b, c] }, { after: »x, pose: p }]`,
      [{ path: 'cues.d[1].after', wrong: 'step x goes on' }],
    );
    expectCues(`${blink}, c: [{ name: on, at: 0, cue: b, times: 3 }, { after: on, pose: p }]`, []);
  });
});

describe('cues within cues', () => {
  test('that contain themselves', () => {
    expectCues('a: [{ at: 0, cue: »a }]', [
      { path: 'cues.a[0].cue', wrong: 'cue a contains itself: a -> a$' },
    ]);
    expectCues(
      'z: [{ at: 0, cue: a }], a: [{ at: 0, cue: b }], b: { steps: [{ at: 0, choose: [d, »a] }] }, d: [{ at: 0, pose: p }]',
      [{ path: 'cues.b.steps[0].choose[1]', wrong: 'a -> b -> a$', right: 'times' }],
    );
    // Used twice is not a circle.
    expectCues('a: [{ at: 0, cue: b }, { at: 1, cue: b }], b: [{ at: 0, pose: p }]', []);
  });

  test('nested too deeply', () => {
    const nest = (levels: number, mark: string) =>
      Array.from({ length: levels }, (_, i) => {
        const inner = i === levels - 1 ? 'pose: p' : `cue: ${i === 0 ? mark : ''}c${i + 1}`;
        return `c${i}: [{ at: 0, ${inner} }]`;
      }).join(', ');
    expectCues(nest(17, '»'), [{ path: 'cues.c0[0].cue', wrong: 'more than 16 deep' }]);
    expectCues(nest(16, ''), []);
  });

  test('that repeat without taking time', () => {
    const cues = (times: string) =>
      `a: [{ at: 0, dim: { l: 1 } }, { at: 0, dim: { l: 0 } }], b: [{ at: 0, cue: a, times: ${times} }]`;
    expectCues(cues('»until stopped'), [
      { severity: 'warning', path: 'cues.b[0].times', wrong: 'cue a takes no time' },
    ]);
    expectCues(cues('1'), []);
  });
});

describe('along the timeline', () => {
  // Rest to rest within speed v and acceleration a over d: d / v + v / a, or 2 sqrt(d / a) where v
  // is not reached (the trapezoid's closed form, any textbook on motion control).
  const quick = { speedDegS: '100', accelDegS2: '500' }; // 40 deg: 0.6 s

  test('a move that cannot be made in overS', () => {
    const cues = (overS: string) => `cues: { c: [{ at: 0, move: { a: 40 }, overS: ${overS} }] }`;
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('»0.45')), [
      {
        severity: 'warning',
        path: 'cues.c[0].overS',
        wrong:
          'a cannot get from 0 to 40 deg in 0.45 s within its limits: it needs 0.6 s, 0.15 s more',
        right: 'give 0.6 or more',
      },
    ]);
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('0.6')), []);
  });

  test('the slowest of a step is told, at the pose as well', () => {
    const slow = { speedDegS: '20', accelDegS2: '100' }; // 40 deg: 2.2 s
    expectFindings(
      propText(
        `a: ${servo(4, quick)}\n  b: ${servo(5, slow)}`,
        'poses: { p: { a: 40, b: 40 } }\ncues: { c: { steps: [{ at: 0, pose: p, overS: »0.5 }] } }',
      ),
      [{ severity: 'warning', path: 'cues.c.steps[0].overS', wrong: /^b .* 2\.2 s, 1\.7 s more/ }],
    );
  });

  test('a curve needs more time than the fastest move', () => {
    // ease-in-out at its steepest is 1.5 to 1.8 times as fast as its average.
    const cues = (ease: string, overS: string) =>
      `cues: { c: [{ at: 0, move: { a: 40 }, overS: ${overS}, ease: ${ease} }] }`;
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('ease-in-out', '»0.6')), [
      { severity: 'warning', wrong: 'in 0.6 s within its limits' },
    ]);
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('ease-in-out', '1')), []);
  });

  test('random targets count at their farthest', () => {
    const cues = (overS: string) =>
      `cues: { c: [{ name: x, at: 0, move: { a: { around: 0, spread: 20 } } }, { after: x, move: { a: { around: 0, spread: 20 } }, overS: ${overS} }] }`;
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('»0.5')), [
      { severity: 'warning', wrong: /from 20 to -20 deg .* 0\.6 s/ },
    ]);
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('0.6')), []);
  });

  test('the worst case is told once, with the cue that it is within', () => {
    const cues = `cues:
  up: [{ at: 0, move: { a: 40 }, overS: »0.6 }]
  twice: [{ at: 0, move: { a: -40 } }, { at: 2, cue: up }]`;
    // 80 deg: 1 s
    expectFindings(propText(`a: ${servo(4, quick)}`, cues), [
      { severity: 'warning', path: 'cues.up[0].overS', wrong: 'within cue twice, .* 0.4 s more' },
    ]);
  });

  test('a curve that overshoots the soft limits', () => {
    // cubic-bezier(0.3, 0, 0.6, 1.6) rises well past 1 before its end.
    const cues = (to: number, mark = '') =>
      `cues: { c: [{ at: 0, move: { a: ${to} }, overS: 3, ease: ${mark}"cubic-bezier(0.3, 0, 0.6, 1.6)" }] }`;
    expectFindings(propText(`a: ${servo(4)}`, cues(44, '»')), [
      { path: 'cues.c[0].ease', wrong: 'from 0 to 44 deg, past its soft limits, -45 to 45 deg' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, cues(30)), []);
  });

  test('two steps that move one servo at once', () => {
    const cues = (second: string) =>
      `groups: { g: [a] }\ncues: { c: [{ name: up, at: 0, move: { a: 40 }, overS: 1 }, { ${second} }] }`;
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('at: 0.9, move: { »g: 0 }')), [
      {
        severity: 'warning',
        path: 'cues.c[1].move.g',
        wrong: 'a is still on its way in step up, from 0 to 1 s, .* takes it over at 0.9 s',
      },
    ]);
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('at: 1, move: { g: 0 }')), []);
    expectFindings(propText(`a: ${servo(4, quick)}`, cues('after: up, move: { g: 0 }')), []);
    // At its latest the first part ends only then.
    const late = cues('at: 1.5, move: { »g: 0 }').replace('at: 0,', 'at: 0, spreadS: 0.8,');
    expectFindings(propText(`a: ${servo(4, quick)}`, late), [
      { severity: 'warning', wrong: 'from 0.8 to 1.8 s' },
    ]);
  });

  test('numbers too large for the sums', () => {
    const huge = { speedDegS: '1e-308' };
    expectFindings(propText(`a: ${servo(4, huge)}`, 'cues: { c: [{ at: 0, move: { a: »40 } }] }'), [
      { path: 'cues.c[0].move.a', wrong: 'too large or too slow' },
    ]);
  });
});

describe('rails along the timeline', () => {
  const draws = (amps: number) => ({ rail: 'x', draw: `{ idleA: 0.1, movingA: ${amps} }` });
  const three = [4, 5, 6].map((pin, i) => `${'abc'[i]}: ${servo(pin, draws(1))}`);
  const channels = [
    ...three,
    `r: ${relay(7, { rail: 'x', draw: '{ onA: 1 }' })}`,
    'l: { kind: lamp, output: { board: head, pin: 12 }, through: n-mosfet, rail: x, draw: { fullA: 1 } }',
  ].join('\n  ');
  const on = (limitA: number, cues: string, expected: Expected[]) =>
    expectFindings(
      propText(channels, `rails: { x: { volts: 6, limitA: ${limitA} } }\ncues: { c: [${cues}] }`),
      expected,
    );

  test('a step that can never fit', () => {
    // 1 + 1 + 0.1
    on(2, '{ at: 0, »move: { a: 20, b: 20 } }', [
      { path: 'cues.c[0].move', wrong: 'this step alone brings rail x to 2.1 A, its limit is 2 A' },
    ]);
    on(2.1, '{ at: 0, move: { a: 20, b: 20 } }', []);
    // 1 + 0.1 + 0.1 + 1
    on(2.1, '{ at: 0, »move: { a: 20 }, switch: { r: on } }', [{ wrong: '2.2 A' }]);
    on(2.2, '{ at: 0, move: { a: 20 }, switch: { r: on } }', []);
  });

  test('moves at the same time that have to wait', () => {
    on(2, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, »move: { b: 20 } }', [
      { severity: 'warning', path: 'cues.c[1].move', wrong: '2.1 A here, .*: the move is delayed' },
    ]);
    on(2, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 2, move: { b: 20 } }', []);
    // A move that takes its own servo over counts once.
    on(2, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, move: { »a: 0 } }', [
      { severity: 'warning', wrong: 'takes it over' },
    ]);
  });

  test('moves beside what is on already are left out', () => {
    on(2.1, '{ at: 0, switch: { r: on }, forS: 3 }, { at: 2, »move: { b: 20 } }', [
      { severity: 'warning', path: 'cues.c[1].move', wrong: 'with what is on by then, .* 2.2 A' },
    ]);
    on(2.1, '{ at: 0, switch: { r: on }, forS: 3 }, { at: 3, move: { b: 20 } }', []);
    on(
      2.1,
      '{ at: 0, switch: { r: on } }, { at: 1, switch: { r: off } }, { at: 1, move: { b: 20 } }',
      [],
    );
  });

  test('relays and lights beside moves are left out', () => {
    on(2.1, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, »switch: { r: on } }', [
      { severity: 'warning', path: 'cues.c[1].switch', wrong: 'while servos move, .* left out' },
    ]);
    on(2.1, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, »dim: { l: 1 } }', [
      { severity: 'warning', path: 'cues.c[1].dim', wrong: '2.2 A' },
    ]);
    // CIE 1976: L* 50 is a luminance of ((50 + 16) / 116)^3 = 0.184.
    on(1.39, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, dim: { l: 0.5 } }', []);
    on(1.38, '{ at: 0, move: { a: 20 }, overS: 2 }, { at: 1, »dim: { l: 0.5 } }', [
      { severity: 'warning', wrong: '1.384 A' },
    ]);
  });
});

test('a thousand channels and twenty cues are checked quickly', () => {
  const names = Array.from({ length: 1000 }, (_, i) => `c${i}`);
  const channels = names.map(
    (name, i) =>
      `${name}: { kind: servo, output: { board: b${i >> 4}, pin: ${i & 15} }, rail: r, calibration: [[1000, -45], [2000, 45]], jerkDegS3: ${2000 + i}, draw: { movingA: 0.1 }, park: { to: 0 } }`,
  );
  const boards = Array.from(
    { length: 63 },
    (_, i) => `b${i}: { driver: pca9685, bus: ${i}, address: 0x40 }`,
  ).join('\n  ');
  const cues = Array.from({ length: 20 }, (_, i) => {
    const steps = Array.from({ length: 10 }, (_, j) => {
      const move = names.slice(j * 100, j * 100 + 20).map((name, k) => `${name}: ${(i + k) % 40}`);
      return `{ at: ${j * 30}, move: { ${move.join(', ')} }, ease: ease-in-out }`;
    });
    const inner = i === 0 ? [] : [`{ at: 400, cue: q${i - 1}, times: ${i % 4 === 0 ? 5 : 1} }`];
    return `q${i}: [${[...steps, ...inner].join(', ')}]`;
  });
  // Nested no more than 16 deep.
  cues[10] = 'q10: [{ at: 0, move: { c0: 1 } }]';
  const text = propText(
    channels.join('\n  '),
    `rails: { r: { volts: 6, limitA: 100 } }\ncues:\n  ${cues.join('\n  ')}`,
    boards,
  );
  const started = process.cpuUsage();
  const { findings } = parseProp(text, 'f');
  const { user, system } = process.cpuUsage(started);
  expect(findings).toEqual([]);
  expect((user + system) / 1e6).toBeLessThan(20);
}, 60_000);

describe('flashes of all light together, as planned', () => {
  const lamps = ['a', 'b', 'c', 'd'];
  const channels = [
    ...lamps.map(
      (name, i) => `${name}: { kind: lamp, output: { board: head, pin: ${[17, 18, 22, 23][i]} } }`,
    ),
    `bulb: ${relay(9, { light: 'true' })}`,
  ].join('\n  ');
  /** Each lamp is lit for half a period in its turn. */
  const steps = (periodS: number, mark = -1, more = '') =>
    Array.from({ length: 12 }, (_, i) => [
      `{ at: ${+(i * periodS).toFixed(3)}, dim: { ${lamps[i % 4]}: 1 }${more} }`,
      `{ at: ${+((i + 0.5) * periodS).toFixed(3)}, dim: { ${lamps[i % 4]}: 0 }${more} }`,
    ])
      .flat()
      .map((step, i) => `    - ${i === mark ? '»' : ''}${step}`)
      .join('\n');
  const wrong = 'together would flash';

  // 2.5 and 3 in a second are allowed (WCAG 2.2, 2.3.1); 4 are not, though each lamp flashes once.
  test.each([0.4, 0.34])('one every %d s', (periodS) => {
    expectFindings(propText(channels, `cues:\n  show:\n${steps(periodS)}`), []);
  });

  test('four and more in a second', () => {
    expectFindings(propText(channels, `cues:\n  show:\n${steps(0.25, 7)}`), [
      {
        severity: 'warning',
        wrong: `${wrong} 4 times in a second here, at 0.875 s`,
        right: 'fadeS',
      },
    ]);
    expectFindings(propText(channels, `cues:\n  show:\n${steps(0.1, 7)}`), [
      { severity: 'warning', wrong: `${wrong} 10 times` },
    ]);
  });

  test('lifted by the file, for the whole prop', () => {
    const lifted = "flash: { unrestricted: true, reason: 'a strobe in a closed box' }";
    expectFindings(propText(channels, `cues:\n  show:\n${steps(0.1)}\n${lifted}`), []);
  });

  test('a bulb on a relay, again and again', () => {
    const cues = `cues:\n  show:\n    - { at: 0, cue: wink, times: 20 }\n  wink:\n    - »{ at: 0, switch: { bulb: on }, forS: 0.1 }\n    - { at: 0.2, switch: { bulb: off } }`;
    expectFindings(propText(channels, cues), [
      { severity: 'warning', wrong: `within cue show, all light of the prop ${wrong} 5 times` },
    ]);
  });

  test('lamps at the same moment are one flash, and so are lamps that are no light', () => {
    const all = (level: number) =>
      `dim: { ${lamps.map((name) => `${name}: ${level}`).join(', ')} }`;
    const list = Array.from({ length: 10 }, (_, i) => `    - { at: ${i * 0.25}, ${all(i % 2)} }`);
    expectFindings(propText(channels, `cues:\n  show:\n${list.join('\n')}`), []);
    const pump = channels.replace(', light: true', '');
    const cues = `cues:\n  show:\n    - { at: 0, cue: wink, times: 20 }\n  wink:\n    - { at: 0, switch: { bulb: on }, forS: 0.1 }\n    - { at: 0.2, switch: { bulb: off } }`;
    expectFindings(propText(pump, cues), []);
  });
});

describe('too many steps', () => {
  const nest = (width: number, depth: number) =>
    Array.from(
      { length: depth },
      (_, i) =>
        `c${i}: [${Array(width)
          .fill(`{ at: 0, cue: c${i + 1} }`)
          .join(', ')}]`,
    );
  const end = (depth: number) => `c${depth}: [{ at: 0, dim: { l: 1 } }]`;

  test('with those of the cues within it; told of the innermost', () => {
    const cues = nest(8, 7);
    // c2 has 8 + ... + 8^5 + 8^5 steps.
    cues[2] = cues[2]!.replace('[', '»[');
    expectCues([...cues, end(7)].join(', '), [
      { path: 'cues.c2', wrong: '70216 steps, .* may have 10000', right: 'split' },
    ]);
    expectCues([...nest(8, 4), end(4)].join(', '), []);
  });
});
