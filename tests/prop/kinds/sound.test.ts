import { copyFileSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { cueDurationS } from '../../../src/prop/cue-plan.ts';
import { kindOf } from '../../../src/prop/kinds/registry.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { boardPins } from '../../../src/prop/pins.ts';
import { soxFile } from '../../sox.ts';

const TEXT = `sinew: 1
name: Voice
boards:
  head: { driver: sim }
  speaker: { driver: alsa }
channels:
  voice: { kind: sound, output: { board: speaker }, ceiling: 0.3 }
  beak: { kind: servo, output: { board: head, pin: 18 }, calibration: [[1000, -45], [2000, 45]], speedDegS: 120, accelDegS2: 600, park: { to: 0 } }
sounds: { hoot: hoot.wav, purr: { file: purr.flac } }
cues:
  call:
    - { at: 0.5, name: first, sound: { voice: hoot }, volume: 0.5 }
    - { after: first, sound: { voice: purr } }
    - { at: 0, move: { beak: 20 } }
`;

const folder = mkdtempSync(join(tmpdir(), 'sinew-sounds-'));
const file = join(folder, 'voice.yaml');
writeFileSync(join(folder, 'hoot.wav'), soxFile('hoot.wav', '-r 44100 -c 1', 'synth 1.5 sine 400'));
writeFileSync(
  join(folder, 'purr.flac'),
  soxFile('purr.flac', '-r 22050 -c 2', 'synth 0.8 sine 90'),
);
afterAll(() => rmSync(folder, { recursive: true }));

const found = (text: string) =>
  parseProp(text, file).findings.map(
    ({ line, path, wrong, right }) => `${line}: ${path}: ${wrong}; ${right}`,
  );

test('a prop with a voice is without a fault, and its plan has the lengths of the files', () => {
  const { prop, findings } = parseProp(TEXT, file);
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  expect(cueDurationS(prop!, 'call')).toBeCloseTo(0.5 + 1.5 + 0.8, 2);
  expect(prop!.soundFiles!.hoot).toMatchObject({
    file: 'hoot.wav',
    path: join(folder, 'hoot.wav'),
  });
  const { voice } = prop!.channels;
  expect(kindOf(voice!).outputs(voice!)).toEqual([]);
  expect(boardPins(prop!, 'speaker')).toEqual({ driver: 'alsa', header: false, pins: [] });
});

describe('what is wrong has its place and a remedy', () => {
  test.each([
    [
      '{ voice: hoot }',
      '{ voice: hut }',
      /^12: cues.call\[0\].sound.voice: there is no sound hut; use one of hoot, purr/,
    ],
    ['{ voice: hoot }', '{ beak: hoot }', /^12: .*beak is a servo, which is moved/],
    [
      'move: { beak: 20 }',
      'move: { voice: 20 }',
      /^14: .*voice is a sound, which is given the name of a sound; write sound: \{ voice: hoot \}/,
    ],
    [
      'sound: { voice: hoot }, volume: 0.5',
      'cue: other, volume: 0.5',
      /volume has no effect here; remove it, or add a sound/,
    ],
    ['volume: 0.5', 'volume: 1.5', /1.5 is above 1; give 0 to 1/],
    [
      'hoot: hoot.wav',
      'hoot: ../hoot.wav',
      /is not the name of a sound beside this file; give one such as hoot.wav/,
    ],
    ['hoot: hoot.wav', 'hoot: .hoot.wav', /is not the name of a sound beside this file/],
    [
      'hoot: hoot.wav',
      'hoot: { file: /etc/hoot.wav }',
      /is not the name of a sound beside this file/,
    ],
    ['ceiling: 0.3', 'ceiling: 1.2', /1.2 is above 1; give the loudest amplitude, 1 at most/],
    ['ceiling: 0.3', 'ceiling: 0', /0 is not above 0; give the loudest amplitude/],
    [
      'output: { board: speaker }',
      'output: { board: head }',
      /^7: channels.voice.output.board: board head is no sound card; put it on a board with driver: alsa/,
    ],
    [
      'output: { board: head, pin: 18 }',
      'output: { board: speaker, pin: 1 }',
      /a sound card has no pins; name a board that has/,
    ],
    ['sounds:', 'poses: { loud: { voice: hoot } }\nsounds:', /"hoot" cannot be held by a pose/],
  ])('%s becomes %s', (was, is, what) => {
    expect(TEXT).toContain(was);
    expect(found(TEXT.replace(was, is)).join('\n')).toMatch(new RegExp(what.source, 'm'));
  });

  test('two boards cannot have one sound device', () => {
    const two = TEXT.replace('  speaker:', '  other: { driver: alsa }\n  speaker:');
    expect(found(two).join('\n')).toContain('sound device default is board other already');
  });
});

test('what is missing, is no sound or is too long is a warning at its place', () => {
  const elsewhere = mkdtempSync(join(tmpdir(), 'sinew-silent-'));
  try {
    const own = join(elsewhere, 'voice.yaml');
    writeFileSync(own, TEXT);
    writeFileSync(join(elsewhere, 'hoot.wav'), 'a letter');
    const said = parseProp(TEXT, own).findings.map(
      ({ severity, line, wrong, right }) => `${severity} ${line}: ${wrong}; ${right}`,
    );
    expect(said).toEqual([
      'warning 9: hoot will not be heard: hoot.wav: it is not a sound of a known kind; save it again as WAV, FLAC, OGG (Vorbis) or MP3',
      'warning 9: purr will not be heard: purr.flac: it is not beside the prop file; put it there, or correct the name',
    ]);
    // Two minutes and a second of silence are a small file.
    writeFileSync(join(elsewhere, 'purr.flac'), soxFile('a.flac', '-r 8000 -c 1', 'trim 0 121'));
    expect(parseProp(TEXT, own).findings.at(-1)).toMatchObject({
      wrong: 'purr will not be heard: purr.flac: it is longer than 120 s',
    });
  } finally {
    rmSync(elsewhere, { recursive: true });
  }
});

test('without its files the prop works, and its sounds take no time in the plan', () => {
  const elsewhere = mkdtempSync(join(tmpdir(), 'sinew-silent-'));
  try {
    const { prop } = parseProp(TEXT, join(elsewhere, 'voice.yaml'));
    expect(cueDurationS(prop!, 'call')).toBeCloseTo(0.5, 2);
    // A changed file is another plan, though no step has changed.
    copyFileSync(join(folder, 'hoot.wav'), join(elsewhere, 'hoot.wav'));
    const { prop: again } = parseProp(TEXT, join(elsewhere, 'voice.yaml'));
    expect(cueDurationS(again!, 'call')).toBeCloseTo(2, 2);
  } finally {
    rmSync(elsewhere, { recursive: true });
  }
});
