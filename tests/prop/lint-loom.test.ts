import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, OWL, propText, relay, servo } from './helpers.ts';

/** A core in flow style. */
const core = (role: string, colour: string, from: string, to: string) =>
  `{ role: ${role}, colour: ${colour}, from: ${from}, to: ${to} }`;

const SIGNAL = core('signal', 'YE', 'J1-12', 'SV1-1');
const PLUS = core('plus', 'RD', 'TB1-1', 'SV1-2');
const RETURN = core('return', 'BK', 'TB1-6', 'SV1-3');

/** A servo on GPIO 18, which is pin 12 of the header, with these cores. */
function wired(
  cores: string[],
  rest = '',
  label = 'W1',
  more: Record<string, string> = {},
): string {
  const wire = `{ label: ${label}, cores: [${cores.join(', ')}] }`;
  return propText(`a: ${servo(18, { wire, ...more })}`, rest);
}

describe('says nothing', () => {
  test('of a file without any wire', () => {
    expectFindings(propText(`a: ${servo(18)}\n  b: ${relay(4)}`), []);
  });

  test('of one servo with its wire, and of the owl', () => {
    expectFindings(wired([SIGNAL, PLUS, RETURN]), []);
    expect(parseProp(OWL, 'owl.yaml').findings).toEqual([]);
  });

  test('that follows from a part that is broken', () => {
    expectFindings(wired([core('signal', 'YE', 'J1-12', '»""'), PLUS, RETURN]), [{ wrong: /./ }]);
  });
});

describe('cavities', () => {
  const second = (from: string, label = 'W2') =>
    `wires: [{ label: ${label}, cores: [{ role: plus, colour: RD, from: ${from}, to: X9-1 }] }]`;

  test('one cavity with two wires', () => {
    expectFindings(wired([SIGNAL, PLUS, RETURN], second('»TB1-1')), [
      {
        severity: 'warning',
        path: 'wires[0].cores[0].from',
        wrong: 'TB1-1 holds 2 cores: W1, W2',
        right: /own cavity.*bridged/,
      },
    ]);
  });

  const connectors = (bridged: string) =>
    `connectors: { J1: { board: head }, SV1: {}, X9: {}, X8: {}, TB1: { bridged: ${bridged} } }`;

  test('a terminal of a block takes two, in a ferrule; a third is too many', () => {
    const rest = `${connectors('[[1, 2]]')}\nwires:\n`;
    const more = (from: string, to: string, label: string) =>
      `  - { label: ${label}, cores: [{ role: plus, colour: RD, from: ${from}, to: ${to} }] }\n`;
    const two = rest + more('»TB1-1', 'X9-1', 'W2');
    expectFindings(wired([SIGNAL, PLUS, RETURN], two), [
      { severity: 'note', wrong: 'holds 2', right: 'ferrule' },
    ]);
    const three = rest + more('TB1-1', 'X9-1', 'W2') + more('»TB1-1', 'X8-1', 'W3');
    expectFindings(wired([SIGNAL, PLUS, RETURN], three), [
      { severity: 'warning', wrong: 'holds 3 cores: W1, W2, W3', right: 'two at most' },
    ]);
  });

  test('a cavity that the connector does not have', () => {
    const rest = 'connectors: { J1: { board: head }, SV1: { cavities: 2 }, TB1: {} }';
    expectFindings(wired([SIGNAL, PLUS, core('return', 'BK', 'TB1-6', '»SV1-3')], rest), [
      { severity: 'warning', wrong: 'SV1 has no cavity 3', right: '1 to 2' },
    ]);
    const bridge =
      'connectors: { J1: { board: head }, SV1: {}, TB1: { cavities: 6, bridged: [[1, »7]] } }';
    expectFindings(wired([SIGNAL, PLUS, RETURN], bridge), [
      { severity: 'warning', path: 'connectors.TB1.bridged[0][1]', wrong: 'no cavity 7' },
    ]);
  });

  test('a connector that the file does not name, once for each', () => {
    const rest = 'connectors: { J1: { board: head }, SV2: {}, TB1: {} }';
    const cores = [core('signal', 'YE', 'J1-12', '»SV1-1'), PLUS, RETURN];
    expectFindings(wired(cores, rest), [
      { severity: 'warning', wrong: 'no connector SV1', right: /add it.*did you mean SV2/ },
    ]);
  });

  test('an end without a cavity', () => {
    expectFindings(wired([SIGNAL, PLUS, core('return', 'BK', '»TB1', 'SV1-3')]), [
      { severity: 'warning', wrong: 'TB1 names no cavity', right: 'TB1-1' },
    ]);
  });
});

describe('cores', () => {
  test('one that starts and ends in the same cavity', () => {
    expectFindings(wired([SIGNAL, PLUS, core('return', 'BK', 'SV1-3', '»SV1-3')]), [
      { severity: 'warning', wrong: 'has only one end', right: 'other side' },
    ]);
  });

  test('one whose other end is missing', () => {
    const half = '»{ role: return, colour: BK, from: TB1-6 }';
    expectFindings(wired([SIGNAL, PLUS, half]), [{ wrong: 'missing', right: 'to' }]);
  });

  test.each([
    ['red', 'write RD'],
    ['rd', 'write RD'],
    ['gnye', 'write GNYE'],
    ['XX', 'use BK'],
    ['RDB', 'use BK'],
  ])('the colour %s is not a code of IEC 60757', (colour, right) => {
    expectFindings(wired([SIGNAL, core('plus', `»${colour}`, 'TB1-1', 'SV1-2'), RETURN]), [
      { severity: 'warning', wrong: 'IEC 60757', right },
    ]);
  });

  test('a colour with two roles in one plug', () => {
    expectFindings(wired([SIGNAL, PLUS, core('return', '»RD', 'TB2-6', 'SV1-3')]), [
      { severity: 'warning', wrong: /^RD \(red\) is plus and return on SV1$/, right: 'one role' },
    ]);
  });

  test('two labels that are the same', () => {
    const rest =
      'wires: [{ label: »W1, cores: [{ role: plus, colour: RD, from: F1-2, to: TB1-2 }] }]';
    expectFindings(wired([SIGNAL, PLUS, RETURN], rest), [
      { severity: 'warning', path: 'wires[0].label', wrong: 'W1 is the label of the wire of a' },
    ]);
  });
});

describe('channels', () => {
  test('one without a wire, where others have one', () => {
    const wire = `{ label: W1, cores: [${SIGNAL}, ${PLUS}, ${RETURN}] }`;
    expectFindings(propText(`a: ${servo(18, { wire })}\n  »b: ${servo(19)}`), [
      { severity: 'warning', path: 'channels.b', wrong: 'b has no wire' },
    ]);
  });

  test.each([
    [[SIGNAL, PLUS], 'no return core'],
    [[PLUS, RETURN], 'no signal core'],
    [[SIGNAL], 'no plus and no return core'],
  ])('a servo with %j', (cores, wrong) => {
    const [first, ...others] = cores;
    const text = wired([first!, ...others]).replace('cores: [', 'cores: »[');
    expectFindings(text, [{ severity: 'warning', wrong }]);
  });

  test('the return may be in a wire of its own', () => {
    const rest = `wires: [{ label: W2, channel: a, cores: [${RETURN}] }]`;
    expectFindings(wired([SIGNAL, PLUS], rest), []);
  });

  test('an rgb light wants the pole that its colours share', () => {
    const rgb = (common: string, role: string) =>
      propText(
        `e: { kind: rgb, output: { board: head, pins: [5, 6, 13], common: ${common} }, wire: { label: W1, cores: »[${core('red', 'RD', 'J1-29', 'D1-1')}, ${core('green', 'GN', 'J1-31', 'D1-3')}, ${core('blue', 'BU', 'J1-33', 'D1-4')}, ${core(role, 'WH', 'TB1-1', 'D1-2')}] } }`,
      );
    expectFindings(rgb('anode', 'return'), [{ severity: 'warning', wrong: 'no plus core' }]);
    expectFindings(rgb('anode', 'plus').replace('»', ''), []);
    expectFindings(rgb('cathode', 'return').replace('»', ''), []);
  });
});

describe('pins of the header', () => {
  // The 40-pin header of the Raspberry Pi (from memory): 11 is GPIO 17, 12 is GPIO 18, 2 is 5 V, 6 and 14 are ground.
  test('a signal on the pin of another GPIO', () => {
    expectFindings(wired([core('signal', 'YE', '»J1-11', 'SV1-1'), PLUS, RETURN]), [
      {
        severity: 'warning',
        wrong: 'J1-11 is GPIO 17 of head, but signal of a is GPIO 18 of head',
        right: 'J1-12',
      },
    ]);
  });

  test('a signal on a power pin, a return that is on no ground', () => {
    expectFindings(wired([core('signal', 'YE', '»J1-2', 'SV1-1'), PLUS, RETURN]), [
      { severity: 'warning', wrong: 'J1-2 is 5 V, and this core is a signal' },
    ]);
    expectFindings(wired([SIGNAL, PLUS, core('return', 'BK', '»J1-16', 'SV1-3')]), [
      { severity: 'warning', wrong: 'J1-16 is GPIO 23', right: 'ground' },
    ]);
    expectFindings(wired([SIGNAL, PLUS, core('return', 'BK', 'J1-14', 'SV1-3')]), []);
  });

  test('a servo fed from the 5 V pin', () => {
    expectFindings(wired([SIGNAL, core('plus', 'RD', '»J1-2', 'SV1-2'), RETURN]), [
      { severity: 'warning', wrong: 'a is fed from J1-2', right: 'their own supply' },
    ]);
  });

  test('a colour of a light on the pin of another colour', () => {
    const eye = `e: { kind: rgb, output: { board: head, pins: [5, 6, 13], common: anode }, wire: { label: W1, cores: [${core('red', 'RD', '»J1-31', 'D1-1')}, ${core('green', 'GN', '»J1-29', 'D1-3')}, ${core('blue', 'BU', 'J1-33', 'D1-4')}, ${core('plus', 'WH', 'TB1-1', 'D1-2')}] } }`;
    expectFindings(propText(eye), [
      { severity: 'warning', wrong: 'red of e is GPIO 5', right: 'J1-29' },
      { severity: 'warning', wrong: 'green of e is GPIO 6', right: 'J1-31' },
    ]);
  });

  test('an output of a chip', () => {
    const boards = 'head: { driver: pca9685, bus: 1, address: 0x40 }';
    const text = (from: string) =>
      propText(
        `a: ${servo(3, { wire: `{ label: W1, cores: [${core('signal', 'YE', from, 'SV1-1')}, ${PLUS}, ${RETURN}] }` })}`,
        'connectors: { A1: { board: head }, SV1: {}, TB1: {} }',
        boards,
      );
    expectFindings(text('A1-3'), []);
    expectFindings(text('»A1-4'), [
      { severity: 'warning', wrong: 'A1-4 is output 4 of head', right: 'A1-3' },
    ]);
  });
});

describe('what is joined to what', () => {
  const rails = (more = '') =>
    `rails: { r: { volts: 6, limitA: 5, supply: { plus: PS1-1, return: PS1-2 }${more} } }`;
  const connectors = (tb1 = '[[1, 2, 3], [6, 7, 8]]') =>
    `connectors: { J1: { board: head }, SV1: {}, PS1: {}, F1: {}, TB1: { bridged: ${tb1} } }`;
  const feed = (role: string, from: string, to: string) =>
    `  - { label: ${from}${to}, rail: r, cores: [{ role: ${role}, colour: ${role === 'plus' ? 'RD' : 'BK'}, from: ${from}, to: ${to} }] }`;
  const PLUS_FEED = feed('plus', 'PS1-1', 'TB1-3');
  const RETURN_FEED = feed('return', 'PS1-2', 'TB1-8');
  const GROUND = feed('return', 'TB1-7', 'J1-6');
  const more = { rail: 'r', draw: '{ movingA: 0.2 }' };
  const whole = (parts: string[], railMore = '', tb1?: string) =>
    wired(
      [SIGNAL, PLUS, RETURN],
      [rails(railMore), connectors(tb1), 'wires:', ...parts].join('\n'),
      'W1',
      more,
    );

  test('a loom that is whole', () => {
    expectFindings(whole([PLUS_FEED, RETURN_FEED, GROUND]), []);
  });

  test('a bridge between plus and return is a short circuit', () => {
    const { findings } = parseProp(
      whole([PLUS_FEED, RETURN_FEED, GROUND], '', '[[1, 2, 3, 6, 7, 8]]'),
      'a.yaml',
    );
    const short = findings.filter(({ wrong }) => wrong.startsWith('short circuit'));
    expect(short).toMatchObject([
      { severity: 'error', path: 'connectors.TB1.bridged[0]', right: /apart/ },
    ]);
  });

  test('plus and return in one cavity are one, also without rails', () => {
    const { findings } = parseProp(
      wired([SIGNAL, PLUS, core('return', 'BK', 'TB1-1', 'SV1-3')]),
      'a.yaml',
    );
    expect(findings.filter(({ severity }) => severity === 'error')).toMatchObject([
      { path: 'channels.a.wire.cores[2].from', wrong: /short circuit/, right: /a cavity each/ },
    ]);
  });

  test('rails of different voltage that are joined', () => {
    const text = wired(
      [SIGNAL, PLUS, RETURN],
      'rails: { r: { volts: 6, limitA: 5 }, s: { volts: 5, limitA: 5 } }\nwires:\n' +
        '  - { label: W2, rail: s, cores: [{ role: plus, colour: RD, from: F2-1, to: SV1-2 }] }',
      'W1',
      more,
    );
    const { findings } = parseProp(text, 'a.yaml');
    expect(findings.filter(({ severity }) => severity === 'error')).toMatchObject([
      { path: 'wires[0].cores[0].from', wrong: /6 V \(r\) and is joined to .* of 5 V \(s\)/ },
    ]);
  });

  test('a plus that does not lead to its supply', () => {
    const text = whole([RETURN_FEED, GROUND]).replace('{ role: plus', '»{ role: plus');
    expectFindings(text, [
      {
        severity: 'warning',
        wrong: 'the plus of W1 does not lead to the supply of r',
        right: /TB1-1 and PS1-1/,
      },
    ]);
  });

  test('a return that does not, and so no common ground', () => {
    const text = whole([PLUS_FEED, GROUND])
      .replace('{ role: return', '»{ role: return')
      .replace('return: PS1-2', 'return: »PS1-2');
    expectFindings(text, [
      { severity: 'warning', wrong: /return of W1 does not lead.*nor do 1 more/ },
      { severity: 'warning', wrong: 'not joined to the ground of head', right: 'J1-6' },
    ]);
  });

  test('no wire from the return to the ground of the board', () => {
    const text = whole([PLUS_FEED, RETURN_FEED]).replace('return: PS1-2', 'return: »PS1-2');
    expectFindings(text, [{ severity: 'warning', wrong: 'not joined to the ground of head' }]);
  });
});

/** So many channels, each with its wire and two feeds. */
function big(count: number): string {
  const lines = ['sinew: 1', 'name: Big', 'boards:'];
  for (let b = 0; b <= count >> 3; b++) lines.push(`  b${b}: { driver: sim }`);
  lines.push('rails: { r: { volts: 6, limitA: 9000, supply: { plus: PS-1, return: PS-2 } } }');
  lines.push('channels:');
  for (let c = 0; c < count; c++) {
    const cores = [
      core('signal', 'YE', `P${c >> 3}-${c & 7}`, `S${c}-1`),
      core('plus', 'RD', `T${c}-1`, `S${c}-2`),
      core('return', 'BK', `T${c}-4`, `S${c}-3`),
    ];
    const wire = `{ label: W${c}, gaugeAwg: 24, lengthM: 1, cores: [${cores.join(', ')}] }`;
    const output = `{ board: b${c >> 3}, pin: ${16 + (c & 7)} }`;
    lines.push(`  c${c}: ${servo(0, { output, rail: 'r', draw: '{ movingA: 0.1 }', wire })}`);
  }
  lines.push('wires:');
  for (let c = 0; c < count; c++) {
    const before = c === 0 ? 'PS' : `T${c - 1}`;
    for (const [label, role, colour, from, to] of [
      [`F${c}`, 'plus', 'RD', c === 0 ? 'PS-1' : `${before}-3`, `T${c}-2`],
      [`G${c}`, 'return', 'BK', c === 0 ? 'PS-2' : `${before}-6`, `T${c}-5`],
    ] as const)
      lines.push(`  - { label: ${label}, rail: r, cores: [${core(role, colour, from, to)}] }`);
  }
  return lines.join('\n');
}

describe('time', () => {
  /** Processor time, the best of three, so that what else the machine does counts little (ms). */
  const bestMs = (text: string) =>
    Math.min(
      ...[1, 2, 3].map(() => {
        const start = process.cpuUsage();
        parseProp(text, 'big.yaml');
        return process.cpuUsage(start).user / 1000;
      }),
    );

  test('500 wires are checked in under a second', () => {
    expect(bestMs(big(167))).toBeLessThan(1000);
  });

  test('six times the wires take nowhere near 36 times the time', () => {
    const [few, many] = [big(167), big(1000)];
    const [fewMs, manyMs] = [bestMs(few), bestMs(many)];
    expect(manyMs / fewMs).toBeLessThan(18);
  });
});
