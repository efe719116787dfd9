import { isRounding, type Path } from './profile-path.ts';

/**
 * The trapezoidal velocity profile from any velocity, time-optimal for the double integrator with bounded
 * velocity and acceleration (Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and
 * Robots, Springer 2008, section 3.2, from memory).
 *
 * Braking at once leads to rest at pos + vel |vel| / 2 accel. From there, the direction towards the
 * target is that of the move: accelerate to the cruising velocity, cruise, brake. Hull: if the velocity
 * at first points the other way, it brakes exactly as the stop does; from then on it moves one way only,
 * and ends at the target.
 */

/** Distance covered while braking from `vel` to rest, with the sign of `vel`. */
function brakingTravel(vel: number, accel: number): number {
  return (vel * Math.abs(vel)) / (2 * accel);
}

/** Writes the fastest stop. */
export function trapezoidStop(path: Path, pos: number, vel: number, accel: number): void {
  path.begin(pos, Math.sign(vel) || 1, Math.abs(vel), -accel);
  path.add(0, Math.abs(vel) / accel);
}

/** Writes the move to rest at `to`, fastest or in `minDurationS` if that is longer. */
export function trapezoidMove(
  path: Path,
  pos: number,
  vel: number,
  target: number,
  speed: number,
  accel: number,
  minDurationS: number,
): void {
  const stopTravel = brakingTravel(vel, accel);
  const missing = target - pos - stopTravel;
  if (isRounding(missing, Math.abs(target) + Math.abs(pos) + Math.abs(stopTravel))) {
    trapezoidStop(path, pos, vel, accel);
    return;
  }
  const sign = Math.sign(missing);
  const start = sign * vel;
  // The distance beyond the stop. It is used instead of the whole distance because it does not cancel:
  // distance = beyond + start |start| / 2 accel.
  const beyond = Math.abs(missing);
  const forward = Math.max(start, 0);

  // Peak velocity without a cruise: 2 peak^2 - start^2 = 2 accel distance.
  const peak = Math.sqrt(accel * beyond + forward * forward);
  let cruise = Math.min(peak, speed);
  let cruiseS = (beyond + (forward * forward - cruise * cruise) / accel) / cruise;
  if (start > speed) cruiseS = beyond / cruise;
  else if (cruise === peak) cruiseS = 0;
  const fastestS = Math.abs(cruise - start) / accel + cruiseS + cruise / accel;

  if (minDurationS > fastestS) {
    cruise = slowCruise(start, beyond, accel, minDurationS);
    cruiseS = minDurationS - Math.abs(cruise - start) / accel - cruise / accel;
  }
  path.begin(pos, sign, start, cruise > start ? accel : -accel);
  path.add(0, Math.abs(cruise - start) / accel);
  path.vel = cruise;
  path.acc = 0;
  path.add(0, cruiseS);
  path.acc = -accel;
  path.add(0, cruise / accel);
}

/** The cruising velocity with which the move takes exactly `durationS`, longer than the fastest. */
function slowCruise(start: number, beyond: number, accel: number, durationS: number): number {
  // Brake to the cruise, and brake again after it: only `beyond` is covered at the cruise.
  if (start > 0 && durationS >= start / accel + beyond / start) {
    return beyond / (durationS - start / accel);
  }
  // Accelerate to the cruise: cruise^2 - (start + accel duration) cruise + c = 0, smaller root.
  const forward = Math.max(start, 0);
  const c = accel * beyond + forward * forward;
  const b = start + accel * durationS;
  return (2 * c) / (b + Math.sqrt(Math.max(b * b - 4 * c, 0)));
}
