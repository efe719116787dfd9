import { tidy } from '../shared/units.ts';
import type { Rgb } from '../sums/light.ts';
import { type Starter, staggeredPeakA } from '../sums/start.ts';
import { type LightChannel, lightOf, relayOf } from './kinds/channel.ts';
import { coilLoadOf, isFedAtRest, loadRailOf, railLoadsOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import { relayA } from './kinds/relay.ts';
import { type FlashProblem, PlannedLight } from './planned-light.ts';
import { pulseS } from './pulse.ts';
import { coilDraw } from './rail-draw.ts';
import type { Channel, Prop, RelayChannel } from './schema.ts';
import { type CueStep, fadeOf, type Touch, valuesOf } from './steps.ts';

/** A step for which a rail has no room, as planned. */
interface LoadProblem {
  severity: 'error' | 'warning';
  /** The part of the step that needs the current. */
  part: Touch['part'];
  atKey: true;
  id: string;
  /** Amperes over the limit. */
  size: number;
  wrong: string;
  right: string;
}

/** Rounding error in sums of currents (A). */
const SLACK_A = 1e-9;

const DARK: Rgb = { red: 0, green: 0, blue: 0 };
const WHITE: Rgb = { red: 1, green: 1, blue: 1 };

/** A rail while all channels are at their park values and servos hold still. */
interface Rail {
  limitA: number;
  idleA: number;
}

/** A difference from the current in the park position, from `fromS` until `untilS`. */
interface Draw {
  moreA: number;
  fromS: number;
  untilS: number;
}

/** The channels of a step that draw more than in the park position, for one rail. */
interface StepDraw {
  movesA: number;
  othersA: number;
  count: number;
  /** The currents of those that move. */
  starters: Starter[];
  part: LoadProblem['part'];
}

/** By name. */
export type Rails = ReadonlyMap<string, Rail>;

/** Cannot be a channel's name: names have no spaces. */
const coilName = (relay: string) => `${relay} coil`;

/** Every rail with its limit and its current while the prop is parked (A). */
export function railsOf(prop: Prop): Rails {
  const rails = new Map<string, Rail>();
  for (const [name, { limitA }] of Object.entries(prop.rails))
    rails.set(name, { limitA, idleA: 0 });
  for (const channel of Object.values(prop.channels)) {
    const load = loadRailOf(channel);
    const rail = load === undefined ? undefined : rails.get(load);
    if (rail) rail.idleA += kindOf(channel).draw(channel).idleA;
    const coil = coilDraw(channel);
    const feed = coil && rails.get(coil.rail);
    if (feed) feed.idleA += coil.draw.idleA;
  }
  return rails;
}

/** Lights, relays and the load of every rail along the plan of a cue, which starts with all parked. */
export class PlannedLoads {
  readonly #prop: Prop;
  readonly #rails: Rails;
  /** For each rail, the servos that move and the lights and relays that are not at their park values. */
  readonly #moving = new Map<string, Map<string, Draw>>();
  readonly #lit = new Map<string, Map<string, Draw>>();
  readonly #levels = new Map<string, Rgb>();
  readonly #light: PlannedLight;

  /** @param lights the weight of each light when flashes are judged */
  constructor(prop: Prop, rails: Rails, lights: ReadonlyMap<string, number>) {
    this.#prop = prop;
    this.#rails = rails;
    this.#light = new PlannedLight(prop, lights);
  }

  /** Where all light together would flash too often; call it when everything has been started. */
  flashing(): FlashProblem | undefined {
    return this.#light.problem((name) => {
      const channel = this.#prop.channels[name]!;
      const light = lightOf(channel);
      if (light) return parkOf(light);
      return kindOf(channel).usedAt(channel, channel.park.to) ? WHITE : DARK;
    });
  }

  /** Starts the fades and switches of a step. @returns their duration (s) */
  start(step: CueStep, nowS: number): number {
    let longestS = 0;
    for (const [name, to] of this.#lights(step))
      longestS = Math.max(longestS, this.#fade(name, to, step, nowS));
    for (const [name, on] of this.#switches(step))
      longestS = Math.max(longestS, this.#switch(name, on, step, nowS));
    return longestS;
  }

  /**
   * Records that servos move until `untilS`, and finds rails without room for this step, which has been
   * started.
   */
  *check(
    step: CueStep,
    movers: readonly string[],
    nowS: number,
    untilS: number,
  ): Generator<LoadProblem> {
    const before = new Map<string, number>();
    const asked = this.#asked(step, movers, nowS);
    for (const rail of asked.keys()) before.set(rail, this.#movingA(rail, movers, nowS));
    for (const name of movers) {
      const channel = this.#prop.channels[name]!;
      const { idleA, busyA } = kindOf(channel).draw(channel);
      const moreA = Math.max(0, busyA - idleA);
      if (channel.rail !== undefined)
        entry(this.#moving, channel.rail).set(name, { moreA, fromS: nowS, untilS });
    }
    for (const [name, ask] of asked) {
      const rail = this.#rails.get(name)!;
      const problem = this.#problem(name, rail, ask, nowS, before.get(name)!);
      if (problem) yield problem;
    }
  }

  #problem(
    name: string,
    { limitA, idleA: restA }: Rail,
    { movesA, othersA, count, starters, part }: StepDraw,
    nowS: number,
    movingA: number,
  ): LoadProblem | undefined {
    // A rail, or a channel, that never fits even by itself is already reported.
    if (restA > limitA) return undefined;
    const aloneA = restA + movesA + othersA;
    const litA = restA + movesA + this.#litA(name, nowS);
    const allA = litA + movingA;
    const startA = staggeredPeakA(starters, allA - movesA);
    if (Math.max(allA, startA) <= limitA + SLACK_A) return undefined;
    const say = (
      severity: LoadProblem['severity'],
      amps: number,
      wrong: string,
      right: string,
    ): LoadProblem => ({
      severity,
      part,
      atKey: true,
      id: `rail ${name}`,
      size: amps - limitA,
      wrong,
      right,
    });
    const limit = `its limit is ${limitA} A`;
    if (allA <= limitA + SLACK_A) {
      // A servo that can never start, even by itself, is already reported at the rail.
      if (starters.some((one) => staggeredPeakA([one], restA) > limitA + SLACK_A)) return undefined;
      if (staggeredPeakA(starters, restA) > limitA + SLACK_A)
        return say(
          'warning',
          startA,
          `even one after another, the starts of this step bring rail ${name} to ${tidy(startA)} A for a moment, ${limit}`,
          'split it into steps one after another, or use a stronger supply or a second rail',
        );
      return say(
        'warning',
        startA,
        `starting this step brings rail ${name} to ${tidy(startA)} A for a moment, ${limit}: it is delayed until there is room`,
        'start it later, switch something off before, or use a stronger supply or a second rail',
      );
    }
    if (aloneA > limitA + SLACK_A) {
      if (count === 1) return undefined;
      return say(
        'error',
        aloneA,
        `this step alone brings rail ${name} to ${tidy(aloneA)} A, ${limit}: it can never be done`,
        'split it into steps one after another, or use a stronger supply or a second rail',
      );
    }
    if (litA > limitA + SLACK_A)
      return say(
        'warning',
        litA,
        `with what is on by then, this step brings rail ${name} to ${tidy(litA)} A, ${limit}: what does not fit is left out`,
        'switch something off before, or use a stronger supply or a second rail',
      );
    if (
      movesA > 0 &&
      restA + this.#litA(name, nowS) - othersA + movingA + movesA > limitA + SLACK_A
    )
      return say(
        'warning',
        allA,
        `rail ${name} would be at ${tidy(allA)} A here, ${limit}: the move is delayed until others have ended`,
        'start it later, or use a stronger supply or a second rail',
      );
    return say(
      'warning',
      allA,
      `rail ${name} would be at ${tidy(allA)} A here, while servos move, ${limit}: what does not fit is left out`,
      'start it after those moves, or use a stronger supply or a second rail',
    );
  }

  /** What a step needs from each rail beyond the current when everything is parked. */
  #asked(step: CueStep, movers: readonly string[], nowS: number): Map<string, StepDraw> {
    const asked = new Map<string, StepDraw>();
    const add = (
      rail: string | undefined,
      moreA: number,
      part: StepDraw['part'],
      moves: boolean,
    ) => {
      if (moreA <= 0 || rail === undefined || !this.#rails.has(rail)) return;
      const one = asked.get(rail) ?? { movesA: 0, othersA: 0, count: 0, starters: [], part };
      if (moves) one.movesA += moreA;
      else one.othersA += moreA;
      one.count++;
      asked.set(rail, one);
    };
    for (const name of movers) {
      const channel = this.#prop.channels[name]!;
      const draw = kindOf(channel).draw(channel);
      add(
        channel.rail,
        draw.busyA - draw.idleA,
        step.take ? 'take' : step.move ? 'move' : 'pose',
        true,
      );
      if (channel.rail !== undefined) asked.get(channel.rail)?.starters.push(draw);
    }
    const others = [...this.#lights(step), ...this.#switches(step)];
    for (const [name, , part] of others) {
      const channel = this.#prop.channels[name]!;
      for (const { rail, part: of } of railLoadsOf(channel)) {
        const draw = this.#lit.get(rail)?.get(of === 'coil' ? coilName(name) : name);
        if (draw && draw.fromS <= nowS) add(rail, draw.moreA, part, false);
      }
    }
    return asked;
  }

  // --- lights and relays ----------------------------------------------------------------------------

  *#lights(step: CueStep): Generator<[name: string, to: Rgb, part: LoadProblem['part']]> {
    for (const { channel: name, to, part } of valuesOf(this.#prop, step)) {
      const channel = this.#channel(name);
      const colour = channel && kindOf(channel).light?.colour(to);
      if (colour) yield [name, colour, part];
    }
  }

  *#switches(step: CueStep): Generator<[name: string, on: boolean, part: LoadProblem['part']]> {
    for (const { channel: name, to, part } of valuesOf(this.#prop, step))
      if (relayOf(this.#channel(name))) yield [name, to === 'on', part];
  }

  #fade(name: string, to: Rgb, step: CueStep, nowS: number): number {
    const light = lightOf(this.#channel(name))!;
    const from = this.#levels.get(name) ?? parkOf(light);
    this.#levels.set(name, to);
    const change = Math.max(
      Math.abs(to.red - from.red),
      Math.abs(to.green - from.green),
      Math.abs(to.blue - from.blue),
    );
    // The gate counts a fade at its target from the start.
    const moreA = lightA(light, to) - lightA(light, parkOf(light));
    this.#draw(name, { moreA, fromS: nowS, untilS: Number.POSITIVE_INFINITY });
    const takesS = Math.max(fadeOf(step), light.fadeS * change);
    this.#light.fade(name, from, to, nowS, nowS + takesS, step);
    return takesS;
  }

  #switch(name: string, on: boolean, step: CueStep, nowS: number): number {
    const { forS } = step;
    const relay = relayOf(this.#channel(name))!;
    const opensS = on
      ? Math.min(
          forS ?? Number.POSITIVE_INFINITY,
          pulseS(relay) ?? Number.POSITIVE_INFINITY,
          relay.duty?.maxOnS ?? Number.POSITIVE_INFINITY,
        )
      : 0;
    const never = Number.POSITIVE_INFINITY;
    const againS = nowS + (forS ?? never);
    const parked = relay.park.to === 'on';
    this.#light.fade(name, DARK, on ? WHITE : DARK, nowS, nowS, step);
    // It switches back by itself.
    const backS = on ? nowS + opensS : againS;
    if (backS < never) this.#light.fade(name, WHITE, on ? DARK : WHITE, backS, backS, step);
    // Relative to the parked state; `off` for a time closes it again.
    if (on && parked) this.#drawRelay(name, relay, 1, never, never);
    else if (on) this.#drawRelay(name, relay, 1, nowS, nowS + opensS);
    else if (parked) this.#drawRelay(name, relay, -1, nowS, againS);
    else this.#drawRelay(name, relay, 1, againS, never);
    return forS === undefined ? 0 : on ? opensS : forS;
  }

  #draw(name: string, draw: Draw): void {
    const rail = loadRailOf(this.#prop.channels[name]!);
    if (rail !== undefined) entry(this.#lit, rail).set(name, draw);
  }

  /**
   * Adds the current of a relay that is on in this time: of its load, and of its coil if that is
   * separate.
   */
  #drawRelay(name: string, relay: RelayChannel, sign: 1 | -1, fromS: number, untilS: number): void {
    const onA = isFedAtRest(relay) ? -relayA(relay) : relayA(relay);
    this.#draw(name, { moreA: sign * onA, fromS, untilS });
    const coil = coilLoadOf(relay);
    if (coil)
      entry(this.#lit, coil.rail).set(coilName(name), { moreA: sign * coil.amps, fromS, untilS });
  }

  // --- currents -------------------------------------------------------------------------------------

  /** What moving servos, except these, draw beyond holding still (A). */
  #movingA(rail: string, but: readonly string[], nowS: number): number {
    const moving = this.#moving.get(rail);
    if (!moving) return 0;
    const others = new Set(but);
    let amps = 0;
    for (const [name, { moreA, untilS }] of moving) {
      if (untilS <= nowS + SLACK_A) moving.delete(name);
      else if (!others.has(name)) amps += moreA;
    }
    return amps;
  }

  /** What lights and relays draw beyond their parked current (A). */
  #litA(rail: string, nowS: number): number {
    let amps = 0;
    for (const { moreA, fromS, untilS } of this.#lit.get(rail)?.values() ?? [])
      if (fromS <= nowS && untilS > nowS + SLACK_A) amps += moreA;
    return amps;
  }

  #channel(name: string): Channel | undefined {
    const { channels } = this.#prop;
    return Object.hasOwn(channels, name) ? channels[name] : undefined;
  }
}

function parkOf(light: LightChannel): Rgb {
  return kindOf(light).light!.colour(light.park.to) ?? DARK;
}

/** Estimated current (A) of a light at a colour. */
function lightA(light: LightChannel, colour: Rgb): number {
  return kindOf(light).light!.ampsAt(light, colour);
}

function entry<T>(of: Map<string, Map<string, T>>, key: string): Map<string, T> {
  let inner = of.get(key);
  if (!inner) {
    inner = new Map();
    of.set(key, inner);
  }
  return inner;
}
