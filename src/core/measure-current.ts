import { deviation, mean, quantile } from '../sums/statistics.ts';
import { type Probe, PUSHES, refuse, type Script, SENSOR } from './measure-probe.ts';

/** The current of a servo that runs free, as it was measured (A). */
export interface FreeRunning {
  risingA: number;
  fallingA: number;
  /** Standing still (A), and the scatter of its readings there (A). */
  standingA: number;
  noiseA: number;
}

/** It goes to both limits so many times. */
const PASSES = 2;
/** The share of the readings of a pass that are not above what counts as its current. */
const SHARE = 0.95;
/** Two passes differ by no more than this share, and this much (A). Chosen, no source. */
const ALIKE_SHARE = 0.3;
const ALIKE_A = 0.03;
/** A motor that has started draws no more for that after so long (ms). Common practice, no source. */
const STARTS_MS = 150;
/** So slowly it goes first (deg/s). */
const SLOW_DEG_S = 20;
/** How far a servo is behind, in time (s). Common practice, no source. */
const LAG_S = 0.1;
/** It pushes where it draws so many times what it has drawn before. Chosen, no source. */
const PUSH_TIMES = 2;
/** Fewer readings of a pass say nothing. */
const FEWEST = 8;

/**
 * Measures what a servo draws running free: between its soft limits, at its own speed, twice each way; once
 * slowly before that, since something in its way is met with less force then.
 * @param mostA a current that would be no free run any more (A)
 * @throws Refusal `measure.sensor`, `measure.pushes`
 */
export function* measureCurrent(probe: Probe, mostA: number): Script<FreeRunning> {
  const { servo } = probe;
  const [low, high] = servo.limitsDeg;
  const from = probe.pos;
  const free: { up: number[]; down: number[] } = { up: [], down: [] };
  const still: number[] = [];
  let moving: number[] = [];
  let startedMs = probe.nowMs;
  let above = 0;
  probe.onAmps = ({ amps, atMs }) => {
    // A motor that starts draws its stall current.
    const hasStarted = atMs > startedMs + STARTS_MS;
    above = hasStarted && amps > Math.min(mostA, pushA(moving)) ? above + 1 : 0;
    if (hasStarted && servo.moving) moving.push(amps);
    if (above < 3) return;
    refuse(
      PUSHES,
      `${servo.name} draws ${amps.toFixed(2)} A at ${probe.pos.toFixed(1)} deg: it pushes against something, and does not run free`,
      servo,
    );
  };
  const leg = function* (to: number, overS = 0): Script<number[]> {
    probe.clear();
    startedMs = probe.nowMs;
    if (Math.abs(to - probe.pos) < 1e-6) return [];
    probe.move(to, overS);
    yield* probe.arrive();
    yield* probe.wait(REST_MS);
    still.push(...probe.standing);
    return probe.moving;
  };
  const slowS = (to: number) => Math.abs(to - probe.pos) / SLOW_DEG_S;
  yield* probe.wait(REST_MS);
  yield* leg(low, slowS(low));
  yield* leg(high, slowS(high));
  yield* leg(low, slowS(low));
  moving = [];
  probe.backDeg += servo.limits.speed * LAG_S;
  for (let pass = 0; pass < PASSES; pass++) {
    free.up.push(passA(probe, yield* leg(high)));
    free.down.push(passA(probe, yield* leg(low)));
  }
  yield* leg(from);
  const shown = mean(moving) - mean(still);
  const noiseA = deviation(still);
  if (!(shown > SURE * noiseA * Math.sqrt(1 / moving.length + 1 / still.length) + LEAST_A))
    refuse(
      SENSOR,
      `its current is the same standing still and moving (${mean(still).toFixed(3)} A): the sensor sticks, or measures something else`,
      servo,
    );
  for (const [way, values] of Object.entries(free)) {
    const [least, most] = [Math.min(...values), Math.max(...values)];
    if (most - least > ALIKE_SHARE * most + ALIKE_A)
      refuse(
        PUSHES,
        `${servo.name} drew ${least.toFixed(2)} A on one way ${way} and ${most.toFixed(2)} A on the other: it does not run free, or the sensor is not steady`,
        servo,
      );
  }
  return {
    risingA: Math.max(...free.up),
    fallingA: Math.max(...free.down),
    standingA: mean(still),
    noiseA,
  };
}

/** It stands still for so long between two moves (ms). */
const REST_MS = 400;
/** The difference must be so many times what chance would make of it, and this much (A). */
const SURE = 5;
const LEAST_A = 0.003;

/** What would be a push, by what it has drawn on its way (A). */
function pushA(moving: readonly number[]): number {
  if (moving.length < FEWEST) return Number.POSITIVE_INFINITY;
  return PUSH_TIMES * quantile(moving, 0.5) + ALIKE_A;
}

function passA({ servo }: Probe, amps: readonly number[]): number {
  if (amps.length < FEWEST)
    refuse(
      SENSOR,
      `there are only ${amps.length} readings on the way from limit to limit of ${servo.name}: its limits are too close, or the sensor too slow`,
      servo,
    );
  return quantile(amps, SHARE);
}
