import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { formatFinding, loadProp, parseProp } from '../../src/prop/load.ts';
import { expectFindings, OWL, OWL_FILE, propText, relay, servo } from './helpers.ts';

/** The findings as they are printed. */
function printed(text: string): string[] {
  return parseProp(text, 'f.yaml').findings.map((finding) => formatFinding(finding, 'f.yaml'));
}

describe('the demo prop', () => {
  test('is loaded', async () => {
    const { prop, findings } = await loadProp(OWL_FILE.pathname);
    expect(findings).toEqual([]);
    expect(prop?.name).toBe('Foyer owl');
    expect(Object.keys(prop!.channels)).toHaveLength(15);
    // Defaults of the schema.
    expect(prop!.channels.fan).toMatchObject({ kind: 'relay', contact: 'held' });
  });

  test('points an editor at the schema in its first line', () => {
    expect(OWL.split('\n')[0]).toBe(
      '# yaml-language-server: $schema=http://127.0.0.1:7420/prop.schema.json',
    );
  });

  test('every wire has colours of IEC 60757', () => {
    // IEC 60757:2021, table 1 (from memory), and the combination for protective earth.
    const codes = 'BK BN RD OG YE GN BU VT GY WH PK GD TQ SR GNYE'.split(' ');
    const { channels } = parseProp(OWL, 'owl.yaml').prop!;
    for (const [name, channel] of Object.entries(channels)) {
      expect([name, channel.wire?.cores.length]).toEqual([name, expect.any(Number)]);
      for (const { colour } of channel.wire!.cores) expect(codes).toContain(colour);
    }
    const labels = Object.values(channels).map(({ wire }) => wire!.label);
    expect(new Set(labels).size).toBe(labels.length);
  });
});

/** Its one mistake stands in line 10, column 16. */
const SLOW = `sinew: 1
name: Test
boards:
  head: { driver: sim }
channels:
  a:
    kind: servo
    output: { board: head, pin: 4 }
    calibration: [[1000, -45], [2000, 45]]
    speedDegS: -1
    park: { to: 0 }
`;

describe('printing', () => {
  test('file:line:column: path: what is wrong; what would be right', () => {
    expect(printed(SLOW.replace('-1', 'fast'))).toEqual([
      'f.yaml:10:16: channels.a.speedDegS: "fast" is not a number; give deg/s as a number above 0',
    ]);
  });

  test('a warning says so', () => {
    expect(printed(SLOW.replace('-1', '5').replace('pin: 4', 'pin: 14'))).toEqual([
      expect.stringMatching(
        /^f\.yaml:8:33: channels\.a\.output\.pin: warning: GPIO 14 is .*; use /,
      ),
    ]);
  });
});

describe('text that is not YAML', () => {
  const cases: [title: string, text: string, place: string, message: RegExp][] = [
    ['empty', '', '1:1', /is empty; begin with sinew: 1/],
    ['comments alone', '# one\n\n', '1:1', /is empty/],
    ['a tab', 'sinew: 1\nlink:\n\ttimeoutMs: 5', '3:1', /a tab .*; indent with spaces/],
    ['an open quote', 'name: "Owl\n', '2:1', /closing "quote; add what is missing/],
    ['an open bracket', 'a: [1, 2\nb: 3\n', '2:1', /end with a \]; check the indentation/],
    ['a second document', 'sinew: 1\n---\nname: x\n', '2:1', /a second document/],
    ['text below the end line', 'sinew: 1\n...\nname: x\n', '3:1', /below everything else/],
    ['a YAML 1.1 directive', '%YAML 1.1\n---\nsinew: 1\n', '1:1', /YAML 1.1; remove/],
    ['a tag', 'sinew: !one 1\n', '1:8', /!one; remove the tag/],
    ['a key that is a list', '? [a]\n: 1\n', '1:3', /; use a plain word/],
    ['an alias to nowhere', 'sinew: *x\n', '1:8', /no anchor &x/],
    ['an alias within itself', 'link: &x { holdS: *x }\n', '1:19', /stands inside itself/],
    ['a reserved character', 'name: @owl\n', '1:7', /reserved character @; .*quote/],
    ['a control character', 'name: a\u0007\n', '1:8', /control character \(0x07\); remove/],
    ['an unquoted colour in braces', 'a: { to: #ff0000 }\nb: 1\n', '1:10', /; quote the colour/],
    ['brackets in brackets', '['.repeat(100_000), '1:65', /nested too deeply/],
    ['dashes in dashes', '- '.repeat(100_000), '1:129', /nested too deeply/],
    ['maps in maps', `${'{a: '.repeat(100_000)}`, '1:257', /nested too deeply/],
    ['a deep indentation', `a:\n${' '.repeat(300)}b: 1`, '2:1', /nested too deeply/],
    ['more than 1 MiB', '#'.repeat(1024 * 1024 + 1), '1:1', /larger than 1 MiB/],
  ];
  test.each(cases)('%s', (_, text, place, message) => {
    const lines = printed(text);
    expect(lines.filter((line) => line.startsWith(`f.yaml:${place}: `)).join('\n')).toMatch(
      message,
    );
    expect(parseProp(text, 'f.yaml').prop).toBeUndefined();
  });

  test('duplicate keys, with their path', () => {
    expectFindings(
      propText(`a: { ${servo(4).slice(2, -2)}, »park: { to: 1 } }\n  »a: ${servo(5)}`),
      [
        { path: 'channels.a.park', wrong: 'given twice' },
        { path: 'channels.a', wrong: 'given twice' },
      ],
    );
  });

  test('aliases are read, but not without bound', () => {
    const shared = `a: ${servo(4, { calibration: '&c [[1000, -45], [2000, 45]]' })}`;
    expectFindings(propText(`${shared}\n  b: ${servo(5, { calibration: '*c' })}`), []);
    const bomb = ['a: &a [x, x, x, x, x, x, x, x, x]'];
    for (const [to, from] of ['ba', 'cb', 'dc', 'ed', 'fe', 'gf', 'hg', 'ih'])
      bomb.push(`${to}: &${to} [${Array(9).fill(`*${from}`).join(', ')}]`);
    expect(printed(bomb.join('\n'))).toEqual([
      expect.stringMatching(/the aliases \(\*name\) multiply too far; write the values out/),
    ]);
    const many = `a: &a 1\nb: [${Array(101).fill('*a').join(', ')}]`;
    expect(printed(many)).toEqual([expect.stringMatching(/more than 100 aliases/)]);
  });

  test('merge keys', () => {
    expectFindings(propText(`a: { »<<: {}, ${servo(4).slice(2)}`), [
      { path: 'channels.a."<<"', wrong: 'merge keys', right: 'write the keys out' },
    ]);
  });

  test("names of JavaScript's own", () => {
    expectFindings(propText(`»__proto__: ${servo(4)}\n  constructor: ${servo(5)}`), [
      { path: 'channels.__proto__', wrong: 'not a name' },
    ]);
    expectFindings(
      propText(
        `a: ${servo(4, { rail: '»toString' })}`,
        'groups: { g: [»constructor] }\nposes: { p: { »hasOwnProperty: 1 } }',
      ),
      [{ wrong: 'no rail' }, { wrong: 'no channel' }, { wrong: 'no channel' }],
    );
    expect(({} as Record<string, unknown>).kind).toBeUndefined();
  });

  test('a byte order mark is told and does no harm', () => {
    const loaded = parseProp(`\uFEFF${propText(`a: ${servo(4)}`)}`, 'f.yaml');
    expect(loaded.prop).toBeDefined();
    expect(loaded.findings).toMatchObject([{ severity: 'warning', line: 1, column: 1 }]);
    expect(printed('\uFEFFsinew: 2\n')).toContain(
      'f.yaml:1:8: sinew: 2 is a later version of this file format than this Sinew knows, which is 1; install a later Sinew',
    );
  });

  test('Windows line ends count as one', () => {
    expect(printed(SLOW.replaceAll('\n', '\r\n'))).toEqual([
      expect.stringMatching(/^f\.yaml:10:16: .*-1 is not above 0/),
    ]);
  });
});

describe('what the schema says', () => {
  test('unknown keys, with the nearest known one', () => {
    expectFindings(
      propText(
        `a: ${servo(4, { '»limitDeg': '[0, 5]', '»colour': 'red' })}
  b: { kind: relay, output: { board: head, pin: 7, activeLow: true, »pni: 8 } }`,
        '»parc: { deadlineS: 5 }',
      ),
      [
        { path: 'channels.a.limitDeg', wrong: 'unknown key', right: 'did you mean limitsDeg' },
        {
          path: 'channels.a.colour',
          wrong: 'unknown key',
          right: 'use one of kind, output, part, rail',
        },
        { path: 'channels.b.output.pni', wrong: 'unknown key', right: 'remove it: pin is given' },
        { path: 'parc', wrong: 'unknown key', right: 'did you mean park' },
      ],
    );
  });

  test('missing keys, at what they are missing in', () => {
    expectFindings(
      `»sinew: 1
name: Test
boards: { head: { driver: sim } }
channels:
  »a:
    kind: servo
    calibration: [[1000, 0], [2000, 90]]
    park: »{ then: hold }
  b: »{ output: { board: head, pin: 5 } }
`.replace('name: Test\n', ''),
      [
        { path: 'name', wrong: 'missing', right: 'add name' },
        { path: 'channels.a.output', wrong: 'missing', right: 'add output' },
        { path: 'channels.a.park.to', wrong: 'missing', right: 'add to: give deg or' },
        { path: 'channels.b.kind', wrong: 'missing', right: 'add kind: use servo, relay' },
      ],
    );
  });

  test('a misspelt key is one finding, not two', () => {
    expectFindings(propText(`a: ${servo(4).replace('calibration', '»calibratoin')}`), [
      { wrong: 'unknown key', right: 'did you mean calibration' },
    ]);
  });

  test.each([
    ['kind', '»servos', /"servos" is not a kind of channel/, /servo, relay, rgb, lamp or sound/],
    ['speedDegS', '».nan', /\.nan is not a finite number/, /deg\/s/],
    ['speedDegS', '».inf', /\.inf is not a finite number/, /deg\/s/],
    ['speedDegS', '»0', /0 is not above 0/, /deg\/s/],
    ['speedDegS', '»"60"', /"60" is not a number/, /deg\/s/],
    ['limitsDeg', '[-5, ».inf]', /\.inf is not a finite number/, /number/],
    ['limitsDeg', '»[5]', /\[5\] is too short/, /2 items/],
    ['calibration', '»[[1000, 0]]', /fewer than two points/, /two or more/],
    ['calibration', '[[1000, 0], »2000]', /2000 is not a calibration point/, /pulse us, angle deg/],
    ['output', '{ board: head, pin: »99 }', /99 is not a pin number/, /0 to 63/],
    ['output', '{ board: head, pin: »4.5 }', /4\.5 is not a pin number/, /whole number/],
    ['output', '»18', /18 is not a map/, /board, pin/],
    ['park', '{ to: »true }', /true is not a position/, /mark/],
    ['park', '{ to: 0, then: »drop }', /"drop" is neither hold nor release/, /hold or release/],
    ['marks', '{ »2nd: 1 }', /"2nd" is not a mark name/, /letter/],
    [
      'requires',
      '[{ channel: a, above: »[1] }]',
      /is neither a number nor the name/,
      /give degrees, or/,
    ],
    ['requires', '[»{ channel: a }]', /a map is not an interlock/, /above: deg/],
    ['requires', '[{ channel: a, is: »true }]', /true is neither on nor off/, /write on/],
    ['wire', '»W07', /"W07" is not a map/, /label/],
  ])('%s: %s', (key, value, wrong, right) => {
    expectFindings(propText(`a: ${servo(4, { [key]: value })}`), [{ wrong, right }]);
  });

  test('sections that are no maps', () => {
    expect(printed('5')).toEqual([expect.stringMatching(/^f\.yaml:1:1: \(file\): 5 is not a map/)]);
    expect(printed('- sinew: 1')).toEqual([expect.stringMatching(/a list of 1 is not a map/)]);
    expectFindings(propText('a: »7'), [
      { path: 'channels.a', wrong: '7 is not a map', right: 'begins with kind' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, '»groups:\nposes: »3'), [
      { path: 'groups', wrong: 'nothing is given', right: 'remove the key' },
      { path: 'poses', wrong: '3 is not a map' },
    ]);
  });
});

describe('YAML traps', () => {
  test('on and off are words, quoted or not', () => {
    for (const word of ['on', 'off', '"on"', "'off'"]) {
      const { prop } = parseProp(propText(`a: ${relay(7, { park: `{ to: ${word} }` })}`), 'f');
      expect(prop?.channels.a).toMatchObject({ park: { to: word.replace(/["']/g, '') } });
    }
  });

  test.each([
    ['yes', 'on'],
    ['no', 'off'],
    ['true', 'on'],
    ['false', 'off'],
    ['On', 'on'],
    ['OFF', 'off'],
  ])('%s for a switch', (word, right) => {
    expectFindings(propText(`a: ${relay(7, { park: `{ to: »${word} }` })}`), [
      { path: 'channels.a.park.to', wrong: 'neither on nor off', right: `write ${right}$` },
    ]);
    expectFindings(
      propText(`a: ${relay(7)}`, `cues: { c: [{ at: 0, switch: { a: »${word} } }] }`),
      [{ path: 'cues.c[0].switch.a', wrong: 'neither on nor off', right: `write ${right}$` }],
    );
  });

  test('yes where true belongs', () => {
    const output = '{ board: head, pin: 7, activeLow: »yes }';
    expectFindings(propText(`a: ${relay(7, { output })}`), [
      { wrong: '"yes" is neither true nor false', right: 'write true or false' },
    ]);
  });

  test('an unquoted colour is a comment', () => {
    const text = propText(`e:
    kind: rgb
    output: { board: head, pins: [4, 5, 6] }
    park:
      »to: #ff0000
`);
    expectFindings(text, [
      { path: 'channels.e.park.to', wrong: 'nothing', right: 'quote the colour' },
    ]);
  });

  // YAML 1.2.2, section 10.3.2 (core schema): hexadecimal and exponents are numbers, 0-leading is not octal.
  test('numbers', () => {
    const more = { speedDegS: '1e2', accelDegS2: '0x40', limitsDeg: '[-012, +1.5E1]' };
    const { prop } = parseProp(propText(`a: ${servo(4, more)}`), 'f');
    expect(prop?.channels.a).toMatchObject({
      speedDegS: 100,
      accelDegS2: 64,
      limitsDeg: [-12, 15],
    });
  });
});

describe('all findings at once', () => {
  test('ten unrelated mistakes are ten findings', () => {
    expectFindings(
      `sinew: 1
name: »7
link: { timeoutMs: »5 }
boards: { head: { driver: sim } }
rails: { r: { volts: 6, limitA: ».nan } }
channels:
  a: { kind: servo, output: { board: head, pin: 4 }, calibration: [[1000, »x], [2000, 45]], park: { to: 0 } }
  b: { kind: servo, output: { board: head, pin: »4 }, calibration: [[1000, -45], [2000, 45]], speedDegS: »no, park: { to: »50 } }
  c: { kind: »servoo, output: { board: head, pin: 9 } }
groups: { g: [a, »bb, c] }
park: { stages: [[a, »5], [»zz]] }
`,
      [
        { path: 'name', wrong: 'not text' },
        { path: 'link.timeoutMs', wrong: 'too low', right: '100 or more' },
        { path: 'rails.r.limitA', wrong: 'finite' },
        { path: 'channels.a.calibration[0][1]', wrong: '"x" is not a number' },
        { path: 'channels.b.output.pin', wrong: 'taken by a' },
        { path: 'channels.b.speedDegS', wrong: 'not a number' },
        { path: 'channels.b.park.to', wrong: '50 deg is outside' },
        { path: 'channels.c.kind', wrong: 'not a kind' },
        { path: 'groups.g[1]', wrong: 'no channel bb' },
        { path: 'park.stages[0][1]', wrong: 'not text' },
        { path: 'park.stages[1][0]', wrong: 'no channel zz' },
      ],
    );
  });

  test('what is broken causes no further findings', () => {
    const text = `sinew: 1
name: Test
boards: { head: { driver: »smi } }
rails: »none
channels:
  a: { kind: servo, output: { board: head, pin: »x }, rail: r, »envelopUs: [900, 2100], calibration: [[1000, -45], [2000, 45]], limitsDeg: [-50, 45], draw: »5, park: { to: 0 } }
  b: { kind: relay, output: { board: head, pin: 9 }, contact: »momentry, pulseMs: 5, requires: [{ channel: a, above: »x }] }
cues: { c: [{ at: »x }, { at: 1, move: { a: »[] } }] }
`;
    expectFindings(text, [
      { path: 'boards.head.driver', wrong: 'not a driver' },
      { path: 'rails', wrong: 'not a map' },
      { path: 'channels.a.output.pin', wrong: 'not a pin number' },
      { path: 'channels.a.envelopUs', wrong: 'unknown key' },
      { path: 'channels.a.draw', wrong: 'not a map' },
      { path: 'channels.b.contact', wrong: 'neither held nor momentary' },
      { path: 'channels.b.requires[0].above', wrong: 'a has no mark "x"' },
      { path: 'cues.c[0].at', wrong: 'not a number' },
      { path: 'cues.c[1].move.a', wrong: 'not a position' },
    ]);
  });
});

describe('files', () => {
  let folder: string;
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'sinew-load-'));
  });
  afterAll(() => rm(folder, { recursive: true }));

  async function load(bytes: Uint8Array | string): Promise<string[]> {
    const file = join(folder, 'prop.yaml');
    await writeFile(file, bytes);
    const { findings, prop } = await loadProp(file);
    expect(prop).toBeUndefined();
    return findings.map((finding) => formatFinding(finding, 'f'));
  }

  test('that are not there, or a folder', async () => {
    for (const [file, wrong] of [
      [join(folder, 'none.yaml'), /no such file; check the path/],
      [folder, /a folder; give the prop file/],
    ] as const) {
      const { findings, prop } = await loadProp(file);
      expect(prop).toBeUndefined();
      expect(findings).toHaveLength(1);
      expect(formatFinding(findings[0]!, file)).toMatch(wrong);
      expect(findings[0]).toMatchObject({ line: 1, column: 1, severity: 'error' });
    }
  });

  test.each([
    ['EACCES', /no permission to read the file; let this user read it/],
    ['EIO', /cannot be read \(EIO\); check/],
  ])('that cannot be read: %s', async (code, message) => {
    const read = () => Promise.reject(Object.assign(new Error(code), { code }));
    const { findings, prop } = await loadProp('f', read);
    expect(prop).toBeUndefined();
    expect(findings.map((finding) => formatFinding(finding, 'f'))).toEqual([
      expect.stringMatching(message),
    ]);
  });

  test('that are not UTF-8', async () => {
    const latin1 = Buffer.from('sinew: 1\nname: Fl\u00fcgel\n', 'latin1');
    expect(await load(latin1)).toEqual([
      'f:2:9: (file): the file is not UTF-8 text; save it as UTF-8',
    ]);
    const utf16 = Buffer.from('\uFEFFsinew: 1\n', 'utf16le');
    expect(await load(utf16)).toEqual([
      'f:1:1: (file): the file is not UTF-8 text; save it as UTF-8',
    ]);
  });

  test('that are too large', async () => {
    expect(await load(Buffer.alloc(1024 * 1024 + 1, '#'))).toEqual([
      expect.stringMatching(/^f:1:1: \(file\): the file is larger than 1 MiB; /),
    ]);
  });
});
