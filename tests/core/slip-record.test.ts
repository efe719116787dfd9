import { describe, expect, test } from 'vitest';
import { driftOf, type KeptSlip, SlipRecord } from '../../src/core/slip-record.ts';
import fc from '../fast-check.ts';

const DAY_MS = 86_400_000;
const START_MS = Date.UTC(2026, 9, 20, 9);

/** So many rests on a day, each with this offset and a little noise. */
function rest(record: SlipRecord, day: number, deg: number, count = 9): boolean {
  let changed = false;
  for (let i = 0; i < count; i++) {
    const noise = ((i * 7) % 5) / 10 - 0.2;
    if (record.note(deg + noise, START_MS + day * DAY_MS + i * 60_000)) changed = true;
  }
  return changed;
}

const dayOf = (record: SlipRecord) =>
  record.slipped && new Date(record.slipped.sinceMs).toISOString().slice(0, 10);

describe('how a servo arrives, day after day', () => {
  test('a horn that slips is said to have, by how much and since when', () => {
    const record = new SlipRecord(4);
    for (let day = 0; day < 14; day++) expect(rest(record, day, 0.5)).toBe(false);
    expect(record.slipped).toBeUndefined();
    expect(rest(record, 14, 6.5)).toBe(true);
    expect(record.slipped!.byDeg).toBeCloseTo(6, 1);
    expect(dayOf(record)).toBe('2026-11-03');
    // Days later it is still that day.
    for (let day = 15; day < 20; day++) expect(rest(record, day, 6.5)).toBe(false);
    expect(dayOf(record)).toBe('2026-11-03');
    // Put right, it is said no more.
    expect(rest(record, 20, 0.6)).toBe(true);
    expect(record.slipped).toBeUndefined();
  });

  test('one that wears little by little is noticed as well, the other way too', () => {
    const record = new SlipRecord(4);
    for (let day = 0; day < 60; day++) rest(record, day, -0.1 * day);
    expect(record.slipped!.byDeg).toBeLessThan(-4);
  });

  test('one rest against an obstacle, or a few, say nothing', () => {
    const record = new SlipRecord(4);
    for (let day = 0; day < 5; day++) rest(record, day, 0);
    for (const deg of [20, 0, 25, 0, 30, 0, 0, 0, 0]) record.note(deg, START_MS + 5 * DAY_MS);
    expect(record.slipped).toBeUndefined();
    record.note(20, START_MS + 6 * DAY_MS);
    record.note(20, START_MS + 6 * DAY_MS);
    expect(record.slipped).toBeUndefined();
  });

  test('it goes on after a restart, and stays small', () => {
    const record = new SlipRecord(4);
    for (let day = 0; day < 400; day++) rest(record, day, 0);
    const kept = JSON.parse(JSON.stringify(record.kept)) as KeptSlip;
    expect(JSON.stringify(kept).length).toBeLessThan(1000);
    const after = new SlipRecord(4);
    after.takeOver(kept);
    expect(rest(after, 400, 7)).toBe(true);
    expect(after.slipped!.byDeg).toBeCloseTo(7, 1);
  });

  test('a board whose clock is not set, or was put back, records nothing wrong', () => {
    const record = new SlipRecord(4);
    for (let i = 0; i < 30; i++) expect(record.note(20, i * 1000)).toBe(false);
    expect(record.kept.days).toEqual([]);
    rest(record, 10, 0);
    expect(rest(record, 3, 9)).toBe(false);
    expect(record.slipped).toBeUndefined();
  });

  test('whatever comes, it says no more than the file allows, and stays bounded', () => {
    const deg = fc.oneof(
      fc.double({ min: -180, max: 180, noNaN: true }),
      fc.constantFrom(Number.NaN, Number.POSITIVE_INFINITY),
    );
    fc.assert(
      fc.property(
        fc.array(fc.tuple(deg, fc.integer({ min: -5, max: 400 })), { maxLength: 300 }),
        (rests) => {
          const record = new SlipRecord(4);
          for (const [offset, day] of rests) {
            record.note(offset, START_MS + day * DAY_MS);
            const { days, rests: of } = record.kept;
            expect(days.length).toBeLessThanOrEqual(30);
            expect(of.length).toBeLessThanOrEqual(9);
            if (record.slipped) expect(Math.abs(record.slipped.byDeg)).toBeGreaterThan(3.2);
          }
        },
      ),
      { numRuns: 100 },
    );
  });
});

test('drift is what a day differs by from the beginning: medians, and none before there are enough rests', () => {
  const record = new SlipRecord(4);
  expect(driftOf(record.kept)).toBeUndefined();
  rest(record, 0, 0.5, 2);
  expect(driftOf(record.kept)).toBeUndefined();
  for (const [day, deg] of [0.5, 0.5, 1, 1.5].entries()) rest(record, day, deg);
  // One rest against an obstacle says nothing, and two are too few for a day.
  record.note(20, START_MS + 3 * DAY_MS + 3_600_000);
  rest(record, 4, 9, 2);
  const drift = driftOf(record.kept)!;
  expect(drift.days.map(({ day }) => day)).toEqual([
    ...['2026-10-20', '2026-10-21', '2026-10-22', '2026-10-23'],
  ]);
  for (const [i, byDeg] of [0, 0, 0.5, 1].entries())
    expect(drift.days[i]!.byDeg).toBeCloseTo(byDeg, 0);
  expect(drift.byDeg).toBe(drift.days[3]!.byDeg);
  expect(drift.byDeg).toBeGreaterThan(0.7);
  expect(drift.byDeg).toBeLessThan(1.3);
});
