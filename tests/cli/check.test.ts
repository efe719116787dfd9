import { readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { fixFile } from '../../src/cli/check-fix.ts';
import type { Operator } from '../../src/cli/verb.ts';
import { budgetOf } from '../../src/prop/budget.ts';
import { kindOf } from '../../src/prop/kinds/registry.ts';
import { parseProp } from '../../src/prop/load.ts';
import { OWL, propText, relay } from '../prop/helpers.ts';
import { PNG_WITH_NOTES } from '../prop/picture/pictures.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('file');

async function written(text: string): Promise<string> {
  const file = join(on.folder, 'p.yaml');
  await writeFile(file, text);
  return file;
}

/** Sound by itself: only in the rehearsal the second closure comes too soon. */
const TWICE = propText(
  `a: ${relay(17, { duty: '{ maxOnS: 2, restS: 100 }' })}`,
  'cues:\n  twice:\n    - { name: x, at: 0, cue: puff }\n    - { after: x, at: 1, cue: puff }\n  puff:\n    - { at: 0, switch: { a: on }, forS: 1.5 }',
);

test('check rehearses the prop, unless it is told not to', async () => {
  const file = await written(TWICE);
  const whole = await run(['check', file], on.daemon);
  expect(whole.out).toMatch(
    /:12:\d+: cues\.puff\[0\]: warning: a opened after 2 s.*\(rehearsed: cue twice/,
  );
  expect(whole.out).toContain('1 finding');
  expect(whole.code).toBe(1);
  const alone = await run(['check', file, '--no-rehearsal'], on.daemon);
  expect(alone.out).toContain('no findings');
  expect(alone.code).toBe(0);
  const json = JSON.parse((await run(['check', file, '--json'], on.daemon)).out);
  expect(json.findings).toMatchObject([{ path: 'cues.puff[0]', severity: 'warning' }]);
});

describe('--first-power', () => {
  test('goes from no power at all to vapour, with what the meter shows in this prop', async () => {
    const { out, code } = await run(['check', await written(OWL), '--first-power'], on.daemon);
    expect(code).toBe(0);
    const order = [
      'No power anywhere',
      'The power switch and the stop button',
      'The computer alone',
      'Lights, one by one',
      'Relays, with nothing connected',
      'Servos, one at a time',
      'limits by jogging',
      'vapour last',
      'The whole prop',
    ].map((title) => out.indexOf(title));
    expect(order.every((at, i) => at > (order[i - 1] ?? 0))).toBe(true);
    // The supplies, their fuses and the stop button, as the file has them.
    expect(out).toContain('PS1-1 (plus) and PS1-2 (return)');
    expect(out).toMatch(/the fuse between F1-1 and F1-2 is 4 A/);
    expect(out).toContain('6 V (5.7 to 6.3)');
    expect(out).toContain('Stop button (pin 4 to ground): at rest below 1 ohm, operated open');
    // Every channel of it has its turn.
    const { prop } = parseProp(OWL, 'f');
    for (const name of Object.keys(prop!.channels)) expect(out).toContain(`${name}: `);
    // The fan before the vapour.
    const last = out.slice(out.indexOf('vapour last'));
    expect(last.indexOf('fan: ')).toBeGreaterThan(0);
    expect(last.indexOf('mist: ')).toBeGreaterThan(last.indexOf('fan: '));
    for (const word of [
      'Pinch points',
      'ISO 13850',
      'Batteries',
      'Mains',
      'seizures',
      'Local codes',
    ])
      expect(out.slice(0, out.indexOf('No power anywhere'))).toContain(word);
  });

  test('a normally open stop button, an LED without resistor, a prop without servos', async () => {
    const text = propText(
      'l: { kind: lamp, output: { board: head, pin: 12 }, rail: r5, draw: { fullA: 0.01 }, led: { forwardV: 2, currentA: 0.01 } }',
      'rails: { r5: { volts: 5, limitA: 1 } }\nstopInput: { board: head, pin: 22, normallyClosed: false }',
    );
    const { out } = await run(['check', await written(text), '--first-power'], on.daemon);
    expect(out).toContain('at rest open, operated below 1 ohm');
    expect(out).toContain('has no fuse in the file');
    expect(out).not.toContain('Servos, one at a time');
    const { wanted } = budgetOf(parseProp(text, 'f').prop!).leds[0]!;
    expect(out).toContain(`Series resistor for l: one probe on each end of it: ${wanted!.ohm} ohm`);
    expect(out).toContain('worked out; the file does not give it');
  });

  test('a contact with terminals of its own is fed by its rail, and closes for its pulse', async () => {
    const text = propText(
      'bell: { kind: relay, output: { board: head, pin: 12 }, pulseMs: 300, contact: { mode: momentary, rail: bell24, common: K1-1, open: K1-2 } }',
    ).replace('channels:', 'rails: { bell24: { volts: 24, limitA: 1 } }\nchannels:');
    const { out } = await run(['check', await written(text), '--first-power'], on.daemon);
    const steps = out.split('\n').filter((line) => line.includes('switch bell on'));
    expect(steps).toHaveLength(2);
    for (const step of steps) expect(step).not.toContain('--for');
    expect(out).toContain('Rail bell24: on, 24 V');
    const { prop } = parseProp(text, 'f');
    const bell = prop!.channels.bell!;
    // What the page goes by to give it one button.
    expect(kindOf(bell).info(bell, { mechanics: {} })).toMatchObject({ pulseMs: 300 });
  });

  test('a file with errors is shown instead', async () => {
    const { out, code } = await run(
      ['check', await written('sinew: 2'), '--first-power'],
      on.daemon,
    );
    expect(code).toBe(1);
    expect(out).toContain('is a later version of this file format');
    expect(out).not.toContain('No power anywhere');
  });
});

describe('--fix', () => {
  const BAD = propText(
    'lan: { kind:lamp, output: { board: head, pin: 12 }, fadeS: 0,5 } # the lamp',
  );
  const GOOD = propText(
    'lan: { kind: lamp, output: { board: head, pin: 12 }, fadeS: 0.5 } # the lamp',
  );
  const kept = async (file: string) =>
    (await readdir(on.folder)).filter((name) => name.startsWith(`${basename(file)}.~`));

  test('without somebody to ask, nothing is written', async () => {
    const file = await written(BAD);
    const { out, code } = await run(['check', file, '--fix'], on.daemon);
    expect(out).toContain('- lan: { kind:lamp'.replace('- ', '-   '));
    expect(out).toContain('+   lan: { kind: lamp');
    expect(out).toContain('nothing was written; add --yes');
    expect(code).toBe(1);
    expect(await readFile(file, 'utf8')).toBe(BAD);
    expect(await kept(file)).toEqual([]);
    const json = JSON.parse((await run(['check', file, '--fix', '--json'], on.daemon)).out);
    expect(json).toMatchObject({ written: false, findings: [] });
    expect(await readFile(file, 'utf8')).toBe(BAD);
  });

  test('with --yes it is, and the version before is kept', async () => {
    const file = await written(BAD);
    const { out, code } = await run(['check', file, '--fix', '--yes'], on.daemon);
    expect(code).toBe(0);
    expect(out).toMatch(/written; the previous version is .*p\.yaml\.~1~/);
    expect(await readFile(file, 'utf8')).toBe(GOOD);
    expect(await readFile(`${file}.~1~`, 'utf8')).toBe(BAD);
    await rm(`${file}.~1~`);
    // A second time there is nothing to do.
    const again = await run(['check', file, '--fix', '--yes'], on.daemon);
    expect(again.out).toContain('nothing here can be corrected for sure; nothing was written');
    expect(await kept(file)).toEqual([]);
  });

  test('what has no sure remedy is told, and stays', async () => {
    const text = propText(`a: ${relay(99)}`);
    const file = await written(text);
    const { out, code } = await run(['check', file, '--fix', '--yes'], on.daemon);
    expect(code).toBe(1);
    expect(out).toContain('99');
    expect(out).toContain('nothing was written');
    expect(await readFile(file, 'utf8')).toBe(text);
    expect((await run(['check', join(on.folder, 'none.yaml'), '--fix'], on.daemon)).out).toContain(
      'there is no such file',
    );
    expect((await run(['check', file, '--yes'], on.daemon)).code).toBe(2);
  });

  test('a person at the terminal is asked, and no other answer than yes writes', async () => {
    for (const [answer, isWritten] of [
      ['y', true],
      ['', false],
      ['n', false],
      ['yesterday', false],
    ] as const) {
      const file = await written(BAD);
      let asked = '';
      let shown = '';
      const operator = {
        io: { stdin: { isTTY: true }, stdout: { write: (text: string) => (shown += text) } },
        options: { json: false },
        ask: async (question: string) => {
          asked = question;
          return answer;
        },
      } as unknown as Operator;
      const outcome = fixFile(file, false, operator);
      if (isWritten) expect((await outcome).text).toContain('written');
      else await expect(outcome).rejects.toThrow('not confirmed; nothing was written');
      expect(asked).toContain('[y/N]');
      expect(shown).toContain('+   lan: { kind: lamp');
      expect(await readFile(file, 'utf8')).toBe(isWritten ? GOOD : BAD);
      for (const name of await kept(file)) await rm(join(on.folder, name));
    }
  });
});

test('check looks at the picture beside the file, also where it has checked the text before', async () => {
  const file = await written(propText(`a: ${relay(17)}`, 'picture: { file: a.png }'));
  // A copy of a file that has left its picture behind is as sound as the file.
  for (let times = 0; times < 2; times++) {
    const { out, err, code } = await run(['check', file], on.daemon);
    expect([out, code]).toEqual([expect.stringContaining('no findings'), 0]);
    expect(err).toMatch(/^a\.png is not beside .*: until it is there, the page draws/);
  }
  const picture = join(on.folder, 'a.png');
  await writeFile(picture, PNG_WITH_NOTES.subarray(0, 100));
  expect((await run(['check', file], on.daemon)).out).toMatch(
    /warning: a\.png cannot be shown; the picture is damaged or cut short: .*; save it again/,
  );
  await writeFile(picture, PNG_WITH_NOTES);
  expect((await run(['check', file], on.daemon)).out).toContain('no findings');
});
