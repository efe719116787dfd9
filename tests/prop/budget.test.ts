import { describe, expect, test } from 'vitest';
import { budgetOf } from '../../src/prop/budget.ts';
import { parseProp } from '../../src/prop/load.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { OWL } from './helpers.ts';

/** Copper at 20 C: 1/58 ohm mm2/m (IEC 60028), worked by hand in the checks below. */
const OHM = 1 / 58;

function propOf(text: string): Prop {
  const { prop, findings } = parseProp(text, 'test.yaml');
  if (!prop) throw new Error(JSON.stringify(findings));
  return prop;
}

const budget = (text: string) => budgetOf(propOf(text));
const channelOf = (text: string, name: string) =>
  budget(text).channels.find((one) => one.name === name)!;

/** Two servos on one feed of 1 mm2 and 5.8 m (0.1 ohm one way), each with 0.1 ohm of its own. */
const SHARED = (rail = 'limitA: 10', more = '') => `sinew: 1
name: Shared feed
boards: { main: { driver: sim } }
rails: { six: { volts: 6, ${rail}, supply: { plus: P1-1, return: P1-2 } } }
connectors:
  T1: { bridged: [[1, 2, 3], [4, 5, 6]] }
channels:
  a: ${SERVO(17, 'WA', 'SA', 'T1-2', 'T1-5')}
  b: ${SERVO(18, 'WB', 'SB', 'T1-3', 'T1-6')}
wires:
  - { label: F, sectionMm2: 1, lengthM: 5.8, cores: [{ role: plus, colour: RD, from: P1-1, to: T1-1 }, { role: return, colour: BK, from: P1-2, to: T1-4 }] }
${more}`;
const SERVO = (pin: number, label: string, plug: string, plus: string, back: string) => `
    kind: servo
    output: { board: main, pin: ${pin} }
    rail: six
    calibration: [[1000, -45], [2000, 45]]
    draw: { idleA: 0.1, movingA: 1, stallA: 2 }
    park: { to: 0 }
    wire: { label: ${label}, sectionMm2: 1, lengthM: 5.8, cores: [{ role: signal, colour: YE, from: X-${pin}, to: ${plug}-1 }, { role: plus, colour: RD, from: ${plus}, to: ${plug}-2 }, { role: return, colour: BK, from: ${back}, to: ${plug}-3 }] }`;

describe('voltages along the loom', () => {
  test('the feed carries what both draw', () => {
    // 0.1 ohm a core: feed 2 x 0.1 x 2 A, own wire 2 x 0.1 x 1 A.
    expect(OHM * 5.8).toBeCloseTo(0.1, 12);
    const { along, movingV, dropV, dropShare } = channelOf(SHARED(), 'a');
    expect(along).toBe('the loom');
    expect(movingV).toBeCloseTo(6 - 0.4 - 0.2, 9);
    expect(dropV).toBeCloseTo(0.6, 9);
    expect(dropShare).toBeCloseTo(0.1, 9);
  });

  test('stalled, while the other one moves', () => {
    // Feed 2 x 0.1 x 3 A, own wire 2 x 0.1 x 2 A.
    expect(channelOf(SHARED(), 'a').stallV).toBeCloseTo(6 - 0.6 - 0.4, 9);
  });

  test('the others get no more than the limit leaves', () => {
    // With a limit of 1.1 A, half of what lies between 0.2 and 2 A: each draws 0.55 A. For a itself
    // 1 A: feed 2 x 0.1 x 1.55 A, own wire 2 x 0.1 x 1 A.
    expect(channelOf(SHARED('limitA: 1.1'), 'a').movingV).toBeCloseTo(6 - 0.31 - 0.2, 9);
  });

  test('a second feed beside the first one halves its part', () => {
    const second =
      '  - { label: G, sectionMm2: 1, lengthM: 5.8, cores: [{ role: plus, colour: RD, from: P1-1, to: T1-1 }, { role: return, colour: BK, from: P1-2, to: T1-4 }] }';
    expect(channelOf(SHARED('limitA: 10', second), 'a').movingV).toBeCloseTo(6 - 0.2 - 0.2, 9);
    const wires = Object.fromEntries(
      budget(SHARED('limitA: 10', second)).wires.map(({ label, amps }) => [label, amps]),
    );
    expect(wires.F).toBeCloseTo(1, 9);
    expect(wires.G).toBeCloseTo(1, 9);
    expect(wires.WA).toBeCloseTo(1, 9);
  });

  test('a fuse in the feed changes nothing, and the wires behind it are its own', () => {
    const text = SHARED('limitA: 10, fuse: { ratingA: 3, from: F1-1, to: F1-2 }')
      .replace('from: P1-1, to: T1-1 }', 'from: F1-2, to: T1-1 }')
      .concat(
        '  - { label: Z, gaugeAwg: 30, lengthM: 0.000001, cores: [{ role: plus, colour: RD, from: P1-1, to: F1-1 }] }',
      );
    expect(channelOf(text, 'a').movingV).toBeCloseTo(5.4, 4);
    // Z is the thinnest, but before the fuse: 1 mm2 may carry 10.1 A (IEC 60204-1, table 6, B2).
    expect(budget(text).rails[0]!.fuse).toMatchObject({
      ratingA: 3,
      wire: { capacityA: 10.1 },
      verdict: 'fits',
      fits: 3,
    });
  });

  test('the shunt of a meter carries what it measures: a rail, or one servo', () => {
    const meter = (of: string) => `
  meter: { driver: ina219, bus: 1, address: 0x45, shuntOhm: 0.1, maxA: 3.2 }
senses: { amps: { kind: current, board: meter, ${of} } }`;
    const withMeter = (of: string, text = SHARED()) =>
      text.replace('{ main: { driver: sim } }', `\n  main: { driver: sim }${meter(of)}`);
    // As without it, less 0.1 ohm times the 2 A of both; stalled, 3 A.
    const all = channelOf(withMeter('rail: six'), 'a');
    expect(all.movingV).toBeCloseTo(6 - 0.4 - 0.2 - 0.2, 9);
    expect(all.stallV).toBeCloseTo(6 - 0.6 - 0.4 - 0.3, 9);
    const text = withMeter('channel: a');
    expect(channelOf(text, 'a').movingV).toBeCloseTo(6 - 0.4 - 0.2 - 0.1, 9);
    expect(channelOf(text, 'a').stallV).toBeCloseTo(6 - 0.6 - 0.4 - 0.2, 9);
    expect(channelOf(text, 'b').movingV).toBeCloseTo(6 - 0.4 - 0.2, 9);
    // Without the supply's terminals, at least its own current.
    const bare = SHARED().replace(', supply: { plus: P1-1, return: P1-2 }', '');
    expect(channelOf(withMeter('rail: six', bare), 'a').stallV).toBeCloseTo(6 - 0.4 - 0.2, 9);
  });

  test('without terminals of the supply, along its own wire alone', () => {
    const text = SHARED().replace(', supply: { plus: P1-1, return: P1-2 }', '');
    const { along, movingV, stallV } = channelOf(text, 'a');
    expect(along).toBe('its own wire');
    expect(movingV).toBeCloseTo(6 - 0.2, 9);
    expect(stallV).toBeCloseTo(6 - 0.4, 9);
  });

  test('a wire without a length counts as no resistance, and is named', () => {
    const text = SHARED().replace('label: F, sectionMm2: 1, lengthM: 5.8', 'label: F');
    expect(channelOf(text, 'a').movingV).toBeCloseTo(6 - 0.2, 9);
    expect(budget(text).unknownWires).toEqual(['F']);
  });

  test('a channel that nothing leads to has no voltage', () => {
    const { channels, untraced } = budget(
      SHARED().replace('from: T1-2, to: SA-2', 'from: T9-2, to: SA-2'),
    );
    expect(channels.find(({ name }) => name === 'a')!.movingV).toBeUndefined();
    expect(untraced).toEqual(['a']);
  });
});

describe('lights and relays', () => {
  const TEXT = `sinew: 1
name: Lights
boards: { main: { driver: sim } }
rails: { five: { volts: 5, limitA: 3, supply: { plus: P1-1, return: P1-2 } } }
connectors: { J1: { board: main }, T1: { bridged: [[1, 2, 3, 7], [4, 5, 6]] } }
channels:
  eye:
    kind: rgb
    output: { board: main, pins: [5, 6, 13], common: anode }
    rail: five
    draw: { fullA: [0.03, 0.02, 0.01] }
    wire: { label: E, sectionMm2: 1, lengthM: 5.8, cores: [{ role: red, colour: RD, from: J1-29, to: D1-1 }, { role: green, colour: GN, from: J1-31, to: D1-2 }, { role: blue, colour: BU, from: J1-33, to: D1-3 }, { role: plus, colour: WH, from: T1-2, to: D1-4 }] }
  horn:
    kind: relay
    output: { board: main, pin: 22 }
    rail: five
    draw: { onA: 0.4 }
    wire: { label: K, sectionMm2: 1, lengthM: 5.8, cores: [{ role: control, colour: GY, from: J1-15, to: K1-IN }, { role: plus, colour: RD, from: T1-3, to: K1-V }, { role: return, colour: BK, from: T1-6, to: K1-G }] }
wires:
  - { label: F, sectionMm2: 1, lengthM: 0.000001, cores: [{ role: plus, colour: RD, from: P1-1, to: T1-1 }, { role: return, colour: BK, from: P1-2, to: T1-4 }] }
  - { label: G, sectionMm2: 1, lengthM: 5.8, cores: [{ role: return, colour: BK, from: T1-5, to: J1-6 }] }
  - { label: L, channel: horn, sectionMm2: 1, lengthM: 5.8, cores: [{ role: plus, colour: RD, from: T1-7, to: K1-COM }] }
  - { label: M, channel: horn, sectionMm2: 1, lengthM: 5.8, cores: [{ role: plus, colour: RD, from: K1-NO, to: H1-1 }, { role: return, colour: BK, from: T1-6, to: H1-2 }] }
`;

  test('each colour comes back through its own core, its pin and the ground of the header', () => {
    // Plus 0.1 x 0.06 A, red core 0.1 x 0.03 A, ground wire 0.1 x 0.06 A: the worst colour is red.
    expect(channelOf(TEXT, 'eye').movingV).toBeCloseTo(5 - 0.006 - 0.003 - 0.006, 5);
  });

  test('J1 is the header for the sums as well, where the file says nothing else', () => {
    const silent = TEXT.replace('J1: { board: main }, ', '');
    const [given, guessed] = [budget(TEXT), budget(silent)];
    expect(guessed.channels).toEqual(given.channels);
    expect(channelOf(silent, 'eye').movingV).toBeCloseTo(5 - 0.006 - 0.003 - 0.006, 5);
    expect(guessed.untraced).toEqual([]);
    // Said to be something else, it is no header: the light has no way back.
    expect(budget(silent.replace('T1: {', 'J1: {}, T1: {')).untraced).toEqual(['eye']);
    // A header of another name is the only one.
    const named = TEXT.replaceAll('J1', 'X9');
    expect(budget(named).channels).toEqual(given.channels);
  });

  test('the load of a relay is behind its contact', () => {
    // L, M and back: 3 x 0.1 x 0.4 A.
    expect(channelOf(TEXT, 'horn').movingV).toBeCloseTo(5 - 0.12, 5);
  });
});

describe('rails', () => {
  test('of the owl', () => {
    const [servos, logic] = budget(OWL).rails;
    // Added up by hand: four servos of 0.25 or 0.2 A and so on.
    expect(servos!.idleA).toBeCloseTo(7 * 0.01 + 3 * 0.05, 9);
    expect(servos!.movingA).toBeCloseTo(0.25 + 6 * 0.2 + 3 * 0.6, 9);
    expect(servos!.stallA).toBeCloseTo(0.9 + 6 * 0.7 + 3 * 1.8, 9);
    expect(servos!.hardest!.channel).toBe('head_turn');
    expect(servos!.hardest!.amps).toBeCloseTo(0.22 + 1.75, 9);
    expect(servos!.hardest!.movingA).toBeCloseTo(0.22 + 0.55, 9);
    expect(servos!.inrush.togetherA).toBeCloseTo(servos!.stallA, 9);
    expect(servos!.inrush.staggeredA).toBeLessThan(servos!.limitA);
    expect(logic!.movingA).toBeCloseTo(2 * 0.06 + 0.45 + 0.2 + 0.06, 9);
    expect(logic!.stallA).toBe(logic!.movingA);
  });

  test('every channel of the owl has its voltage, and nothing is missing', () => {
    const { channels, untraced, unknownWires } = budget(OWL);
    expect(channels.every(({ along }) => along === 'the loom')).toBe(true);
    expect(channels).toHaveLength(15);
    expect({ untraced, unknownWires }).toEqual({ untraced: [], unknownWires: [] });
  });

  test('a battery, and the fuse to fit where there is none', () => {
    // 2 Ah at 20 h, exponent 1.2, 0.2 A at rest and 2 A moving: 20 x (2 / (0.2 x 20))^1.2.
    const { battery, fuse, peakA, wantedA } = budget(
      SHARED('limitA: 10, battery: { capacityAh: 2, peukert: 1.2, wantedH: 3 }'),
    ).rails[0]!;
    expect(battery!.idleH).toBeCloseTo(20 * 0.5 ** 1.2, 9);
    expect(battery!.movingH).toBeCloseTo(20 * 0.05 ** 1.2, 9);
    expect(battery!.wantedH).toBe(3);
    // As one settles the other starts: 1 A + 2 A.
    expect({ peakA, wantedA }).toEqual({ peakA: 2, wantedA: 3 });
    // 2 A / 0.8 is 2.5 A, and the wake needs 3 A.
    expect(fuse).toMatchObject({ loadA: 2, fits: 3 });
    expect(fuse!.ratingA).toBeUndefined();
  });
});

describe('what flows for a moment', () => {
  const hard = (draw: string) =>
    budget(
      SHARED('limitA: 3').replaceAll(
        'draw: { idleA: 0.1, movingA: 1, stallA: 2 }',
        `draw: ${draw}`,
      ),
    ).rails[0]!;

  test('the advice is never below the hardest stall, nor below the peak of a wake', () => {
    // Two of 0.2 A moving: a supply of 0.5 A was advised, and a fuse of 1 A.
    const { peakA, momentA, wantedA, fuse, inrush } = hard(
      '{ idleA: 0, movingA: 0.2, stallA: 2.6 }',
    );
    expect(peakA).toBeCloseTo(0.4, 12);
    // The first settles with its moving current while the second starts.
    expect(inrush.staggeredA).toBeCloseTo(2.8, 12);
    expect(momentA).toBeCloseTo(2.8, 12);
    expect(wantedA).toBeCloseTo(2.8, 12);
    expect(fuse!.fits).toBe(3);
  });

  test('without a stall current it counts as it moves, and as it rests without that', () => {
    expect(hard('{ idleA: 0.1, movingA: 1 }')).toMatchObject({ stallA: 2, movingA: 2 });
    expect(hard('{ idleA: 0.1 }')).toMatchObject({ stallA: 0.2, movingA: 0.2, idleA: 0.2 });
  });
});

describe('a shared return', () => {
  const TWO = SHARED('limitA: 2, fuse: { ratingA: 3, from: F1-1, to: F1-2 }')
    .replace('from: P1-1, to: T1-1 }', 'from: F1-2, to: T1-1 }')
    .replace(
      'rails: { six:',
      'rails: { five: { volts: 5, limitA: 8, supply: { plus: P2-1, return: P1-2 } }, six:',
    )
    .replace(
      /b: (.*\n) {4}kind: servo\n(.*\n) {4}rail: six/,
      'b: $1    kind: servo\n$2    rail: five',
    )
    .replace('from: T1-3, to: SB-2', 'from: P2-1, to: SB-2')
    .concat(
      '  - { label: Z, sectionMm2: 1, lengthM: 0.1, cores: [{ role: plus, colour: RD, from: P1-1, to: F1-1 }] }',
    );

  test('has less left for each of its rails', () => {
    // F carries both back: of 10.1 A, five may take its limit of 8 A.
    const six = budget(TWO).rails.find(({ name }) => name === 'six')!;
    expect(six.fuse).toMatchObject({
      wire: { label: 'F', capacityA: 10.1, shared: { rails: ['five'], amps: 8 } },
      verdict: 'does not protect the wire',
    });
    const fused = TWO.replace('limitA: 8', 'limitA: 4');
    expect(budget(fused).rails.find(({ name }) => name === 'six')!.fuse!.verdict).toBe('fits');
  });
});

test('a prop of 500 wires is checked in a second', () => {
  const servos = 168;
  const boards = Array.from(
    { length: Math.ceil(servos / 16) },
    (_, i) => `  b${i}: { driver: pca9685, bus: 1, address: ${0x40 + i} }`,
  );
  const channels = Array.from({ length: servos }, (_, i) =>
    SERVO(i % 16, `W${i}`, `S${i}`, `T${i}-2`, `T${i}-5`)
      .replace('board: main', `board: b${i >> 4}`)
      .replace('1, lengthM: 5.8', '10, lengthM: 0.1')
      .replace(`X-${i % 16}`, `X${i >> 4}-${i % 16}`)
      .replace('movingA: 1, stallA: 2', 'movingA: 0.1, stallA: 0.2')
      .replace('idleA: 0.1', 'idleA: 0'),
  );
  // A chain of blocks, each with one servo, fed from its end.
  const feed = (i: number, role: string, colour: string, cavity: number) => {
    const pole = role === 'plus' ? 1 : 2;
    const from = i === 0 ? `P1-${pole}` : `T${i - 1}-${cavity + 2}`;
    return `  - { label: ${role === 'plus' ? 'F' : 'R'}${i}, rail: six, sectionMm2: 25, lengthM: 0.01, cores: [{ role: ${role}, colour: ${colour}, from: ${from}, to: T${i}-${cavity} }] }`;
  };
  const text = [
    'sinew: 1',
    'name: Many',
    'boards:',
    ...boards,
    'rails: { six: { volts: 6, limitA: 20, supply: { plus: P1-1, return: P1-2 } } }',
    'connectors:',
    '  P1: {}',
    ...boards.map((_, i) => `  X${i}: { board: b${i} }`),
    ...channels.flatMap((_, i) => [`  T${i}: { bridged: [[1, 2, 3], [4, 5, 6]] }`, `  S${i}: {}`]),
    'channels:',
    ...channels.map((channel, i) => `  c${i}: ${channel}`),
    'wires:',
    ...channels.flatMap((_, i) => [feed(i, 'plus', 'RD', 1), feed(i, 'return', 'BK', 4)]),
  ].join('\n');
  // Processor time, and not the first run, so that what else the machine does counts little.
  parseProp(text, 'many.yaml');
  const started = process.cpuUsage();
  const { prop, findings } = parseProp(text, 'many.yaml');
  const tookMs = process.cpuUsage(started).user / 1000;
  expect(findings).toEqual([]);
  expect(prop!.wires.length + servos).toBeGreaterThan(500);
  // The last one by hand: all its feeds, each with what the servos behind it draw, out and back.
  const sumA = (servos * (servos + 1) * 0.1) / 2;
  const dropV = 2 * sumA * OHM * (0.01 / 25) + 2 * 0.1 * OHM * (0.1 / 10);
  const last = budgetOf(prop!).channels.at(-1)!;
  expect(last.dropV).toBeCloseTo(dropV, 9);
  expect(tookMs).toBeLessThan(1000);
});
