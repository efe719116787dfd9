import { mkdir, readFile, symlink, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { acceptanceOf } from '../../src/cli/book/acceptance-checks.ts';
import { hazardsOf } from '../../src/cli/book/hazards.ts';
import { choresOf, partsOf } from '../../src/cli/book/upkeep.ts';
import { versionOf } from '../../src/prop/file/version.ts';
import { parseProp } from '../../src/prop/load.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('file');

const PROP = `sinew: 1
name: Little <b>owl</b>
boards: { head: { driver: sim } }
rails: { servo6v: { volts: 6, limitA: 3 } }
stopInput: { board: head, pin: 4, category: 1 }
guards: { mat: { board: head, pin: 22, action: stop } }
channels:
  beak:
    kind: servo
    output: { board: head, pin: 18 }
    rail: servo6v
    calibration: [[1000, -45], [2000, 45]]
    limitsDeg: [-5, 35]
    speedDegS: 120
    accelDegS2: 600
    draw: { idleA: 0.01, movingA: 0.25, stallA: 0.9 }
    marks: { shut: 0, open: 30 }
    park: { to: shut }
    wire: { label: W07, gaugeAwg: 24, lengthM: 0.6, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
  mist:
    kind: relay
    output: { board: head, pin: 7 }
    duty: { maxOnS: 20, restS: 40 }
  fan: { kind: relay, output: { board: head, pin: 8 } }
  lantern: { kind: lamp, output: { board: head, pin: 12 }, park: { to: 0 } }
cues:
  wake: [{ at: 0, move: { beak: open }, overS: 1 }]
picture: { file: owl.svg, places: { beak: [0.5, 0.25] } }
`;
const DRAWING =
  '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9"/></svg>';

async function written(folder: string, text = PROP): Promise<string> {
  const file = on.at(join(folder, 'owl.yaml'));
  await mkdir(dirname(file), { recursive: true });
  await writeFile(file, text);
  await writeFile(join(dirname(file), 'owl.svg'), DRAWING);
  return file;
}

async function html(verb: string, file: string, ...more: string[]): Promise<string> {
  const out = `${file}.html`;
  const { code, out: said, err } = await run([verb, file, '--out', out, ...more], on.daemon);
  expect(code, said + err).toBe(0);
  return readFile(out, 'utf8');
}

const propOf = (text = PROP) => parseProp(text, 'owl.yaml').prop!;

test('the book has every chapter, and says what it was made from', async () => {
  const file = await written('a');
  const book = await html('book', file);
  for (const title of [
    ...['What it is and does', 'Cautions and hazards', 'Switching on and off', 'Cues', 'Wiring'],
    ...['Supplies and fuses', 'Marks and limits', 'Parts and spares', 'Maintenance'],
    ...['First switching on', 'Fault-finding'],
  ])
    expect(book).toContain(`<h2>${title}</h2>`);
  expect(book).not.toContain('Acceptance sheet');
  expect(book).toContain(`owl.yaml, version ${versionOf(PROP)}`);
  expect(book).toContain('go before this book');
  expect(book).toContain('data:image/svg+xml;base64,');
  expect(book).toContain('left:50%;top:25%');
  // A name is text.
  expect(book).not.toContain('<b>owl</b>');
  expect(book).toContain('Little &lt;b>owl');
  // It needs no other file and no network, and runs nothing.
  expect(book).not.toMatch(/<script|<link|<iframe|src="(?!data:)|url\(|@import/i);
});

test('the same file gives the same bytes, wherever it is and whenever; a date only where one is given', async () => {
  const [one, two] = [await written('b'), await written('other/place')];
  const book = await html('book', one, '--with', 'acceptance');
  expect(await html('book', two, '--with', 'acceptance')).toBe(book);
  expect(book).not.toContain(on.folder);
  expect(book).not.toContain('<dt>Date</dt>');
  expect(book).toContain('Acceptance sheet');
  const dated = await html('book', one, '--date', '2026-05-04');
  expect(dated).toContain('<dd>2026-05-04</dd>');
  for (const date of ['today', '2026-13-01', '2026-02-30', '26-1-1'])
    expect((await run(['book', one, '--out', 'x', '--date', date], on.daemon)).code).toBe(2);
});

test('a picture that is missing, or is none, is said and not shown', async () => {
  const file = await written('c');
  await writeFile(join(dirname(file), 'owl.svg'), '<svg><script>alert(1)</script></svg>');
  const { out, code } = await run(['book', file, '--out', `${file}.html`], on.daemon);
  expect(code).toBe(0);
  expect(out).toContain('not in it: picture owl.svg');
  const book = await readFile(`${file}.html`, 'utf8');
  expect(book).not.toContain('alert');
  expect(book).not.toContain('<figure>');
});

test('the picture is beside the prop file that a link leads to', async () => {
  const file = await written('linked');
  const link = on.at('link.yaml');
  await symlink(file, link);
  expect(await html('book', link)).toContain('<figure>');
});

test('a file with errors has no book; its place and remedy are said', async () => {
  const file = await written('d', PROP.replace('volts: 6', 'volts: six'));
  const { code, err } = await run(['book', file, '--out', `${file}.html`], on.daemon);
  expect(code).toBe(1);
  expect(err).toContain('rails.servo6v.volts');
});

test('hazards follow from the file', () => {
  const all = hazardsOf(propOf());
  const said = JSON.stringify(all);
  expect(all[0]!.type).toBe('mechanical');
  expect(said).toContain('Guards: mat (stops).');
  expect(said).toContain('mist: 20 s on, then 40 s of rest.');
  expect(said).toContain('Without a duty guard: fan.');
  expect(said).toContain(
    'Stop button on the prop: stop category 1, a wire break counts as pressed',
  );
  expect(said).toContain('three flashes in any second');
  expect(said).not.toContain('Loud sound');
  for (const { measures, residual } of all) {
    expect(measures.length).toBeGreaterThan(0);
    expect(residual).not.toBe('');
  }
  const bare = JSON.stringify(
    hazardsOf(
      propOf(
        PROP.replace(/^(stopInput|guards).*\n/gm, '').replace(
          'picture:',
          'flash: { unrestricted: true, reason: a storm scene }\npicture:',
        ),
      ),
    ),
  );
  expect(bare).toContain('No stop button in the file');
  expect(bare).toContain('No guard (mat, beam, door)');
  expect(bare).toContain('lifts the limit of three flashes a second: a storm scene');
  const open = JSON.stringify(
    hazardsOf(propOf(PROP.replace('category: 1', 'category: 1, normallyClosed: false'))),
  );
  expect(open).toContain('NOT fail-safe');
});

test('spares and upkeep follow from the file', () => {
  const servo = partsOf(propOf()).find(({ item }) => item === 'servo');
  expect(servo?.spares).toBe(1);
  expect(JSON.stringify(choresOf(propOf()))).toContain('Break guard mat');
  const wear = (text: string) =>
    choresOf(propOf(text)).find(({ what }) => what.includes('sinew wear'))!.what;
  expect(wear(PROP)).not.toContain('Limits');
  const limited = PROP.replace(
    '    park: { to: shut }',
    '    maintainEvery: { cycles: 50000, hours: 500 }\n    park: { to: shut }',
  ).replace('fan: { kind: relay,', 'fan: { kind: relay, part: relay-board-5v,');
  expect(wear(limited)).toMatch(
    / Limits: beak every 50000 cycles or 500 hours; fan every 100000 closures\.$/,
  );
});

test('the acceptance sheet asks for every stop, loss, guard, duty, end and cue', () => {
  const checks = acceptanceOf(propOf()).flatMap(({ checks: list }) => list);
  const said = checks.map(({ what, expect: must }) => `${what} ${must}`).join('\n');
  for (const part of [
    ...["The switch that cuts the actuators' power", 'The stop button', 'One wire of the stop'],
    ...['Stop on the page', 'sinew stop', 'pulled in the middle of a cue. Within 0.6 s it parks'],
    ...['The power of the computer, cut', 'The daemon, killed', 'Guard mat: broken', 'Lockout'],
    ...['mist: on, and left on. It opens by itself after 20 s; closing it within 40 s is refused'],
    ...['beak: to -5 deg, then to 35 deg.', 'Cue wake.', 'Rail servo6v'],
  ])
    expect(said).toContain(part);
  expect(said).not.toContain('fan: on');
  expect(checks.every(({ measured }) => measured === undefined)).toBe(true);
});

test("the daemon's measured values are filled in, and another version of the file is said", async () => {
  const file = await written('e', PROP.replace('Little <b>owl</b>', 'Test owl'));
  const bare = await html('acceptance', file);
  expect(bare).toContain('not asked: measured values are written by hand');
  expect(bare.match(/class="box"/g)!.length).toBeGreaterThan(12);
  expect(bare).toContain('name, signature, date');
  Object.assign(on.daemon.channels.beak!, { measuredDeg: 12.34 });
  on.daemon.handlers['sense.list'] = () => ({
    senses: {},
    rails: { servo6v: { amps: 0.8, measuredV: 5.98, measuredA: 0.42, limitA: 3 } },
  });
  const filled = await html('acceptance', file, '--daemon');
  expect(filled).toContain('now 12.3 deg');
  expect(filled).toContain('now 5.98 V, 0.42 A');
  expect(filled).toContain('It runs ANOTHER version of the file: aaaaaaaaaaaaaaaa');
  // A prop that is not the one of the file is not measured for it.
  const other = await written('f');
  const { code, err } = await run(
    ['acceptance', other, '--daemon', '--out', `${other}.html`],
    on.daemon,
  );
  expect(code).toBe(1);
  expect(err).toContain('the daemon runs Test owl');
  expect((await run(['book', other, '--daemon', '--out', 'x'], on.daemon)).code).toBe(2);
});
