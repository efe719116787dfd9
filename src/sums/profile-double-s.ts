import { isRounding, type Path, posAfter, velAfter } from './profile-path.ts';

/**
 * The double-S profile (piecewise constant jerk) from any position, velocity and acceleration to rest,
 * time-optimal for the triple integrator with bounded velocity, acceleration and jerk; from rest it is
 * the profile of Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots (Springer
 * 2008), section 3.4 (from memory).
 *
 * Its parts:
 * - A velocity ramp: the fastest change from (vel, acc) to (endVel, 0). It is the trapezoid again,
 *   one order higher, so it is known in closed form.
 * - The stop: the ramp to velocity 0. Its end decides the direction: the move starts towards the target
 * from there. That direction is positive from here on.
 * - The move: follow the ramp to the cruising velocity, then cruise, and leave both at the only moment
 * from which the stop ends at the target.
 *
 * Why there is one such moment. Let g be the place where the stop from the present state ends. While the
 * stop itself is followed g is constant, so along jerk j its rate is (j - stop's jerk) dg/dacc. While the
 * stop brakes (its jerk is -J or 0, then J), more acceleration now means more velocity at every later
 * time, so dg/dacc >= 0, and the ramp's jerk is never below the stop's. While the stop still has to
 * reverse a negative velocity, ramp and stop have the same jerk. During the cruise g moves at the
 * cruising velocity. So g never falls, and bisection finds the moment: it is the only root. No faster
 * move exists either: jerk J (or what the limits leave of it) before the surface {g = target}, and the
 * stop on it, is the feedback form of the time-optimal control by Pontryagin's principle. The moment is
 * found to the last bit; the duration is optimal up to 4 cbrt(r / 2 jerk), r being the rounding error of
 * the positions (some 1e-14 deg, so below 0.01 ms at 6000 deg/s3).
 *
 * Hull: while the stop first continues in the negative direction, the move has the same jerk or a greater
 * one, so its velocity is never lower and it goes no deeper. Once the velocity has risen above 0 it stays
 * there: a ramp to a positive velocity does not cross 0 again, nor does a stop from a state that has to
 * brake. So the move then runs one way, and ends at the target. All this holds for any cruising velocity,
 * so for the slower move as well.
 */

/** Three phases of constant jerk: `jerk1` for t1, none for t2, `jerk3` for t3. */
interface Ramp {
  jerk1: number;
  jerk3: number;
  t1: number;
  t2: number;
  t3: number;
}

interface Point {
  pos: number;
  vel: number;
  acc: number;
}

/** The axis and the move, in the positive direction, for all functions below. */
interface Task {
  vel: number;
  acc: number;
  /** From the start to the target; may be negative. */
  distance: number;
  accel: number;
  jerk: number;
}

const newRamp = (): Ramp => ({ jerk1: 0, jerk3: 0, t1: 0, t2: 0, t3: 0 });

// Scratch, so that planning allocates nothing.
const task: Task = { vel: 0, acc: 0, distance: 0, accel: 1, jerk: 1 };
/** The part of the ramp to the cruise that is used. */
const up = newRamp();
const down = newRamp();
const here: Point = { pos: 0, vel: 0, acc: 0 };
const trial: Point = { pos: 0, vel: 0, acc: 0 };

/** Writes the fastest stop. */
export function doubleSStop(
  path: Path,
  pos: number,
  vel: number,
  acc: number,
  accel: number,
  jerk: number,
): void {
  setRamp(down, vel, acc, 0, accel, jerk);
  path.begin(pos, 1, vel, acc);
  addRamp(path, down);
}

/** Writes the move to rest at `to`, fastest or in `minDurationS` if that is longer. */
export function doubleSMove(
  path: Path,
  pos: number,
  vel: number,
  acc: number,
  target: number,
  speed: number,
  accel: number,
  jerk: number,
  minDurationS: number,
): void {
  const stopsAfter = stopTravel(vel, acc, accel, jerk);
  const missing = target - pos - stopsAfter;
  if (isRounding(missing, Math.abs(target) + Math.abs(pos) + Math.abs(stopsAfter))) {
    doubleSStop(path, pos, vel, acc, accel, jerk);
    return;
  }
  const sign = Math.sign(missing);
  task.vel = sign * vel;
  task.acc = sign * acc;
  task.distance = sign * (target - pos);
  task.accel = accel;
  task.jerk = jerk;

  let cruise = speed;
  let cruiseS = solve(cruise);
  if (minDurationS > duration(up) + cruiseS + duration(down)) {
    cruise = slowCruise(speed, minDurationS);
    cruiseS = solve(cruise);
    if (cruiseS > 0) cruiseS = minDurationS - duration(up) - duration(down);
  }
  path.begin(pos, sign, task.vel, task.acc);
  addRamp(path, up);
  if (cruiseS > 0) {
    path.vel = cruise;
    path.acc = 0;
    path.add(0, cruiseS);
  }
  addRamp(path, down);
}

/**
 * Sets `up` and `down` to the move that cruises at no more than `cruise`, and returns how long it
 * cruises (s).
 */
function solve(cruise: number): number {
  const { accel, jerk, distance } = task;
  setRamp(up, task.vel, task.acc, cruise, accel, jerk);
  here.pos = 0;
  here.vel = task.vel;
  here.acc = task.acc;
  if (leave(up.jerk1, up.t1)) {
    up.t1 = leaveAfter(up.jerk1, up.t1);
    up.t2 = 0;
    up.t3 = 0;
  } else if (leave(0, up.t2)) {
    up.t2 = leaveAfter(0, up.t2);
    up.t3 = 0;
  } else if (leave(up.jerk3, up.t3)) {
    up.t3 = leaveAfter(up.jerk3, up.t3);
  } else {
    const cruiseS = (distance - here.pos - stopTravel(cruise, 0, accel, jerk)) / cruise;
    return Math.max(cruiseS, 0);
  }
  return 0;
}

/** Whether the stop must begin within this phase; if not, `here` moves on to the end of it. */
function leave(jerk: number, phaseS: number): boolean {
  if (stopEnd(jerk, phaseS) > task.distance) return true;
  here.pos = trial.pos;
  here.vel = trial.vel;
  here.acc = trial.acc;
  return false;
}

/** The time (s) in this phase after which the stop ends at the target; sets `down` to that stop. */
function leaveAfter(jerk: number, phaseS: number): number {
  let early = 0;
  let late = phaseS;
  for (let i = 0; i < MAX_HALVINGS; i++) {
    const middle = (early + late) / 2;
    if (middle === early || middle === late) break;
    if (stopEnd(jerk, middle) > task.distance) late = middle;
    else early = middle;
  }
  stopEnd(jerk, early);
  return early;
}

/** Where the stop ends that begins `t` into a phase; leaves that state in `trial`, the stop in `down`. */
function stopEnd(jerk: number, t: number): number {
  trial.pos = posAfter(t, here.pos, here.vel, here.acc, jerk);
  trial.vel = velAfter(t, here.vel, here.acc, jerk);
  trial.acc = here.acc + t * jerk;
  return trial.pos + stopTravel(trial.vel, trial.acc, task.accel, task.jerk);
}

/**
 * The cruising velocity with which the move takes `minDurationS`, by bisection: a slower cruise takes
 * longer. Errs on the fast side, so that a rest at the target can fill the remaining time.
 */
function slowCruise(speed: number, minDurationS: number): number {
  let slow = 0;
  let fast = speed;
  for (let i = 0; i < MAX_CRUISE_HALVINGS; i++) {
    const middle = (slow + fast) / 2;
    if (middle === slow || middle === fast) break;
    if (takesLonger(middle, minDurationS)) slow = middle;
    else fast = middle;
  }
  return fast;
}

function takesLonger(cruise: number, thanS: number): boolean {
  const { vel, acc, accel, jerk, distance } = task;
  setRamp(up, vel, acc, cruise, accel, jerk);
  const upTravel = travel(up, vel, acc);
  const left = distance - upTravel - stopTravel(cruise, 0, accel, jerk);
  if (left >= 0) return duration(up) + left / cruise + duration(down) > thanS;
  // Too near for a cruise. If the ramp rises to it, this is the fastest move for any cruise.
  if (settled(vel, acc, jerk) <= cruise) return false;
  const cruiseS = solve(cruise);
  return duration(up) + cruiseS + duration(down) > thanS;
}

/** Bisection steps that find any moment of a phase to the last bit. */
const MAX_HALVINGS = 64;
/** The slowest cruise has no lower bound, so it needs more of them. */
const MAX_CRUISE_HALVINGS = 200;

/** The velocity once the acceleration has been brought to 0. */
function settled(vel: number, acc: number, jerk: number): number {
  return vel + (acc * Math.abs(acc)) / (2 * jerk);
}

/** The fastest change from (vel, acc) to (endVel, 0). An acceleration beyond the limit is reduced first. */
function setRamp(
  ramp: Ramp,
  vel: number,
  acc: number,
  endVel: number,
  accel: number,
  jerk: number,
): void {
  const lack = endVel - settled(vel, acc, jerk);
  const sign = lack >= 0 ? 1 : -1;
  const start = sign * acc;
  const forward = Math.max(start, 0);
  // Peak acceleration without a hold: 2 peak^2 - start^2 = 2 jerk |endVel - vel|, written so that nothing
  // cancels.
  const square = jerk * Math.abs(lack) + forward * forward;
  ramp.jerk1 = sign * jerk;
  ramp.jerk3 = -sign * jerk;
  if (start > accel) {
    ramp.jerk1 = ramp.jerk3;
    ramp.t1 = (start - accel) / jerk;
    ramp.t2 = Math.abs(lack) / accel;
    ramp.t3 = accel / jerk;
  } else if (square > accel * accel) {
    ramp.t1 = (accel - start) / jerk;
    ramp.t2 = (square - accel * accel) / (jerk * accel);
    ramp.t3 = accel / jerk;
  } else {
    const peak = Math.sqrt(square);
    ramp.t1 = (peak - start) / jerk;
    ramp.t2 = 0;
    ramp.t3 = peak / jerk;
  }
}

function duration(ramp: Ramp): number {
  return ramp.t1 + ramp.t2 + ramp.t3;
}

/** Distance covered along a ramp that starts with (vel, acc). */
function travel(ramp: Ramp, vel: number, acc: number): number {
  const { jerk1, jerk3, t1, t2, t3 } = ramp;
  const acc2 = acc + jerk1 * t1;
  const vel2 = vel + t1 * (acc + (jerk1 * t1) / 2);
  const vel3 = vel2 + t2 * acc2;
  return (
    t1 * (vel + t1 * (acc / 2 + (jerk1 * t1) / 6)) +
    t2 * (vel2 + (t2 * acc2) / 2) +
    t3 * (vel3 + t3 * (acc2 / 2 + (jerk3 * t3) / 6))
  );
}

/** Distance covered by the stop from (vel, acc); leaves the stop in `down`. */
function stopTravel(vel: number, acc: number, accel: number, jerk: number): number {
  setRamp(down, vel, acc, 0, accel, jerk);
  return travel(down, vel, acc);
}

function addRamp(path: Path, ramp: Ramp): void {
  path.add(ramp.jerk1, ramp.t1);
  path.add(0, ramp.t2);
  path.add(ramp.jerk3, ramp.t3);
}
