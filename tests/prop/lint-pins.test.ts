import { describe, expect, test } from 'vitest';
import { budgetOf } from '../../src/prop/budget.ts';
import { parseProp } from '../../src/prop/load.ts';
import { pinLoads } from '../../src/prop/pin-load.ts';
import { expectFindings } from './helpers.ts';

/** A prop with these channels; 5 V and 12 V rails. */
const text = (channels: string, boards = 'head: { driver: sim }') => `sinew: 1
name: Pins
boards:
  ${boards}
rails: { three: { volts: 3.3, limitA: 3 }, five: { volts: 5, limitA: 3 }, twelve: { volts: 12, limitA: 3 } }
channels:
  ${channels}
`;
const CHIP = 'head: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: 1000 }';
const lamp = (more: string, pin: number | string = 17) =>
  `l: { kind: lamp, output: { board: head, pin: ${pin} }, ${more} }`;
const low = (more: string, mark = '') =>
  `l: { kind: lamp, output: { board: head, pin: ${mark}17, activeLow: true }, ${more} }`;
const rgb = (output: string, more: string) =>
  `e: { kind: rgb, output: { board: head, pins: [${output} }, ${more} }`;

const propOf = (channels: string, boards?: string) => {
  const { prop, findings } = parseProp(text(channels, boards), 'test.yaml');
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  return prop!;
};

// 16 mA is the strongest drive setting of a pin (BCM2835 ARM Peripherals, GPIO pads control; from
// memory); 10 and 25 mA are in the features of the NXP PCA9685 data sheet (from memory).
describe('what one pin carries', () => {
  test.each([
    ['16 mA', '0.016', []],
    ['20 mA', '0.02', ['warning']],
    ['350 mA', '0.35', ['error']],
    ['1 A', '1', ['error']],
  ] as const)('%s from a header', (_, amps, severities) => {
    const mark = severities.length > 0 ? '»17' : '17';
    expectFindings(
      text(lamp(`draw: { fullA: ${amps} }`, mark)),
      severities.map((severity) => ({ severity, wrong: 'it may give 16 mA', right: 'n-mosfet' })),
    );
    expectFindings(
      text(low(`draw: { fullA: ${amps} }`, severities.length > 0 ? '»' : '')),
      severities.map((severity) => ({ severity, wrong: 'it may take 16 mA' })),
    );
    for (const between of ['n-mosfet', 'driver board'])
      expectFindings(text(lamp(`through: ${between}, draw: { fullA: ${amps} }`)), []);
  });

  test('a chip gives 10 mA and takes 25 mA at 5 V, and less at 3.3 V', () => {
    expectFindings(text(lamp('draw: { fullA: 0.01 }', 1), CHIP), []);
    expectFindings(text(lamp('draw: { fullA: 0.011 }', '»11'), CHIP), [
      { severity: 'warning', wrong: 'may give 10 mA' },
    ]);
    const takes = (amps: number, mark = '') =>
      `l: { kind: lamp, output: { board: head, pin: ${mark}1, activeLow: true }, draw: { fullA: ${amps} } }`;
    expectFindings(text(takes(0.025), CHIP), []);
    expectFindings(text(takes(0.026, '»'), CHIP), [
      { severity: 'warning', wrong: 'may take 25 mA' },
    ]);
    expectFindings(text(takes(0.025, '»'), CHIP.replace('bus', 'vddV: 3.3, bus')), [
      { severity: 'warning', wrong: 'may take 16.5 mA' },
    ]);
  });

  test('three colours are one finding', () => {
    expectFindings(text(rgb('9, »10, 11]', 'draw: { fullA: [0.1, 0.4, 0.3] }')), [
      {
        wrong: /400 mA of e.green.*2 more of its pins too much/,
        right: /driver board that switches the plus/,
      },
    ]);
  });

  test('with a resistor, what Ohm’s law lets through counts', () => {
    // (3.3 V - 1.8 V) / 47 ohm = 31.9 mA.
    expectFindings(text(lamp('led: { forwardV: 2, currentA: 0.02, resistorOhm: »47 }', '»17')), [
      { severity: 'warning', wrong: '31.9 mA' },
      { severity: 'warning', wrong: '31.9 mA' },
    ]);
  });

  test('an npn wants its base current: threefold what its gain of 100 asks for', () => {
    // 3 x 0.5 A / 100 = 15 mA; 3 x 0.6 A / 100 = 18 mA.
    expectFindings(text(lamp('through: npn, draw: { fullA: 0.5 }')), []);
    expectFindings(text(lamp('through: npn, draw: { fullA: 0.6 }', '»17')), [
      { severity: 'warning', wrong: 'would have to give 18 mA', right: 'n-mosfet' },
    ]);
  });
});

describe('what feeds an LED', () => {
  const wanted = (channels: string, boards?: string) =>
    budgetOf(propOf(channels, boards)).leds.map(({ led, wanted }) => [led.supplyV, wanted?.ohm]);

  test('a pin that lights it, or what the file says', () => {
    const led = 'rail: five, led: { forwardV: 2, spreadV: 0, currentA: 0.01 }';
    // (3.3 - 2) / 0.01 = 130 ohm; (5 - 2) / 0.01 = 300 ohm: both in E24 (IEC 60063).
    expect(wanted(lamp(led))).toEqual([[3.3, 130]]);
    expect(wanted(lamp(led, 1), CHIP)).toEqual([[5, 300]]);
    expect(wanted(lamp(led, 1), CHIP.replace('bus', 'vddV: 3.3, bus'))).toEqual([[3.3, 130]]);
    expect(wanted(low(led))).toEqual([[5, 300]]);
    expect(wanted(lamp(`through: n-mosfet, ${led}`))).toEqual([[5, 300]]);
    expect(wanted(lamp(`through: driver board, ${led}`))).toEqual([[5, 300]]);
  });

  test('a blue LED that a pin cannot light', () => {
    expectFindings(text(lamp('led: { forwardV: »3.2, currentA: 0.01 }')), [
      { severity: 'warning', wrong: 'needs up to 3.4 V and its supply has 3.3 V' },
    ]);
  });

  test('a supply that is not there', () => {
    expectFindings(text(lamp('led: { forwardV: 2, currentA: 0.01, supplyV: »5 }')), [
      { severity: 'warning', wrong: 'the pins feed l with 3.3 V' },
    ]);
  });
});

describe('a supply that reaches a pin', () => {
  const anode = (rail: string, more = '') =>
    rgb('9, 10, 11], common: anode', `rail: ${rail}, draw: { fullA: [0.01, 0.01, 0.01] }${more}`);
  test('12 V destroy it; 5 V leak; 3.3 V are right', () => {
    expectFindings(text(anode('»twelve')), [
      { wrong: '12 V reach a pin of 3.3 V', right: 'through: n-mosfet' },
    ]);
    expectFindings(text(anode('»five')), [
      {
        severity: 'warning',
        wrong: 'may glow, and current leaks',
        right: 'feed the LEDs with 3.3 V',
      },
    ]);
    expectFindings(text(anode('three')), []);
    expectFindings(text(anode('twelve', ', through: n-mosfet')), []);
    // Outputs of the chip bear 5.5 V (limiting values of its data sheet, from memory).
    expectFindings(text(anode('five'), CHIP), []);
    expectFindings(text(anode('»twelve'), CHIP), [{ wrong: '12 V reach a pin of 5 V' }]);
  });

  test('a long string in between does not save the pin', () => {
    expectFindings(
      text(low('rail: »twelve, draw: { fullA: 0.01 }, led: { forwardV: 9.6, currentA: 0.01 }')),
      [{ wrong: '12 V reach a pin' }],
    );
  });
});

describe('what lies between', () => {
  test('a switch to ground cannot light what has its cathodes in common', () => {
    expectFindings(text(rgb('9, 10, 11], common: cathode', 'through: »n-mosfet')), [
      { wrong: 'cathodes in common', right: 'driver board' },
    ]);
  });
  test('a switch to ground is on while its pin is high', () => {
    expectFindings(
      text('l: { kind: lamp, output: { board: head, pin: 17, activeLow: »true }, through: npn }'),
      [{ wrong: 'conducts while its pin is high', right: 'remove activeLow' }],
    );
    expectFindings(
      text(
        'r: { kind: relay, output: { board: head, pin: 7, activeLow: true }, through: driver board }',
      ),
      [],
    );
  });
  test('a light says its level by what it is, unless a driver board has its own', () => {
    expectFindings(text(rgb('9, 10, 11], activeLow: »false', 'draw: { fullA: [0, 0, 0] }')), [
      { wrong: 'follows from common', right: 'driver board' },
    ]);
    expectFindings(text(rgb('4, 5, 6], activeLow: true', 'through: driver board')), []);
  });
  test('a servo has its own electronics', () => {
    expectFindings(
      text(
        's: { kind: servo, output: { board: head, pin: 17 }, calibration: [[1000, 0], [2000, 90]], park: { to: 0 }, »through: npn }',
      ),
      [{ path: 'channels.s.through', wrong: 'unknown key' }],
    );
  });
  test('a word that it does not know', () => {
    expectFindings(text(lamp('through: »pnp')), [{ wrong: 'between a pin and its load' }]);
  });

  const relay = (more: string, pin = '17') =>
    `k: { kind: relay, output: { board: head, pin: ${pin} }, ${more} }`;
  test('a coil on a pin', () => {
    // 5 V / 70 ohm = 71.4 mA.
    expectFindings(text(relay('through: »nothing, coil: { volts: 5, ohm: 70 }')), [
      { wrong: /71\.4 mA and kicks back/, right: 'diode' },
    ]);
    expectFindings(text(relay('coil: »{ volts: 5, ohm: 70 }')), [
      { severity: 'warning', wrong: 'does not say what lies between', right: 'through: npn' },
    ]);
    for (const between of ['npn', 'n-mosfet', 'driver board'])
      expectFindings(text(relay(`through: ${between}, coil: { volts: 5, ohm: 70 }`)), []);
    // As it was written before: the base resistor tells that there is a transistor.
    expectFindings(text(relay('coil: { volts: 5, ohm: 70, baseOhm: 1200 }')), []);
  });
  test('modules load the pin slightly', () => {
    const many = [9, 10, 11, 12, 13, 16, 17, 18, 19, 20, 21, 22]
      .map((pin, i) => relay('draw: { onA: 0.1 }, rail: five', String(pin)).replace('k:', `k${i}:`))
      .join('\n  ');
    expectFindings(text(many), []);
  });
});

describe('all pins together', () => {
  const pins = [9, 10, 11, 12];
  const four = (amps: number) =>
    pins
      .map(
        (pin) =>
          `p${pin}: { kind: lamp, output: { board: head, pin: ${pin} }, draw: { fullA: ${amps} } }`,
      )
      .join('\n  ');
  test('50 mA on a header (common practice), 400 mA on a chip', () => {
    expectFindings(text(four(0.0125)), []);
    expectFindings(text(four(0.013), 'head: »{ driver: sim }'), [
      { severity: 'warning', wrong: /carry 52 mA together.*about 50 mA/, right: 'n-mosfet' },
    ]);
    expectFindings(text(four(0.01), CHIP), []);
  });
});

describe('what nobody drives', () => {
  // BCM2835 ARM Peripherals, table 6-31: GPIO 0-8 pulled high, 9-27 low (from memory).
  test.each([
    [4, 'n-mosfet', '', true],
    [4, 'n-mosfet', ', pull: down', false],
    [4, 'npn', '', true],
    [17, 'n-mosfet', '', false],
    [17, 'n-mosfet', ', pull: up', true],
    [4, 'driver board', '', true],
    [4, 'driver board', ', activeLow: true', false],
    [17, 'driver board', ', activeLow: true', true],
    [17, 'driver board', ', activeLow: true, pull: up', false],
  ])('GPIO %i through %s%s: lit by the pull %s', (pin, between, more, lit) => {
    const mark = lit ? '»' : '';
    expectFindings(
      text(
        `l: { kind: lamp, output: { board: head, pin: ${mark}${pin}${more} }, through: ${between} }`,
      ),
      lit ? [{ severity: 'warning', wrong: /level lights l/, right: /pull/ }] : [],
    );
  });

  test('a relay says what pulls at its pin', () => {
    const relay = (pin: string, pull: string) =>
      text(
        `k: { kind: relay, output: { board: head, pin: ${pin}, pull: ${pull} }, through: n-mosfet }`,
      );
    expectFindings(relay('4', 'down'), []);
    expectFindings(relay('»17', 'up'), [
      { severity: 'warning', wrong: 'a resistor pulls GPIO 17 up', right: 'pull: down' },
    ]);
  });

  test('a gate on an output that floats while it is cut', () => {
    const boards = `${CHIP.replace('bus', 'enable: { board: up, pin: 8 }, bus')}\n  up: { driver: sim }`;
    expectFindings(text(lamp('through: n-mosfet', '»1'), boards), [
      { severity: 'warning', wrong: 'outputs float', right: 'pull: down' },
    ]);
    expectFindings(text(lamp('through: n-mosfet', '1, pull: down'), boards), []);
    expectFindings(text(lamp('through: n-mosfet', '1'), CHIP), []);
  });
});

test('what each pin carries', () => {
  const prop = propOf(
    `${lamp('through: n-mosfet, draw: { fullA: 1 }')}\n  k: { kind: relay, output: { board: head, pin: 7, activeLow: true } }`,
  );
  expect(pinLoads(prop)).toMatchObject([
    { channel: 'l', pin: 17, way: 'source', amps: 0, through: 'n-mosfet' },
    { channel: 'k', pin: 7, way: 'sink', amps: 0.003, through: 'driver board' },
  ]);
});
