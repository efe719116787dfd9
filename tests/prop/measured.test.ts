import { describe, expect, test } from 'vitest';
import { measuredInfo, measurementsOf } from '../../src/prop/kinds/measured.ts';
import { parseProp } from '../../src/prop/load.ts';
import { changesBetween } from '../../src/service/changes.ts';
import { measuredOf } from '../../src/shared/measured.ts';
import { OWL, propText } from './helpers.ts';

const flap = (more = '', pin = 18, angle = 45) => `  flap:
    kind: servo
    output: { board: head, pin: ${pin} }
    calibration: [[1000, -45], [2000, ${angle}]]
    park: { to: 0 }
${more}`;
const OF = measuredOf('calibration', {
  output: { board: 'head', pin: 18 },
  calibration: [
    [1000, -45],
    [2000, 45],
  ],
});
const MEASURED = `    measured: { calibration: { date: 2026-11-26, of: ${OF} } }\n`;

function read(channels: string) {
  const { prop, findings, raw } = parseProp(propText(channels.trimStart()), 'a.yaml');
  return { channel: prop?.channels.flap, findings, raw };
}

describe('a calibration', () => {
  test('counts as measured where the file says so of this very one', () => {
    const { channel, findings } = read(flap(MEASURED));
    expect(findings).toEqual([]);
    expect(measuredInfo(channel!)).toEqual({ calibration: '2026-11-26' });
  });

  test('counts as not measured where the file says nothing', () => {
    expect(measuredInfo(read(flap()).channel!)).toEqual({ calibration: null });
  });

  test.each([
    ['a point was changed', flap(MEASURED, 18, 46)],
    ['the servo is on another pin', flap(MEASURED, 19)],
    [
      'a linkage was added',
      flap(
        `${MEASURED}    linkage: { groundMm: 40, hornMm: 20, couplerMm: 40, flapMm: 20, flapZeroDeg: 90 }\n`,
      ),
    ],
  ])('is void where %s, and check says so', (_what, text) => {
    const { channel, findings } = read(text);
    expect(measuredInfo(channel!)).toEqual({ calibration: null });
    expect(measurementsOf(channel!)).toEqual([
      { what: 'calibration', date: '2026-11-26', holds: false },
    ]);
    const about = findings.filter(({ path }) => path === 'channels.flap.measured.calibration');
    expect(about).toMatchObject([
      { severity: 'note', wrong: expect.stringContaining('measured on 2026-11-26') },
    ]);
  });

  test('stays measured with other marks, limits, speeds and park', () => {
    const more = `${MEASURED}    limitsDeg: [-20, 20]\n    marks: { shut: 0 }\n    speedDegS: 20\n`;
    expect(measuredInfo(read(flap(more)).channel!)).toEqual({ calibration: '2026-11-26' });
  });
});

test.each([
  ['date: yesterday, of: m00000000', /is not a date/],
  ['date: 26.11.2026, of: m00000000', /is not a date/],
  ['date: 2026-11-26, of: looks right', /is not what the bench page writes/],
  ['date: 2026-11-26', /of/],
  ['date: 2026-11-26, of: m00000000, by: me', /./],
])('nobody writes it by hand: %s', (text, wrong) => {
  const { findings } = read(flap(`    measured: { calibration: { ${text} } }\n`));
  expect(findings.map((one) => `${one.severity} ${one.path} ${one.wrong}`).join('\n')).toMatch(
    wrong,
  );
  expect(findings[0]).toMatchObject({ severity: 'error' });
});

test('a servo has no white balance that could be measured', () => {
  const { findings } = read(flap(`    measured: { white: { date: 2026-11-26, of: ${OF} } }\n`));
  expect(findings[0]).toMatchObject({ severity: 'error', path: 'channels.flap.measured.white' });
});

test('what else can be measured depends on the kind, and on what the file has', () => {
  const { prop } = parseProp(
    propText(`mist: { kind: relay, output: { board: head, pin: 7 } }
  eye: { kind: rgb, output: { board: head, pins: [5, 6, 13] } }
  led: { kind: lamp, output: { board: head, pin: 12 }, led: { currentA: 0.02, forwardV: 2, resistorOhm: 150 } }
  bulb: { kind: lamp, output: { board: head, pin: 16 } }
`),
    'a.yaml',
  );
  const all = Object.entries(prop!.channels).map(([name, one]) => [name, measuredInfo(one)]);
  expect(Object.fromEntries(all)).toEqual({
    mist: { contact: null },
    eye: { colours: null, white: null },
    led: { resistors: null },
    bulb: {},
  });
});

test('the demo claims nothing that nobody measured', () => {
  const { prop } = parseProp(OWL, 'owl.yaml');
  const dates = Object.values(prop!.channels).flatMap((one) => Object.values(measuredInfo(one)));
  expect(dates.length).toBeGreaterThan(10);
  expect(new Set(dates)).toEqual(new Set([null]));
});

test('a note of a measurement takes effect at once; a calibration waits, and its note with it', () => {
  const bare = read(flap()).raw;
  expect(changesBetween(bare, read(flap(MEASURED)).raw).whenParked).toBe(false);
  expect(changesBetween(bare, read(flap(MEASURED, 18, 46)).raw).whenParked).toBe(true);
});
