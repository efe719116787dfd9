import { tidy } from '../shared/units.ts';
import type { Ease } from '../sums/ease.ts';
import { easedRange, planEased } from '../sums/eased-move.ts';
import { type MotionState, planMove, sample, type Trajectory } from '../sums/profile.ts';
import type { Path } from './finding.ts';
import type {
  CuePlan,
  PlannedMove,
  PlanProblem,
  PlanStep,
  Servo,
  Target,
  WalkPlanner,
} from './plan-types.ts';
import type { PlannedInterlocks } from './planned-interlocks.ts';
import type { PlannedLoads } from './planned-loads.ts';
import { type CueStep, waitsS } from './steps.ts';
import type { PlayedTake } from './take/played.ts';

/** Most steps of cues within a cue that are simulated one by one. */
const MAX_INNER_STEPS = 2000;
/** Runs that are planned of a cue without an end: the second begins where the first has ended. */
const ENDLESS_RUNS = 2;
/** A take that plays later than this (s), because its servos come from elsewhere, is reported. */
const LATE_S = 0.02;
/** Times this close (s) are the same. */
const SAME_S = 1e-6;

/** Where a servo is during a plan. */
interface Motion {
  /** Where it rests, or will rest (deg); a range if the target is random. */
  low: number;
  high: number;
  from: MotionState;
  to: number;
  ease: Ease | undefined;
  startS: number;
  arrivesS: number;
  by: PlanStep | undefined;
  /** It follows a take. */
  track?: Trajectory;
}

interface PlanRun {
  cue: string;
  steps: PlanStepRun[];
  startS: number;
  endS: number;
  left: number;
  parent: PlanStepRun | undefined;
}

interface PlanStepRun {
  step: PlanStep;
  run: PlanRun;
  startS: number | null;
  /** When everything in it except the cue within it has ended. */
  ownEndS: number;
  endS: number | null;
  moves: PlannedMove[];
  /** Completed runs of the cue within it. */
  runs: number;
}

/** One walk along the timeline of a cue. */
export class PlanWalk {
  readonly #planner: WalkPlanner;
  readonly #loads: PlannedLoads;
  readonly #motions = new Map<string, Motion>();
  readonly #problems = new Map<string, PlanProblem>();
  /** Steps that are due, the next one last. */
  readonly #due: { atS: number; order: number; run: PlanStepRun }[] = [];
  readonly #stepOf = new Map<CueStep, PlanStep>();
  #order = 0;
  #innerStepsLeft: number;
  /** Steps of cues within it that were simulated. */
  innerSteps = 0;

  readonly #interlocks: PlannedInterlocks;

  constructor(planner: WalkPlanner, loads: PlannedLoads) {
    this.#planner = planner;
    this.#loads = loads;
    this.#interlocks = planner.interlocks(this.#motions);
    this.#innerStepsLeft = Math.min(MAX_INNER_STEPS, planner.innerStepsLeft);
  }

  /** Walks along the cue called `name` once. @returns its plan; use a new walk for each cue */
  plan(name: string): CuePlan {
    const root = this.#begin(name, 0, undefined);
    for (let next = this.#due.pop(); next; next = this.#due.pop()) this.#start(next.run, next.atS);
    this.#reportFlashes();
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

  #begin(cue: string, startS: number, parent: PlanStepRun | undefined): PlanRun {
    const steps = this.#planner.steps(cue);
    const run: PlanRun = { cue, steps: [], startS, endS: startS, left: steps.length, parent };
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

  #schedule(run: PlanStepRun, fromS: number): void {
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

  #start(one: PlanStepRun, nowS: number): void {
    const { step } = one;
    this.#stepOf.set(step.spec, step);
    one.startS = nowS;
    for (const fault of this.#interlocks.check(step.spec, step.path, step.targets, nowS))
      this.#report(step, 'error', fault.path, { size: 0, ...fault });
    const moveS = Math.max(this.#move(one, nowS), this.#play(one, nowS));
    const otherS = this.#loads.start(step.spec, nowS);
    const untilS = waitsS(step.spec);
    const soundsS = this.#planner.soundS(step.spec);
    one.ownEndS = nowS + Math.max(moveS, otherS, untilS, soundsS);
    const movers = one.moves.map(({ servo }) => servo);
    for (const load of this.#loads.check(step.spec, movers, nowS, nowS + moveS))
      this.#report(step, load.severity, [...step.path, load.part], load);
    this.#startInner(one, nowS);
  }

  // --- cues within cues -----------------------------------------------------------------------------

  #startInner(one: PlanStepRun, nowS: number): void {
    const inner = this.#planner.innerCue(one.step.spec);
    if (inner === undefined) {
      // A take that is repeated until it is stopped has no end.
      if (one.step.take && one.step.spec.times === 'until stopped') return;
      this.#finish(one, one.ownEndS);
      return;
    }
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
    this.innerSteps += steps;
    this.#innerStepsLeft -= steps;
    this.#planner.innerStepsLeft -= steps;
  }

  /** A run of the cue within a step has ended. */
  #innerOver(one: PlanStepRun, run: PlanRun): void {
    const { times = 1 } = one.step.spec;
    one.runs++;
    const steps = run.steps.length;
    const lastS = run.endS - run.startS;
    if (one.runs === 2 && lastS === 0 && times !== 1) this.#reportRestless(one.step, run);
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

  #again(one: PlanStepRun, run: PlanRun): void {
    this.#begin(run.cue, run.endS, one);
  }

  #finish(one: PlanStepRun, atS: number): void {
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
  #move(one: PlanStepRun, nowS: number): number {
    const { step } = one;
    const { overS } = step.spec;
    let moveS = step.targets.length > 0 ? (overS ?? 0) : 0;
    let slowest: PlannedMove | undefined;
    const planned: { move: PlannedMove; target: Target; from: MotionState; eased: boolean }[] = [];
    for (const target of step.targets) {
      const servo = this.#planner.servo(target.servo)!;
      const motion = this.#motionOf(servo, target);
      const moving = nowS < motion.arrivesS - SAME_S;
      if (moving) this.#reportTakeOver(step, target, motion, nowS);
      const eased = step.ease !== undefined && !moving;
      const move = { servo: servo.name, fromDeg: 0, targetDeg: 0, neededS: 0 };
      const from = { pos: 0, vel: 0, acc: 0 };
      try {
        if (moving) this.#sample(servo, motion, nowS, from);
        else
          from.pos = target.high - motion.low > motion.high - target.low ? motion.low : motion.high;
        move.fromDeg = from.pos;
        move.targetDeg =
          Math.abs(target.high - from.pos) >= Math.abs(target.low - from.pos)
            ? target.high
            : target.low;
        move.neededS = moving
          ? planMove(from, move.targetDeg, servo.limits).durationS
          : this.#planner.fromRestS(servo, from.pos, move.targetDeg, step);
      } catch (error) {
        if (!(error instanceof RangeError)) throw error;
        this.#reportUnplannable(step, target);
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
        to: move.targetDeg,
        ease: eased ? step.ease : undefined,
        startS: nowS,
        arrivesS: nowS + moveS,
        by: step,
      });
    }
    if (slowest && overS !== undefined && slowest.neededS > overS + SAME_S)
      this.#reportSlow(step, slowest, overS);
    return moveS;
  }

  /** Plans the take of a step. @returns its time, with the way to where it begins (s) */
  #play(one: PlanStepRun, nowS: number): number {
    const { step } = one;
    const { take, spec } = step;
    if (!take) return 0;
    const path = [...step.path, 'take'];
    let entryS = 0;
    let againS = 0;
    let latest = '';
    for (const { name, track } of take.servos) {
      const servo = this.#planner.servo(name)!;
      const target = { servo: name, low: track.startDeg, high: track.startDeg, path };
      const motion = this.#motionOf(servo, target);
      const moving = nowS < motion.arrivesS - SAME_S;
      if (moving) this.#reportTakeOver(step, target, motion, nowS);
      const { endPos } = track.trajectory;
      const from = { pos: motion.low, vel: 0, acc: 0 };
      const end = { pos: endPos, vel: 0, acc: 0 };
      try {
        if (moving) this.#sample(servo, motion, nowS, from);
        const ownS = planMove(from, track.startDeg, servo.limits).durationS;
        if (ownS > entryS) [entryS, latest] = [ownS, name];
        againS = Math.max(againS, planMove(end, track.startDeg, servo.limits).durationS);
      } catch (error) {
        if (!(error instanceof RangeError)) throw error;
        this.#reportUnplannable(step, target);
        return 0;
      }
      one.moves.push({ servo: name, fromDeg: from.pos, targetDeg: endPos, neededS: entryS });
    }
    const { times = 1 } = spec;
    const again = times === 'until stopped' ? 0 : times - 1;
    const lastsS = entryS + take.durationS + again * (againS + take.durationS);
    for (const { name, track } of take.servos)
      this.#motions.set(name, {
        low: track.trajectory.endPos,
        high: track.trajectory.endPos,
        from: { pos: track.startDeg, vel: 0, acc: 0 },
        to: track.trajectory.endPos,
        ease: undefined,
        startS: nowS + entryS,
        arrivesS: times === 'until stopped' ? Number.POSITIVE_INFINITY : nowS + lastsS,
        by: step,
        track: track.trajectory,
      });
    if (entryS > LATE_S) this.#reportLate(step, take, latest, entryS);
    return lastsS;
  }

  #motionOf(servo: Servo, { low }: Pick<Target, 'low'>): Motion {
    const known = this.#motions.get(servo.name);
    if (known) return known;
    const pos = servo.parkDeg ?? low;
    const from = { pos, vel: 0, acc: 0 };
    return {
      low: pos,
      high: pos,
      from,
      to: pos,
      ease: undefined,
      startS: 0,
      arrivesS: 0,
      by: undefined,
    };
  }

  /** The state of a servo at a time. */
  #sample(servo: Servo, motion: Motion, nowS: number, into: MotionState): void {
    const { from, to, ease, startS, arrivesS, track } = motion;
    if (track) {
      sample(track, nowS - startS, into);
      return;
    }
    const durationS = arrivesS - startS;
    const trajectory = ease
      ? planEased(from.pos, to, ease, durationS, servo.limits)
      : planMove(from, to, servo.limits, durationS);
    sample(trajectory, nowS - startS, into);
  }

  /** A curve may overshoot both ends of its move, but not the soft limits. */
  #checkCurve(step: PlanStep, servo: Servo, { fromDeg, targetDeg }: PlannedMove): void {
    const { softLow, softHigh } = servo;
    const [low, high] = easedRange(fromDeg, targetDeg, step.ease!);
    const inside = (deg: number) => deg >= softLow - 1e-9 && deg <= softHigh + 1e-9;
    if (!inside(fromDeg) || !inside(targetDeg) || (inside(low) && inside(high))) return;
    const out = inside(low) ? high : low;
    this.#report(step, 'error', [...step.path, 'ease'], {
      id: `curve ${servo.name}`,
      size: Math.max(softLow - low, high - softHigh),
      wrong: `this curve swings ${servo.name} to ${tidy(out, 1)} deg on its way from ${tidy(fromDeg)} to ${tidy(targetDeg)} deg, past its soft limits, ${softLow} to ${softHigh} deg`,
      right: 'use a curve that does not overshoot, or move less far',
    });
  }

  // --- what is wrong --------------------------------------------------------------------------------

  #reportSlow(
    step: PlanStep,
    { servo, fromDeg, targetDeg, neededS }: PlannedMove,
    overS: number,
  ): void {
    const enoughS = Math.ceil(neededS * 100 - 1e-6) / 100;
    this.#report(step, 'warning', [...step.path, 'overS'], {
      id: 'slow',
      size: neededS - overS,
      wrong: `${servo} cannot get from ${tidy(fromDeg)} to ${tidy(targetDeg)} deg in ${overS} s within its limits: it needs ${tidy(neededS)} s, ${tidy(neededS - overS)} s more, and will take that long`,
      right: `give ${enoughS} or more, or raise the limits of ${servo}`,
    });
  }

  #reportLate(step: PlanStep, take: PlayedTake, servo: string, entryS: number): void {
    this.#report(step, 'note', [...step.path, 'take'], {
      id: 'late',
      size: entryS,
      wrong: `${servo} is not where take ${take.name} begins: it goes there first, and the take plays ${tidy(entryS, 2)} s later`,
      right: 'move the servos there before this step, where the time matters',
    });
  }

  #reportTakeOver(
    step: PlanStep,
    target: Target,
    { by, startS, arrivesS }: Motion,
    nowS: number,
  ): void {
    if (!by || by === step) return;
    const { index, cue, spec } = by;
    const which = `${spec.name === undefined ? `step ${index + 1}` : `step ${spec.name}`}${cue === step.cue ? '' : ` of cue ${cue}`}`;
    this.#report(step, 'warning', target.path, {
      id: `take over ${target.servo}`,
      atKey: target.path.at(-1) !== 'pose',
      size: arrivesS - nowS,
      wrong: `${target.servo} is still on its way in ${which}, from ${tidy(startS)} to ${tidy(arrivesS)} s, when this move takes it over at ${tidy(nowS)} s`,
      right: 'start this step after that one has ended, or remove the servo from one of them',
    });
  }

  #reportFlashes(): void {
    const found = this.#loads.flashing();
    if (!found) return;
    const step = this.#stepOf.get(found.by)!;
    this.#report(step, 'warning', step.path, {
      id: 'flashes',
      size: found.flashes,
      wrong: `all light of the prop together would flash ${found.flashes} times in a second here, at ${tidy(found.atS)} s: the daemon holds back any beyond 3`,
      right: 'let lights change less often, at the same time, or by less (fadeS helps)',
    });
  }

  #reportUnplannable(step: PlanStep, { servo, path }: Target): void {
    this.#report(step, 'error', path, {
      id: `unplannable ${servo}`,
      size: 0,
      wrong: `the move of ${servo} is too large or too slow to be planned`,
      right: `check the limits, speed and acceleration of ${servo}`,
    });
  }

  #reportRestless(step: PlanStep, run: PlanRun): void {
    this.#report(step, 'warning', [...step.path, 'times'], {
      id: 'restless',
      size: 0,
      wrong: `cue ${run.cue} takes no time, so it would run again with every tick`,
      right: 'give its last step a later time',
    });
  }

  #report(
    { cue, index }: PlanStep,
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
