import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { mechanicsOf } from '../../src/prop/mechanics.ts';
import { schemas } from '../../src/prop/schema.ts';
import { ViewMaker } from '../../src/service/view.ts';
import { expectFindings, propText, servo } from './helpers.ts';

// The mark » stands before the place of the finding.

const BOARDS = 'head: { driver: sim }\n  meter: { driver: sim }';
const DRAW = '{ idleA: 0, movingA: 0.3, stallA: 1 }';
/** 0.5 N m at 50 mm: 10 N. */
const text = (more: Record<string, string>, senses = '') =>
  propText(
    `a: ${servo(4, { draw: DRAW, limitsDeg: '[0, 40]', ...more })}`,
    senses && `senses:\n  x: { kind: current, board: meter, channel: a, ${senses} }`,
    BOARDS,
  );
const edgeOf = (source: string) =>
  mechanicsOf(schemas().propFile.parse(parse(source.replace('»', '')))).get('a')?.edge;

describe('the force at the edge', () => {
  test('follows from torque and arm', () => {
    const edge = edgeOf(text({ stallNm: '0.5', edge: '{ armMm: 50 }' }))!;
    expect(edge.stallN).toBeCloseTo(10, 9);
    expect(edge.push).toBeUndefined();
  });

  test('kgf cm as data sheets have them', () => {
    // 5.1 kgf cm at 5.1 cm is 1 kgf.
    expect(edgeOf(text({ stallKgfCm: '5.1', edge: '{ armMm: 51 }' }))!.stallN).toBeCloseTo(
      9.80665,
      9,
    );
  });

  test('the weight of the flap presses as well', () => {
    // 0.1 kg at 50 mm, level: 0.1 x 9.80665 N on the same arm.
    const load = '{ flap: { massKg: 0.1, centreMm: 50 } }';
    expect(edgeOf(text({ stallNm: '0.5', load, edge: '{ armMm: 50 }' }))!.stallN).toBeCloseTo(
      10.980665,
      6,
    );
  });

  test('a linkage multiplies the torque: the worst angle within the limits counts', () => {
    const linkage = '{ groundMm: 62, hornMm: 24, couplerMm: 60, flapMm: 26, flapZeroDeg: 60 }';
    const more = {
      ...{ calibration: '[[1000, -50], [2000, 50]]', envelopeUs: '[1080, 1920]', linkage },
      ...{ limitsDeg: '[0, 70]', stallNm: '0.5', edge: '{ armMm: 50 }' },
    };
    const source = text(more);
    const { linkage: figures, edge } = mechanicsOf(schemas().propFile.parse(parse(source))).get(
      'a',
    )!;
    expect(edge!.stallN / 10).toBeCloseTo(figures!.advantage[1], 2);
  });

  test('a push that is noticed, by the share of the stall current', () => {
    const edge = edgeOf(text({ stallNm: '0.5', edge: '{ armMm: 50 }' }, 'pushAboveA: 0.6'))!;
    expect(edge.push!.newtons).toBeCloseTo(6, 9);
    expect(edge.push!.afterS).toBe(0.3);
    // What is above the stall current is never noticed.
    expect(
      edgeOf(text({ stallNm: '0.5', edge: '{ armMm: 50 }' }, 'pushAboveA: 1.2'))!.push,
    ).toBeUndefined();
    // A free-running current that is not measured does not count.
    const over = text(
      { stallNm: '0.5', edge: '{ armMm: 50 }', freeRunning: '{ risingA: 0.3, fallingA: 0.3 }' },
      'pushOverA: 0.2',
    );
    expect(edgeOf(over)!.push).toBeUndefined();
  });

  test('check compares it with the limit of the maker', () => {
    const severity = 'warning' as const;
    const given = (limitN: string) => ({
      stallNm: '0.5',
      edge: `{ armMm: 50, limitN: ${limitN} }`,
    });
    expectFindings(text(given('10')), []);
    expectFindings(text({ stallNm: '0.5', edge: '{ armMm: 50 }' }), []);
    expectFindings(text(given('»9')), [
      { wrong: /press with 10 N, more than the 9 N .*for as long as.*no claim/, severity },
    ]);
    expectFindings(text(given('»5'), 'pushAboveA: 0.6'), [
      { wrong: /pushing only from 6 N on/, severity },
    ]);
    expectFindings(text(given('»9'), 'pushAboveA: 0.6'), [
      { wrong: /until it backs off: from 6 N on .* after 0.3 s/, severity: 'note' },
    ]);
    expectFindings(text({ edge: '»{ armMm: 50, limitN: 9 }' }), [
      { wrong: 'not known without the stall torque', severity },
    ]);
    expectFindings(text({ stallNm: '0.5', edge: '{ armMm: »0 }' }), [{ wrong: 'below 0.1 mm' }]);
  });

  test('clients are told of it', () => {
    const prop = schemas().propFile.parse(
      parse(text({ stallNm: '0.5', edge: '{ armMm: 50, limitN: 20 }' }, 'pushAboveA: 0.6')),
    );
    const { info } = new ViewMaker().view(prop, '');
    expect(info.a!.edge).toEqual({
      ...{ armMm: 50, limitN: 20, stallN: 10, atDeg: 0, pushN: 6, pushS: 0.3 },
    });
  });
});
