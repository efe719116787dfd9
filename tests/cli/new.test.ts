import { readdir, readFile, writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { VirtualClock } from '../../src/shared/clock.ts';
import { CRAB_ANSWERS, CRAB_QUESTIONS } from '../proposal/crab.ts';
import { run, start, until } from './fake-daemon.ts';
import { folderAlone } from './setting.ts';

const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
const at = folderAlone();

const LINES = CRAB_ANSWERS.map(([, answer]) => answer);

/** With answers by a pipe. */
async function piped(lines: readonly string[], ...argv: string[]) {
  const running = start(['new', ...argv], nobody);
  running.stdin.end(lines.map((line) => `${line}\n`).join(''));
  const code = await running.exit;
  return { code, out: running.stdout.text, err: running.stderr.text };
}

test('a crab from piped answers to a file in which check, rehearsal included, finds nothing', async () => {
  const file = at('crab.yaml');
  const { code, out, err } = await piped(LINES, file);
  expect({ code, err }).toEqual({ code: 0, err: '' });
  expect(out).toContain(`from ${CRAB_QUESTIONS.asked} questions, and check finds nothing`);
  expect(out).toMatch(/^ *\d+ {2}claw_left: pin +main 6 +GPIO 6 makes pulses/m);
  expect(out).toMatch(/^! Pinch points/m);
  expect(out).toMatch(/wiring: \d\d wires, plugs, blocks and fuse holders/);
  const check = await run(['check', file], nobody);
  expect(check).toMatchObject({ code: 0, out: `${file}: no findings\n` });
});

test('nothing is ever overwritten', async () => {
  const file = at('mine.yaml');
  await writeFile(file, 'precious');
  const { code, err } = await piped(LINES, file);
  expect(code).toBe(2);
  expect(err).toMatch(/mine\.yaml is there already, and nothing is overwritten; give another name/);
  expect(await readFile(file, 'utf8')).toBe('precious');
});

test('--answers asks nothing, --json prints all of it for a program', async () => {
  const answers = at('answers.json');
  await writeFile(answers, JSON.stringify({ name: 'Lid', moves: [{ name: 'lid' }] }));
  const file = at('lid.yaml');
  const { code, out, err } = await run(['new', file, '--answers', answers, '--json'], nobody);
  expect({ code, err }).toEqual({ code: 0, err: '' });
  const result = JSON.parse(out);
  expect(result).toMatchObject({
    ...{ file, written: true, questions: 0, findings: [] },
    answers: { moves: [{ name: 'lid', part: 'servo-9g', count: 1 }] },
  });
  expect(result.decisions).toContainEqual(
    expect.objectContaining({ id: 'lid.pin', why: expect.stringMatching(/makes pulses/) }),
  );
  expect(await readFile(file, 'utf8')).toContain('name: "Lid"');
});

test('wrong answers are told with their place, and nothing is written', async () => {
  const answers = at('answers.json');
  await writeFile(answers, '');
  const before = await readdir(at('.'));
  const line = await piped(['Crab', 'abacus'], at('x.yaml'));
  expect(line.code).toBe(2);
  expect(line.err).toMatch(/line 2, "Which computer drives it\?": abacus is not one of/);
  await writeFile(answers, JSON.stringify({ moves: [{ name: 'lid', count: 0 }] }));
  const json = await run(['new', at('x.yaml'), '--answers', answers], nobody);
  expect(json.code).toBe(2);
  expect(json.err).toMatch(/moves\[0\]\.count is below 1; give how many, 1 to 64/);
  await writeFile(
    answers,
    JSON.stringify({ moves: [{ name: 'lid' }], changes: { 'lid.pin': '0' } }),
  );
  const change = await run(['new', at('x.yaml'), '--answers', answers], nobody);
  expect(change.code).toBe(2);
  expect(change.err).toMatch(/changes: lid\.pin: GPIO 0 is kept for the ID EEPROM/);
  await writeFile(answers, '{');
  expect((await run(['new', '--answers', answers], nobody)).err).toMatch(/is not JSON/);
  expect((await run(['new', '--answers', at('none.json')], nobody)).code).toBe(1);
  expect(await readdir(at('.'))).toEqual(before);
});

/** A person at a terminal, who types each line once it is asked for. */
async function typed(lines: readonly string[], file: string) {
  const running = start(['new', file], nobody, { tty: true });
  let prompts = 0;
  for (const line of lines) {
    prompts++;
    await until(
      () =>
        (running.stdout.text.match(/\[[^\]\n]*\] |leave: |proposed\): /g) ?? []).length >= prompts,
    );
    running.stdin.write(`${line}\r`);
  }
  const code = await running.exit;
  return { code, out: running.stdout.text, err: running.stderr.text };
}

test('at a terminal a number changes what is proposed, before anything is written', async () => {
  const file = at('typed.yaml');
  const answers = ['Box', '', 'lid', '', '', '', '', '', '', '', '', '', '', 'n', ''];
  const first = await typed([...answers, 'quit'], file);
  expect(first.code).toBe(1);
  expect(first.err).toMatch(/left; nothing was written/);
  const number = /^ *(\d+) {2}lid: pin/m.exec(first.out)![1]!;
  const { code, out } = await typed([...answers, '999', number, '0', number, '21', ''], file);
  expect(code).toBe(0);
  expect(out).toContain('there is no number 999');
  expect(out).toContain('GPIO 0 is kept for the ID EEPROM');
  expect(out).toContain('lid: pin: main 21');
  const text = await readFile(file, 'utf8');
  expect(text).toContain('output: { board: main, pin: 21 } # you chose it');
  expect(text).not.toContain('stopInput:');
});

test('at a terminal, back goes back, and a wrong answer is asked again', async () => {
  const file = at('back.yaml');
  const lines = [
    'Box',
    'back',
    'Crate',
    '',
    'lid',
    'many',
    '1',
    ...Array<string>(9).fill(''),
    'y',
    '',
    '',
  ];
  const { code, out } = await typed(lines, file);
  expect(code).toBe(0);
  expect(out).toContain('many is not a whole number within 1 to 64');
  expect(await readFile(file, 'utf8')).toContain('name: "Crate"');
});
