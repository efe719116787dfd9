import { expect, test } from 'vitest';
import * as words from '../../src/drawings/words.ts';

test('a board by its name, its driver and its connector', () => {
  expect(words.boardTitle('head', 'sim')).toBe('Pins of head (sim)');
  expect(words.boardTitle('head', 'sim', 'J1')).toBe('Pins of head (sim), connector J1');
});

test('the size of a wire, as far as it is known', () => {
  expect(words.sizeText({ label: 'W1', gaugeAwg: 24, lengthM: 0.6, cores: [] })).toBe(
    '24 AWG, 0.6 m',
  );
  expect(words.sizeText({ label: 'W1', sectionMm2: 0.25, cores: [] })).toBe('0.25 mm²');
  expect(words.sizeText({ label: 'W1', cores: [] })).toBe('');
});

test('a rail by its peak and its limit', () => {
  expect(words.railFigures({ peakA: 0.984, peakAtS: 1.504, limitA: 5 })).toBe(
    'peak 0.98 A of 5 A (20 %) at 1.5 s',
  );
  expect(words.railFigures({ peakA: 0, peakAtS: 0, limitA: 3 })).toBe('no load, limit 3 A');
});

test('how long a cue takes', () => {
  expect(words.cueLength(6.5, false)).toBe('6.5 s');
  expect(words.cueLength(600, true)).toBe('goes on until stopped; its first 600 s');
});
