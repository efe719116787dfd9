import type { Path } from './finding.ts';
import { holdsParked, requirementText } from './interlock.ts';
import { type LightChannel, lightOf, relayOf, servoOf } from './kinds/channel.ts';
import { isUsedParked, kindOf } from './kinds/registry.ts';
import { holdsBetween } from './kinds/servo.ts';
import { pulseS } from './pulse.ts';
import type { Prop, RelayChannel, Requirement } from './schema.ts';
import { type CueStep, fadeOf, valuesOf } from './steps.ts';

/** Where a servo is during a plan: it rests, or will rest, from `low` to `high` (deg). */
export interface Place {
  low: number;
  high: number;
  /** When it arrives there (s). */
  arrivesS: number;
}

/** A servo that a step moves, and its path in the file. */
interface Aim {
  servo: string;
  low: number;
  high: number;
  path: Path;
}

interface InterlockProblem {
  id: string;
  path: Path;
  atKey: boolean;
  wrong: string;
  right: string;
}

/** A relay or light that is on, or lit, from `fromS` until `untilS`. */
interface On {
  fromS: number;
  untilS: number;
  /** Brightest part of a light at the end of its last fade. */
  level: number;
}

interface Dependent {
  name: string;
  needs: Requirement;
}

const NEVER = Number.POSITIVE_INFINITY;
const SAME_S = 1e-6;

export type Dependents = ReadonlyMap<string, readonly Dependent[]>;

/** What the channels of a prop require of each channel; empty where there are no interlocks. */
export function dependentsIn(prop: Prop): Dependents {
  const dependents = new Map<string, Dependent[]>();
  for (const [name, { requires = [] }] of Object.entries(prop.channels))
    for (const needs of requires) {
      const all = dependents.get(needs.channel) ?? [];
      all.push({ name, needs });
      dependents.set(needs.channel, all);
    }
  return dependents;
}

/**
 * The interlocks along the plan of a cue. Only what the cue itself has done counts: it may be meant to
 * follow another one.
 */
export class PlannedInterlocks {
  readonly #prop: Prop;
  readonly #dependents: Dependents;
  /** Positions of servos that the plan has moved; all others are parked. */
  readonly #places: ReadonlyMap<string, Place>;
  readonly #on = new Map<string, On>();

  constructor(prop: Prop, dependents: Dependents, places: ReadonlyMap<string, Place>) {
    this.#prop = prop;
    this.#dependents = dependents;
    this.#places = places;
  }

  /** Checks a step that starts at `nowS`, before its moves are planned. */
  *check(step: CueStep, at: Path, aims: readonly Aim[], nowS: number): Generator<InterlockProblem> {
    if (this.#dependents.size === 0) return;
    const { channels } = this.#prop;
    const switches = [...this.#switches(step, at)];
    const opening = new Set(switches.filter(([, on]) => !on).map(([name]) => name));
    for (const { servo, low, high, path } of aims) {
      const spec = servoOf(channels[servo]);
      if (!spec) continue;
      const where = low === high ? `${low} deg` : `${low} to ${high} deg`;
      for (const { name, needs } of this.#inUse(servo, aims, opening, nowS))
        if (holdsBetween(needs, spec, low, high) === false)
          yield this.#problem(`this takes ${servo} to ${where}`, servo, name, needs, path);
    }
    for (const [relay, on, path] of switches) {
      if (this.#isOn(relay, nowS) === on) continue;
      for (const { name, needs } of this.#inUse(relay, aims, opening, nowS)) {
        const holds = 'is' in needs && (needs.is === 'on') === on && needs.is !== 'parked';
        const parked = 'is' in needs && needs.is === 'parked' && this.#parksAs(relay, on);
        if (holds || parked) continue;
        yield this.#problem(
          `this switches ${relay} ${on ? 'on' : 'off'}`,
          relay,
          name,
          needs,
          path,
        );
      }
    }
    this.#take(step, nowS);
  }

  #problem(
    does: string,
    what: string,
    name: string,
    needs: Requirement,
    path: Path,
  ): InterlockProblem {
    const { moves, words } = kindOf(this.#prop.channels[name]!);
    const moving = needs.while === 'moving';
    const state = moves && moving ? 'moving' : words.used;
    const end = moves && moving ? `wait until ${name} has arrived` : words.release(name);
    return {
      id: `interlock ${what} ${name}`,
      path,
      atKey: path.at(-1) !== 'pose',
      wrong: `${does} while ${name} is ${state} and needs ${requirementText(needs)}: it will be refused`,
      right: `${end}${moving ? '' : ' before'}, or leave ${what} as it is`,
    };
  }

  /** Channels that require something of another one and are in use, or are put into use by this step. */
  *#inUse(
    channel: string,
    aims: readonly Aim[],
    opening: ReadonlySet<string>,
    nowS: number,
  ): Generator<Dependent> {
    for (const dependent of this.#dependents.get(channel) ?? []) {
      const { name } = dependent;
      if (kindOf(this.#prop.channels[name]!).moves) {
        if (this.#isAway(name, nowS, aims, dependent.needs)) yield dependent;
      } else if (!opening.has(name) && this.#isOn(name, nowS)) yield dependent;
    }
  }

  #isAway(name: string, nowS: number, aims: readonly Aim[], needs: Requirement): boolean {
    const spec = servoOf(this.#prop.channels[name]);
    if (!spec) return false;
    const parked: Requirement = { channel: name, is: 'parked' };
    const isRest = ({ low, high }: { low: number; high: number }) =>
      holdsBetween(parked, spec, low, high) !== false;
    const place = this.#places.get(name);
    if (needs.while === 'moving')
      return (
        (place !== undefined && nowS < place.arrivesS - SAME_S) ||
        aims.some((aim) => aim.servo === name && !(place ? isSame(aim, place) : isRest(aim)))
      );
    if (place && (nowS < place.arrivesS - SAME_S || !isRest(place))) return true;
    return aims.some((aim) => aim.servo === name && !isRest(aim));
  }

  #isOn(name: string, nowS: number): boolean {
    const on = this.#on.get(name);
    if (on) return nowS >= on.fromS - SAME_S && nowS < on.untilS - SAME_S;
    return isUsedParked(this.#prop.channels[name]!);
  }

  #parksAs(relay: string, on: boolean): boolean {
    return holdsParked(this.#prop, { channel: relay, is: on ? 'on' : 'off' }) === true;
  }

  /** The relays that a step switches, including by its pose, and their paths in the file. */
  *#switches(step: CueStep, at: Path): Generator<[name: string, on: boolean, path: Path]> {
    for (const { channel, to, at: within } of valuesOf(this.#prop, step))
      if (relayOf(this.#prop.channels[channel])) yield [channel, to === 'on', [...at, ...within]];
  }

  /** Records which relays are on, and which lights are lit, from this step on. */
  #take(step: CueStep, nowS: number): void {
    for (const { channel: name, to } of valuesOf(this.#prop, step)) {
      const channel = this.#prop.channels[name];
      if (!channel || !(channel.requires || this.#dependents.has(name))) continue;
      const [relay, light] = [relayOf(channel), lightOf(channel)];
      if (relay) this.#switch(name, relay, to === 'on', step.forS, nowS);
      else if (light) this.#fade(name, light, to, step, nowS);
    }
  }

  #switch(
    name: string,
    relay: RelayChannel,
    on: boolean,
    forS: number | undefined,
    nowS: number,
  ): void {
    const onS = Math.min(forS ?? NEVER, pulseS(relay) ?? NEVER, relay.duty?.maxOnS ?? NEVER);
    const again = !on && forS !== undefined && this.#isOn(name, nowS);
    const fromS = on ? nowS : again ? nowS + forS : NEVER;
    this.#on.set(name, { fromS, untilS: on ? nowS + onS : NEVER, level: 0 });
  }

  /** A light that fades to dark counts as lit until the latest end of the fade. */
  #fade(name: string, light: LightChannel, to: number | string, step: CueStep, nowS: number): void {
    const from = this.#on.get(name)?.level ?? levelOf(light, light.park.to);
    const level = levelOf(light, to);
    const wasLit = this.#isOn(name, nowS);
    const lastsS = Math.max(fadeOf(step), light.fadeS * from);
    const untilS = level > 0 ? NEVER : wasLit ? nowS + lastsS : nowS;
    this.#on.set(name, { fromS: nowS, untilS, level });
  }
}

/** The brightest part of a light's value, 0 to 1. */
function levelOf(light: LightChannel, to: number | string): number {
  const colour = kindOf(light).light?.colour(to);
  return colour ? Math.max(colour.red, colour.green, colour.blue) : 0;
}

function isSame(aim: Aim, place: Place): boolean {
  return aim.low === place.low && aim.high === place.high;
}
