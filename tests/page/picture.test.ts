import { describe, expect, test } from 'vitest';
import type { ChannelInfo, ChannelState } from '../../src/api/types.ts';
import { shownOf } from '../../src/gateway/page/picture-mark.ts';
import { nameFor } from '../../src/gateway/page/picture-name.ts';
import { movedBy, placeEdits, within } from '../../src/gateway/page/picture-places.ts';
import { PICTURE_NAME } from '../../src/prop/picture/name.ts';

const info = (kind: ChannelInfo['kind']) =>
  ({ kind, groups: [], park: { to: 0 } }) as unknown as ChannelInfo;
const state = (value: ChannelState['value'], ...flags: string[]) =>
  ({ value, target: value, flags, amps: 0 }) as ChannelState;

describe('a mark', () => {
  test.each([
    ['servo', state(10), false, 'is-servo', '', 'stands still'],
    ['servo', state(10, 'moving'), false, 'is-servo is-moving', '', 'moves'],
    ['servo', state(10, 'released'), false, 'is-servo is-limp', '', 'limp'],
    ['servo', state(null), false, 'is-servo is-lost', '?', 'unknown'],
    ['servo', state(10, 'released', 'unknown'), false, 'is-servo is-lost', '?', 'unknown'],
    ['servo', state(10), true, 'is-servo is-refused', '!', 'refused'],
    ['servo', state(1, 'interlocked'), false, 'is-servo is-refused', '!', 'refused'],
    ['relay', state(false), false, 'is-relay', '', 'off'],
    ['relay', state(true), false, 'is-relay is-on', 'on', 'on'],
    ['relay', state(true, 'resting'), true, 'is-relay is-on is-refused', '!', 'refused, on'],
    ['relay', state(true, 'unknown'), false, 'is-relay is-lost', '?', 'unknown'],
    ['rgb', state('#000000'), false, 'is-rgb', '', 'dark'],
    ['rgb', state('#ff8800'), false, 'is-rgb is-lit', '', 'lit'],
    ['rgb', state('#ff8800', 'moving'), false, 'is-rgb is-moving is-lit', '', 'fades, lit'],
    ['lamp', state(0), false, 'is-lamp', '', 'dark'],
    ['lamp', state(0.5), false, 'is-lamp is-lit', '', 'lit'],
  ] as const)('of a %s in %j', (kind, now, refused, look, sign, words) => {
    expect(shownOf(info(kind), now, refused)).toMatchObject({ look, sign, words });
  });

  test('has the colour of its light, and none when that is dark or unknown', () => {
    expect(shownOf(info('rgb'), state('#ff8800'), false).light).toBe('#ff8800');
    expect(shownOf(info('rgb'), state('#000000'), false).light).toBeUndefined();
    expect(shownOf(info('rgb'), state('#ff8800', 'unknown'), false).light).toBeUndefined();
    const of = (value: number) => shownOf(info('lamp'), state(value), false).light;
    expect(of(0.52)).toBe(of(0.48));
    expect(of(0.1)).not.toBe(of(1));
    expect(of(0)).toBeUndefined();
  });
});

describe('places', () => {
  test('are edited one by one, and only where they differ', () => {
    const is = { beak: [0.1, 0.2], fan: [0.3, 0.4], mist: [0.5, 0.5] } as const;
    expect(placeEdits(is, is)).toEqual([]);
    expect(placeEdits(is, { beak: [0.1, 0.2], fan: [0.3, 0.5], eye: [0, 1] })).toEqual([
      { path: ['picture', 'places', 'fan'], value: [0.3, 0.5] },
      { path: ['picture', 'places', 'mist'] },
      { path: ['picture', 'places', 'eye'], value: [0, 1] },
    ]);
    const many = Object.fromEntries(
      Array.from({ length: 201 }, (_, i) => [`c${i}`, [0, 0] as const]),
    );
    expect(placeEdits({}, many)).toEqual([{ path: ['picture', 'places'], value: many }]);
  });

  test('stay on the picture', () => {
    expect(within(-0.2, 1.7)).toEqual([0, 1]);
    expect(within(0.12345, 0.5)).toEqual([0.123, 0.5]);
    const key = (name: string, shiftKey = false) => ({ key: name, shiftKey });
    expect(movedBy([0.5, 0.5], key('ArrowLeft'))).toEqual([0.49, 0.5]);
    expect(movedBy([0.5, 0.5], key('ArrowDown', true))).toEqual([0.5, 0.55]);
    expect(movedBy([0, 0.999], key('ArrowUp'))).toEqual([0, 0.989]);
    expect(movedBy([0, 0.999], key('ArrowDown'))).toEqual([0, 1]);
    expect(movedBy([0, 0], key('Escape'))).toBeUndefined();
  });
});

test.each([
  ['IMG 2034.JPG', 'image/jpeg', 'IMG-2034.jpg'],
  ['Eule größer.png', 'image/png', 'Eule-gro-er.png'],
  ['../../x.svg', 'image/svg+xml', 'x.svg'],
  ['.png', 'image/png', 'png.png'],
  ['猫.jpeg', 'image/jpeg', 'picture.jpg'],
  [`${'a'.repeat(300)}.png`, 'image/png', `${'a'.repeat(60)}.png`],
  ['plan.SVG', '', 'plan.svg'],
  ['photo.heic', 'image/jpeg', 'photo.jpg'],
])('a file called %s gets a plain name', (given, type, name) => {
  expect(nameFor(given, type)).toBe(name);
  expect(name).toMatch(PICTURE_NAME);
});
