import type { Ease } from '../sums/ease.ts';
import type { MotionLimits } from '../sums/profile.ts';
import type { Path } from './finding.ts';
import type { Place, PlannedInterlocks } from './planned-interlocks.ts';
import type { CueStep, ServoChannel } from './schema.ts';
import type { PlayedTake } from './take/played.ts';

/**
 * The plan of a cue, from the prop file alone: when each step starts and ends if every channel is at its
 * park value before and nothing is delayed. Random values and waits count as the latest possible:
 * `spreadS` in full, `until` with its withinS, `choose` with the longest cue, a spread of angles with its
 * farthest ends.
 */
export interface CuePlan {
  /** The steps of the cue itself, in the order of the file. */
  steps: PlannedStep[];
  /** Duration (s); null when it goes on until it is stopped. */
  durationS: number | null;
  /** Problems of its steps and of those of the cues within it. */
  problems: PlanProblem[];
}

interface PlannedStep {
  index: number;
  /** s after the start of the cue; null when the step never starts. */
  startS: number | null;
  /** null when the step never ends. */
  endS: number | null;
  moves: PlannedMove[];
}

export interface PlannedMove {
  servo: string;
  fromDeg: number;
  targetDeg: number;
  /** The least time within the servo's limits (s), along the step's curve if it has one. */
  neededS: number;
}

export interface PlanProblem {
  severity: 'error' | 'warning' | 'note';
  /** The cue of the step, which may be within the planned one. */
  cue: string;
  path: Path;
  /** Points at the key. */
  atKey: boolean;
  /** Equal for the same problem of the same step. */
  id: string;
  /** Larger is worse. */
  size: number;
  wrong: string;
  right: string;
}

/** A step with its names looked up. */
export interface PlanStep {
  cue: string;
  index: number;
  spec: CueStep;
  path: Path;
  ease: Ease | undefined;
  /** The steps that start after it. */
  followers: number[];
  first: boolean;
  targets: Target[];
  /** What it plays. */
  take: PlayedTake | undefined;
}

/** A servo that a step moves, to a position from `low` to `high` (deg). */
export interface Target {
  servo: string;
  low: number;
  high: number;
  /** Its path in the step. */
  path: Path;
}

export interface Servo {
  name: string;
  spec: ServoChannel;
  limits: MotionLimits;
  softLow: number;
  softHigh: number;
  parkDeg: number | undefined;
}

/** What a walk along a cue needs from the planner. */
export interface WalkPlanner {
  /** Steps of cues within cues that may still be simulated one by one. */
  innerStepsLeft: number;
  interlocks(places: ReadonlyMap<string, Place>): PlannedInterlocks;
  steps(cue: string): PlanStep[];
  servo(name: string): Servo | undefined;
  innerCue(step: CueStep): string | undefined;
  /** The longest of its sounds (s). */
  soundS(step: CueStep): number;
  plan(cue: string): CuePlan;
  /**
   * The least time (s) that a step takes from rest to rest, along its curve if it has one.
   * @throws RangeError as `planEased` and `planMove`
   */
  fromRestS(servo: Servo, fromDeg: number, targetDeg: number, step: PlanStep): number;
}
