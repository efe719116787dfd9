import { tidy } from '../shared/units.ts';
import { type Ease, parseEase } from '../sums/ease.ts';
import { easedRange, planEased } from '../sums/eased-move.ts';
import { type MotionLimits, type MotionState, planMove, sample } from '../sums/profile.ts';
import { CueLoads } from './cue-loads.ts';
import type { Path } from './finding.ts';
import { type CueStep, longCue, type Prop, type ServoChannel } from './schema.ts';

/**
 * The plan of a cue, from the prop file alone: when each step starts and ends if every channel
 * stands at its park value before and nothing is delayed. What is drawn at random, or waits, counts
 * as late as it can be: `spreadS` in full, `until` its withinS, `choose` the longest cue, a spread of
 * angles its farthest ends.
 */
export interface CuePlan {
  /** The steps of the cue itself, in the order of the file. */
  steps: PlannedStep[];
  /** How long it takes (s); null when it goes on until it is stopped. */
  durationS: number | null;
  /** What is wrong with its steps and with those of the cues within it. */
  problems: PlanProblem[];
}

export interface PlannedStep {
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
  toDeg: number;
  /** The least time within the servo's limits (s), along the step's curve if it has one. */
  neededS: number;
}

export interface PlanProblem {
  severity: 'error' | 'warning';
  /** The cue whose step it is, which may be one within the planned one. */
  cue: string;
  path: Path;
  /** Points at the key. */
  atKey: boolean;
  /** The same problem of the same step has the same one. */
  id: string;
  /** The larger, the worse. */
  size: number;
  wrong: string;
  right: string;
}

/** Where step `index` of a cue stands in the file. */
export function stepPath(prop: Prop, cue: string, index: number): Path {
  const long = !Array.isArray(prop.cues[cue]);
  return ['cues', cue, ...(long ? ['steps'] : []), index];
}

const planners = new WeakMap<Prop, Planner>();

/**
 * The plan of the cue called `name`. Each is computed once for a prop, which must not change
 * afterwards. What names nothing in the prop is left out; circles of cues never end.
 */
export function cuePlan(prop: Prop, name: string): CuePlan {
  let planner = planners.get(prop);
  if (!planner) {
    planner = new Planner(prop);
    planners.set(prop, planner);
  }
  return planner.plan(name);
}

/** How long a cue takes as planned (s); null when it goes on until it is stopped. */
export function cueDurationS(prop: Prop, name: string): number | null {
  return cuePlan(prop, name).durationS;
}

/** Steps of cues within a cue that are gone through one by one, for a cue and for a whole prop. */
const MOST_INNER_STEPS = 2000;
const MOST_INNER_STEPS_IN_ALL = 200_000;
/** Runs of a cue that goes on until it is stopped: the second begins where the first has ended. */
const ENDLESS_RUNS = 2;
/** Times this near (s) are the same. */
const SAME_S = 1e-6;

/** A step with its names looked up. */
interface Step {
  cue: string;
  index: number;
  spec: CueStep;
  path: Path;
  ease: Ease | undefined;
  /** The steps that come after it. */
  followers: number[];
  first: boolean;
  targets: Target[];
}

/** A servo that a step moves, to somewhere from `low` to `high` (deg). */
interface Target {
  servo: string;
  low: number;
  high: number;
  /** Where in the step. */
  path: Path;
}

interface Servo {
  name: string;
  spec: ServoChannel;
  limits: MotionLimits;
  softLow: number;
  softHigh: number;
  parkDeg: number | undefined;
}

/** Where a servo is during a plan. */
interface Motion {
  /** Where it rests, or will (deg): a random target leaves a range. */
  low: number;
  high: number;
  from: MotionState;
  to: number;
  ease: Ease | undefined;
  startS: number;
  arrivesS: number;
  by: Step | undefined;
}

interface Run {
  steps: StepRun[];
  startS: number;
  endS: number;
  left: number;
  parent: StepRun | undefined;
}

interface StepRun {
  step: Step;
  run: Run;
  startS: number | null;
  /** When all but the cue within it has ended. */
  ownEndS: number;
  endS: number | null;
  moves: PlannedMove[];
  /** Runs of the cue within it that have ended. */
  runs: number;
}

class Planner {
  readonly #prop: Prop;
  readonly #plans = new Map<string, CuePlan>();
  readonly #steps = new Map<string, Step[]>();
  readonly #servos = new Map<string, Servo>();
  readonly #eased = new Map<string, number>();
  readonly #loads: CueLoads;
  innerStepsLeft = MOST_INNER_STEPS_IN_ALL;

  constructor(prop: Prop) {
    this.#prop = prop;
    this.#loads = new CueLoads(prop);
  }

  plan(name: string): CuePlan {
    const known = this.#plans.get(name);
    if (known) return known;
    // Met again while it is being planned, it contains itself.
    this.#plans.set(name, { steps: [], durationS: null, problems: [] });
    this.#loads.reset();
    const plan = new Walk(this, this.#loads).plan(name);
    this.#plans.set(name, plan);
    return plan;
  }

  steps(name: string): Step[] {
    let steps = this.#steps.get(name);
    if (!steps) {
      steps = this.#compile(name);
      this.#steps.set(name, steps);
    }
    return steps;
  }

  servo(name: string): Servo | undefined {
    const known = this.#servos.get(name);
    if (known) return known;
    const { channels } = this.#prop;
    const spec = Object.hasOwn(channels, name) ? channels[name]! : undefined;
    if (spec?.kind !== 'servo') return undefined;
    const angles = spec.limitsDeg ?? spec.calibration.map(([, deg]) => deg);
    const limits: MotionLimits = { speed: spec.speedDegS, accel: spec.accelDegS2 };
    if (spec.jerkDegS3 !== undefined) limits.jerk = spec.jerkDegS3;
    const servo = {
      name,
      spec,
      limits,
      softLow: Math.min(...angles),
      softHigh: Math.max(...angles),
      parkDeg: degOf(spec, spec.park.to),
    };
    this.#servos.set(name, servo);
    return servo;
  }

  /** The least time (s) from rest to rest along a curve. @throws RangeError as `planEased` */
  easedS(servo: Servo, from: number, to: number, step: Step): number {
    const key = `${servo.name} ${Math.abs(to - from)} ${step.spec.ease}`;
    let neededS = this.#eased.get(key);
    if (neededS === undefined) {
      neededS = planEased(from, to, step.ease!, 0, servo.limits).trajectory.durationS;
      this.#eased.set(key, neededS);
    }
    return neededS;
  }

  /** The cue that runs within a step: of those it chooses from, the longest. */
  innerCue({ cue, choose }: CueStep): string | undefined {
    const names = [...(cue === undefined ? [] : [cue]), ...(cue === undefined ? (choose ?? []) : [])];
    let longest: string | undefined;
    let mostS = -1;
    for (const name of names) {
      if (!Object.hasOwn(this.#prop.cues, name)) continue;
      if (names.length === 1) return name;
      const durationS = this.plan(name).durationS ?? Number.POSITIVE_INFINITY;
      if (durationS > mostS) [longest, mostS] = [name, durationS];
    }
    return longest;
  }

  #compile(cue: string): Step[] {
    const specs = longCue(this.#prop.cues[cue]!).steps;
    const named = new Map<string, number>();
    for (const [i, { name }] of specs.entries())
      if (name !== undefined && !named.has(name)) named.set(name, i);
    const steps = specs.map((spec, index): Step => {
      const path = stepPath(this.#prop, cue, index);
      return {
        cue,
        index,
        spec,
        path,
        ease: spec.ease === undefined ? undefined : parseEase(spec.ease),
        followers: [],
        first: spec.after === undefined,
        targets: this.#targets(spec, path),
      };
    });
    for (const { index, spec } of steps) {
      const before = spec.after === undefined ? undefined : named.get(spec.after);
      if (before !== undefined) steps[before]!.followers.push(index);
    }
    return steps;
  }

  #targets({ move, pose }: CueStep, at: Path): Target[] {
    const { groups, poses } = this.#prop;
    const targets: Target[] = [];
    const add = (name: string, to: number | string, spread: number, path: Path) => {
      const servo = this.servo(name);
      const deg = servo && degOf(servo.spec, to);
      if (deg !== undefined)
        targets.push({ servo: name, low: deg - spread, high: deg + spread, path });
    };
    if (pose !== undefined && Object.hasOwn(poses, pose))
      for (const [name, to] of Object.entries(poses[pose]!)) add(name, to, 0, [...at, 'pose']);
    for (const [name, to] of Object.entries(move ?? {})) {
      const path = [...at, 'move', name];
      const [deg, spread] = typeof to === 'object' ? [to.around, to.spread] : [to, 0];
      for (const member of Object.hasOwn(groups, name) ? groups[name]! : [name])
        add(member, deg, spread, path);
    }
    return targets;
  }
}

function degOf(servo: ServoChannel, to: number | string): number | undefined {
  if (typeof to === 'number') return to;
  const marks = servo.marks ?? {};
  return Object.hasOwn(marks, to) ? marks[to] : undefined;
}

/** One walk along the timeline of a cue. */
class Walk {
  readonly #planner: Planner;
  readonly #loads: CueLoads;
  readonly #motions = new Map<string, Motion>();
  readonly #problems = new Map<string, PlanProblem>();
  /** Steps that are due, the next one last. */
  readonly #due: { atS: number; order: number; run: StepRun }[] = [];
  #order = 0;
  #innerStepsLeft: number;

  constructor(planner: Planner, loads: CueLoads) {
    this.#planner = planner;
    this.#loads = loads;
    this.#innerStepsLeft = Math.min(MOST_INNER_STEPS, planner.innerStepsLeft);
  }

  plan(name: string): CuePlan {
    const root = this.#begin(name, 0, undefined);
    for (let next = this.#due.pop(); next; next = this.#due.pop()) this.#start(next.run, next.atS);
    return {
      steps: root.steps.map(({ step, startS, endS, moves }) => ({
        index: step.index,
        startS,
        endS,
        moves,
      })),
      durationS: root.left === 0 ? root.endS : null,
      problems: [...this.#problems.values()],
    };
  }

  #begin(cue: string, startS: number, parent: StepRun | undefined): Run {
    const steps = this.#planner.steps(cue);
    const run: Run = { steps: [], startS, endS: startS, left: steps.length, parent };
    for (const step of steps)
      run.steps.push({
        step,
        run,
        startS: null,
        ownEndS: 0,
        endS: null,
        moves: [],
        runs: 0,
      });
    for (const one of run.steps) if (one.step.first) this.#schedule(one, startS);
    return run;
  }

  #schedule(run: StepRun, fromS: number): void {
    const { at = 0, spreadS = 0 } = run.step.spec;
    const atS = fromS + at + spreadS;
    const order = this.#order++;
    let low = 0;
    let high = this.#due.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      const other = this.#due[middle]!;
      if (other.atS > atS || (other.atS === atS && other.order > order)) low = middle + 1;
      else high = middle;
    }
    this.#due.splice(low, 0, { atS, order, run });
  }

  #start(one: StepRun, nowS: number): void {
    const { step } = one;
    one.startS = nowS;
    const moveS = this.#move(one, nowS);
    const otherS = this.#loads.start(step.spec, nowS);
    const untilS = step.spec.until?.withinS ?? 0;
    one.ownEndS = nowS + Math.max(moveS, otherS, untilS);
    const movers = one.moves.map(({ servo }) => servo);
    for (const load of this.#loads.check(step.spec, movers, nowS, nowS + moveS))
      this.#tell(step, load.severity, [...step.path, load.part], load);
    this.#startInner(one, nowS);
  }

  // --- cues within cues -----------------------------------------------------------------------------

  #startInner(one: StepRun, nowS: number): void {
    const inner = this.#planner.innerCue(one.step.spec);
    if (inner === undefined) return this.#finish(one, one.ownEndS);
    const { times = 1 } = one.step.spec;
    const steps = this.#planner.steps(inner).length;
    if (this.#innerStepsLeft < steps) {
      const durationS = this.#planner.plan(inner).durationS;
      if (times !== 'until stopped' && durationS !== null)
        this.#finish(one, nowS + times * durationS);
      return;
    }
    this.#takeInner(steps);
    this.#begin(inner, nowS, one);
  }

  #takeInner(steps: number): void {
    this.#innerStepsLeft -= steps;
    this.#planner.innerStepsLeft -= steps;
  }

  /** A run of the cue within a step has ended. */
  #innerOver(one: StepRun, run: Run): void {
    const { times = 1 } = one.step.spec;
    one.runs++;
    const steps = run.steps.length;
    const lastS = run.endS - run.startS;
    if (one.runs === 2 && lastS === 0 && times !== 1) this.#tellRestless(one.step, run);
    if (times === 'until stopped') {
      if (one.runs < ENDLESS_RUNS) this.#again(one, run);
      return;
    }
    const left = times - one.runs;
    if (left === 0) this.#finish(one, run.endS);
    else if (this.#innerStepsLeft < steps) this.#finish(one, run.endS + left * lastS);
    else {
      this.#takeInner(steps);
      this.#again(one, run);
    }
  }

  #again(one: StepRun, run: Run): void {
    const inner = this.#planner.innerCue(one.step.spec) ?? run.steps[0]!.step.cue;
    this.#begin(inner, run.endS, one);
  }

  #finish(one: StepRun, atS: number): void {
    const { run, step } = one;
    const endS = Math.max(atS, one.ownEndS);
    one.endS = endS;
    for (const follower of step.followers) this.#schedule(run.steps[follower]!, endS);
    run.endS = Math.max(run.endS, endS);
    run.left--;
    if (run.left === 0 && run.parent) this.#innerOver(run.parent, run);
  }

  // --- moves ----------------------------------------------------------------------------------------

  /** Plans the moves of a step; they take as long as the slowest. @returns their time (s) */
  #move(one: StepRun, nowS: number): number {
    const { step } = one;
    const { overS } = step.spec;
    let moveS = step.targets.length > 0 ? (overS ?? 0) : 0;
    let slowest: PlannedMove | undefined;
    const planned: { move: PlannedMove; target: Target; from: MotionState; eased: boolean }[] = [];
    for (const target of step.targets) {
      const servo = this.#planner.servo(target.servo)!;
      const motion = this.#motionOf(servo, target);
      const moving = nowS < motion.arrivesS - SAME_S;
      if (moving) this.#tellTakeOver(step, target, motion, nowS);
      const eased = step.ease !== undefined && !moving;
      const move = { servo: servo.name, fromDeg: 0, toDeg: 0, neededS: 0 };
      const from = { pos: 0, vel: 0, acc: 0 };
      try {
        if (moving) this.#sample(servo, motion, nowS, from);
        else from.pos = target.high - motion.low > motion.high - target.low ? motion.low : motion.high;
        move.fromDeg = from.pos;
        move.toDeg =
          Math.abs(target.high - from.pos) >= Math.abs(target.low - from.pos)
            ? target.high
            : target.low;
        move.neededS = eased
          ? this.#planner.easedS(servo, from.pos, move.toDeg, step)
          : planMove(from, move.toDeg, servo.limits).durationS;
      } catch (error) {
        if (!(error instanceof RangeError)) throw error;
        this.#tellUnplannable(step, target);
        continue;
      }
      if (eased) this.#checkCurve(step, servo, move);
      moveS = Math.max(moveS, move.neededS);
      if (!slowest || move.neededS > slowest.neededS) slowest = move;
      planned.push({ move, target, from, eased });
    }
    for (const { move, target, from, eased } of planned) {
      one.moves.push(move);
      this.#motions.set(move.servo, {
        low: target.low,
        high: target.high,
        from,
        to: move.toDeg,
        ease: eased ? step.ease : undefined,
        startS: nowS,
        arrivesS: nowS + moveS,
        by: step,
      });
    }
    if (slowest && overS !== undefined && slowest.neededS > overS + SAME_S)
      this.#tellSlow(step, slowest, overS);
    return moveS;
  }

  #motionOf(servo: Servo, { low }: Target): Motion {
    const known = this.#motions.get(servo.name);
    if (known) return known;
    const pos = servo.parkDeg ?? low;
    const from = { pos, vel: 0, acc: 0 };
    return { low: pos, high: pos, from, to: pos, ease: undefined, startS: 0, arrivesS: 0, by: undefined };
  }

  /** Where a servo is on its way. */
  #sample(servo: Servo, motion: Motion, nowS: number, into: MotionState): void {
    const { from, to, ease, startS, arrivesS } = motion;
    const durationS = arrivesS - startS;
    const trajectory = ease
      ? planEased(from.pos, to, ease, durationS, servo.limits).trajectory
      : planMove(from, to, servo.limits, durationS);
    sample(trajectory, nowS - startS, into);
  }

  /** A curve may swing past both ends of its move, but not past the soft limits. */
  #checkCurve(step: Step, servo: Servo, { fromDeg, toDeg }: PlannedMove): void {
    const { softLow, softHigh } = servo;
    const [low, high] = easedRange(fromDeg, toDeg, step.ease!);
    const inside = (deg: number) => deg >= softLow - 1e-9 && deg <= softHigh + 1e-9;
    if (!inside(fromDeg) || !inside(toDeg) || (inside(low) && inside(high))) return;
    const out = inside(low) ? high : low;
    this.#tell(step, 'error', [...step.path, 'ease'], {
      id: `curve ${servo.name}`,
      size: Math.max(softLow - low, high - softHigh),
      wrong: `this curve swings ${servo.name} to ${tidy(out, 1)} deg on its way from ${tidy(fromDeg)} to ${tidy(toDeg)} deg, past its soft limits, ${softLow} to ${softHigh} deg`,
      right: 'use a curve that does not overshoot, or move less far',
    });
  }

  // --- what is wrong --------------------------------------------------------------------------------

  #tellSlow(step: Step, { servo, fromDeg, toDeg, neededS }: PlannedMove, overS: number): void {
    const enoughS = Math.ceil(neededS * 100 - 1e-6) / 100;
    this.#tell(step, 'warning', [...step.path, 'overS'], {
      id: 'slow',
      size: neededS - overS,
      wrong: `${servo} cannot get from ${tidy(fromDeg)} to ${tidy(toDeg)} deg in ${overS} s within its limits: it needs ${tidy(neededS)} s, ${tidy(neededS - overS)} s more, and will take that long`,
      right: `give ${enoughS} or more, or raise the limits of ${servo}`,
    });
  }

  #tellTakeOver(step: Step, target: Target, { by, startS, arrivesS }: Motion, nowS: number): void {
    if (!by || by === step) return;
    const { index, cue, spec } = by;
    const which = `${spec.name === undefined ? `step ${index + 1}` : `step ${spec.name}`}${cue === step.cue ? '' : ` of cue ${cue}`}`;
    this.#tell(step, 'warning', target.path, {
      id: `take over ${target.servo}`,
      atKey: target.path.at(-1) !== 'pose',
      size: arrivesS - nowS,
      wrong: `${target.servo} is still on its way in ${which}, from ${tidy(startS)} to ${tidy(arrivesS)} s, when this move takes it over at ${tidy(nowS)} s`,
      right: 'start this step after that one has ended, or remove the servo from one of them',
    });
  }

  #tellUnplannable(step: Step, { servo, path }: Target): void {
    this.#tell(step, 'error', path, {
      id: `unplannable ${servo}`,
      size: 0,
      wrong: `the move of ${servo} is too large or too slow to be planned`,
      right: `check the limits, speed and acceleration of ${servo}`,
    });
  }

  #tellRestless(step: Step, run: Run): void {
    this.#tell(step, 'warning', [...step.path, 'times'], {
      id: 'restless',
      size: 0,
      wrong: `cue ${run.steps[0]!.step.cue} takes no time, so it would run again with every tick`,
      right: 'give its last step a later time',
    });
  }

  #tell(
    { cue, index }: Step,
    severity: PlanProblem['severity'],
    path: Path,
    said: { id: string; size: number; atKey?: boolean; wrong: string; right: string },
  ): void {
    const id = `${cue} ${index} ${said.id}`;
    const known = this.#problems.get(id);
    if (known && !isWorse({ severity, size: said.size }, known)) return;
    this.#problems.set(id, { severity, cue, path, atKey: false, ...said, id });
  }
}

/** Whether a problem is worse than another of the same id. */
export function isWorse(
  one: Pick<PlanProblem, 'severity' | 'size'>,
  other: Pick<PlanProblem, 'severity' | 'size'>,
): boolean {
  if (one.severity !== other.severity) return one.severity === 'error';
  return one.size > other.size;
}
