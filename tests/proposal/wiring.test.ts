import { describe, expect, test } from 'vitest';
import { budgetOf } from '../../src/prop/budget.ts';
import { editProp, formatFinding, parseProp } from '../../src/prop/load.ts';
import { Loom } from '../../src/prop/loom.ts';
import { readAnswers } from '../../src/proposal/answers.ts';
import { interview } from '../../src/proposal/interview.ts';
import { propose } from '../../src/proposal/propose.ts';
import { shoppingList } from '../../src/proposal/shopping.ts';
import { proposeWiring, type WiringWishes } from '../../src/proposal/wiring.ts';
import { OWL, propText, relay, servo } from '../prop/helpers.ts';
import { CRAB_ANSWERS } from './crab.ts';

function wired(text: string, wishes: WiringWishes = { lengthM: 0.5 }) {
  const loaded = parseProp(text, 'p.yaml');
  const proposal = proposeWiring(loaded.prop!, loaded.raw, wishes);
  const next = editProp(loaded, proposal.edits);
  const shown = next.findings.map((finding) => formatFinding(finding, 'p.yaml'));
  return { ...proposal, text: next.text, prop: next.prop!, raw: next.raw, shown };
}

function crabText(): { text: string; lengthsM: Record<string, number> } {
  const read = readAnswers(interview(new Map(CRAB_ANSWERS)).answers);
  if ('wrong' in read) throw new Error(read.wrong.join('\n'));
  return propose(read.answers);
}

describe('the crab', () => {
  const { text, lengthsM } = crabText();
  const crab = wired(text, { lengthM: 0.5, lengthsM });

  test('gets a whole loom: every channel is fed, protected and reached within 5 %', () => {
    expect(crab.shown).toEqual([]);
    expect(crab.left).toEqual([]);
    const { channels, rails, untraced, unknownWires } = budgetOf(crab.prop);
    expect({ untraced, unknownWires }).toEqual({ untraced: [], unknownWires: [] });
    for (const { along, dropShare } of channels) {
      expect(along).toBe('the loom');
      expect(dropShare).toBeLessThan(0.05);
    }
    for (const { fuse } of rails) expect(fuse).toMatchObject({ verdict: 'fits' });
    expect(crab.prop.channels.claw_left!.wire).toMatchObject({ lengthM: 0.6 });
  });

  test('has gauges that the tables of others allow', () => {
    // A blade of 7.5 A, and 20 AWG: 0.518 mm2 (ASTM B258), for which IEC 60204-1 table 6 B2 has 7.5 A at
    // 0.5 mm2 (from memory).
    expect(crab.prop.rails.servo6v!.fuse!.ratingA).toBe(7.5);
    expect(crab.prop.channels.claw_left!.wire!.gaugeAwg).toBe(20);
    expect(crab.prop.channels.mist!.wire!.gaugeAwg).toBe(24);
  });

  test('joins each return to the header once', () => {
    const loom = new Loom(crab.prop);
    const toHeader = crab.prop.wires.filter(
      ({ rail, cores }) =>
        rail !== undefined && cores.some(({ role, to }) => role === 'return' && /^J1-/.test(to)),
    );
    expect(toHeader.map(({ rail }) => rail).sort()).toEqual(['logic5v', 'servo6v']);
    expect(loom.net('PS1-2')).toBe(loom.net('J1-6'));
    // What the relay switches needs no common ground with the board.
    expect(loom.net('PS2-2')).not.toBe(loom.net('J1-6'));
  });

  test('a second time nothing is proposed', () => {
    const again = proposeWiring(crab.prop, crab.raw, { lengthM: 0.5 });
    expect(again).toMatchObject({ edits: [], added: [], left: [] });
  });

  test('loses a wire, and gets that one back, at free terminals', () => {
    const lines = crab.text.split('\n');
    const at = lines.indexOf('  arm_left:');
    const from = lines.indexOf('    wire:', at);
    const without = [...lines.slice(0, from), ...lines.slice(from + 8)].join('\n');
    const { added, edits, shown, prop } = wired(without);
    expect(edits.map(({ path }) => path)).toContainEqual(['channels', 'arm_left', 'wire']);
    expect(added.map(({ what }) => what)).toEqual([
      expect.stringMatching(/^W26, 20 AWG, 0\.5 m: signal YE J1-24 -> SV7-1.*TB1-\d/),
      expect.stringMatching(/^SV7/),
    ]);
    // The plug that nothing is in any more stays declared.
    expect(prop.connectors).toHaveProperty('SV3');
    expect(shown).toEqual([]);
  });

  test('is bought by the piece and by the metre', () => {
    const list = shoppingList(crab.prop);
    const find = (item: string, size: RegExp) =>
      list.find((one) => one.item === item && size.test(one.size));
    expect(find('servo', /servo-25kgcm/)).toMatchObject({
      quantity: 2,
      for: ['arm_left', 'arm_right'],
    });
    expect(find('fuse', /^7\.5 A, ISO 8820$/)).toMatchObject({ quantity: 1 });
    expect(find('MOSFET', /logic level/)).toMatchObject({ quantity: 6 });
    expect(find('resistor', /^200 ohm$/)).toMatchObject({ quantity: 4 });
    expect(find('plug', /^3 contacts$/)).toMatchObject({ quantity: 6 });
    expect(find('relay module', /5 V/)).toMatchObject({ quantity: 1 });
    expect(find('supply', /^24 V/)).toMatchObject({ quantity: 1 });
    // By hand: six servos at 0.6 m of yellow 20 AWG, and a tenth more, up to the next 0.1 m.
    expect(find('wire', /^20 AWG, YE \(yellow\)$/)).toMatchObject({ quantity: 4, unit: 'm' });
    for (const { quantity, for: owners } of list) {
      expect(quantity).toBeGreaterThan(0);
      expect(owners.length).toBeGreaterThan(0);
    }
  });
});

test('a loom that is whole gets nothing', () => {
  const { edits, added, left } = wired(OWL);
  expect({ edits, added, left }).toEqual({ edits: [], added: [], left: [] });
});

test('a new servo on the owl finds its place on the blocks that are there', () => {
  const text = OWL.replace(
    '  # Both relay modules close',
    '  ear:\n    kind: servo\n    part: servo-9g\n    output: { board: head, pin: 10 }\n    rail: servo6v\n    calibration: [[1000, -45], [2000, 45]]\n    park: { to: 0 }\n\n  # Both relay modules close',
  );
  const before = parseProp(text, 'p.yaml').findings.map(({ wrong }) => wrong);
  expect(before).toContain('ear has no wire');
  const { prop, added, shown } = wired(text);
  // Of the bars of 6 V in the file, one terminal of plus is bridged and free: TB3-6.
  expect(prop.channels.ear!.wire!.cores).toEqual([
    { role: 'signal', colour: 'YE', from: 'J1-19', to: expect.stringMatching(/^SV\d+-1$/) },
    {
      role: 'plus',
      colour: 'RD',
      from: expect.stringMatching(/^TB\d+-\d+$/),
      to: expect.any(String),
    },
    {
      role: 'return',
      colour: 'BK',
      from: expect.stringMatching(/^TB\d+-\d+$/),
      to: expect.any(String),
    },
  ]);
  expect(added.length).toBeLessThanOrEqual(4);
  expect(shown).toEqual([]);
});

describe('what only a person can decide is left, and said', () => {
  const rails = (more = '') => `rails: { r: { volts: 6, limitA: 3${more} } }`;
  const with1 = '{ label: A, cores: [{ role: plus, colour: RD, from: X-1, to: SV1-2 }] }';

  test('a rail with wires and no supply, or no fuse', () => {
    const text = propText(`a: ${servo(4, { rail: 'r', wire: with1 })}`, rails());
    const { left, prop } = wired(text);
    expect(prop.rails.r).not.toHaveProperty('supply');
    expect(left).toEqual([expect.stringMatching(/rail r has wires and no supply: write supply/)]);
    const supplied = wired(
      text.replace('limitA: 3', 'limitA: 3, supply: { plus: P-1, return: P-2 }'),
    );
    expect(supplied.left.join('\n')).toMatch(/rail r has wires and no fuse: fit one/);
    expect(supplied.prop.rails.r).not.toHaveProperty('fuse');
  });

  test('a channel without a rail, and a bare coil', () => {
    const { left } = wired(
      propText(
        `a: ${servo(4)}\n  b: ${relay(17, { coil: '{ volts: 5, ohm: 70 }', through: 'n-mosfet' })}`,
      ),
    );
    expect(left).toEqual([
      expect.stringMatching(
        /^a gets no wire: nothing is there for its plus and return; name its rail$/,
      ),
      expect.stringMatching(/^b has a bare coil/),
    ]);
  });

  test('a rail that no fuse is large enough for', () => {
    const many = Array.from(
      { length: 6 },
      (_, i) => `s${i}: ${servo(16 + i, { rail: 'r', draw: '{ movingA: 9, stallA: 9 }' })}`,
    );
    const { left, prop } = wired(
      propText(many.join('\n  '), 'rails: { r: { volts: 6, limitA: 60 } }'),
    );
    expect(left[0]).toMatch(/rail r carries 54 A: no blade fuse is large enough; divide it/);
    expect(prop.rails.r).not.toHaveProperty('fuse');
  });
});

test('long wires are thicker, and a warm prop needs thicker ones', () => {
  const text = propText(
    `a: ${servo(4, { rail: 'r', draw: '{ movingA: 1, stallA: 2 }' })}`,
    'rails: { r: { volts: 6, limitA: 3 } }',
  );
  const gauge = (more: string, lengthM: number) =>
    wired(`${text}\n${more}`, { lengthM }).prop.channels.a!.wire!.gaugeAwg!;
  expect(gauge('', 0.5)).toBe(24);
  // 1 A over 2 x 8 m may lose 0.15 V: 0.0172 ohm mm2/m x 16 m / 0.15 V = 1.8 mm2, 14 AWG (2.08 mm2, ASTM B258).
  expect(gauge('', 8)).toBe(14);
  expect(gauge('ambientC: 65\n', 0.5)).toBeLessThan(24);
});

describe('what a relay switches far away', () => {
  const of = (load: object) => {
    const read = readAnswers({ relays: [{ name: 'fan', load: 'other', ...load }] });
    if ('wrong' in read) throw new Error(read.wrong.join('\n'));
    const { text, lengthsM } = propose(read.answers);
    return wired(text, { lengthM: 0.5, lengthsM });
  };

  test('is reached within 5 %: its current passes three cores, to the contact, from it and back', () => {
    const { prop, shown } = of({ volts: 5, amps: 2.6, lengthM: 1.5 });
    // 2.67 A over 3 x 1.5 m may lose 0.125 V: 0.0172 ohm mm2/m (annealed copper, IEC 60028; from memory)
    // x 4.5 m x 2.67 A / 0.125 V = 1.65 mm2,
    // 14 AWG (2.08 mm2, ASTM B258); over 2 x 1.5 m it would be 1.1 mm2, 16 AWG.
    const loads = prop.wires.filter(({ channel }) => channel === 'fan');
    expect(loads.map(({ gaugeAwg }) => gaugeAwg)).toEqual([14, 14]);
    expect(budgetOf(prop).channels[0]!.dropShare).toBeLessThanOrEqual(0.05);
    expect(shown).toEqual([]);
  });

  test('does not make the wire of its module thick, through which only the coil is fed', () => {
    const { prop } = of({ volts: 24, amps: 5, lengthM: 5 });
    expect(prop.channels.fan!.wire!.gaugeAwg).toBe(24);
  });

  test('is not helped by a thicker wire of its module, and check does not say so', () => {
    const { text } = of({ volts: 5, amps: 2.6, lengthM: 1.5 });
    const { findings } = parseProp(text.replaceAll('gaugeAwg: 14', 'gaugeAwg: 20'), 'p.yaml');
    expect(findings.map(({ right }) => right)).toEqual([
      'use thicker or shorter wires on its way, or another rail',
    ]);
  });
});

test('names of connectors stay within what the file may hold, however many rails and letters', () => {
  const read = readAnswers({
    moves: [
      { name: 'claw', count: 13, part: 'servo-35kgcm' },
      { name: 'c'.repeat(48), count: 1 },
    ],
    lights: [{ name: 'e'.repeat(48), count: 2, kind: 'rgb' }],
    supplies: [{ volts: 7.4, amps: 32.5 }],
    changes: { [`${'c'.repeat(48)}.name`]: 'd'.repeat(64) },
  });
  if ('wrong' in read) throw new Error(read.wrong.join('\n'));
  const { shown, left } = wired(propose(read.answers).text);
  expect({ shown, left }).toEqual({ shown: [], left: [] });
});
