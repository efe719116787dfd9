import { expect, it } from 'vitest';
import { cueHints } from '../../src/prop/cue-hints.ts';
import { parseProp } from '../../src/prop/load.ts';
import { OWL, propText, relay, servo } from './helpers.ts';

const hints = (text: string) => cueHints(parseProp(text, 'f.yaml').prop!);

it('tells what a cue and those within it use, and what it closes', () => {
  const { wake, blink } = hints(OWL);
  expect(blink).toEqual({
    channels: ['lid_left', 'lid_right'],
    takesOver: false,
    closes: [],
    needs: [],
  });
  expect(wake?.closes).toEqual(['mist']);
  expect(wake?.channels).toContain('tail_4');
  // The cue itself moves the tail, which the mist needs.
  expect(wake?.needs).toEqual([]);
});

it('tells what a cue needs of channels that it does not command, and only for what it brings into use', () => {
  const text = propText(
    `gate: ${servo(9)}\n  mist: ${relay(10, { requires: '[{ channel: gate, above: 5 }]' })}`,
    `cues:
  puff: [{ at: 0, switch: { mist: on } }]
  both: [{ at: 0, cue: puff }, { at: 1, move: { gate: 10 } }]
  off: { clash: take over, steps: [{ at: 0, switch: { mist: off } }] }`,
  );
  const { puff, both, off } = hints(text);
  expect(puff?.needs).toEqual([{ channel: 'mist', requires: { channel: 'gate', above: 5 } }]);
  expect(both).toMatchObject({ channels: ['mist', 'gate'], closes: ['mist'], needs: [] });
  expect(off).toEqual({ channels: ['mist'], takesOver: true, closes: [], needs: [] });
});
