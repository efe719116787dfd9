import { servoOf } from './kinds/channel.ts';
import type { CuePlan, PlanStep, Servo } from './plan-types.ts';
import type { Dependents } from './planned-interlocks.ts';
import type { Cue, Prop } from './schema.ts';
import { soundS } from './sound-files.ts';
import { childrenOf, takeOf, valuesOf } from './steps.ts';

/**
 * Keeps the plans of cues from one version of a prop for the next. A version made by an edit shares
 * unchanged objects with the one before, so a cue is recognised as the same object. Everything else that
 * its plan depends on is stored with the plan and compared.
 */

/** What is kept for a cue. */
export interface Kept {
  /** Everything that its plan depends on, except the cue itself and what is fixed in the program. */
  readonly basis: string;
  plan?: {
    plan: CuePlan;
    /** Cues that were planned for it, and the number of steps within cues that this took. */
    planned: readonly string[];
    innerSteps: number;
  };
}

const kept = new WeakMap<Cue, Kept>();

/** Numbers for objects, so that identity can be part of a text. */
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

/** Everything that interlocks depend on: requirements, and park positions and marks of their channels. */
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

/** What the memory needs from a planner. */
export interface PlanLookup {
  readonly prop: Prop;
  /** The rails while everything is parked. */
  readonly rails: ReadonlyMap<string, { limitA: number; idleA: number }>;
  /** The weight of each light of the prop for the flash guard. */
  readonly lights: ReadonlyMap<string, number>;
  /** The interlocks of the prop. */
  readonly dependents: Dependents;
  steps(cue: string): readonly PlanStep[];
  servo(name: string): Servo | undefined;
}

/** Finds the kept plans of the cues of one prop. */
export class PlanMemory {
  readonly #lookup: PlanLookup;
  readonly #found = new Map<string, Kept | undefined>();
  /** What every plan depends on. */
  readonly #whole: string;

  constructor(lookup: PlanLookup) {
    this.#lookup = lookup;
    this.#whole = JSON.stringify([
      [...lookup.rails].map(([name, { limitA, idleA }]) => [name, limitA, idleA]),
      [...lookup.lights],
      interlocked(lookup.prop, lookup.dependents),
    ]);
  }

  /** The kept entry of a cue if it is still valid, otherwise a new one. Undefined within a circle. */
  of(name: string): Kept | undefined {
    if (this.#found.has(name)) return this.#found.get(name);
    this.#found.set(name, undefined); // if it is reached from within, it is in a circle
    const basis = this.#basis(name);
    if (basis === undefined) return undefined;
    const cue = this.#lookup.prop.cues[name]!;
    let found = kept.get(cue);
    if (found?.basis !== basis) {
      found = { basis };
      kept.set(cue, found);
    }
    this.#found.set(name, found);
    return found;
  }

  #basis(name: string): string | undefined {
    const { prop } = this.#lookup;
    const { cues } = prop;
    const parts: unknown[] = [name, this.#whole];
    const servos = new Set<string>();
    for (const { spec, targets, take } of this.#lookup.steps(name)) {
      for (const { name: servo } of take?.servos ?? []) servos.add(servo);
      for (const { servo, low, high } of targets) {
        servos.add(servo);
        parts.push(servo, low, high);
      }
      parts.push(numberOf(takeOf(prop, spec)));
      for (const { channel, to, part } of valuesOf(prop, spec))
        parts.push(channel, to, part, this.#other(channel));
      if (spec.sound) parts.push(soundS(prop, spec));
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

  /** Lights and relays count with all they contain; for servos it is enough that they are servos. */
  #other(name: string): number | string {
    const { channels } = this.#lookup.prop;
    const channel = Object.hasOwn(channels, name) ? channels[name] : undefined;
    return servoOf(channel) ? 'servo' : numberOf(channel);
  }

  /** What plans of moves use of a servo; its marks are already resolved in the targets. */
  #servo(name: string): unknown[] {
    const { spec, limits, softLow, softHigh, parkDeg } = this.#lookup.servo(name)!;
    const { idleA, movingA } = spec.draw ?? {};
    const { speed, accel, jerk } = limits;
    return [name, spec.rail, speed, accel, jerk, softLow, softHigh, parkDeg, idleA, movingA];
  }
}
