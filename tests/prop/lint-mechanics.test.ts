import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { mechanicsOf } from '../../src/prop/mechanics.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

const linkage = (over: Record<string, string | number> = {}) => {
  const all = { groundMm: 62, hornMm: 24, couplerMm: 60, flapMm: 26, flapZeroDeg: 60, ...over };
  return `{ ${Object.entries(all)
    .map(([key, value]) => `${key}: ${value}`)
    .join(', ')} }`;
};
const lid = (more: Record<string, string> = {}) =>
  servo(4, {
    calibration: '[[1000, -50], [2000, 50]]',
    envelopeUs: '[1080, 1920]',
    limitsDeg: '[0, 70]',
    linkage: linkage(),
    ...more,
  });

describe('linkage', () => {
  test('a sound one has no findings', () => {
    expectFindings(propText(`lid: ${lid()}`), []);
  });

  test.each([0, -24])('a length of %d mm', (hornMm) => {
    expectFindings(propText(`lid: ${lid({ linkage: linkage({ hornMm: `»${hornMm}` }) })}`), [
      { wrong: 'is below 0.1 mm', right: 'millimetres' },
    ]);
  });

  test.each([1e200, 1e-200])('a length of %d mm', (flapMm) => {
    expectFindings(propText(`lid: ${lid({ linkage: linkage({ flapMm: `»${flapMm}` }) })}`), [
      { wrong: /above 10 m|below 0.1 mm/, right: 'give millimetres' },
    ]);
  });

  test('one that cannot close, and no other finding for it', () => {
    expectFindings(propText(`lid: ${lid({ linkage: `»${linkage({ groundMm: 112 })}` })}`), [
      {
        path: 'channels.lid.linkage',
        wrong: 'links of 112, 24, 60 and 26 mm cannot close: the longest must be shorter',
        right: 'measure the four lengths again',
      },
    ]);
  });

  test('one that does not close where the horn is', () => {
    expectFindings(propText(`lid: ${lid({ linkage: `»${linkage({ groundMm: 95 })}` })}`), [
      {
        path: 'channels.lid.linkage',
        wrong:
          /does not close with the horn at its middle position, 0 deg, .* it closes from 0 to \d+/,
        right: 'hornZeroDeg',
      },
    ]);
  });

  // For these lengths the horn is in line with the rod at -79 deg of the horn, and rod and flap arm
  // are in line at 90 deg: the triangles of the distances between the pins.
  test('a pulse that would turn it through a toggle position: the remedy is allowed', () => {
    const wide = { calibration: '[[600, -90], [2400, 90]]', limitsDeg: '[0, 70]' };
    expectFindings(propText(`lid: ${lid({ ...wide, envelopeUs: '[»650, »2450]' })}`), [
      {
        path: 'channels.lid.envelopeUs[0]',
        wrong: 'turns the horn to -85 deg, and horn and rod are in line at -79 deg',
        right: /set envelopeUs within 721 to 2389 us/,
      },
      { wrong: 'rod and flap arm are in line at 90 deg' },
    ]);
    expectFindings(propText(`lid: ${lid({ ...wide, envelopeUs: '[721, 2389]' })}`), []);
    const { envelopeUs: _, ...open } = { ...wide, envelopeUs: '' };
    const text = propText(`lid: ${lid(open).replace(/envelopeUs: [^\]]*\], /, '')}`);
    const { findings } = parseProp(text, 'test.yaml');
    expect(findings.map(({ path }) => path)).toEqual([
      'channels.lid.calibration',
      'channels.lid.calibration',
    ]);
  });

  test('limits that the linkage cannot reach, or only with a pulse outside the envelope', () => {
    expectFindings(propText(`lid: ${lid({ limitsDeg: '[0, »140]' })}`), [
      {
        wrong: '140 deg is out of reach of the linkage',
        right: /stay within -2\.36 to 74\.01 deg/,
      },
    ]);
    expectFindings(propText(`lid: ${lid({ limitsDeg: '[0, »75]' })}`), [
      {
        wrong: /75 deg is a pulse of 19\d\d.* us, outside the envelope/,
        right: '-2.36 to 74.01 deg',
      },
    ]);
    expectFindings(propText(`lid: ${lid({ limitsDeg: '[-2.36, 74.01]' })}`), []);
  });

  test('marks and park are held to the limits in degrees of the flap', () => {
    expectFindings(propText(`lid: ${lid({ marks: '{ open: »72 }', park: '{ to: »-3 }' })}`), [
      { wrong: '-3 deg is outside the soft limits' },
      { wrong: '72 deg is outside the soft limits' },
    ]);
  });

  test.each([0, 180, -180, 0.5])('a horn in line with the hinge, at %d deg', (hornZeroDeg) => {
    const bar = { hornZeroDeg: `»${hornZeroDeg}`, couplerMm: 64, flapZeroDeg: 90, hornMm: 20 };
    const more = { limitsDeg: '[-5, 5]', envelopeUs: '[1300, 1700]' };
    const { findings } = parseProp(
      propText(`lid: ${lid({ ...more, linkage: linkage(bar).replace('»', '') })}`),
      'test.yaml',
    );
    const found = findings.find(({ path }) => path === 'channels.lid.linkage.hornZeroDeg')!;
    expect(found.severity).toBe('warning');
    expect(found.wrong).toMatch(/lies in line with the hinge, .* as with the horn just above it/);
  });

  test('a horn below the line, which is the mirror image of one above it', () => {
    const below = {
      calibration: '[[1000, 50], [2000, -50]]',
      limitsDeg: '[-70, 0]',
      linkage: linkage({ hornZeroDeg: -90, flapZeroDeg: -60 }),
    };
    expectFindings(propText(`lid: ${lid(below)}`), []);
    const wrong = {
      ...below,
      linkage: linkage({ hornZeroDeg: -90, flapZeroDeg: -60, crossed: 'true' }),
    };
    expectFindings(propText(`lid: ${lid({ ...wrong, limitsDeg: '[»-70, 0]' })}`), [
      { wrong: 'out of reach of the linkage', right: 'look at crossed' },
    ]);
  });

  test('a transmission angle below 40 deg', () => {
    const more = { calibration: '[[600, -90], [2400, 90]]', envelopeUs: '[730, 2300]' };
    const text = (high: number) =>
      propText(`lid: ${lid({ ...more, limitsDeg: `[0, ${high}]`, linkage: `»${linkage()}` })}`);
    expectFindings(text(86), [
      {
        severity: 'warning',
        path: 'channels.lid.linkage',
        wrong: /with the flap at 86 deg the rod meets its arm at 3\d\.?\d? deg: below 40 deg/,
        right: 'limitsDeg',
      },
    ]);
    expectFindings(text(70).replace('»', ''), []);
  });

  test('a horn that would have to turn faster than it can: the remedy is allowed', () => {
    const text = (speed: string) =>
      propText(`lid: ${lid({ speedDegS: speed, linkage: linkage({ hornSpeedDegS: 300 }) })}`);
    expectFindings(text('»250'), [
      {
        severity: 'warning',
        path: 'channels.lid.speedDegS',
        wrong: /need 307 deg\/s from the horn, which turns 300 deg\/s at most/,
        right: 'set speedDegS to 244.3 or less',
      },
    ]);
    expectFindings(text('244.3'), []);
  });

  test('other findings of a servo with a broken part beside its linkage', () => {
    expectFindings(propText(`lid: ${lid({ envelopeUs: '[»50, 1920]' })}`), [{ wrong: /50|too/ }]);
  });
});

describe('torque', () => {
  // A tenth of a kilogram at a metre: 0.981 N m. It can fall by 6 deg, which is not worth a finding.
  const flap = '{ flap: { massKg: 0.1, centreMm: 1000, levelDeg: 0, inertiaKgM2: 1.0e-9 } }';
  const text = (stallNm: number, load = flap) =>
    propText(`wing: ${servo(4, { stallNm: `»${stallNm}`, load, limitsDeg: '[-3, 3]' })}`);

  test('less than twice what it takes is a warning, less than that an error', () => {
    expectFindings(text(1.5), [
      {
        severity: 'warning',
        path: 'channels.wing.stallNm',
        wrong:
          /at 0 deg it has to give 0\.98 N m \(10 kgf cm\), and 1\.5 N m \(15 kgf cm\) stall it: 1\.5 times/,
        right: /2 N m \(20 kgf cm\) or more/,
      },
    ]);
    expectFindings(text(0.97), [
      {
        wrong:
          /at 0 deg it has to give 0\.98 N m .*, more than the 0\.97 N m \(9\.9 kgf cm\) at which it stalls/,
      },
    ]);
    expectFindings(text(2).replace('»', ''), []);
  });

  test('a spring helps', () => {
    const sprung = flap.replace('massKg', 'spring: { torqueNm: 0.5 }, massKg');
    expectFindings(text(1, sprung).replace('»', ''), []);
  });

  // 0.5 kg at 200 mm: 0.98 N m where level, which is 10 kgf cm; it falls 0.2 m times the sine.
  const lidLoad = 'massKg: 0.5, centreMm: 200, levelDeg: 0';
  const lidText = (load: string, then: string, at: number, more = '') =>
    propText(
      `lid: ${servo(4, {
        limitsDeg: '[0, 40]',
        marks: `{ shut: 0, open: ${at} }`,
        park: `{ to: open, then: ${then} }`,
        stallNm: '2.5',
        load: `{ flap: { ${load} } }`,
        accelDegS2: '60',
      })}${more}`,
    );
  const found = (text: string) =>
    parseProp(text, 'test.yaml').findings.filter(({ path }) => path.startsWith('channels.lid'));

  test('a lid that drops is told, with its torque, its way and a remedy', () => {
    const [atPark, atStop] = found(lidText(lidLoad, 'release', 40));
    expect(atPark).toMatchObject({ severity: 'warning', path: 'channels.lid.park.then' });
    expect(atPark!.wrong).toMatch(
      /let go at 40 deg it falls to its limit, 0 deg, toward shut, where it can pinch, with up to 0\.98 N m \(10 kgf cm\)/,
    );
    expect(atPark!.right).toContain('then: hold');
    expect(atStop).toMatchObject({ severity: 'warning', path: 'channels.lid.load' });
    expect(atStop!.wrong).toMatch(/category 0 or 1, or when the power fails/);
    expect(atStop!.right).toContain('spring or a counterweight');
    const held = found(lidText(lidLoad, 'hold', 40)).map(({ path }) => path);
    expect(held).toEqual(['channels.lid.load']);
  });

  test('what is balanced, what lies on its stop and what is light is not told', () => {
    const spring = 'spring: { torqueNm: 0.8 }';
    expect(found(lidText(`${lidLoad}, ${spring}`, 'release', 40))).toEqual([]);
    expect(found(lidText(lidLoad, 'release', 0)).map(({ path }) => path)).toEqual([
      'channels.lid.load',
    ]);
    expect(found(lidText('massKg: 0.05, centreMm: 60, levelDeg: 0', 'release', 40))).toEqual([]);
  });

  test('an upright door asks for its inertia', () => {
    const [asked, ...more] = found(lidText('massKg: 5, centreMm: 0', 'release', 40));
    expect(more).toEqual([]);
    expect(asked).toMatchObject({ severity: 'warning', path: 'channels.lid.load.flap' });
    expect(asked!.right).toContain('inertiaKgM2');
    expect(found(lidText('massKg: 5, centreMm: 0, inertiaKgM2: 0.27', 'release', 40))).toEqual([]);
    const { prop } = parseProp(
      lidText('massKg: 5, centreMm: 0, inertiaKgM2: 0.27', 'release', 40),
      'test.yaml',
    );
    // 60 deg/s2 of 0.27 kg m2.
    expect(mechanicsOf(prop!).get('lid')!.worst!.torqueNm).toBeCloseTo((0.27 * Math.PI) / 3, 6);
  });

  test('through a linkage: a long flap arm makes a weak servo do', () => {
    const load = '{ flap: { massKg: 1, centreMm: 100, levelDeg: 30, inertiaKgM2: 1.0e-9 } }';
    const direct = parseProp(propText(`a: ${servo(4, { load })}`), 'test.yaml').prop!;
    const linked = parseProp(propText(`a: ${lid({ load })}`), 'test.yaml').prop!;
    const of = (prop: typeof direct) => mechanicsOf(prop).get('a')!;
    expect(of(direct).worst!.torqueNm).toBeCloseTo(0.980665, 3);
    const { worst, linkage: figures } = of(linked);
    const least = 0.980665 / figures!.advantage[1];
    const most = 0.980665 / figures!.advantage[0];
    expect(worst!.torqueNm).toBeGreaterThan(least);
    expect(worst!.torqueNm).toBeLessThan(most);
  });

  test('bad values', () => {
    expectFindings(text(-1), [{ wrong: 'is not above 0', right: 'newton metres' }]);
    expectFindings(propText(`a: ${servo(4, { load: '»{}' })}`), [
      { wrong: 'needs one of flap and arm' },
    ]);
    expectFindings(
      propText(`a: ${servo(4, { load: '{ flap: { massKg: »-1, centreMm: 10 } }' })}`),
      [{ wrong: 'is not above 0', right: 'kilograms' }],
    );
  });
});

describe('arms', () => {
  const joint = (pin: number, arm: string, more: Record<string, string> = {}) =>
    servo(pin, { load: `{ arm: { massKg: 0.1, centreMm: 50, ${arm} } }`, ...more });

  test('a sound chain', () => {
    expectFindings(
      propText(
        `a: ${joint(4, 'lengthMm: 100, carries: b, levelDeg: 0')}\n  b: ${joint(5, 'straightDeg: 10')}`,
      ),
      [],
    );
  });

  test.each([
    [
      'a length that is missing',
      'lengthMm',
      `a: ${servo(4, { load: '{ arm: »{ massKg: 0.1, centreMm: 50, carries: b } }' })}\n  b: ${joint(5, 'massKg: 0.1').replace(', massKg: 0.1 }', ' }')}`,
    ],
    ['a channel that is not there', 'no channel c', `a: ${joint(4, 'lengthMm: 100, carries: »c')}`],
    [
      'one that is not a segment',
      'b is not a segment of an arm',
      `a: ${joint(4, 'lengthMm: 100, carries: »b')}\n  b: ${servo(5)}`,
    ],
    [
      'one that is carried twice',
      'b is carried by a already',
      `a: ${joint(4, 'lengthMm: 9, carries: b')}\n  b: ${joint(5, 'lengthMm: 9')}\n  c: ${joint(6, 'lengthMm: 9, carries: »b')}`,
    ],
    [
      'a ring',
      'a carries itself',
      `a: ${joint(4, 'lengthMm: 9, carries: »b')}\n  b: ${joint(5, 'lengthMm: 9, carries: a')}`,
    ],
  ])('%s', (_, wrong, channels) => {
    expectFindings(propText(channels), [
      { wrong: new RegExp(wrong === 'lengthMm' ? 'length is not given' : wrong) },
    ]);
  });

  test('angles that have no effect', () => {
    expectFindings(
      propText(
        `a: ${joint(4, 'lengthMm: 100, carries: b, straightDeg: »0')}\n  b: ${joint(5, 'levelDeg: »10')}`,
      ),
      [
        { severity: 'warning', wrong: 'no segment carries a', right: 'levelDeg' },
        { severity: 'warning', wrong: 'a carries b', right: 'straightDeg' },
      ],
    );
  });

  test('a shoulder that is too weak for what its hand holds', () => {
    const chain = (stallNm: number) =>
      propText(
        `a: ${joint(4, 'lengthMm: 100, carries: b, levelDeg: 0', { stallNm: `»${stallNm}`, accelDegS2: '12' })}\n  b: ${joint(5, 'straightDeg: 0')}`,
        'stop: { deadlineS: 9 }',
      );
    // Both level: 0.1 kg at 50 mm and 0.1 kg at 150 mm are 0.196 N m.
    expectFindings(chain(0.19), [
      { wrong: /has to give 0\.2 N m \(2 kgf cm\), more than the 0\.19 N m \(1\.9 kgf cm\)/ },
    ]);
    expectFindings(chain(0.205), [{ severity: 'warning', wrong: '1 times' }]);
    expectFindings(chain(0.41).replace('»', ''), []);
  });

  // What was worked out for an arm is kept: it must not be taken for another arm's.
  test.each([
    ['massKg: 0.12', 'massKg: 0.3', ['shoulder', 'elbow']],
    ['centreMm: 70', 'centreMm: 110', ['shoulder', 'elbow']],
    ['lengthMm: 180', 'lengthMm: 280', ['shoulder', 'elbow', 'wrist']],
    ['levelDeg: 90', 'levelDeg: 0', ['shoulder', 'elbow', 'wrist']],
  ])('%s, written as %s, changes what %j have to give', (was, is, joints) => {
    const hand = readFileSync('config/apple-hand.yaml', 'utf8');
    const torques = (text: string) =>
      [...mechanicsOf(parseProp(text, 'f').prop!)].map(
        ([name, { worst }]) => [name, worst?.torqueNm] as const,
      );
    const before = torques(hand);
    const after = new Map(torques(hand.replace(was, is)));
    expect(hand).toContain(was);
    expect(before.flatMap(([name, nm]) => (after.get(name) === nm ? [] : [name])).sort()).toEqual(
      [...joints].sort(),
    );
    expect(torques(hand)).toEqual(before);
  });
});

describe('vapour', () => {
  const mist = (vapour: string, more: Record<string, string> = {}) =>
    `mist: ${relay(17, { vapour, ...more })}`;

  test('bad values', () => {
    expectFindings(propText(mist('{ tankMl: »0, rateMlPerH: »-3 }')), [
      { wrong: 'is not above 0', right: 'millilitres' },
      { wrong: 'is not above 0', right: 'ml/h' },
    ]);
  });

  test('a tank that one stretch of duty empties', () => {
    // 1 ml at 360 ml/h: 10 s.
    expectFindings(
      propText(mist('{ tankMl: 1, rateMlPerH: 360 }', { duty: '{ maxOnS: »20, restS: 10 }' })),
      [{ severity: 'warning', wrong: 'dry after 10 s', right: 'set maxOnS below 10' }],
    );
  });

  const cues = (times: string, mark = '»') => `cues:
  puff:
    - { at: 0, switch: { mist: on }, forS: 4 }
    - { at: 6, switch: { mist: on } }
    - { at: 8, switch: { mist: off } }
  fog: ${mark}[{ at: 0, cue: puff, times: ${times} }]
`;

  test('a cue that takes more than the tank holds', () => {
    // 6 s a run at 360 ml/h: 0.6 ml each.
    const text = (times: string, mark?: string) =>
      propText(mist('{ tankMl: 5, rateMlPerH: 360 }'), cues(times, mark));
    expectFindings(text('9'), [
      {
        severity: 'warning',
        path: 'cues.fog',
        wrong: 'it takes 5.4 ml of water from mist, and its tank holds 5 ml',
      },
    ]);
    expectFindings(text('8', ''), []);
  });

  test('one that goes on until it is stopped is told how long the tank lasts', () => {
    const text = propText(
      mist('{ tankMl: 5, rateMlPerH: 10 }', { duty: '{ maxOnS: 20, restS: 40 }' }),
      cues('until stopped'),
    );
    // Half an hour of vapour, 20 s of it in each minute: 90 min less the last rest.
    expectFindings(text, [{ severity: 'note', wrong: 'the tank of mist lasts 89 min at most' }]);
  });
});
