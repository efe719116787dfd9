import { describe, expect, it } from 'vitest';
import { type MotionLimits, type MotionState, planMove, sample } from '../../src/sums/profile.ts';
import { TakeCurve } from '../../src/sums/take-curve.ts';
import { deviationOf, type TakeTrack, trackOf } from '../../src/sums/take-track.ts';

const OWL: MotionLimits = { speed: 120, accel: 600, jerk: 6000 };

/** The performance of a function of time, at 50 Hz. */
function performed(durationS: number, at: (atS: number) => number): TakeCurve {
  const timesS = Array.from({ length: Math.round(durationS * 50) + 1 }, (_, i) => i / 50);
  return new TakeCurve(timesS, timesS.map(at));
}

/** The most that a track asks for, tick by tick, and that it is continuous. */
function most({ trajectory }: TakeTrack, dtS = 0.001): Required<MotionLimits> {
  const found = { speed: 0, accel: 0, jerk: 0 };
  const at: MotionState = { pos: 0, vel: 0, acc: 0 };
  sample(trajectory, 0, at);
  let before = { ...at };
  for (let i = 1; i * dtS <= trajectory.durationS + dtS; i++) {
    sample(trajectory, i * dtS, at);
    found.speed = Math.max(found.speed, Math.abs(at.vel), Math.abs(at.pos - before.pos) / dtS);
    found.accel = Math.max(found.accel, Math.abs(at.acc), Math.abs(at.vel - before.vel) / dtS);
    found.jerk = Math.max(found.jerk, Math.abs(at.acc - before.acc) / dtS);
    before = { ...at };
  }
  return found;
}

describe('a performed movement as it plays', () => {
  it('is met where the limits allow it', () => {
    const swing = performed(
      6,
      (t) => 20 * Math.sin(2 * t) ** 2 * (1 - Math.cos((2 * Math.PI * t) / 6)),
    );
    const track = trackOf(swing, 1, OWL, [-45, 45])!;
    expect(track.trajectory.durationS).toBeCloseTo(6, 9);
    expect(deviationOf(track, swing, 1).deg).toBeLessThan(0.02);
  });

  it('begins early what would come too late: a sudden change is met in its middle', () => {
    const jump = performed(4, (t) => (t < 2 ? 0 : 40));
    const track = trackOf(jump, 1, OWL, [-45, 45])!;
    const { durationS } = planMove({ pos: 0, vel: 0, acc: 0 }, 40, OWL);
    const at: MotionState = { pos: 0, vel: 0, acc: 0 };
    sample(track.trajectory, 1.99, at);
    expect(at.pos).toBeCloseTo(20, 0);
    sample(track.trajectory, 1.99 - durationS, at);
    expect(at.pos).toBeCloseTo(0, 1);
    sample(track.trajectory, 1.99 + durationS, at);
    expect(at.pos).toBeCloseTo(40, 1);
    const away = deviationOf(track, jump, 1);
    expect(away.deg).toBeGreaterThan(15);
    expect(Math.abs(away.lateS!)).toBeLessThan(durationS / 2 + 0.03);
  });

  it.each([
    ['with', OWL],
    ['without', { speed: 90, accel: 400 }],
  ])('keeps every limit %s a limit of the jerk, however wild it was', (_, limits: MotionLimits) => {
    const wild = performed(
      3,
      (t) => (Math.floor(t * 50) % 3 === 0 ? 40 : -30) * (t > 0.1 && t < 2.9 ? 1 : 0),
    );
    const track = trackOf(wild, 1, limits, [-45, 45])!;
    const found = most(track);
    expect(found.speed).toBeLessThanOrEqual(limits.speed + 1e-6);
    expect(found.accel).toBeLessThanOrEqual(limits.accel + 1e-4);
    if (limits.jerk !== undefined) expect(found.jerk).toBeLessThanOrEqual(limits.jerk + 1e-3);
    expect(track.rangeDeg[0]).toBeGreaterThanOrEqual(-30.03);
    expect(track.rangeDeg[1]).toBeLessThanOrEqual(40.03);
  });

  it('takes longer only where not even the way from its first to its last angle fits', () => {
    const quick = new TakeCurve([0, 0.05], [0, 40]);
    const track = trackOf(quick, 1, OWL, [-45, 45])!;
    const { durationS } = planMove({ pos: 0, vel: 0, acc: 0 }, 40, OWL);
    expect(track.trajectory.durationS).toBeGreaterThan(durationS);
    expect(track.trajectory.durationS).toBeLessThan(durationS + 0.05);
    expect(track.trajectory.endPos).toBe(40);
  });

  it('has a way also where the time is only just enough, and the limits are low', () => {
    const slow: MotionLimits = { speed: 20, accel: 50, jerk: 150 };
    for (const toDeg of [-40, -39.99, 39.5, 0.001])
      for (const limits of [slow, { speed: 20, accel: 50 }]) {
        const track = trackOf(new TakeCurve([0, 0.001], [40, toDeg]), 0.25, limits, [-40, 40]);
        expect(track?.trajectory.endPos, `${toDeg}`).toBe(toDeg);
        const found = most(track!);
        expect(found.accel).toBeLessThanOrEqual(limits.accel + 1e-4);
      }
  });

  it('stays within the soft limits, though it was performed along one', () => {
    const along = performed(3, (t) => Math.max(-5, 30 * Math.cos(Math.PI * t)));
    const track = trackOf(along, 1, OWL, [-5, 35])!;
    expect(track.rangeDeg[0]).toBeGreaterThanOrEqual(-5 - 1e-9);
  });

  it('plays faster or slower at another rate', () => {
    const swing = performed(2, (t) => 10 * (1 - Math.cos(Math.PI * t)));
    for (const rate of [0.5, 2]) {
      const track = trackOf(swing, rate, { speed: 500, accel: 5000 }, [-45, 45])!;
      expect(track.trajectory.durationS).toBeCloseTo(2 / rate, 9);
      expect(deviationOf(track, swing, rate).deg).toBeLessThan(0.05);
    }
  });

  it('stands still where it was performed so, and counts every start and turn of the motor', () => {
    expect(trackOf(new TakeCurve([0, 5], [7, 7]), 1, OWL, [0, 9])!.trajectory.durationS).toBe(0);
    const twice = performed(
      8,
      (t) => 10 * Math.sin((2 * Math.PI * Math.min(Math.max(t - 1, 0), 4)) / 4) ** 3,
    );
    const { startsS } = trackOf(twice, 1, OWL, [-45, 45])!;
    // Up from 1 s on, down from 2 s, up again from 4 s.
    for (const wantedS of [2, 4]) {
      const nearest = Math.min(...Array.from(startsS, (one) => Math.abs(one - wantedS)));
      expect(nearest).toBeLessThan(0.05);
    }
  });
});

describe('the curve between points', () => {
  it('passes through them and never leaves their angles', () => {
    // The data of Fritsch and Carlson, table 1 (RPN 14), from memory: a cubic spline overshoots here.
    const x = [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20];
    const y = [
      0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.94374, 0.998636, 0.999919, 0.999994,
    ];
    const curve = new TakeCurve(x, y);
    let before = -1;
    for (let i = 0; i <= 2000; i++) {
      const at = curve.at(7.99 + (12.01 * i) / 2000);
      expect(at).toBeGreaterThanOrEqual(before);
      before = at;
    }
    for (const [i, one] of x.entries()) expect(curve.at(one)).toBeCloseTo(y[i]!, 12);
    expect(curve.at(0)).toBe(0);
    expect(curve.at(99)).toBe(y.at(-1));
  });
});
