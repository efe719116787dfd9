import { describe, expect, test } from 'vitest';
import { kindOf } from '../../src/prop/kinds/registry.ts';
import { parseProp } from '../../src/prop/load.ts';
import { type Trace, traceFault } from '../../src/prop/trace.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { drawnFlapDeg, turn } from '../sums/circles.ts';
import { OWL, propText, relay, servo } from './helpers.ts';

const owl = parseProp(OWL, 'owl.yaml').prop!;

/** Where each step measures, in order: `V PS1-1 PS1-2`. */
const places = ({ steps }: Trace) =>
  steps.flatMap(({ reading }) => (reading ? [[reading.unit, ...reading.between].join(' ')] : []));

const stepAt = ({ steps }: Trace, ...between: string[]) =>
  steps.find(({ reading }) => reading?.between.join() === between.join())!;

describe('a dead servo', () => {
  const trace = traceFault(owl, 'tail_1');

  test('depends on rail, fuse, feed, block and its own wire', () => {
    expect(trace).toMatchObject({
      kind: 'servo',
      symptom: 'dead',
      rail: 'servo6v',
      fuse: 'F1',
      wires: ['W20', 'W21', 'W24', 'W22', 'W12'],
      connectors: ['PS1', 'F1', 'TB1', 'TB4', 'J1', 'SV8'],
      gaps: [],
    });
  });

  // Common practice, no source: what is quick and safe first; ohms with the power off; parts last.
  test('is checked from the supply to the plug, then its signal, then ohms', () => {
    expect(places(trace)).toEqual([
      'V PS1-1 PS1-2',
      'V F1-1 F1-2',
      'V TB4-2 TB4-7',
      'V SV8-2 SV8-3',
      'V SV8-1 SV8-3',
      // Pin 22 is beside pin 20, which is ground (the header's pin-out, from memory).
      'V J1-22 J1-20',
      'ohm J1-22 SV8-1',
      'ohm TB4-2 SV8-2',
      'ohm TB4-7 SV8-3',
      'ohm PS1-1 TB4-2',
      'ohm PS1-2 TB4-7',
      'ohm SV8-1 SV8-3',
    ]);
    expect(trace.steps[0]!.check).toMatch(/^Ask the prop/);
    expect(trace.steps[1]).toMatchObject({ power: 'off', check: expect.stringMatching(/^Look/) });
    expect(trace.steps.at(-1)!.check).toMatch(/known to be good/);
    for (const { power, reading } of trace.steps)
      if (reading) expect(power).toBe(reading.unit === 'ohm' ? 'off' : 'on');
  });

  test('tells what is right at the supply and at the fuse', () => {
    expect(stepAt(trace, 'PS1-1', 'PS1-2').reading).toMatchObject({ low: 5.7, high: 6.3 });
    const fuse = stepAt(trace, 'F1-1', 'F1-2');
    expect(fuse.reading).toMatchObject({ low: 0, high: 0.2 });
    expect(fuse.otherwise).toMatch(/ISO 8820, 4 A/);
  });

  // Copper wire table for AWG (from memory): 14 AWG has 8.282 ohm/km, 16 has 13.17, 24 has 84.2.
  test('counts the drop of the whole way there and back', () => {
    const plus = 0.008282 * (0.3 + 0.5) + 0.01317 * 0.2 + 0.0842 * 1.3;
    const back = 0.008282 * 0.8 + 0.01317 * 0.2 + 0.0842 * 1.3;
    const volts = 6 - 0.2 * (plus + back);
    const { expect: text, reading } = stepAt(trace, 'SV8-2', 'SV8-3');
    expect(reading!.low).toBeCloseTo(volts * 0.95, 2);
    expect(text).toContain(`${volts.toFixed(2)} V`);
    expect(stepAt(trace, 'PS1-1', 'TB4-2').expect).toContain(
      `${(0.008282 * 0.8 + 0.01317 * 0.2).toFixed(3)} ohm`,
    );
    const ohm = stepAt(trace, 'J1-22', 'SV8-1');
    expect(ohm.expect).toContain(`${(0.0842 * 1.3).toFixed(3)} ohm`);
  });

  // The mean of a rectangular wave: 1.5 ms of 20 ms at 3.3 V is 0.2475 V.
  test('tells the average of its pulses', () => {
    const beak = stepAt(traceFault(owl, 'beak'), 'SV3-1', 'SV3-3');
    expect(beak.expect).toContain('sinew move beak shut: 0.25 V');
    // 30 deg is 1833 us: 0.3025 V.
    expect(beak.expect).toContain('sinew move beak open: 0.3 V');
    expect(beak.reading!.low).toBeLessThan(0.2475);
    expect(beak.reading!.high).toBeGreaterThan(0.3025);
  });

  // What the lid does at a pulse is drawn with compasses, not computed as the program computes it.
  test('behind a linkage the pulse is the one that brings the flap there', () => {
    const bar = { groundMm: 62, hornMm: 24, couplerMm: 60, flapMm: 26 };
    const [hornZeroDeg, flapZeroDeg] = [90, 60];
    const flapAt = (us: number) =>
      turn(drawnFlapDeg(bar, hornZeroDeg + (us - 1500) / 10) - flapZeroDeg);
    const [shut, open] = [flapAt(1200), flapAt(1800)];
    const text = propText(
      `lid: ${servo(4, {
        calibration: '[[1000, -50], [2000, 50]]',
        envelopeUs: '[1080, 1920]',
        linkage: `{ ${Object.entries({ ...bar, hornZeroDeg, flapZeroDeg })
          .map(([key, value]) => `${key}: ${value}`)
          .join(', ')} }`,
        limitsDeg: `[${shut - 1}, ${open + 1}]`,
        marks: `{ shut: ${shut}, open: ${open} }`,
        park: '{ to: shut }',
        wire: '{ label: A1, cores: [{ role: signal, colour: YE, from: P1-7, to: S1-1 }] }',
      })}`,
    );
    const { prop, findings } = parseProp(text, 'a.yaml');
    expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
    const { reading, expect: reads } = stepAt(traceFault(prop!, 'lid'), 'P1-7');
    // 1.2 ms and 1.8 ms of 20 ms at 3.3 V.
    expect(reads).toContain('sinew move lid shut: 0.2 V; sinew move lid open: 0.3 V');
    expect(reading!.low).toBeCloseTo(0.198 * 0.8, 3);
    expect(reading!.high).toBeCloseTo(0.297 * 1.1, 3);
  });

  test('wires that have too much resistance by what was measured come first, with the numbers', () => {
    const [label] = traceFault(owl, 'beak').wires;
    const found = {
      ...{ rail: 'servo6v', far: 'block', wires: [label!], measuredMv: 812, computedMv: 212 },
      ...{ amps: 3, excessOhm: 0.2, text: '' },
    };
    const [first] = traceFault(owl, 'beak', 'weak', [found]).steps;
    expect(first!.check).toBe(
      `Measured while it ran: up to block, 812 mV at 3 A, and 212 mV computed, so ${label} has 200 mohm more than the wires explain. Look at its crimps, terminals and fuse holder; pull each core gently.`,
    );
    // One on another way says nothing of this channel.
    const other = traceFault(owl, 'beak', 'weak', [{ ...found, wires: ['W99'] }]);
    expect(other.steps).toEqual(traceFault(owl, 'beak', 'weak').steps);
    expect(other.steps.length).toBeGreaterThan(5);
  });

  test('on a chip the pulses come at its own frequency', () => {
    const text = propText(
      `a: ${servo(3, { wire: '{ label: A1, cores: [{ role: signal, colour: YE, from: P1-3, to: S1-1 }] }' })}`,
      '',
      'head: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: 100 }',
    );
    const trace = traceFault(parseProp(text, 'a.yaml').prop!, 'a');
    // 1 ms and 2 ms of 10 ms at 5 V, or at 3.3 V.
    expect(stepAt(trace, 'P1-3').expect).toContain('0.5 V; sinew move a 45: 1 V (with 5 V at VDD');
    const low = traceFault(
      parseProp(text.replace('frequencyHz', 'vddV: 3.3, frequencyHz'), 'a.yaml').prop!,
      'a',
    );
    expect(stepAt(low, 'P1-3').expect).toMatch(/0\.33 V; sinew move a 45: 0\.66 V$/);
  });
});

describe('the other kinds', () => {
  test('a relay: its input, its contact, and what it feeds', () => {
    const trace = traceFault(owl, 'mist');
    expect(trace.steps[0]!.expect).toMatch(/tail_1 above 20 deg.*duty rest/);
    expect(stepAt(trace, 'K1-IN', 'K1-G').expect).toBe(
      'sinew switch mist on: 0 V; sinew switch mist off: 3.3 V',
    );
    expect(stepAt(trace, 'K1-COM', 'K1-NO').expect).toMatch(/click.*0 V/);
    expect(stepAt(trace, 'M1-1', 'M1-2').expect).toBe('5 V');
    expect(trace.wires).toEqual(['W30', 'W31', 'W32', 'W16', 'W34', 'W35']);
  });

  test('an rgb light with a common anode behind MOSFETs: high pins light it, and the MOSFETs pull down', () => {
    const trace = traceFault(owl, 'eye_left');
    for (const [gate, board, ground, drain] of [
      ['Q1-1', 'J1-29', 'J1-30', 'Q1-5'],
      ['Q1-2', 'J1-31', 'J1-30', 'Q1-6'],
      ['Q1-3', 'J1-33', 'J1-34', 'Q1-7'],
    ] as const) {
      const text = 'sinew colour eye_left white: 3.3 V; sinew colour eye_left black: 0 V';
      expect(stepAt(trace, gate, 'Q1-4').expect).toBe(text);
      expect(stepAt(trace, board, ground).expect).toBe(`the same: ${text}`);
      expect(stepAt(trace, drain, 'Q1-4').check).toContain('with sinew colour eye_left white');
      expect(stepAt(trace, drain, 'Q1-4').expect).toBe('0 V, at most 0.4 V');
    }
  });

  test('a lamp', () => {
    expect(stepAt(traceFault(owl, 'lantern'), 'H1-1', 'H1-3').expect).toBe(
      'sinew dim lantern 1: 3.3 V; sinew dim lantern 0: 0 V',
    );
  });

  test('every channel has steps for every symptom of its kind', () => {
    for (const [name, { kind }] of Object.entries(owl.channels))
      for (const symptom of kindOf({ kind }).faults.symptoms) {
        const { steps, cautions } = traceFault(owl, name, symptom);
        expect(steps.length).toBeGreaterThanOrEqual(4);
        expect(cautions.join(' ')).toMatch(/fingers.*switch the supply off.*licensed/);
        for (const { check, expect: right, otherwise } of steps)
          expect(check + right + otherwise).not.toMatch(/undefined|NaN/);
      }
  });

  test('a buzzing servo: the current that holding takes', () => {
    const { steps } = traceFault(owl, 'beak', 'buzzing');
    const amps = steps.find(({ reading }) => reading?.unit === 'A')!;
    expect(amps).toMatchObject({
      expect: 'about 0.01 A, and less than 0.25 A',
      reading: { high: 0.25, between: ['TB1-2'] },
      otherwise: expect.stringContaining('0.9 A'),
    });
  });

  test('a servo that goes the wrong way: what its calibration says', () => {
    const { steps } = traceFault(owl, 'beak', 'wrong-way');
    expect(steps[1]!.otherwise).toContain('1000 us is -45 deg, 2000 us is 45 deg');
  });

  test.each([
    [90, false, 'away from the shaft'],
    [-90, true, 'same side of it as the shaft'],
  ])('wrong-way with a linkage, horn at %d deg, crossed: %s', (hornZeroDeg, crossed, side) => {
    const linkage = `{ groundMm: 60, hornMm: 20, couplerMm: 64, flapMm: 22, hornZeroDeg: ${hornZeroDeg}, crossed: ${crossed} }`;
    const text = propText(
      `a: ${servo(18, { calibration: '[[1200, -30], [1800, 30]]', limitsDeg: '[-8, 8]', linkage })}`,
    );
    const { steps } = traceFault(parseProp(text, 'a.yaml').prop!, 'a', 'wrong-way');
    expect(steps[1]!.otherwise).not.toContain('calibration');
    expect(steps[2]!.expect).toBe('with a longer pulse the horn turns anticlockwise');
    expect(steps[2]!.otherwise).toContain('turn the calibration (now 1200 us is -30 deg');
    expect(steps[3]!.expect).toContain(side);
    expect(steps[3]!.otherwise).toContain(`write crossed: ${!crossed}`);
  });
});

describe('what the file does not tell', () => {
  test('is named, and the rest is told all the same', () => {
    const bare = parseProp(propText(`a: ${relay(4)}`), 'a.yaml').prop!;
    const trace = traceFault(bare, 'a');
    expect(trace.gaps).toEqual([
      'a has no wire in the file: add it',
      'a names no rail: no voltage can be worked out',
    ]);
    expect(trace.steps.map(({ check }) => check.split(/[ ,:]/)[0])).toEqual(['Ask', 'Look', 'Put']);
  });

  test('a rail without terminals still has its voltage', () => {
    const cores =
      '[{ role: signal, colour: YE, from: J1-12, to: S1-1 }, { role: plus, colour: RD, from: T1-1, to: S1-2 }, { role: return, colour: BK, from: T1-2, to: S1-3 }]';
    const text = propText(
      `a: ${servo(18, { rail: 'r', draw: '{ movingA: 1 }', wire: `{ label: A1, cores: ${cores} }` })}`,
      'rails: { r: { volts: 6, limitA: 5 } }',
    );
    const trace = traceFault(parseProp(text, 'a.yaml').prop!, 'a');
    expect(stepAt(trace, 'T1-1', 'T1-2').reading).toMatchObject({ low: 5.7, high: 6.3 });
    expect(trace.gaps).toEqual([
      'rail r names no supply: give its terminals, fuse and feed wires',
      'no gauge or no length of A1: their resistance is not counted',
    ]);
  });
});

describe('refusals', () => {
  test('a channel that is not there', () => {
    expect(() => traceFault(owl, 'beek')).toThrow(/no channel beek; did you mean beak/);
    expect(() => traceFault(owl, 'constructor')).toThrow(Refusal);
  });

  test('a symptom that its kind cannot have', () => {
    expect(() => traceFault(owl, 'beak', 'dim')).toThrow(
      /servo.*dead, weak, buzzing, wrong-way, not dim/,
    );
  });
});
