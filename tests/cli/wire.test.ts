import { readdir, readFile, writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { difference } from '../../src/prop/line-difference.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { OWL, propText, servo } from '../prop/helpers.ts';
import { run } from './fake-daemon.ts';
import { folderAlone } from './setting.ts';

const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
const at = folderAlone();

const SMALL = `${propText(
  `a: ${servo(4, { rail: 'r', part: 'servo-9g' })} # mine\n  b:\n    kind: lamp # yours\n    output: { board: head, pin: 18 }\n    through: driver board\n    rail: r\n    draw: { fullA: 0.1 }`,
  'rails:\n  r: { volts: 6, limitA: 3 } # ours',
)}\n...\n`;

test('proposes, writes with --write only, keeps comments and the version before, and is then done', async () => {
  const file = at('p.yaml');
  await writeFile(file, SMALL);
  const shown = await run(['wire', file, '--lengths', 'b=3'], nobody);
  expect(shown).toMatchObject({ code: 0, err: '' });
  expect(shown.out).toMatch(/^@@ after line \d+\n\+ {5}wire:|^@@ after line/m);
  // The line of `a` is changed; those after it are not shown as new.
  expect(shown.out).toMatch(/^@@ line \d+\n- {3}a: .* # mine\n\+ {3}a: .* wire: .* # mine$/m);
  expect(shown.out).not.toMatch(/^\+ .*draw: \{ fullA/m);
  expect(shown.out).toMatch(/W\d+, 24 AWG, 3 m: signal OG J1-12 -> H1-1, plus RD .* \(b\)/);
  expect(shown.out).toContain('nothing was written; add --write');
  expect(await readFile(file, 'utf8')).toBe(SMALL);
  const written = await run(['wire', file, '--lengths', 'b=3', '--write'], nobody);
  expect(written.code).toBe(0);
  expect(written.out).toContain(`the previous version is ${file}.~1~`);
  expect(await readFile(`${file}.~1~`, 'utf8')).toBe(SMALL);
  const text = await readFile(file, 'utf8');
  for (const comment of ['# mine', '# yours', '# ours']) expect(text).toContain(comment);
  expect(text.trimEnd()).toMatch(/\n\.\.\.$/);
  expect(await run(['check', file, '--no-rehearsal'], nobody)).toMatchObject({
    code: 0,
    out: `${file}: no findings\n`,
  });
  const again = await run(['wire', file, '--write'], nobody);
  expect(again.out).toBe(`${file}: nothing is missing that can be proposed\n`);
  expect((await readdir(at('.'))).filter((one) => one.startsWith('p.yaml')).sort()).toEqual([
    'p.yaml',
    'p.yaml.~1~',
  ]);
});

test('--json has what is added and what is left to decide', async () => {
  const file = at('left.yaml');
  await writeFile(file, propText(`a: ${servo(4)}`));
  const { code, out } = await run(['wire', file, '--json'], nobody);
  expect(code).toBe(1);
  expect(JSON.parse(out)).toMatchObject({
    written: false,
    added: [{ what: expect.stringMatching(/^J1/) }],
    left: [expect.stringMatching(/a gets no wire/)],
  });
});

test('wrong lengths, channels and files are refused with the remedy', async () => {
  const file = at('q.yaml');
  await writeFile(file, SMALL);
  const of = (...argv: string[]) => run(['wire', file, ...argv], nobody);
  expect(await of('--length', 'far')).toMatchObject({
    code: 2,
    err: expect.stringMatching(/far is not a length; give metres/),
  });
  expect(await of('--lengths', 'b')).toMatchObject({
    code: 2,
    err: expect.stringMatching(/write beak=0\.6/),
  });
  expect(await of('--lengths', 'bb=1')).toMatchObject({
    code: 2,
    err: expect.stringMatching(/there is no channel bb; did you mean b/),
  });
  await writeFile(at('bad.yaml'), 'sinew: 2\n');
  expect(await run(['wire', at('bad.yaml')], nobody)).toMatchObject({ code: 1 });
});

test('loom --shopping lists what to buy, as text, csv and json', async () => {
  const file = at('owl.yaml');
  await writeFile(file, OWL);
  const loom = (...argv: string[]) => run(['loom', file, '--shopping', ...argv], nobody);
  const text = await loom();
  expect(text).toMatchObject({ code: 0, err: '' });
  // By hand: ten servos, each with a plug of three.
  expect(text.out).toMatch(/^ *10 +servo +as in the file +beak lid_left/m);
  expect(text.out).toMatch(/^ *6 +MOSFET/m);
  const csv = await loom('--format', 'csv');
  const lines = csv.out.split('\r\n');
  expect(lines[0]).toBe('quantity,unit,item,size,for');
  // W20 0.3 m and W21 0.5 m of red 14 AWG, and a tenth to spare, up to 0.1 m.
  expect(lines).toContain('0.9,m,wire,"14 AWG, RD (red)",W20 W21');
  expect(lines.at(-1)).toMatch(/^$|\n$/);
  const json = JSON.parse((await loom('--json')).out);
  expect(json.items).toContainEqual(
    expect.objectContaining({ item: 'fuse', size: '4 A, ISO 8820' }),
  );
  expect(await loom('--format', 'svg')).toMatchObject({ code: 2 });
});

test('only what is new is shown, at its place', () => {
  expect(difference('a\nb\nc\n', 'a\nx\ny\nb\nc\nz\n')).toEqual([
    '@@ after line 1',
    '+ x',
    '+ y',
    '@@ after line 3',
    '+ z',
  ]);
  expect(difference('a\n', 'a\n')).toEqual([]);
});
