import { parseEase } from '../sums/ease.ts';
import { planEased } from '../sums/eased-move.ts';
import { planMove } from '../sums/profile.ts';
import type { Path } from './finding.ts';
import { servoOf } from './kinds/channel.ts';
import { degIn } from './kinds/servo.ts';
import { longCue } from './long-cue.ts';
import { softLimits } from './mechanics.ts';
import { motionLimits } from './motion-limits.ts';
import { PlanMemory } from './plan-memory.ts';
import type { CuePlan, PlanStep, Servo, Target, WalkPlanner } from './plan-types.ts';
import { PlanWalk } from './plan-walk.ts';
import {
  type Dependents,
  dependentsIn,
  type Place,
  PlannedInterlocks,
} from './planned-interlocks.ts';
import { lightsOf } from './planned-light.ts';
import { PlannedLoads, type Rails, railsOf } from './planned-loads.ts';
import type { CueStep, Prop } from './schema.ts';
import { soundS } from './sound-files.ts';
import { childrenOf, touchesOf } from './steps.ts';
import { playedTake } from './take/played.ts';

/** The path of step `index` of a cue in the file. */
export function stepPath(prop: Prop, cue: string, index: number): Path {
  const long = !Array.isArray(prop.cues[cue]);
  return ['cues', cue, ...(long ? ['steps'] : []), index];
}

const planners = new WeakMap<Prop, Planner>();

/**
 * The plan of the cue called `name`. Each plan is computed once per prop, which must not change
 * afterwards. Unknown names are ignored; a cue that contains itself never ends.
 */
export function cuePlan(prop: Prop, name: string): CuePlan {
  let planner = planners.get(prop);
  if (!planner) {
    planner = new Planner(prop);
    planners.set(prop, planner);
  }
  return planner.plan(name);
}

/** Planned duration of a cue (s); null when it goes on until it is stopped. */
export function cueDurationS(prop: Prop, name: string): number | null {
  return cuePlan(prop, name).durationS;
}

/** Steps of cues within cues that are simulated one by one, for a whole prop. */
const MAX_INNER_STEPS_IN_ALL = 200_000;
/** With fewer left, a plan may be cut short because of other plans, and is not kept. */
const AMPLE_INNER_STEPS = MAX_INNER_STEPS_IN_ALL / 2;

/**
 * How long moves from rest take (s), by what the file says of their servo: a version made by an edit shares
 * what has not changed, so an edit plans the moves of the edited servo alone.
 */
const timesFromRest = new WeakMap<Servo['spec'], Map<string, number>>();
/** Times kept of a servo; with more, they are worked out again. */
const MAX_TIMES = 1000;

/** Looks up names and plans each cue of a prop once. */
class Planner implements WalkPlanner {
  readonly #prop: Prop;
  readonly #plans = new Map<string, CuePlan>();
  readonly #steps = new Map<string, PlanStep[]>();
  readonly #servos = new Map<string, Servo>();
  readonly #rails: Rails;
  readonly #memory: PlanMemory;
  /** Cues that the plan in progress has asked for. */
  #asked: string[] = [];
  readonly #lights: ReadonlyMap<string, number>;
  readonly #dependents: Dependents;
  innerStepsLeft = MAX_INNER_STEPS_IN_ALL;

  constructor(prop: Prop) {
    this.#prop = prop;
    this.#rails = railsOf(prop);
    this.#dependents = dependentsIn(prop);
    this.#lights = lightsOf(prop);
    this.#memory = new PlanMemory({
      prop,
      rails: this.#rails,
      lights: this.#lights,
      dependents: this.#dependents,
      steps: (name) => this.steps(name),
      servo: (name) => this.servo(name),
    });
  }

  /** The interlocks along a walk whose servo positions are in `places`. */
  interlocks(places: ReadonlyMap<string, Place>): PlannedInterlocks {
    return new PlannedInterlocks(this.#prop, this.#dependents, places);
  }

  plan(name: string): CuePlan {
    this.#asked.push(name);
    const known = this.#plans.get(name);
    if (known) return known;
    const kept = this.innerStepsLeft < AMPLE_INNER_STEPS ? undefined : this.#memory.of(name);
    if (kept?.plan) {
      const { plan, planned, innerSteps } = kept.plan;
      this.#plans.set(name, plan);
      for (const inner of planned) this.plan(inner);
      this.innerStepsLeft -= innerSteps;
      return plan;
    }
    // A cue that is asked for while it is being planned contains itself.
    this.#plans.set(name, { steps: [], durationS: null, problems: [] });
    const asked = this.#asked;
    this.#asked = [];
    const walk = new PlanWalk(this, new PlannedLoads(this.#prop, this.#rails, this.#lights));
    const plan = walk.plan(name);
    this.#plans.set(name, plan);
    const ample = this.innerStepsLeft >= AMPLE_INNER_STEPS;
    if (kept && ample) kept.plan = { plan, planned: this.#asked, innerSteps: walk.innerSteps };
    this.#asked = asked;
    return plan;
  }

  steps(name: string): PlanStep[] {
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
    const spec = servoOf(Object.hasOwn(channels, name) ? channels[name] : undefined);
    if (!spec) return undefined;
    const [softLow, softHigh] = softLimits(spec);
    const servo = {
      name,
      spec,
      limits: motionLimits(spec),
      softLow,
      softHigh,
      parkDeg: degIn(spec, spec.park.to),
    };
    this.#servos.set(name, servo);
    return servo;
  }

  fromRestS({ spec, limits }: Servo, fromDeg: number, toDeg: number, step: PlanStep): number {
    let known = timesFromRest.get(spec);
    if (!known || known.size === MAX_TIMES) {
      known = new Map();
      timesFromRest.set(spec, known);
    }
    const key = `${fromDeg} ${toDeg} ${step.spec.ease ?? ''}`;
    let neededS = known.get(key);
    if (neededS === undefined) {
      neededS = step.ease
        ? planEased(fromDeg, toDeg, step.ease, 0, limits).durationS
        : planMove({ pos: fromDeg, vel: 0, acc: 0 }, toDeg, limits).durationS;
      known.set(key, neededS);
    }
    return neededS;
  }

  soundS(step: CueStep): number {
    return soundS(this.#prop, step);
  }

  /** The cue that runs within a step; for `choose`, the longest. */
  innerCue(step: CueStep): string | undefined {
    const names = childrenOf(step).map(({ cue }) => cue);
    let longest: string | undefined;
    let maxS = -1;
    for (const name of names) {
      if (!Object.hasOwn(this.#prop.cues, name)) continue;
      if (names.length === 1) return name;
      const durationS = this.plan(name).durationS ?? Number.POSITIVE_INFINITY;
      if (durationS > maxS) [longest, maxS] = [name, durationS];
    }
    return longest;
  }

  #compile(cue: string): PlanStep[] {
    const specs = longCue(this.#prop.cues[cue]!).steps;
    const named = new Map<string, number>();
    for (const [i, { name }] of specs.entries())
      if (name !== undefined && !named.has(name)) named.set(name, i);
    const steps = specs.map((spec, index): PlanStep => {
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
        take: playedTake(this.#prop, spec),
      };
    });
    for (const { index, spec } of steps) {
      const before = spec.after === undefined ? undefined : named.get(spec.after);
      if (before !== undefined) steps[before]!.followers.push(index);
    }
    return steps;
  }

  #targets(step: CueStep, path: Path): Target[] {
    const targets: Target[] = [];
    for (const { channels, to, part, at } of touchesOf(this.#prop, step)) {
      if (part !== 'move' && part !== 'pose') continue;
      const [deg, spread] = typeof to === 'object' ? [to.around, to.spread] : [to, 0];
      for (const name of channels) {
        const servo = this.servo(name);
        const middle = servo && degIn(servo.spec, deg);
        if (middle === undefined) continue;
        targets.push({
          servo: name,
          low: middle - spread,
          high: middle + spread,
          path: [...path, ...at],
        });
      }
    }
    return targets;
  }
}
