import { Lamp, RgbLight } from '../core/light.ts';
import { Relay } from '../core/relay.ts';
import { holdsWith } from '../prop/interlock.ts';
import { isUsedParked, kindOf } from '../prop/kinds/registry.ts';
import { limitsByDistance } from '../prop/limits-by-distance.ts';
import type { Prop, Trigger } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { type Event, REHEARSAL, Stage, time } from './stage.ts';

/**
 * Rehearses the whole prop: waking, every cue and the park after it, idle behaviours, triggers, and
 * parking from the worst poses, each with the core itself and without hardware.
 */

/** One rehearsed part of the prop, and what was reported during it. */
export interface Part {
  of: 'wake' | 'cue' | 'idle' | 'trigger' | 'park';
  /** Name of the cue, idle behaviour or trigger; for a park, where it began, in words. */
  name: string;
  events: Event[];
  /** When each step of the cue started (s); null where it did not. */
  stepsStartS: (number | null)[];
}

export interface WholeRehearsal {
  parts: Part[];
  /** Parts for which there was no time, in words: `cue wake`. */
  skipped: string[];
}

/** A cue without an end is rehearsed for this long (s of the cue). */
const ENDLESS_S = 300;
/** An idle behaviour is rehearsed until each of its cues can have played twice, within these bounds (s). */
const IDLE_S = [30, 180] as const;
/** Parking ends by its deadline; this limit is for a fault in Sinew (s). */
const PARK_S = 600;
/** Ticks between two checks of the time that is left. */
const LOOK_TICKS = 200;

const WHITE = { red: 1, green: 1, blue: 1 };

class TimeIsUp extends Error {}

/** @param hasTime called repeatedly; once it returns false, the remaining parts are skipped */
export async function rehearseAll(prop: Prop, hasTime: () => boolean): Promise<WholeRehearsal> {
  const parts: Part[] = [];
  const skipped: string[] = [];
  const jobs: { of: Part['of']; name: string; run: (part: Part) => Promise<void> }[] = [
    { of: 'wake', name: 'wake', run: (part) => wakeOnly(prop, part) },
    ...Object.keys(prop.cues).map((name) => ({
      of: 'cue' as const,
      name,
      run: (part: Part) => cueAndPark(prop, name, part, hasTime),
    })),
    ...Object.keys(prop.idle).map((name) => ({
      of: 'idle' as const,
      name,
      run: (part: Part) => idleFor(prop, name, part, hasTime),
    })),
    ...Object.entries(prop.triggers).map(([name, trigger]) => ({
      of: 'trigger' as const,
      name,
      run: (part: Part) => triggered(prop, name, trigger, part, hasTime),
    })),
    ...worstPoses(prop).map((pose) => ({
      of: 'park' as const,
      name: poseText(pose),
      run: (part: Part) => parkFrom(prop, pose, part, hasTime),
    })),
  ];
  for (const { of, name, run } of jobs) {
    const part: Part = { of, name, events: [], stepsStartS: [] };
    try {
      if (!hasTime()) throw new TimeIsUp();
      await run(part);
    } catch (error) {
      if (error instanceof TimeIsUp) skipped.push(of === name ? name : `${of} ${name}`);
      else if (error instanceof Refusal)
        part.events.push({ tS: 0, what: 'refused', text: error.message });
      else throw error;
    }
    parts.push(part);
  }
  return { parts, skipped };
}

/** Runs ticks while `goesOn`, for at most `maxS`. @throws TimeIsUp */
function play(stage: Stage, maxS: number, goesOn: () => boolean, hasTime: () => boolean): void {
  const endS = stage.core.nowS + maxS;
  for (let ticks = 1; goesOn() && stage.core.nowS < endS; ticks++) {
    if (ticks % LOOK_TICKS === 0 && !hasTime()) throw new TimeIsUp();
    stage.tick();
  }
}

async function wakeOnly(prop: Prop, part: Part): Promise<void> {
  const stage = await Stage.of(prop);
  part.events = stage.events;
  stage.listen();
  stage.wake();
}

async function cueAndPark(
  prop: Prop,
  cue: string,
  part: Part,
  hasTime: () => boolean,
): Promise<void> {
  const stage = await Stage.of(prop);
  const { core } = stage;
  part.events = stage.events;
  stage.wake();
  stage.listen();
  core.cues.run(cue, REHEARSAL, core.nowS);
  const steps = core.cues.stepsOf(cue);
  play(stage, ENDLESS_S, () => stage.isBusy, hasTime);
  part.stepsStartS = steps.map(({ state, startedS }) =>
    state === 'waiting' ? null : time(startedS - stage.startedS),
  );
  home(stage, hasTime);
}

async function idleFor(
  prop: Prop,
  idle: string,
  part: Part,
  hasTime: () => boolean,
): Promise<void> {
  const stage = await Stage.of(prop);
  part.events = stage.events;
  stage.wake();
  stage.listen();
  stage.core.idle.start(idle, stage.core.nowS);
  const longestS = Math.max(...prop.idle[idle]!.plays.map(({ everyS }) => everyS[1]));
  play(stage, Math.min(Math.max(2 * longestS, IDLE_S[0]), IDLE_S[1]), () => true, hasTime);
  home(stage, hasTime);
}

/** Sets off a trigger as it happens in use: unattended, or armed by whoever is in control. */
async function triggered(
  prop: Prop,
  name: string,
  { cue, unattended }: Trigger,
  part: Part,
  hasTime: () => boolean,
): Promise<void> {
  // Here OSC sets off every trigger, so no contact and no time of day is needed.
  const trigger: Trigger = { cue, unattended, osc: '/rehearsal' };
  const stage = await Stage.of(prop, { [name]: trigger });
  const { core } = stage;
  part.events = stage.events;
  core.triggers.begin();
  if (!unattended) {
    stage.wake();
    core.triggers.armed = true;
  }
  stage.listen();
  core.triggers.fire(name);
  if (unattended)
    play(stage, ENDLESS_S, () => core.condition !== 'parked' && !hasEnded(stage), hasTime);
  else play(stage, ENDLESS_S, () => stage.isBusy, hasTime);
}

function hasEnded({ core: { condition } }: Stage): boolean {
  return condition === 'stopped' || condition === 'faulted';
}

/** Parks from the present pose. */
function home(stage: Stage, hasTime: () => boolean): void {
  const { core } = stage;
  if (core.condition !== 'live') return;
  core.park(REHEARSAL);
  play(stage, PARK_S, () => core.condition === 'parking', hasTime);
}

// --- the worst poses ------------------------------------------------------------------------------

/** Values of channels: deg of a servo, `on` of a relay or light. */
type Pose = ReadonlyMap<string, number | 'on' | 'off'>;

function poseText(pose: Pose): string {
  const shown = [...pose].slice(0, 4).map(([name, value]) => {
    return typeof value === 'number' ? `${name} at ${Math.round(value * 10) / 10} deg` : name;
  });
  return shown.join(', ') + (pose.size > 4 ? ` and ${pose.size - 4} more` : '');
}

/**
 * Every servo as far from its park position as possible, then the same on the other side, and everything
 * else on, as far as the interlocks allow this combination.
 */
function worstPoses(prop: Prop): Pose[] {
  const poses: Pose[] = [];
  for (const end of [0, 1] as const) {
    const pose = new Map<string, number | 'on' | 'off'>();
    const wanted = Object.entries(prop.channels).flatMap(
      ([name, channel]): [string, number | 'on'][] => {
        const deg = limitsByDistance(channel)?.[end];
        if (deg !== undefined) return kindOf(channel).usedAt(channel, deg) ? [[name, deg]] : [];
        return kindOf(channel).moves || isUsedParked(channel) ? [] : [[name, 'on']];
      },
    );
    // A requirement may be met only after another channel has been added.
    for (let added = true; added; ) {
      added = false;
      for (const [name, value] of wanted) {
        if (pose.has(name)) continue;
        pose.set(name, value);
        if (allowed(prop, pose)) added = true;
        else pose.delete(name);
      }
    }
    if (pose.size > 0 && !poses.some((other) => same(other, pose))) poses.push(pose);
  }
  return poses;
}

function same(a: Pose, b: Pose): boolean {
  return a.size === b.size && [...a].every(([name, value]) => b.get(name) === value);
}

/** Whether everything that is not at rest has what it requires. */
function allowed(prop: Prop, pose: Pose): boolean {
  for (const name of pose.keys())
    for (const needs of prop.channels[name]!.requires ?? [])
      if (holdsWith(prop, needs, pose.get(needs.channel)) === false) return false;
  return true;
}

async function parkFrom(prop: Prop, pose: Pose, part: Part, hasTime: () => boolean): Promise<void> {
  const stage = await Stage.of(prop);
  const { core } = stage;
  part.events = stage.events;
  for (const servo of core.body.servos) {
    const deg = pose.get(servo.name);
    if (typeof deg === 'number') servo.standAt(deg);
  }
  stage.wake();
  for (const channel of core.body.channels) {
    if (pose.get(channel.name) !== 'on') continue;
    try {
      if (channel instanceof Relay)
        core.gate.switch(channel, true, Number.POSITIVE_INFINITY, core.nowS);
      else if (channel instanceof RgbLight) core.gate.colour(channel, WHITE, 0);
      else if (channel instanceof Lamp) core.gate.dim(channel, 1, 0);
    } catch (error) {
      // A channel that may not be on in this pose stays off.
      if (!(error instanceof Refusal)) throw error;
    }
  }
  for (let i = 0; i < 20; i++) stage.tick();
  stage.listen();
  home(stage, hasTime);
}
