import { describe, expect, test } from 'vitest';
import { budgetFindings } from '../../src/prop/lint-budget.ts';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, OWL } from './helpers.ts';

/**
 * One servo on a fused rail, with the wires on the way; the mark » stands before the place of the
 * finding. 24 AWG may carry 4.36 A (IEC 60204-1, table 6, method B2, in proportion to the section).
 */
function prop({
  rail = '',
  fuse = 'ratingA: 2',
  limitA = '3',
  draw = '{ idleA: 0.1, movingA: 1, stallA: 2 }',
  wire = 'gaugeAwg: 20, lengthM: 1',
  wireMark = '',
  feed = 'gaugeAwg: 16, lengthM: 0.5',
} = {}): string {
  return `sinew: 1
name: Test
boards: { main: { driver: sim } }
rails:
  six: { volts: 6, limitA: ${limitA}, supply: { plus: P1-1, return: P1-2 }, fuse: { ${fuse}, from: F1-1, to: F1-2 }${rail} }
connectors: { P1: { bridged: [[2, 3]] }, F1: {}, S1: {}, J1: { board: main } }
channels:
  a:
    kind: servo
    output: { board: main, pin: 17 }
    rail: six
    calibration: [[1000, -45], [2000, 45]]
    draw: ${draw}
    park: { to: 0 }
    wire: ${wireMark}{ label: W1, ${wire}, cores: [{ role: signal, colour: YE, from: J1-11, to: S1-1 }, { role: plus, colour: RD, from: F1-2, to: S1-2 }, { role: return, colour: BK, from: P1-2, to: S1-3 }] }
wires:
  - { label: W2, rail: six, ${feed}, cores: [{ role: plus, colour: RD, from: P1-1, to: F1-1 }] }
  - { label: W3, rail: six, gaugeAwg: 20, lengthM: 0.2, cores: [{ role: return, colour: BK, from: P1-3, to: J1-6 }] }
`;
}

test('the base of these tests has no findings, and the owl has none', () => {
  expectFindings(prop(), []);
  const owl = parseProp(OWL, 'owl.yaml');
  expect(budgetFindings(owl.prop!, OWL)).toEqual([]);
});

describe('fuses', () => {
  test('too large for the wire behind it', () => {
    const wire = 'gaugeAwg: 24, lengthM: 0.5';
    expectFindings(prop({ fuse: 'ratingA: »5', wire }), [
      {
        severity: 'warning',
        path: 'rails.six.fuse.ratingA',
        wrong: 'a fuse of 5 A does not protect W1, which may carry 4.36 A',
        right: /^fit 2 A$/,
      },
    ]);
  });

  test('too small for the load', () => {
    expectFindings(prop({ fuse: 'ratingA: »1', draw: '{ idleA: 0, movingA: 1.5, stallA: 2 }' }), [
      {
        severity: 'warning',
        wrong: 'blows in normal use: six carries up to 1.5 A',
        right: 'fit 2 A',
      },
    ]);
  });

  test('no smaller than the hardest stall, though what moves is much less', () => {
    // Once advised: a supply and a fuse of 0.5 A for a servo that stalls at 2.6 A.
    const draw = '{ idleA: 0.1, movingA: 0.4, stallA: 2.6 }';
    expectFindings(prop({ fuse: 'ratingA: »1', draw }), [
      {
        severity: 'warning',
        wrong: 'a fuse of 1 A blows when a servo stalls or starts: six then carries 2.6 A',
        right: 'fit 3 A',
      },
    ]);
  });

  test('a cartridge lets twice its rating flow for half an hour', () => {
    // 24 AWG may carry 4.36 A; 1.45 x 4.36 / 2.1 is 3.01 A.
    const wire = 'gaugeAwg: 24, lengthM: 0.5';
    expectFindings(prop({ fuse: 'ratingA: »4, standard: IEC 60127', wire }), [
      {
        severity: 'warning',
        wrong:
          'a fuse of 4 A does not protect W1, which may carry 4.36 A: IEC 60127 lets 2.1 times the rating flow for up to 30 min',
        right: 'fit 2 A',
      },
    ]);
  });

  test('the return is protected as well', () => {
    // The plus in W1 is 20 AWG; its return is made of a wire of its own, 26 AWG: 2.77 A.
    const text = prop({ fuse: 'ratingA: »5' })
      .replace(', { role: return, colour: BK, from: P1-2, to: S1-3 }', '')
      .replace(
        'wires:\n',
        'wires:\n  - { label: W4, channel: a, gaugeAwg: 26, lengthM: 0.3, cores: [{ role: return, colour: BK, from: P1-2, to: S1-3 }] }\n',
      );
    expectFindings(text, [
      {
        severity: 'warning',
        wrong: 'a fuse of 5 A does not protect W4, which may carry 2.77 A',
        right: 'fit 2 A',
      },
    ]);
  });

  test('none fits', () => {
    expectFindings(
      prop({
        fuse: 'ratingA: »5',
        limitA: '9',
        draw: '{ idleA: 0.1, movingA: 4.2, stallA: 4.3 }',
        wire: 'gaugeAwg: 24, lengthM: 0.1',
      }),
      [
        {
          severity: 'warning',
          wrong: 'does not protect W1',
          right: /^no rating of ISO 8820 fits between 4.3 A and 4.36 A: make W1 thicker/,
        },
      ],
    );
  });

  test('no rating of its standard', () => {
    expectFindings(prop({ fuse: 'ratingA: »2.5' }), [
      { severity: 'warning', wrong: 'ISO 8820 has no fuse of 2.5 A', right: 'such as 2 A' },
    ]);
    expectFindings(prop({ fuse: 'ratingA: 2.5, standard: IEC 60127' }), []);
  });

  test('without terminals only what it must carry is judged', () => {
    const text = prop({ fuse: 'ratingA: »1', draw: '{ idleA: 0, movingA: 1.5, stallA: 2 }' });
    expectFindings(text.replace('supply: { plus: P1-1, return: P1-2 }, ', ''), [
      { severity: 'warning', wrong: 'blows in normal use', right: 'a rating above 2 A' },
    ]);
  });
});

describe('wires', () => {
  test('a gauge too small for its current', () => {
    // 26 AWG is 0.129 mm2, so 2.77 A.
    expectFindings(
      prop({
        limitA: '9',
        fuse: 'ratingA: »5',
        draw: '{ idleA: 0, movingA: 4, stallA: 4.1 }',
        wire: 'gaugeAwg: »26, lengthM: 0.1',
      }),
      [
        { severity: 'warning', wrong: 'does not protect W1' },
        {
          severity: 'warning',
          path: 'channels.a.wire.gaugeAwg',
          wrong: 'W1 carries 4 A, and such a wire may carry 2.77 A',
          right: 'make it 24 AWG or thicker',
        },
      ],
    );
  });

  test('more lost on the way than there is: it cannot run, and no voltage below zero is told', () => {
    // By hand: 30 AWG has 0.339 ohm/m, 2 x 9.9 m x 1 A make 6.7 V of 6 V.
    const text = prop({
      draw: '{ idleA: 0, movingA: 1, stallA: 1 }',
      wire: 'gaugeAwg: 30, lengthM: 9.9',
    });
    const told = parseProp(text.replaceAll('»', ''), 'test.yaml').findings.filter(
      ({ path }) => path === 'channels.a.wire',
    );
    expect(told.map(({ wrong }) => wrong)).toEqual([
      expect.stringMatching(/^a cannot run: when it moves or is on, more than all of the 6 V/),
    ]);
    expect(told[0]!.right).toContain('AWG');
  });

  test('too much lost on the way, with the gauge that would do', () => {
    // By hand: 24 AWG has 0.0842 ohm/m, 2 x 2 m x 1 A make 0.337 V, and the feed some millivolts; 5 % of
    // 6 V are 0.3 V, for which the next even gauge is enough.
    expectFindings(prop({ wire: 'gaugeAwg: 24, lengthM: 2', wireMark: '»' }), [
      {
        severity: 'warning',
        path: 'channels.a.wire',
        wrong: /^a gets 5\.6\d V of 6 V when it moves or is on: 0\.3\d V \(5\.\d %\) are lost/,
        right: /^make W1 22 AWG or thicker for 5 % or less$/,
      },
    ]);
    expectFindings(prop({ wire: 'gaugeAwg: 22, lengthM: 2' }), []);
  });

  test('advice is in mm2 where the file is, a section that is sold', () => {
    expectFindings(prop({ wire: 'sectionMm2: 0.2, lengthM: 2', wireMark: '»' }), [
      // By hand: 0.3 V of 6 V less the feed, 2 x 2 m x 1 A / 58 / 0.29 V make 0.24 mm2: IEC 60228 has 0.5.
      { severity: 'warning', wrong: 'a gets 5.', right: /^make W1 0\.5 mm2 or thicker/ },
    ]);
  });

  test('advice for the heat of a wire is enough for its drop, and the other way round', () => {
    // Heat alone asks for 24 AWG; over 3 m at 4 A 5 % of 6 V asks for 1.4 mm2, which is 14 AWG.
    const draw = '{ idleA: 0, movingA: 4, stallA: 4.1 }';
    const long = (wire: string) =>
      prop({ limitA: '9', fuse: 'ratingA: 5', draw, wire, feed: 'gaugeAwg: 6, lengthM: 0.1' });
    const remedies = (wire: string) =>
      parseProp(long(wire), 'test.yaml')
        .findings.filter(({ path }) => path.startsWith('channels.a.wire'))
        .map(({ right }) => right);
    const [remedy] = remedies('gaugeAwg: 26, lengthM: 3');
    const gauge = /(\d+) AWG/.exec(remedy!)![1];
    expect(Number(gauge)).toBeLessThan(20);
    expect(remedies(`gaugeAwg: ${gauge}, lengthM: 3`)).toEqual([]);
    expect(remedies(`gaugeAwg: ${Number(gauge) + 2}, lengthM: 3`)).not.toEqual([]);
  });

  test('ampacity: strict asks for thicker wires', () => {
    const text = prop({
      limitA: '9',
      fuse: 'ratingA: 3',
      draw: '{ idleA: 0, movingA: 2, stallA: 2 }',
      wire: 'gaugeAwg: 22, lengthM: 0.1',
    });
    const findings = (more: string) =>
      parseProp(text.replace('name: Test', `name: Test\n${more}`), 'test.yaml').findings.filter(
        ({ path }) => path === 'channels.a.wire.gaugeAwg',
      );
    expect(findings('ampacity: usual')).toEqual([]);
    // 22 AWG carries 0.92 A by that rule, and 2 A ask for 18 AWG (2.3 A).
    expect(findings('ampacity: strict')).toEqual([
      expect.objectContaining({
        wrong: 'W1 carries 2 A, and such a wire may carry 0.92 A',
        right: 'make it 18 AWG or thicker',
      }),
    ]);
    // At 60 C the 6.9 A of the usual table are 4 A, and at 69 C next to nothing.
    expect(findings('ambientC: 60')).toEqual([]);
    expect(findings('ambientC: 69')).toHaveLength(1);
    expect(
      parseProp(text.replace('name: Test', 'ampacity: loose\nname: Test'), 'x').findings[0],
    ).toMatchObject({
      wrong: expect.stringMatching(/neither usual nor strict/),
    });
  });

  test('a plug that may carry less than its wire brings', () => {
    const text = prop({ draw: '{ idleA: 0, movingA: 1.5, stallA: 2 }' });
    const rated = (amps: string) => text.replace('S1: {}', `S1: { ratedA: ${amps} }`);
    expectFindings(rated('»1'), [
      {
        severity: 'warning',
        path: 'connectors.S1.ratedA',
        wrong: 'a contact of S1 may carry 1 A, and W1 carries up to 1.5 A',
        right: 'larger one',
      },
    ]);
    expectFindings(rated('1.5'), []);
    // A signal is no load.
    expectFindings(text.replace('J1: { board: main }', 'J1: { board: main, ratedA: 0.5 }'), []);
  });

  test('where the loss lies before its own wire, that is said', () => {
    expectFindings(prop({ feed: 'gaugeAwg: 24, lengthM: 5', wireMark: '»' }), [
      { severity: 'warning', wrong: 'a gets 5.', right: /lost before W1\)$/ },
    ]);
  });
});

describe('supplies', () => {
  test('a stall that the supply cannot give', () => {
    expectFindings(prop({ limitA: '»1.5' }), [
      {
        severity: 'warning',
        path: 'rails.six.limitA',
        wrong:
          'six gives 1.5 A, and a asks for 2 A when it starts or is stalled, even while all others rest',
        right: 'use a supply of 2 A or more',
      },
    ]);
  });

  test('a battery that does not last', () => {
    const battery = (wantedH: number) =>
      prop({ rail: `, battery: »{ capacityAh: 2, wantedH: ${wantedH} }` });
    // 2 Ah: 20 h at 0.1 A, 2 h at 1 A.
    expectFindings(battery(30), [
      { severity: 'warning', wrong: 'the battery lasts 20 h even when nothing moves' },
    ]);
    expectFindings(battery(10), [
      { severity: 'note', wrong: /lasts 20 h at rest but 2 h if everything moves all the time/ },
    ]);
    expectFindings(battery(1).replace('»', ''), []);
  });
});

describe('small parts', () => {
  const PARTS = (lamp: string, relay = '') => `sinew: 1
name: Test
boards: { main: { driver: sim } }
rails: { five: { volts: 5, limitA: 2 } }
channels:
  h: { kind: lamp, output: { board: main, pin: 17 }, through: n-mosfet, rail: five, draw: { fullA: 0.02 }, ${lamp} }
  k: { kind: relay, output: { board: main, pin: 22 }, ${relay} }
`;

  test('a series resistor too small for the lowest forward voltage', () => {
    // (5 - 1.8) / 100 is 32 mA; 3.2 V / 20 mA is 160 ohm, a value of E24.
    expectFindings(PARTS('led: { forwardV: 2, spreadV: 0.2, currentA: 0.02, resistorOhm: »100 }'), [
      {
        severity: 'warning',
        path: 'channels.h.led.resistorOhm',
        wrong: 'h may get 32 mA through 100 ohm, and 20 mA is its maximum',
        right: 'use 160 ohm or more',
      },
    ]);
    expectFindings(
      PARTS('led: { forwardV: 2, spreadV: 0.2, currentA: 0.02, resistorOhm: 160 }'),
      [],
    );
  });

  test('a supply below the forward voltage', () => {
    expectFindings(PARTS('led: { forwardV: »6, currentA: 0.02 }'), [
      { severity: 'warning', wrong: 'h needs up to 6.2 V and its supply has 5 V' },
    ]);
  });

  test('the base resistor of a relay', () => {
    // 5 V / 70 ohm is 71.4 mA. 2.6 V / 10 kohm x 100 is 26 mA; 2.6 V / 100 ohm is 26 mA from the pin.
    const coil = (more: string) => PARTS('', `coil: { volts: 5, ohm: 70, ${more} }`);
    expectFindings(coil('baseOhm: »10000'), [
      {
        severity: 'warning',
        wrong: 'the transistor passes 26 mA and the coil needs 71.4 mA',
        right: '1200 ohm',
      },
    ]);
    expectFindings(coil('baseOhm: »100'), [
      { severity: 'warning', wrong: 'through 100 ohm the pin gives 26 mA: 16 mA is its maximum' },
    ]);
    expectFindings(coil('baseOhm: 1200'), []);
    expectFindings(coil('gain: »10'), [{ severity: 'warning', wrong: '16 mA is its maximum' }]);
    expectFindings(coil('driveV: »0.5'), [
      { severity: 'warning', wrong: 'does not switch a transistor on' },
    ]);
  });
});

describe('bad values', () => {
  test.each([
    [{ wire: 'gaugeAwg: »-3, lengthM: 1' }, 'is not a gauge', 'give AWG 0 to 40, or sectionMm2'],
    [{ wire: 'gaugeAwg: »thin, lengthM: 1' }, 'is not a number', 'American wire gauge'],
    [{ wire: 'sectionMm2: »0, lengthM: 1' }, 'is not above 0', 'give mm2'],
    [{ wire: 'gaugeAwg: 20, lengthM: »0' }, 'is not above 0', 'give metres'],
    [{ fuse: 'ratingA: »0' }, 'is not above 0', 'give amperes'],
    [{ fuse: 'ratingA: 2, standard: »ANSI' }, 'is not a fuse standard', 'write ISO 8820'],
    [{ rail: ', battery: { capacityAh: »-1 }' }, 'is not above 0', 'give ampere-hours'],
    [{ rail: ', battery: { capacityAh: 2, peukert: »0.5 }' }, 'is below 1', '1 or more'],
  ])('%j', (changes, wrong, right) => {
    expectFindings(prop(changes), [{ wrong, right }]);
  });

  test('zero volts', () => {
    expectFindings(prop().replace('volts: 6', 'volts: »0'), [
      { wrong: 'is not above 0', right: 'give volts' },
    ]);
  });
});

describe('starts', () => {
  const PROP = (limitA: number) => `sinew: 1
name: Test
boards: { main: { driver: sim } }
rails: { six: { volts: 6, limitA: ${limitA} } }
channels:
${[17, 18, 22]
  .map(
    (pin, i) =>
      `  s${i}: { kind: servo, output: { board: main, pin: ${pin} }, rail: six, calibration: [[1000, -45], [2000, 45]], draw: { idleA: 0.1, movingA: 0.4, stallA: 1.5 }, park: { to: 0 } }`,
  )
  .join('\n')}
groups:
  all: »[s0, s1, s2]
cues:
  go: [{ at: 0, »move: { s0: 20, s1: 20, s2: 20 } }]
`;

  test('a group that can start one after another has no finding', () => {
    expectFindings(PROP(2.3).replaceAll('»', ''), []);
  });

  test('one that cannot is told, in a group and in a cue', () => {
    // One by one: 0.8 A that move and 1.5 A that starts.
    const wrong = /^even one after another, .* starts .*bring rail six to 2.3 A for a moment/;
    expectFindings(PROP(2.2), [
      { severity: 'warning', path: 'groups.all', wrong },
      { severity: 'warning', wrong },
    ]);
  });
});

describe('batteries and what a servo is rated for', () => {
  const text = (rail: string, more: string) => `sinew: 1
name: Test
boards: { main: { driver: sim } }
rails: { six: { volts: 7.4, limitA: ${rail} } }
channels:
  a: { kind: servo, output: { board: main, pin: 17 }, rail: six, calibration: [[1000, -45], [2000, 45]], draw: { movingA: 0.5, stallA: 1 }, park: { to: 0 }${more} }
`;

  test('a battery that may give less than the rail is asked for', () => {
    const battery = 'battery: { capacityAh: 2, fullV: 8.4, nominalV: 7.4, emptyV: 6, maxA: 4 }';
    expectFindings(text(`»5, ${battery}`, ''), [
      {
        severity: 'warning',
        wrong: 'asked for 5 A, and its battery may give 4 A',
        right: 'limitA to 4',
      },
    ]);
    expectFindings(text(`4, ${battery}`, ''), []);
  });

  test('a discharge curve that turns back', () => {
    const battery = (curve: string) => text(`4, battery: { capacityAh: 2, curve: ${curve} }`, '');
    const wrong = 'not strictly monotonic';
    expectFindings(battery('»[[6, 0], [7, 0.6], [8, 0.5]]'), [{ severity: 'error', wrong }]);
    expectFindings(battery('»[[6, 0], [6, 0.6]]'), [{ severity: 'error', wrong }]);
    expectFindings(battery('[[8.4, 1], [7.4, 0.5], [6.4, 0]]'), []);
  });

  test('a rail outside what its battery gives', () => {
    const battery = 'battery: { capacityAh: 2, fullV: 4.2, emptyV: 3 }';
    expectFindings(text(`4, ${battery}`, '').replace('7.4', '»7.4'), [
      { severity: 'warning', path: 'rails.six.volts', wrong: 'its battery gives 3 to 4.2 V' },
    ]);
  });

  test('a speed limit above what the servo does at the voltage that arrives, and under load', () => {
    // 300 deg/s at 6 V are 370 deg/s at 7.4 V.
    const rated = (speed: string, more = '') =>
      text(
        '4',
        `, speedDegS: ${speed}, rated: { volts: 6, speedDegS: 300, stallKgfCm: 10 }${more}`,
      );
    expectFindings(rated('360'), []);
    expectFindings(rated('»380'), [
      {
        severity: 'warning',
        wrong: 'a turns 370 deg/s at most at the 7.4 V that arrive, and 380',
        right: 'set speedDegS to 370',
      },
    ]);
  });

  test('a flap whose linkage asks the horn for more than that', () => {
    // A parallelogram: the horn turns as fast as the flap (any textbook on mechanisms).
    const linkage = 'linkage: { groundMm: 60, hornMm: 20, couplerMm: 60, flapMm: 20 }';
    const rated = (speed: string) =>
      text('4', `, speedDegS: ${speed}, rated: { volts: 6, speedDegS: 300 }, ${linkage}`);
    expectFindings(rated('360'), []);
    expectFindings(rated('»380'), [
      {
        severity: 'warning',
        wrong:
          'at its 380 deg/s the flap of a needs 380 deg/s from its horn, which turns 370 deg/s at most',
        right: 'set speedDegS to 370',
      },
    ]);
  });

  test('the stall torque in kgf cm counts as that in N m', () => {
    const load = ', load: { flap: { massKg: 0.5, centreMm: 100 } }';
    const of = (stall: string) =>
      parseProp(text('4', `, ${stall}${load}`), 'test.yaml').findings.map(({ wrong }) => wrong);
    expect(of('stallKgfCm: 5')).toEqual(of('stallNm: 0.4903325'));
    expect(of('stallKgfCm: 5').join()).toContain('stall');
  });
});
