import { describe, expect, test } from 'vitest';
import { nextStart } from '../../src/show/schedule.ts';
import { showSchemas } from '../../src/show/show-file.ts';

const local = (text: string) => new Date(text).getTime();
const entries = (...given: unknown[]) => given.map((one) => showSchemas().entry.parse(one));
/** 27 November 2026 is a Friday. */
const FRIDAY = '2026-11-27T';

describe('the schedule of a show', () => {
  const opening = entries({ daily: '10:00', everyMin: 45, until: '12:00', days: ['fri', 'sat'] });

  test.each([
    [`${FRIDAY}08:00:00`, `${FRIDAY}10:00:00`],
    // A start that is just now is past: it never plays twice.
    [`${FRIDAY}10:00:00`, `${FRIDAY}10:45:00`],
    [`${FRIDAY}11:29:59.999`, `${FRIDAY}11:30:00`],
    [`${FRIDAY}11:30:00`, '2026-11-28T10:00:00'],
    ['2026-11-28T11:30:00', '2026-12-04T10:00:00'],
  ])('after %s is %s', (after, next) => {
    expect(nextStart(opening, local(after))).toBe(local(next));
  });

  test('of several entries has the nearest, and none without any', () => {
    const two = entries({ daily: '23:00' }, { daily: '22:59' });
    expect(nextStart(two, local(`${FRIDAY}20:00:00`))).toBe(local(`${FRIDAY}22:59:00`));
    expect(nextStart([], 0)).toBeUndefined();
  });
});
