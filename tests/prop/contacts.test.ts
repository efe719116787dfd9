import { describe, expect, test } from 'vitest';
import { budgetOf } from '../../src/prop/budget.ts';
import { parseProp } from '../../src/prop/load.ts';
import { traceFault } from '../../src/prop/trace.ts';
import { expectFindings } from './helpers.ts';

/**
 * A vapour unit on a 24 V supply of its own, with a fuse, behind the contact of a relay module that the
 * 5 V supply feeds. The two supplies have nothing in common.
 */
const PROP = ({
  contact = '{ mode: held, rail: mist24v, common: K1-1, open: K1-2, closed: K1-3 }',
  load = 'K1-2',
  more = 'duty: { maxOnS: 20, restS: 40 }\n    vapour: { tankMl: 250, rateMlPerH: 300 }',
  loadMark = '',
} = {}) => `sinew: 1
name: Mist
boards: { head: { driver: sim } }
rails:
  logic5v: { volts: 5, limitA: 1, supply: { plus: PS1-1, return: PS1-2 }, fuse: { ratingA: 1, from: F1-1, to: F1-2 } }
  mist24v: { volts: 24, limitA: 2, supply: { plus: PS2-1, return: PS2-2 }, fuse: { ratingA: 2, from: F2-1, to: F2-2 } }
connectors:
  J1: { board: head }
  PS1: {}
  PS2: {}
  F1: {}
  F2: {}
  TB1: { bridged: [[1, 2], [3, 4, 5]] }
  K1: { name: relay module }
  M1: { name: vapour unit }
channels:
  mist:
    kind: relay
    output: { board: head, pin: 7, activeLow: true }
    rail: logic5v
    contact: ${contact}
    draw: { onA: 0.8, coilA: 0.07 }
    ${more}
    wire: { label: W1, gaugeAwg: 24, lengthM: 0.5, cores: [{ role: control, colour: GY, from: J1-26, to: K1-IN }, { role: plus, colour: RD, from: TB1-2, to: K1-V }, { role: return, colour: BK, from: TB1-4, to: K1-G }] }
wires:
  - { label: W2, rail: logic5v, gaugeAwg: 20, lengthM: 0.3, cores: [{ role: plus, colour: RD, from: PS1-1, to: F1-1 }] }
  - { label: W3, rail: logic5v, gaugeAwg: 20, lengthM: 0.3, cores: [{ role: plus, colour: RD, from: F1-2, to: TB1-1 }, { role: return, colour: BK, from: PS1-2, to: TB1-3 }] }
  - { label: W4, rail: logic5v, gaugeAwg: 20, lengthM: 0.3, cores: [{ role: return, colour: BK, from: TB1-5, to: J1-25 }] }
  - { label: W5, channel: mist, rail: mist24v, gaugeAwg: 20, lengthM: 0.3, cores: [{ role: plus, colour: RD, from: PS2-1, to: F2-1 }] }
  - { label: W6, channel: mist, rail: mist24v, gaugeAwg: 20, lengthM: 0.3, cores: [{ role: plus, colour: RD, from: F2-2, to: K1-1 }] }
  - { label: W7, channel: mist, rail: mist24v, gaugeAwg: 20, lengthM: 0.7, cores: [{ role: plus, colour: RD, from: ${loadMark}${load}, to: M1-1 }, { role: return, colour: BK, from: PS2-2, to: M1-2 }] }
`;

const propOf = (text: string) => {
  const { prop, findings } = parseProp(text, 'test.yaml');
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  return prop!;
};
const traceOf = (symptom: 'dead' | 'stays-on', options = {}) =>
  traceFault(propOf(PROP(options)), 'mist', symptom);
const between = ({ steps }: ReturnType<typeof traceOf>) =>
  steps.map(({ reading }) => reading?.between.join(' '));

/** Old words, with the terminals called as most boards print them. */
const OLD = PROP({ contact: 'held' })
  .replace('rail: logic5v\n', 'rail: mist24v\n')
  .replace(', coilA: 0.07', '')
  .replaceAll('K1-1', 'K1-COM')
  .replaceAll('K1-2', 'K1-NO');

describe('fault-finding', () => {
  test.each([
    ['as an object', PROP()],
    ['in the old words', OLD],
  ])('a healthy fuse is no welded contact: %s', (_, text) => {
    const trace = traceFault(propOf(text), 'mist', 'stays-on');
    const welded = trace.steps.filter(({ otherwise }) => otherwise.includes('welded. Change it'));
    const [common, open] = text === OLD ? ['K1-COM', 'K1-NO'] : ['K1-1', 'K1-2'];
    expect(welded.map(({ reading }) => reading?.between)).toEqual([[common, open]]);
  });

  test.each([
    ['as an object', PROP()],
    ['in the old words', OLD],
  ])('the supply and the fuse of the contact are looked at: %s', (_, text) => {
    const trace = traceFault(propOf(text), 'mist');
    const all = between(trace);
    const [common, open] = text === OLD ? ['K1-COM', 'K1-NO'] : ['K1-1', 'K1-2'];
    for (const pair of ['PS1-1 PS1-2', 'F1-1 F1-2', 'PS2-1 PS2-2', 'F2-1 F2-2'])
      expect(all).toContain(pair);
    expect(all.indexOf('F2-1 F2-2')).toBeLessThan(all.indexOf(`${common} ${open}`));
    expect(all.indexOf(`${common} ${open}`)).toBeLessThan(all.indexOf('M1-1 M1-2'));
    const volts = trace.steps.find(({ reading }) => reading?.between.join(' ') === 'M1-1 M1-2');
    expect(volts!.expect).toBe('24 V');
    for (const label of ['W5', 'W6', 'W7']) expect(trace.wires).toContain(label);
    expect(trace.connectors).toContain('F2');
  });

  test('behind the contact, too, a battery may be anywhere from empty to full', () => {
    const battery = 'battery: { capacityAh: 2, fullV: 29.2, nominalV: 24, emptyV: 20 }';
    const text = PROP().replace('limitA: 2, supply', `limitA: 2, ${battery}, supply`);
    const { steps } = traceFault(propOf(text), 'mist');
    const at = (pair: string) => steps.find(({ reading }) => reading?.between.join(' ') === pair)!;
    expect(at('PS2-1 PS2-2').reading).toMatchObject({ low: 20, high: 29.2 });
    // A twentieth of 24 V may be lost on the way, as with a supply that is no battery.
    for (const pair of ['K1-1 PS2-2', 'M1-1 M1-2']) {
      expect(at(pair).reading).toMatchObject({ low: 18.8, high: 29.2 });
      expect(at(pair).expect).toBe('20 to 29.2 V, from the battery empty to full');
    }
  });
});

describe('which contact the load hangs on', () => {
  test('a vapour unit on the open one is right, with no ground in common', () => {
    expectFindings(PROP(), []);
    expectFindings(OLD, []);
  });

  test.each([
    ['by its terminals', PROP({ load: 'K1-3', loadMark: '»' })],
    ['by what is printed', OLD.replace('from: K1-NO', 'from: »K1-NC')],
    [
      'an earlier note: duty alone',
      PROP({ load: 'K1-3', loadMark: '»', more: 'duty: { maxOnS: 20, restS: 40 }' }),
    ],
  ])('a vapour unit, or what has a duty limit, on the closed one runs at rest: %s', (_, text) => {
    expectFindings(text, [
      {
        wrong: /normally closed contact K1-(3|NC).*while parked, stopped and switched off/,
        right: /normally open one, K1-(2|NO)/,
      },
    ]);
  });

  test('without wires, terminals that are named alone tell it too', () => {
    const text = `sinew: 1
name: Bare
boards: { head: { driver: sim } }
channels:
  mist: { kind: relay, output: { board: head, pin: 17 }, contact: { common: K1-1, closed: »K1-3 }, vapour: { tankMl: 250, rateMlPerH: 300 } }
`;
    expectFindings(text, [{ wrong: 'runs whenever the coil has no power' }]);
  });

  const BRAKE = { more: 'safe: on\n    park: { to: on }' };
  test('what must stay on drops out of the open one when the coil loses its power', () => {
    expectFindings(
      PROP(BRAKE).replace('safe: on', 'safe: »on').replace('pin: 7, activeLow: true', 'pin: 7'),
      [{ severity: 'warning', wrong: /drops out when the coil loses its power/, right: 'K1-3' }],
    );
  });

  test('a coil that on is known to energise lets go of the closed one', () => {
    const text = PROP({ ...BRAKE, load: 'K1-3' })
      .replace('safe: on', 'safe: »on')
      .replace('pin: 7, activeLow: true }', 'pin: 7 }\n    through: n-mosfet');
    expectFindings(text, [
      { severity: 'warning', wrong: 'opens the normally closed contact', right: 'remove safe' },
    ]);
    expectFindings(text.replace('through: n-mosfet', 'through: driver board'), [
      { severity: 'note', wrong: 'stays closed when the coil loses its power', right: 'activeLow' },
    ]);
  });

  test('anything else on the closed one is worth a word', () => {
    expectFindings(PROP({ load: 'K1-3', loadMark: '»', more: 'light: true' }), [
      { severity: 'note', wrong: 'fed whenever the coil has no power' },
    ]);
  });

  test('terminals that no wire reaches, or that are the same', () => {
    expectFindings(PROP({ contact: '{ rail: mist24v, common: »K1-9, open: K1-2 }' }), [
      { severity: 'warning', wrong: 'no wire of mist ends in K1-9' },
    ]);
    expectFindings(PROP({ contact: '{ rail: mist24v, common: K1-1, open: »K1-8 }' }), [
      { severity: 'warning', wrong: 'no wire of mist ends in K1-8' },
    ]);
    expectFindings(
      PROP({ contact: '»{ rail: mist24v, common: K1-1, open: K1-2, closed: K1-2 }' }),
      [{ wrong: 'are the same' }],
    );
    expectFindings(PROP({ contact: '»{ rail: mist24v, common: K1-1 }' }), [
      { wrong: 'one terminal', right: 'open \\(NO\\), closed \\(NC\\) or both' },
    ]);
    expectFindings(PROP({ contact: '{ rail: »mist, common: K1-1, open: K1-2 }' }), [
      { wrong: 'no rail mist' },
    ]);
  });
});

describe('grounds', () => {
  const without = (text: string) =>
    text.replace(/^ {2}- \{ label: W4,.*\n/m, '').replace('return: PS1-2', 'return: »PS1-2');
  test('the module needs the ground of the board, its contact does not', () => {
    for (const text of [PROP(), OLD])
      expectFindings(without(text), [
        { severity: 'warning', wrong: 'return of logic5v is not joined to the ground of head' },
      ]);
  });
});

describe('currents', () => {
  test('the contact’s flows on its rail, the coil’s on the relay’s', () => {
    const { rails, channels, wires, untraced } = budgetOf(propOf(PROP()));
    expect(rails.map(({ name, idleA, movingA }) => [name, idleA, movingA])).toEqual([
      ['logic5v', 0, 0.07],
      ['mist24v', 0, 0.8],
    ]);
    expect(untraced).toEqual([]);
    const amps = Object.fromEntries(wires.map((wire) => [wire.label, wire.amps]));
    expect(amps.W5).toBeCloseTo(0.8, 9);
    expect(amps.W7).toBeCloseTo(0.8, 9);
    expect(amps.W1).toBeCloseTo(0.07, 9);
    expect(amps.W2).toBeCloseTo(0.07, 9);
    // 0.3 m + 0.3 m + 2 x 0.7 m of 20 AWG, 0.0333 ohm/m at 20 C (ASTM B258), at 0.8 A.
    const mist = channels.find(({ name }) => name === 'mist')!;
    expect(mist.rail).toBe('mist24v');
    expect(mist.movingV).toBeCloseTo(24 - 0.8 * 2 * 0.0333, 2);
  });

  test('an old relay has one rail for all', () => {
    const { rails } = budgetOf(propOf(OLD));
    expect(rails.map(({ name, movingA }) => [name, movingA])).toEqual([
      ['logic5v', 0],
      ['mist24v', 0.8],
    ]);
  });

  test('a coil with volts and ohms', () => {
    const text = PROP({ more: 'coil: { volts: 5, ohm: 70, baseOhm: 1200 }' })
      .replace(', coilA: 0.07', '')
      .replace('pin: 7, activeLow: true', 'pin: 17')
      .replace('J1-26', 'J1-11');
    expect(budgetOf(propOf(text)).rails[0]!.movingA).toBeCloseTo(5 / 70, 9);
  });

  test('a rail that cannot feed the coil, or the contact', () => {
    expectFindings(
      PROP()
        .replace('draw: {', 'draw: »{')
        .replace('onA: 0.8', 'onA: 2.1')
        .replace('20, lengthM', '16, lengthM'),
      [{ wrong: 'mist alone brings rail mist24v to 2.1 A' }],
    );
    expectFindings(PROP().replace('draw: {', 'draw: »{').replace('coilA: 0.07', 'coilA: 1.1'), [
      { wrong: 'mist alone brings rail logic5v to 1.1 A' },
    ]);
  });
});
