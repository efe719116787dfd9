import { describe, expect, it } from 'vitest';
import {
  calibrationPoint,
  fresh,
  load,
  outcomeOf,
  type Reading,
  save,
  servoEdits,
} from '../../src/gateway/page/measure-points.ts';
import { phoneAngle, tiltMissing } from '../../src/gateway/page/tilt-source.ts';
import { measuredInfo } from '../../src/prop/kinds/measured.ts';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { ServoMapping } from '../../src/sums/servo-mapping.ts';
import { channelInfos } from './channel-infos.ts';
import { storage } from './storage.ts';

const TEXT = `sinew: 1
name: Test
boards: { head: { driver: sim } }
channels:
  flap: # the maker's own words
    kind: servo
    output: { board: head, pin: 18 }
    calibration: [[500, -90], [2500, 90]] # common values
    marks: { shut: 0, open: 30 }
    park: { to: shut }
`;

const infoOf = (text: string) => channelInfos(text).flap!;

const reading = (points: Reading['points'], more: Partial<Reading> = {}): Reading => ({
  ...fresh(),
  points,
  ...more,
});

/** The file after the edits, read again by the daemon's own rules. */
function rewritten(text: string, points: Reading['points'], keepPlaces: boolean) {
  const info = infoOf(text);
  const outcome = outcomeOf(reading(points), info);
  const edits = servoEdits('flap', info, outcome, keepPlaces, '2026-11-26');
  const { prop, text: written, findings } = editProp(parseProp(text, 'a.yaml'), edits);
  const flap = prop?.channels.flap;
  if (flap?.kind !== 'servo') throw new Error(JSON.stringify(findings));
  return { flap, written, mapping: new ServoMapping(flap), outcome };
}

describe('what is written', () => {
  const POINTS: Reading['points'] = [
    [1000, -40],
    [2000, 42.5],
  ];

  it('is the calibration, dated, and counts as measured', () => {
    const { flap, written } = rewritten(TEXT, POINTS, true);
    expect(flap.calibration).toEqual(POINTS);
    expect(measuredInfo(flap)).toEqual({ calibration: '2026-11-26' });
    expect(written).toContain("the maker's own words");
  });

  it.each([
    ['the same way round', POINTS],
    [
      'a servo that really turns the other way',
      [
        [1000, 40],
        [2000, -42.5],
      ] as Reading['points'],
    ],
  ])('keeps every place: %s', (_name, points) => {
    const before = new ServoMapping({
      calibration: [
        [500, -90],
        [2500, 90],
      ],
    });
    const { flap, mapping } = rewritten(TEXT, points, true);
    for (const [mark, deg] of Object.entries({ shut: 0, open: 30 }))
      expect(mapping.toPulseUs(flap.marks![mark]!)).toBeCloseTo(before.toPulseUs(deg), 0);
    // The envelope does not shrink to the two points, and neither do the limits.
    expect(flap.envelopeUs).toEqual([500, 2500]);
    const pulses = flap.limitsDeg!.map((deg) => mapping.toPulseUs(deg)).sort((a, b) => a - b);
    expect(pulses[0]).toBeGreaterThanOrEqual(500);
    expect(pulses[0]).toBeLessThan(501);
    expect(pulses[1]).toBeLessThanOrEqual(2500);
    expect(pulses[1]).toBeGreaterThan(2499);
    expect(flap.limitsDeg![0]).toBeLessThan(flap.limitsDeg![1]);
  });

  it('keeps the numbers where that is wanted, limits by default included', () => {
    const narrow = TEXT.replace('marks:', 'limitsDeg: [-30, 40]\n    marks:');
    const { flap } = rewritten(narrow, POINTS, false);
    expect(flap.limitsDeg).toEqual([-30, 40]);
    expect(flap.marks).toEqual({ shut: 0, open: 30 });
  });

  it('says which numbers would leave the envelope if they stayed', () => {
    // 90 deg by default, and the servo really turns only 82.5 deg for 1000 us.
    const { outside } = outcomeOf(reading(POINTS), infoOf(TEXT));
    expect(outside).toEqual(['low limit', 'high limit']);
  });

  it('converts a park position that is a number, and leaves one that is a mark', () => {
    expect(rewritten(TEXT, POINTS, true).flap.park.to).toBe('shut');
    const parked = rewritten(TEXT.replace('to: shut', 'to: -20'), POINTS, true);
    const wasUs = 1500 - (20 * 1000) / 90;
    expect(parked.mapping.toPulseUs(parked.flap.park.to as number)).toBeCloseTo(wasUs, 0);
  });
});

it('with a linkage, an angle of the flap becomes that of the horn', () => {
  const text = TEXT.replace(
    'marks:',
    'envelopeUs: [1200, 1800]\n    linkage: { groundMm: 40, hornMm: 15, couplerMm: 40, flapMm: 30 }\n    marks:',
  )
    .replace('open: 30', 'open: 3')
    .replace('park:', 'limitsDeg: [-5, 5]\n    park:');
  const info = infoOf(text);
  const mapping = new ServoMapping({ ...info, calibration: info.calibration! });
  for (const us of [1300, 1700]) {
    const [pulse, hornDeg] = calibrationPoint([us, mapping.toDeg(us)], info, 'flap');
    expect(pulse).toBe(us);
    expect(hornDeg).toBeCloseTo(mapping.calibration.toDeg(us), 6);
    expect(calibrationPoint([us, 12], info, 'horn')).toEqual([us, 12]);
  }
});

describe('what is kept in the browser', () => {
  const info = infoOf(TEXT);
  it('comes back, and is gone with its last point', () => {
    const shelf = storage();
    const read = reading([[1000, -40]]);
    save(shelf, 'Test', 'flap', info, read);
    expect(load(shelf, 'Test', 'flap', info)).toEqual(read);
    expect(load(shelf, 'Other', 'flap', info)).toBeUndefined();
    save(shelf, 'Test', 'flap', info, fresh());
    expect(shelf.kept.size).toBe(0);
  });
  it('is not taken for a servo on another pin', () => {
    const shelf = storage();
    save(shelf, 'Test', 'flap', info, reading([[1000, -40]]));
    const moved = { ...info, output: { board: 'head', pin: 19 } };
    expect(load(shelf, 'Test', 'flap', moved)).toBeUndefined();
  });
  it.each(['', '{', '[]', '{"points":[[1,"2"]]}', '{"points":[[1,2]],"of":"tail"}', 'null'])(
    'is left alone where it cannot be read: %s',
    (text) => {
      const shelf = storage();
      save(shelf, 'Test', 'flap', info, reading([[1000, -40]]));
      shelf.setItem([...shelf.kept.keys()][0]!, text);
      expect(load(shelf, 'Test', 'flap', info)).toBeUndefined();
    },
  );
});

describe("the phone's tilt", () => {
  it('is not there over plain http, and says so', () => {
    expect(tiltMissing({ isSecureContext: false })).toMatch(/plain http.*type it/);
    expect(tiltMissing({ isSecureContext: true })).toMatch(/does not give the tilt/);
    expect(tiltMissing({ isSecureContext: true, DeviceOrientationEvent: {} })).toBeUndefined();
  });
  const still = (beta: number, gamma = 0) => [0, 1, 2].map((atMs) => ({ beta, gamma, atMs }));
  const asked = { along: 'short edge', zeroDeg: 10, turned: false } as const;
  it('counts from the zero that was set, one way or the other', () => {
    expect(phoneAngle(still(40), asked).deg).toBeCloseTo(30, 9);
    expect(phoneAngle(still(40), { ...asked, turned: true }).deg).toBeCloseTo(-30, 9);
    // Across half a turn it goes the short way.
    expect(phoneAngle(still(-175), { ...asked, zeroDeg: 175 }).deg).toBeCloseTo(10, 9);
  });
  it('is not taken while it shakes, before it comes, or about an upright hinge', () => {
    expect(phoneAngle([], asked).problem).toMatch(/no reading/);
    const shaking = [...still(40), { beta: 43, gamma: 0, atMs: 3 }];
    expect(phoneAngle(shaking, asked).problem).toMatch(/not still/);
    expect(phoneAngle(still(0), { ...asked, along: 'screen' }).problem).toMatch(/too steep/);
  });
});
