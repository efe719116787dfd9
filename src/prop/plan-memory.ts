import { servoOf } from './kinds/channel.ts';
import type { CuePlan, PlanStep, Servo } from './plan-types.ts';
import type { Dependents } from './planned-interlocks.ts';
import type { Cue, Prop } from './schema.ts';
import { childrenOf, valuesOf } from './steps.ts';

/**
 * Plans of cues kept from one version of a prop for the next: a version made by an edit shares with
 * the one before whatever did not change, so that a cue is known again by being the same object. All
 * else that its plan rests upon is noted beside it, and compared.
 */

/** What is kept of a cue. */
export interface Kept {
  /** All that its plan rests upon, but for the cue itself and what is fixed in the program. */
  readonly basis: string;
  plan?: {
    plan: CuePlan;
    /** Cues that were planned on the way, and how many steps within cues it took. */
    planned: readonly string[];
    innerSteps: number;
  };
}

const kept = new WeakMap<Cue, Kept>();

/** Numbers for objects, so that being the same one can be written down. */
const numbers = new WeakMap<object, number>();
let count = 0;
function numberOf(thing: object | undefined): number {
  if (!thing) return 0;
  let number = numbers.get(thing);
  if (number === undefined) {
    number = ++count;
    numbers.set(thing, number);
  }
  return number;
}

/** Whatever an interlock of the prop looks at: requirements, and where its channels are parked and marked. */
function interlocked({ channels }: Prop, dependents: Dependents): unknown[] {
  const names = new Set([
    ...dependents.keys(),
    ...[...dependents.values()].flat().map(({ name }) => name),
  ]);
  return [...names].map((name) => {
    const channel = channels[name];
    const { requires, park } = channel ?? {};
    return [name, requires, park, servoOf(channel)?.marks];
  });
}

/** What the memory asks of a planner. */
export interface Looks {
  readonly prop: Prop;
  /** The rails while all is parked. */
  readonly rails: ReadonlyMap<string, { limitA: number; idleA: number }>;
  /** How much each light of the prop counts for the flash guard. */
  readonly lights: ReadonlyMap<string, number>;
  /** The interlocks of the prop. */
  readonly dependents: Dependents;
  steps(cue: string): readonly PlanStep[];
  servo(name: string): Servo | undefined;
}

/** Finds what is kept of the cues of one prop. */
export class PlanMemory {
  readonly #looks: Looks;
  readonly #found = new Map<string, Kept | undefined>();
  /** What every plan rests upon. */
  readonly #whole: string;

  constructor(looks: Looks) {
    this.#looks = looks;
    this.#whole = JSON.stringify([
      [...looks.rails].map(([name, { limitA, idleA }]) => [name, limitA, idleA]),
      [...looks.lights],
      interlocked(looks.prop, looks.dependents),
    ]);
  }

  /** What is kept of a cue, where that still holds; else a new place. Undefined within a circle. */
  of(name: string): Kept | undefined {
    if (this.#found.has(name)) return this.#found.get(name);
    this.#found.set(name, undefined); // met again from within, it is in a circle
    const basis = this.#basis(name);
    if (basis === undefined) return undefined;
    const cue = this.#looks.prop.cues[name]!;
    let found = kept.get(cue);
    if (found?.basis !== basis) {
      found = { basis };
      kept.set(cue, found);
    }
    this.#found.set(name, found);
    return found;
  }

  #basis(name: string): string | undefined {
    const { prop } = this.#looks;
    const { cues } = prop;
    const parts: unknown[] = [name, this.#whole];
    const servos = new Set<string>();
    for (const { spec, targets } of this.#looks.steps(name)) {
      for (const { servo, low, high } of targets) {
        servos.add(servo);
        parts.push(servo, low, high);
      }
      for (const { channel, to, part } of valuesOf(prop, spec))
        parts.push(channel, to, part, this.#other(channel));
      for (const { cue: inner } of childrenOf(spec)) {
        if (!Object.hasOwn(cues, inner)) continue;
        const within = this.of(inner);
        if (!within) return undefined;
        parts.push(inner, numberOf(within));
      }
    }
    for (const servo of servos) parts.push(this.#servo(servo));
    return JSON.stringify(parts);
  }

  /** Lights and relays count as they are; of servos only that they are some. */
  #other(name: string): number | string {
    const { channels } = this.#looks.prop;
    const channel = Object.hasOwn(channels, name) ? channels[name] : undefined;
    return servoOf(channel) ? 'servo' : numberOf(channel);
  }

  /** What the plans of moves take from a servo; its marks stand in the targets already. */
  #servo(name: string): unknown[] {
    const { spec, limits, softLow, softHigh, parkDeg } = this.#looks.servo(name)!;
    const { idleA, movingA } = spec.draw ?? {};
    const { speed, accel, jerk } = limits;
    return [name, spec.rail, speed, accel, jerk, softLow, softHigh, parkDeg, idleA, movingA];
  }
}
