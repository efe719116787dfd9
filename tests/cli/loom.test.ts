import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { loomCsv } from '../../src/cli/loom-csv.ts';
import { loomOf } from '../../src/cli/loom-data.ts';
import { loomHtml } from '../../src/cli/loom-drawn.tsx';
import { loomText } from '../../src/cli/loom-text.ts';
import { bundlesOf } from '../../src/prop/bundles.ts';
import { findWires } from '../../src/prop/find-wires.ts';
import { parseProp } from '../../src/prop/load.ts';
import { wiresOf } from '../../src/prop/loom.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { OWL, propText, relay } from '../prop/helpers.ts';
import { run } from './fake-daemon.ts';

/** Names that are awkward in every form. */
const ODD = propText(
  `horn: ${relay(4, {
    rail: 'six',
    wire: '{ label: "A,1 \\"x\\" <b>", sectionMm2: 0.25, cores: [{ role: "in & out", colour: GNYE, from: J1-7, to: K1-IN }, { role: return, colour: XX, from: T1-2, to: K1-G }] }',
  })}`,
  'rails: { six: { volts: 6, limitA: 2 } }',
).replace('name: Test', 'name: "Gate & <lamp>"');

const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
let folder: string;
const at = (name: string) => join(folder, name);

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-'));
  await writeFile(at('owl.yaml'), OWL);
  await writeFile(at('odd.yaml'), ODD);
  await writeFile(at('none.yaml'), propText(`horn: ${relay(4)}`));
  await writeFile(at('bad.yaml'), OWL.replace('volts: 6.0', 'volts: 0'));
});
afterAll(() => rm(folder, { recursive: true }));

const loom = (file: string, ...more: string[]) => run(['loom', at(file), ...more], nobody);

describe('text', () => {
  test('lists by connector, by channel and by label', async () => {
    const { code, out, err } = await loom('owl.yaml');
    expect({ code, err }).toEqual({ code: 0, err: '' });
    const [head, ...lists] = out.split(/\n\n/);
    expect(head).toBe('Foyer owl: 32 wires, 29 connectors');
    expect(lists.map((list) => list.split('\n')[0])).toEqual([
      'BY CONNECTOR',
      'BY CHANNEL',
      'BY LABEL',
    ]);
    expect(lists[0]).toMatch(/^TB1, 6 V block\n {2}joined inside: 1 2 3 4 5\n/m);
    expect(lists[0]).toMatch(/^ {2}TB1-2 +W07 +RD red +plus +-> SV3-2 +beak$/m);
    expect(lists[0]).toMatch(/^ {2}TB1-12 +free$/m);
    expect(lists[1]).toMatch(/^mist +W16 +22 AWG +0\.8 m +control J1-26 -> K1-IN, /m);
    expect(lists[2]).toMatch(/^W07 +beak +24 AWG +0\.6 m +signal +YE yellow +J1-12 +-> SV3-1$/m);
  });

  test('says so where there is nothing', async () => {
    expect(await loom('none.yaml')).toEqual({
      code: 0,
      out: 'Test: the file names no wires\n',
      err: '',
    });
  });
});

/** A reader of RFC 4180, section 2, character by character. */
function readCsv(text: string): string[][] {
  const rows: string[][] = [];
  let row: string[] = [];
  let field = '';
  let quoted = false;
  for (let i = 0; i < text.length; i++) {
    const letter = text[i]!;
    if (quoted) {
      if (letter !== '"') field += letter;
      else if (text[i + 1] === '"') {
        field += '"';
        i++;
      } else quoted = false;
    } else if (letter === '"' && field === '') quoted = true;
    else if (letter === ',') {
      row.push(field);
      field = '';
    } else if (letter === '\r' && text[i + 1] === '\n') {
      rows.push([...row, field]);
      row = [];
      field = '';
      i++;
    } else {
      if (/["\r\n]/.test(letter)) throw new Error(`${i}: ${JSON.stringify(letter)} is not quoted`);
      field += letter;
    }
  }
  if (field !== '' || row.length > 0) throw new Error('the last line has no end');
  return rows;
}

describe('csv', () => {
  test('has a row for each core, as RFC 4180 has it', async () => {
    const { code, out } = await loom('owl.yaml', '--format', 'csv');
    expect(code).toBe(0);
    const [head, ...rows] = readCsv(out);
    expect(rows.every((row) => row.length === head!.length)).toBe(true);
    expect(rows).toHaveLength(OWL.match(/\{ role: /g)!.length);
    const first = Object.fromEntries(head!.map((name, i) => [name, rows[0]![i]]));
    expect(first).toEqual({
      ...{ label: 'W01', channel: 'head_turn', rail: '', gauge_awg: '22', section_mm2: '' },
      ...{ length_m: '0.9', role: 'signal', colour: 'YE', colour_name: 'yellow' },
      ...{ from: 'J1-38', from_connector: 'J1', from_cavity: '38' },
      ...{ to: 'SV1-1', to_connector: 'SV1', to_cavity: '1', place: '' },
    });
  });

  test('quotes what needs it', async () => {
    const { out } = await loom('odd.yaml', '--format', 'csv');
    const rows = readCsv(out);
    expect(rows[1]!.slice(0, 9)).toEqual([
      'A,1 "x" <b>',
      'horn',
      '',
      '',
      '0.25',
      '',
      'in & out',
      'GNYE',
      'green-yellow',
    ]);
    expect(rows[2]!.slice(6, 9)).toEqual(['return', 'XX', '']);
  });
});

describe('html and svg', () => {
  test('the print-out has every core three times, a box for each, and flags for both ends', async () => {
    const out = at('owl.html');
    const { code, out: said } = await loom('owl.yaml', '--format', 'html', '--out', out);
    expect({ code, said }).toEqual({ code: 0, said: `written to ${out}\n` });
    const html = await readFile(out, 'utf8');
    const cores = OWL.match(/\{ role: /g)!.length;
    // By connector each core stands at both of its ends.
    expect(html.match(/<td class="tick">/g)).toHaveLength(cores * 2 + cores + cores);
    // W07 goes to three connectors; a flag has two sides.
    expect(html.match(/<b>W07<\/b>/g)).toHaveLength(6);
    for (const [here, there] of [
      ['J1-12', 'SV3-1'],
      ['TB1-2/7', 'SV3-2/3'],
      ['SV3-1/2/3', 'J1-12 TB1-2/7'],
    ])
      expect(html).toContain(
        `<b>W07</b><span>beak</span><span class="here">${here}</span><span>→ ${there}</span>`,
      );
    expect(html).toContain('@page { size: A4');
    expect(html).not.toMatch(
      /https?:(?!\/\/www\.w3\.org\/2000\/svg)|<script|<link|<img|@import|url\(/,
    );
  });

  test('the drawing has every pin, cavity and code, and what each is for', async () => {
    const { out } = await loom('owl.yaml', '--format', 'svg');
    const texts = [...out.matchAll(/<text class="([^"]*)"[^>]*>([^<]*)/g)].map(
      ([, style, text]) => [style, text!] as const,
    );
    const named = (start: string) => texts.filter(([, text]) => text.startsWith(start)).length;
    expect(named('GPIO ')).toBe(28);
    expect(texts.filter(([, text]) => text === 'reserved: ID EEPROM')).toHaveLength(2);
    expect(
      texts.filter(([style, text]) => text === 'free' && style!.startsWith('soft')),
    ).toHaveLength(
      // GPIO 9 and 10, TB1-12, TB3-6, TB3-12, TB2-15, and the word in the legend.
      7,
    );
    expect(texts.map(([, text]) => text)).toContain('W07  beak, signal → SV3-1');
    expect(texts.map(([, text]) => text)).toContain('W07  plus → TB1-2');
    // Beside every piece of insulation stands its code.
    const pieces = out.match(/class="insulation"/g)!.length;
    expect(texts.filter(([style]) => style === 'code')).toHaveLength(pieces);
  });

  test('odd names are text, never markup', async () => {
    for (const format of ['html', 'svg']) {
      const { out } = await loom('odd.yaml', '--format', format);
      // XML 1.0, section 2.4: > need not be escaped but where it ends a CDATA section.
      expect(out).toContain('Gate &amp; &lt;lamp>');
      expect(out).toContain('A,1 &quot;x&quot; &lt;b>');
      expect(out).not.toContain('<lamp>');
      expect(out).not.toMatch(/"x" <b>/);
    }
  });

  test('a file without wires still makes a page and a drawing', async () => {
    expect((await loom('none.yaml', '--format', 'html')).out).toContain('names no wires');
    expect((await loom('none.yaml', '--format', 'svg')).out).toContain('GPIO 4');
  });
});

test('--json has wires, connectors and pins', async () => {
  const { code, out } = await loom('owl.yaml', '--json');
  expect(code).toBe(0);
  const { name, wires, connectors, boards } = JSON.parse(out);
  expect(name).toBe('Foyer owl');
  expect(wires).toHaveLength(32);
  expect(wires[0].cores[0]).toMatchObject({ colour: 'YE', colourName: 'yellow' });
  const block = connectors.find((one: { name: string }) => one.name === 'TB1');
  expect(block.bridged[0]).toEqual(['1', '2', '3', '4', '5']);
  expect(block.cavities[1]).toEqual({
    cavity: '2',
    cores: [{ label: 'W07', channel: 'beak', role: 'plus', colour: 'RD', other: 'SV3-2' }],
  });
  expect(boards.head.pins[18]).toEqual({ pin: 18, use: 'beak' });
});

test('a file with errors prints its findings, and nothing is drawn', async () => {
  const finding = /bad\.yaml:\d+:\d+: rails\.servo6v\.volts: /;
  const text = await loom('bad.yaml');
  expect(text).toEqual({ code: 1, out: expect.stringMatching(finding), err: '' });
  const svg = await loom('bad.yaml', '--format', 'svg');
  expect(svg).toEqual({ code: 1, out: '', err: expect.stringMatching(finding) });
});

test('a file that cannot be written is refused by name', async () => {
  const { code, err } = await loom('owl.yaml', '--out', at('no/where.txt'));
  expect(code).toBe(1);
  expect(err).toMatch(/^sinew: cannot write .*where\.txt: ENOENT/);
});

describe('find in a file', () => {
  const find = (...words: string[]) => run(['find', ...words], nobody);

  test('finds wires without a daemon', async () => {
    const { code, out } = await find('W22', '--file', at('owl.yaml'));
    expect(code).toBe(0);
    expect(out).toBe('W22  servo6v  14 AWG  0.8 m\n  return  BK  PS1-2  -> TB1-8\n');
    expect((await find('W99', '--file', at('owl.yaml'))).code).toBe(1);
  });

  test('tells what to check, with what a meter shows', async () => {
    const { code, out } = await find('beak', '--symptom', 'dead', '--file', at('owl.yaml'));
    expect(code).toBe(0);
    expect(out).toMatch(/^beak \(servo\): dead\nrail: servo6v\nfuse: F1\nwires: W20 W21 W22 W07\n/);
    expect(out).toMatch(/^! Low voltage only/m);
    expect(out).toMatch(/^3\. \[power on\] .*PS1-1 against PS1-2\.\n {3}good: 6 V.*\n {3}else: /m);
    const json = await find('beak', '--symptom', 'dead', '--file', at('owl.yaml'), '--json');
    expect(JSON.parse(json.out)).toMatchObject({ channel: 'beak', steps: expect.any(Array) });
  });

  test('refuses what it cannot answer, by name', async () => {
    const bad = await find('beak', '--symptom', 'dim', '--file', at('owl.yaml'));
    expect(bad).toMatchObject({
      code: 1,
      err: expect.stringMatching(/dead, weak, buzzing, wrong-way/),
    });
    expect((await find('beak', '--symptom', 'sad', '--file', at('owl.yaml'))).code).toBe(2);
    const broken = await find('beak', '--file', at('bad.yaml'));
    expect(broken).toMatchObject({ code: 1, out: '', err: expect.stringMatching(/volts/) });
  });
});

describe('bundles', () => {
  const placed = OWL.replace('  beak:\n', '  beak:\n    place: front\n').replace(
    '  lid_left:\n',
    '  lid_left:\n    place: front\n',
  );

  test('wires to one place run together, in every form; one wire alone is not a bundle', () => {
    const { prop, findings } = parseProp(placed, 'owl.yaml');
    expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
    const [bundle, ...others] = bundlesOf(wiresOf(prop!));
    expect(others).toEqual([]);
    // Two servos with three cores each.
    expect(bundle).toMatchObject({ place: 'front', cores: 6 });
    expect(bundle!.wires).toHaveLength(2);
    expect(loomText(prop!)).toMatch(/BY PLACE\n.*\nfront +6 +0\.\d m +W\d+ W\d+/);
    expect(loomHtml(prop!)).toContain('<h2>By place</h2>');
    expect(
      loomCsv(prop!)
        .split('\r\n')
        .filter((line) => line.endsWith(',front')),
    ).toHaveLength(6);
    expect(loomOf(prop!).bundles).toEqual([bundle]);
    expect(findWires(prop!, 'front').map(({ channel }) => channel)).toEqual(['beak', 'lid_left']);
    const plain = parseProp(OWL, 'owl.yaml').prop!;
    expect(loomText(plain)).not.toContain('BY PLACE');
    expect(
      bundlesOf(
        wiresOf(parseProp(OWL.replace('  beak:\n', '  beak:\n    place: front\n'), 'x').prop!),
      ),
    ).toEqual([]);
  });
});
