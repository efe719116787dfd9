import { describe, expect, test } from 'vitest';
import { loomCsv } from '../../src/cli/loom-csv.ts';
import { loomOf, loomView } from '../../src/cli/loom-data.ts';
import { loomHtml, loomSvg } from '../../src/cli/loom-drawn.tsx';
import { loomText } from '../../src/cli/loom-text.ts';
import { budgetOf } from '../../src/prop/budget.ts';
import { foundBy } from '../../src/prop/find-wires.ts';
import { parseProp } from '../../src/prop/load.ts';
import { traceFault } from '../../src/prop/trace.ts';
import { OWL } from './helpers.ts';

/** Copper at 20 C: 1/58 ohm mm2/m (IEC 60028): 5.8 m of 1 mm2 have 0.1 ohm. */
const text = (senses: string) => `sinew: 1
name: Measured
boards:
  main: { driver: sim }
  meter: { driver: ina226, bus: 1, address: 0x45, shuntOhm: 0.01, maxA: 5, shuntW: 1 }
  small: { driver: ina219, bus: 1, address: 0x44, shuntOhm: 0.1, maxA: 3.2 }
  adc: { driver: ads1115, bus: 1, address: 0x48 }
rails:
  six: { volts: 6, limitA: 5, supply: { plus: P1-1, return: P1-2 }, fuse: { ratingA: 5, from: F1-1, to: F1-2 } }
  five: { volts: 5, limitA: 2 }
connectors: { T1: { bridged: [[1, 2], [4, 5]] } }
channels:
  beak:
    kind: servo
    output: { board: main, pin: 17 }
    rail: six
    calibration: [[1000, -45], [2000, 45]]
    draw: { idleA: 0.1, movingA: 1, stallA: 2 }
    park: { to: 0 }
    wire: { label: W07, sectionMm2: 1, lengthM: 5.8, cores: [{ role: signal, colour: YE, from: J1-11, to: SV1-1 }, { role: plus, colour: RD, from: T1-2, to: SV1-2 }, { role: return, colour: BK, from: T1-5, to: SV1-3 }] }
  fan:
    kind: relay
    output: { board: main, pin: 4 }
    rail: five
    draw: { onA: 0.5 }
    park: { to: "off" }
wires:
  - { label: W01, rail: six, sectionMm2: 1, lengthM: 0.001, cores: [{ role: plus, colour: RD, from: P1-1, to: F1-1 }] }
  - { label: W02, rail: six, sectionMm2: 1, lengthM: 5.8, cores: [{ role: plus, colour: RD, from: F1-2, to: T1-1 }, { role: return, colour: BK, from: P1-2, to: T1-4 }] }
${senses}`;

const SENSES = `senses:
  amps: { kind: current, board: meter, rail: six }
  volts: { kind: volts, board: meter, rail: six }
  beak_amps: { kind: current, board: small, channel: beak }
  battery: { kind: volts, board: adc, input: 2, rail: six, divider: [33000, 22000] }`;

function propOf(source: string) {
  const { prop, findings } = parseProp(source, 'test.yaml');
  if (!prop) throw new Error(JSON.stringify(findings));
  return prop;
}

const bare = propOf(text(''));
const measured = propOf(text(SENSES));
const RAIL = 'shunt 0.01 ohm of board meter';
const OWN = 'shunt 0.1 ohm of board small';
const PARTS = [
  ['amps', RAIL, 'F1-2', 'all of six'],
  ['beak_amps', OWN, 'T1-2', 'SV1-2'],
  ['battery', 'divider 33 kohm of board adc', 'P1-1', 'input 2 of adc'],
  ['battery', 'divider 22 kohm of board adc', 'input 2 of adc', 'P1-2'],
];

describe('shunts and dividers', () => {
  const listed = (found: ReturnType<typeof foundBy>) =>
    found.parts?.map(({ sense, part, from, to }) => [sense, part, from, to]);

  test('are found with the wires of their rail or channel, and by their own words', () => {
    expect(listed(foundBy(measured, 'W07'))).toEqual(PARTS);
    expect(listed(foundBy(measured, 'W01'))).toEqual(PARTS.filter((_, i) => i !== 1));
    expect(foundBy(measured, 'SHUNT small')).toMatchObject({ wires: [], parts: [{ part: OWN }] });
    expect(foundBy(measured, 'fan')).toEqual({ wires: [] });
  });

  test('are in every form of the loom', () => {
    const flat = (form: string) => form.replace(/<[^>]*>/g, ' ').replace(/\s+/g, ' ');
    for (const form of [loomText, loomCsv, loomHtml, loomSvg])
      for (const words of PARTS.flat()) expect(flat(form(measured))).toContain(words);
    expect(loomText(measured)).toMatch(/^amps +six +shunt 0\.01 ohm of board meter +F1-2 +->/m);
    expect(loomCsv(measured)).toContain(`beak_amps,beak,,,,,${OWN},,,T1-2,,,SV1-2,,,`);
    expect(loomOf(measured).parts).toHaveLength(4);
    // A board without pins has no card.
    expect(loomView(measured).boards.map(({ name }) => name)).toEqual(['main']);
  });

  test('add to the lists of a file without them, and change nothing else', () => {
    expect(loomText(measured).startsWith(loomText(bare))).toBe(true);
    expect(loomCsv(measured).startsWith(loomCsv(bare))).toBe(true);
    const { parts: _, boards: _boards, ...loom } = loomOf(measured);
    const { boards: _bare, ...without } = loomOf(bare);
    expect(loom).toEqual(without);
    const owl = propOf(OWL);
    expect(loomText(owl)).not.toMatch(/shunt/i);
    expect(foundBy(owl, '')).not.toHaveProperty('parts');
    expect(budgetOf(owl)).not.toHaveProperty('shunts');
    expect(traceFault(owl, 'beak')).not.toHaveProperty('through');
  });
});

describe('the sums', () => {
  // Ohm's law and P = I2 R: 1 A in 0.01 ohm are 10 mV and 10 mW; the stall of 2 A in 0.1 ohm is 0.2 V.
  test('have the drop and the heat of each shunt', () => {
    expect(budgetOf(measured).shunts).toEqual([
      {
        ...{ sense: 'amps', board: 'meter', ohm: 0.01, ratedW: 1, rail: 'six' },
        ...{ movingA: 1, dropV: expect.closeTo(0.01, 12), watts: expect.closeTo(0.01, 12) },
        ...{ momentA: 2, momentDropV: expect.closeTo(0.02, 12) },
      },
      {
        ...{ sense: 'beak_amps', board: 'small', ohm: 0.1, channel: 'beak' },
        ...{ movingA: 1, dropV: expect.closeTo(0.1, 12), watts: expect.closeTo(0.1, 12) },
        ...{ momentA: 2, momentDropV: expect.closeTo(0.2, 12) },
      },
    ]);
  });

  test('take two meters in one path together', () => {
    const two = propOf(text(`${SENSES.replace('channel: beak', 'rail: six')}`));
    const volts = (prop: typeof two) =>
      budgetOf(prop).channels.find(({ name }) => name === 'beak')!.movingV!;
    expect(volts(bare) - volts(two)).toBeCloseTo(0.11, 9);
  });
});

describe('fault-finding', () => {
  const trace = traceFault(measured, 'beak', 'weak');
  const step = (words: string) => trace.steps.find(({ check }) => check.includes(words))!;

  test('names the shunts on the way, behind the fuse, with what drops there', () => {
    expect(trace.through).toEqual([RAIL, OWN]);
    const order = ['across the fuse', RAIL, OWN, 'where its wire begins', 'at its plug'];
    const at = order.map((words) => trace.steps.indexOf(step(words)));
    expect(at).toEqual([...at].sort((a, b) => a - b));
    expect(step(RAIL).expect).toMatch(/^about 10 mV at 1 A/);
    expect(step(OWN)).toMatchObject({ power: 'on', reading: { low: 0, high: 0.15 } });
    expect(traceFault(measured, 'fan').through).toBeUndefined();
  });

  test('counts them in what a meter should show', () => {
    // The feed has 0.2 ohm there and back, the own wire as much: at 1 A 0.21 V and 0.51 V are lost.
    expect(step('where its wire begins').expect).toMatch(/^5\.79 V \(6 V less 0\.21 V at 1 A\)/);
    expect(step('at its plug').expect).toMatch(/^5\.49 V/);
    expect(step('the feed of the plus').expect).toContain('0.1 ohm of copper, 0.01 ohm of shunt');
    expect(step('the feed of the return').expect).not.toContain('shunt');
  });

  test('looks at the shunt of what a relay switches once, before its contact', () => {
    const source = text('senses: { amps: { kind: current, board: meter, rail: five } }')
      .replace(
        'wires:\n',
        `wires:
  - { label: W30, channel: fan, cores: [{ role: plus, colour: RD, from: K1-NO, to: FN-1 }, { role: plus, colour: RD, from: P5-1, to: K1-COM }, { role: return, colour: BK, from: P5-2, to: FN-2 }] }
`,
      )
      .replace(
        'five: { volts: 5, limitA: 2 }',
        'five: { volts: 5, limitA: 2, supply: { plus: P5-1, return: P5-2 } }',
      )
      .replace(
        'rail: five\n',
        'rail: five\n    contact: { mode: held, common: K1-COM, open: K1-NO }\n',
      );
    const { steps, through } = traceFault(propOf(source), 'fan');
    expect(through).toEqual([RAIL]);
    const at = steps.flatMap(({ check }, i) => (check.includes(RAIL) ? [i] : []));
    expect(at).toHaveLength(1);
    expect(steps[at[0]! + 1]!.check).toMatch(/across the contact/);
  });
});
