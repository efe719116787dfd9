import { describe, expect, it } from 'vitest';
import {
  COLOURS,
  litOf,
  orderVerdict,
  resistorResult,
  resistorText,
  type Seen,
  whiteEdits,
} from '../../src/gateway/page/measure-colours.ts';
import { measuredEdit } from '../../src/gateway/page/measured.ts';
import { measuredInfo } from '../../src/prop/kinds/measured.ts';
import { rgbFullA } from '../../src/prop/kinds/rgb.ts';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { channelInfos } from './channel-infos.ts';

const TEXT = `sinew: 1
name: Test
boards: { head: { driver: sim } }
rails: { five: { volts: 5, limitA: 5 } }
channels:
  eye:
    kind: rgb
    output: { board: head, pins: [5, 6, 13], common: anode }
    through: driver board
    rail: five
    draw: { fullA: [0.02, 0.02, 0.02] }
    led: { currentA: 0.02, forwardV: [2, 3.2, 3.2], resistorOhm: [160, 100, 100] }
  led: { kind: lamp, output: { board: head, pin: 12 }, through: n-mosfet, rail: five, led: { currentA: 0.02, forwardV: 2, resistorOhm: 160 } }
`;

const infoOf = (text: string, name = 'eye') => channelInfos(text)[name]!;

const ORDERS = [
  [0, 1, 2],
  [0, 2, 1],
  [1, 0, 2],
  [1, 2, 0],
  [2, 0, 1],
  [2, 1, 0],
] as const;

describe('the order of the colours', () => {
  it.each(ORDERS)('wired as %i %i %i: the file becomes as the wires are', (...wired) => {
    // Pin i of the file is wired to colour wired[i].
    const seen = wired.map((i) => COLOURS[i]!);
    const { isRight, edits } = orderVerdict('eye', infoOf(TEXT), seen);
    expect(isRight).toBe(wired.every((one, i) => one === i));
    const { prop, findings } = editProp(parseProp(TEXT, 'a.yaml'), edits);
    const eye = prop?.channels.eye;
    if (eye?.kind !== 'rgb') throw new Error(JSON.stringify(findings));
    const colourOfPin = new Map([5, 6, 13].map((pin, i) => [pin, COLOURS[wired[i]!]]));
    expect(eye.output.pins.map((pin) => colourOfPin.get(pin))).toEqual([...COLOURS]);
  });

  it.each<[Seen[], RegExp]>([
    [['nothing', 'nothing', 'nothing'], /common wire/],
    [['red', 'nothing', 'blue'], /Dark where green should be/],
    [['red', 'red', 'blue'], /same colour/],
    [['other', 'other', 'other'], /anode or cathode/],
  ])('%j is for the wires to put right', (seen, says) => {
    const verdict = orderVerdict('eye', infoOf(TEXT), seen);
    expect(verdict).toMatchObject({ isRight: false, edits: [] });
    expect(verdict.says).toMatch(says);
  });

  it('the note is void with other pins', () => {
    const note = measuredEdit('eye', 'colours', infoOf(TEXT), '2026-11-26');
    const { prop, text } = editProp(parseProp(TEXT, 'a.yaml'), [note]);
    expect(measuredInfo(prop!.channels.eye!)).toMatchObject({ colours: '2026-11-26', white: null });
    const other = parseProp(text.replace('[5, 6, 13]', '[6, 5, 13]'), 'a.yaml').prop!;
    expect(measuredInfo(other.channels.eye!)).toMatchObject({ colours: null });
  });
});

it('the white balance is written, counts as measured, and the current goes with it', () => {
  const edits = whiteEdits('eye', infoOf(TEXT), [1, 0.8, 0.6], '2026-11-26');
  const { prop, text } = editProp(parseProp(TEXT, 'a.yaml'), edits);
  const eye = prop?.channels.eye;
  if (eye?.kind !== 'rgb') throw new Error('no eye');
  expect(eye.whiteBalance).toEqual([1, 0.8, 0.6]);
  expect(measuredInfo(eye)).toMatchObject({ white: '2026-11-26' });
  for (const [i, amps] of [0.02, 0.016, 0.012].entries())
    expect(rgbFullA(eye)[i]).toBeCloseTo(amps, 12);
  const other = parseProp(text.replace(/whiteBalance: .*/, 'whiteBalance: [1, 1, 1]'), 'a.yaml');
  expect(measuredInfo(other.prop!.channels.eye!)).toMatchObject({ white: null });
});

describe('the resistors', () => {
  it('of a coloured light are three, of a lamp one, each with the supply of its rail', () => {
    expect(litOf(infoOf(TEXT)).map(({ name, forwardV, ohm }) => [name, forwardV, ohm])).toEqual([
      ['red', 2, 160],
      ['green', 3.2, 100],
      ['blue', 3.2, 100],
    ]);
    expect(litOf(infoOf(TEXT, 'led'))).toEqual([{ name: 'LED', forwardV: 2, ohm: 160, duty: 1 }]);
    expect(infoOf(TEXT).ledSupplyV).toBe(5);
    expect(infoOf(TEXT, 'led').ledSupplyV).toBe(5);
  });

  it('with a white balance the meter shows the average', () => {
    const balanced = infoOf(TEXT.replace('    draw:', '    whiteBalance: [1, 0.5, 1]\n    draw:'));
    const [, green] = litOf(balanced);
    // 1.8 V across 100 ohm while it is on, half of the time.
    const result = resistorResult(balanced, green!, 5, 0.9);
    expect(result.currentA).toBeCloseTo(0.018, 12);
    expect(result.verdict).toBe('right');
    expect(resistorText(result)).toMatch(/^18\.0 mA, as it should be .*3\.20 V/);
  });

  it('each verdict says what to do', () => {
    const info = infoOf(TEXT, 'led');
    const [lit] = litOf(info);
    const words = [0, 1, 3, 5].map((volts) => resistorText(resistorResult(info, lit!, 5, volts)));
    expect(words[0]).toMatch(/No current/);
    expect(words[1]).toMatch(/larger than the file says/);
    expect(words[2]).toMatch(/as it should be/);
    expect(words[3]).toMatch(/more than the LED may have/);
  });

  it('the note is void with another resistor', () => {
    const note = measuredEdit('led', 'resistors', infoOf(TEXT, 'led'), '2026-11-26');
    const { prop, text } = editProp(parseProp(TEXT, 'a.yaml'), [note]);
    expect(measuredInfo(prop!.channels.led!)).toEqual({ resistors: '2026-11-26' });
    const other = parseProp(
      text.replace('forwardV: 2, resistorOhm: 160', 'forwardV: 2, resistorOhm: 180'),
      'a.yaml',
    );
    expect(measuredInfo(other.prop!.channels.led!)).toEqual({ resistors: null });
  });
});
