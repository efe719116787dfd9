import { readFile } from 'node:fs/promises';
import { describe, expect, it } from 'vitest';
import { findWires } from '../../src/prop/find-wires.ts';
import { parseProp } from '../../src/prop/load.ts';

const file = 'config/owl.yaml';
const prop = parseProp(await readFile(file, 'utf8'), file).prop!;
const find = (text: string) => findWires(prop, text).map(({ channel }) => channel);

describe('the search for a wire', () => {
  it('finds all of them for an empty text', () => {
    const trunks = prop.wires.map(({ channel }) => channel);
    expect(find('')).toEqual([...Object.keys(prop.channels), ...trunks]);
  });

  it('finds feeds by their rail and ends, and what a relay switches by its channel', () => {
    const labels = (text: string) => findWires(prop, text).map(({ label }) => label);
    expect(labels('logic5v F2')).toEqual(['W30', 'W31']);
    expect(labels('mist')).toEqual(['W16', 'W34', 'W35']);
    expect(findWires(prop, 'W22')).toEqual([
      {
        label: 'W22',
        rail: 'servo6v',
        gaugeAwg: 14,
        lengthM: 0.8,
        cores: [{ role: 'return', colour: 'BK', from: 'PS1-2', to: 'TB1-8' }],
      },
    ]);
  });

  it.each<[string, string[]]>([
    ['W07', ['beak']],
    ['w07', ['beak']],
    ['lid_', ['lid_left', 'lid_right']],
    ['sv3-1', ['beak']],
    ['beak signal', ['beak']],
    ['beak green', []],
    ['W07 W08', []],
    ['purple', []],
  ])('by label, channel, end and role: %s', (text, channels) => {
    expect(find(text)).toEqual(channels);
  });

  // The header's pins: GPIO 17 is pin 11, GPIO 18 is pin 12 (the board maker's pinout, from memory).
  it.each<[string, string[]]>([
    ['GPIO 17', ['W11']],
    ['gpio17', ['W11']],
    ['gpio 1', []],
    ['pin 11', ['W11']],
    ['header pin 12', ['W07']],
    ['pin 12 beak', ['W07']],
    ['pin 12 tail', []],
    ['W12', ['W12']],
    ['wire 7', ['W07']],
    ['wire 12', ['W12']],
    ['stop button', ['W40']],
    ['left eye', ['W10', 'W41']],
  ])('by GPIO, pin of the header, number and purpose: %s', (text, labels) => {
    expect(findWires(prop, text).map(({ label }) => label)).toEqual(labels);
  });

  it('by what a wing is called in words, and not by a block that it shares', () => {
    expect(find('left wing')).toEqual(['wing_left']);
    expect(find('wing')).toEqual(['wing_left', 'wing_right']);
  });

  it.each(['GN', 'gn', 'green'])(
    'by colour alone, not by letters inside other words: %s',
    (text) => {
      expect(find(text)).toEqual(['eye_left', 'eye_right', 'eye_left', 'eye_right']);
    },
  );
});
