import { describe, expect, test } from 'vitest';
import {
  DEAD_ZONE,
  degAt,
  freeKeys,
  gamepadPlace,
  type Led,
  leadsByGamepad,
  ledFrom,
  partnerOf,
  placeAt,
  placeOfAxis,
  placeOfDrag,
  placeOfTilt,
  rangeOf,
  TILT_DEG,
  usualTrim,
  withKeyAt,
  withoutDeadZone,
} from '../../src/gateway/page/cues-perform-map.ts';

describe('the range of a servo', () => {
  test('is what was chosen, within its limits as they are now', () => {
    expect(rangeOf({}, [-5, 35])).toEqual([-5, 35]);
    expect(rangeOf({ fromDeg: 0, toDeg: 20 }, [-5, 35])).toEqual([0, 20]);
    expect(rangeOf({ fromDeg: -50, toDeg: 90 }, [-5, 35])).toEqual([-5, 35]);
    // Typed the wrong way round, it is the same range.
    expect(rangeOf({ fromDeg: 20, toDeg: 0 }, [-5, 35])).toEqual([0, 20]);
  });

  test('from the hand to the angle and back', () => {
    expect([0, 0.25, 1].map((place) => degAt(place, [-20, 20]))).toEqual([-20, -10, 20]);
    expect([0, 0.25, 1].map((place) => degAt(place, [-20, 20], true))).toEqual([20, 10, -20]);
    for (const turned of [false, true])
      expect(placeAt(degAt(0.3, [-20, 20], turned), [-20, 20], turned)).toBeCloseTo(0.3, 3);
    expect(placeAt(50, [-20, 20])).toBe(1);
    expect(placeAt(3, [3, 3])).toBe(0);
  });

  test('no angle is outside by rounding', () => {
    const range = [-5.005, 35.004] as const;
    for (let place = -0.1; place <= 1.1; place += 0.013) {
      const deg = degAt(place, [...range]);
      expect(deg).toBeGreaterThanOrEqual(range[0]);
      expect(deg).toBeLessThanOrEqual(range[1]);
    }
  });

  test('a mirrored pair goes to the mirror image, each in its own range', () => {
    const place = placeAt(15, [0, 20]);
    expect(degAt(place, [-40, 0], true)).toBe(-30);
  });
});

describe('a stick', () => {
  test('in its dead zone is in the middle, and goes on from there without a step', () => {
    for (const reading of [0, 0.05, -DEAD_ZONE, DEAD_ZONE]) expect(placeOfAxis(reading)).toBe(0.5);
    expect(placeOfAxis(DEAD_ZONE + 0.001)).toBeCloseTo(0.5, 2);
    expect(placeOfAxis(1)).toBe(1);
    expect(placeOfAxis(-1)).toBe(0);
    // Some give a little more than 1 in a corner.
    expect(placeOfAxis(1.02)).toBe(1);
    expect(withoutDeadZone(Number.NaN)).toBe(0);
  });

  test('up is high, though a gamepad counts downwards (W3C Gamepad, standard layout)', () => {
    const pad = { axes: [0.5, -1, 0, 1], buttons: [{ value: 0 }, { value: 1 }] };
    expect(gamepadPlace({ channel: 'a', by: 'axis-1' }, pad)).toBe(1);
    expect(gamepadPlace({ channel: 'a', by: 'axis-3' }, pad)).toBe(0);
    expect(gamepadPlace({ channel: 'a', by: 'button-1' }, pad)).toBe(1);
    expect(gamepadPlace({ channel: 'a', by: 'axis-9' }, pad)).toBeUndefined();
    expect(gamepadPlace({ channel: 'a', by: 'slider' }, pad)).toBeUndefined();
    expect(gamepadPlace({ channel: 'a', by: 'with-axis-0' }, pad)).toBeUndefined();
  });
});

test('a phone leads from where the servo stands, by how far it is tilted since', () => {
  expect(placeOfTilt(0.4, 0)).toBe(0.4);
  expect(placeOfTilt(0.5, TILT_DEG)).toBe(1);
  expect(placeOfTilt(0.5, -TILT_DEG / 2)).toBe(0.25);
  expect(placeOfTilt(0.5, 170)).toBe(1);
});

test('a finger leads from where the servo stands: a tap moves nothing', () => {
  expect(placeOfDrag(0.4, 0, 300)).toBe(0.4);
  expect(placeOfDrag(0.4, 30, 300)).toBeCloseTo(0.5, 9);
  expect(placeOfDrag(0.4, -900, 300)).toBe(0);
  expect(placeOfDrag(0.4, 20, 0)).toBe(0.4);
});

test('what a browser has kept is taken as far as it makes sense', () => {
  const kept = [
    { channel: 'beak', by: 'slider', fromDeg: 1, toDeg: 'x', turned: true },
    { channel: 'beak', by: 'pad-up' },
    { channel: 'lid', by: 'with-beak', turned: 'yes' },
    { channel: 'neck', by: 'mind' },
    { channel: 'tail', by: 'keys', keys: ['a', 'd'] },
    { channel: 'wing', by: 'keys', keys: ['Escape', 'd'] },
    { channel: 5, by: 'slider' },
    null,
  ];
  expect(ledFrom(kept)).toEqual([
    { channel: 'beak', by: 'slider', fromDeg: 1, toDeg: undefined, turned: true },
    { channel: 'lid', by: 'with-beak', turned: false },
    { channel: 'tail', by: 'keys', turned: false, keys: ['a', 'd'] },
    { channel: 'wing', by: 'keys', turned: false },
  ]);
  expect(ledFrom('nonsense')).toEqual([]);
  expect(partnerOf({ channel: 'lid', by: 'with-left-lid' })).toBe('left-lid');
  expect(partnerOf({ channel: 'lid', by: 'slider' })).toBeUndefined();
});

describe('what is kept of a recording', () => {
  const recorded = {
    beak: [
      [0, 5],
      [2, 5],
      [2.4, 30],
      [4, 0],
      [9, 0],
    ] as [number, number][],
  };
  test('leaves out the rest at both ends', () => {
    expect(usualTrim({ durationS: 9, recorded })).toEqual([1.8, 4.2]);
  });
  test('begins with the cue that it was performed over', () => {
    expect(usualTrim({ durationS: 9, over: 'glance', recorded })).toEqual([0, 4.2]);
    const sound = { channel: 'voice', sound: 'hoot' };
    expect(usualTrim({ durationS: 9, sound, recorded })).toEqual([0, 4.2]);
  });
  test('is everything where nothing moved', () => {
    const still = {
      beak: [
        [0, 5],
        [3, 5.1],
      ] as [number, number][],
    };
    expect(usualTrim({ durationS: 3, recorded: still })).toEqual([0, 3]);
  });
});

describe('keys in pairs', () => {
  const beak: Led = { channel: 'beak', by: 'keys', keys: ['a', 'd'] };
  const head: Led = { channel: 'head', by: 'keys', keys: ['j', 'l'] };

  test('each servo gets a pair of its own', () => {
    expect(freeKeys([])).toEqual(['a', 'd']);
    const led: Led[] = [];
    for (let i = 0; i < 13; i++) led.push({ channel: `s${i}`, by: 'keys', keys: freeKeys(led) });
    const all = led.flatMap(({ keys }) => keys!);
    expect(new Set(all).size).toBe(26);
    expect(freeKeys(led)).toEqual(['', '']);
  });

  test('a key takes the place of another one; the two of a pair change places', () => {
    expect(withKeyAt([beak, head], beak, 0, 'q')).toEqual(['q', 'd']);
    expect(withKeyAt([beak, head], beak, 1, 'q')).toEqual(['a', 'q']);
    expect(withKeyAt([beak, head], beak, 0, 'd')).toEqual(['d', 'a']);
    expect(withKeyAt([beak, head], beak, 1, 'a')).toEqual(['d', 'a']);
  });

  test('a key leads one servo alone, and must be a letter or a digit', () => {
    expect(withKeyAt([beak, head], beak, 0, 'l')).toBe('Key l leads head already.');
    for (const key of ['', ' ', 'é', 'escape', '?'])
      expect(withKeyAt([beak], beak, 0, key)).toMatch(/letter or a digit/);
  });
});

test('a gamepad is looked at only where it leads something', () => {
  expect(leadsByGamepad({ channel: 'beak', by: 'axis-0' })).toBe(true);
  expect(leadsByGamepad({ channel: 'beak', by: 'button-6' })).toBe(true);
  for (const by of ['slider', 'keys', 'pad-up', 'tilt-roll', 'with-axis'] as const)
    expect(leadsByGamepad({ channel: 'beak', by })).toBe(false);
});
