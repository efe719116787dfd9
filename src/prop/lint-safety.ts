import { tidy } from '../shared/units.ts';
import { planStop } from '../sums/profile.ts';
import { holdsParked } from './interlock.ts';
import { servoOf } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import { motionLimits, secondsOf } from './motion-limits.ts';
import type { Limits, Notes } from './notes.ts';
import type { Prop } from './schema.ts';

/** Reports times with which somebody would not have the protection that they expect. */
export function lintSafety(notes: Notes, limits: Limits): void {
  lintTimeOut(notes);
  lintServiceStop(notes);
  lintParkTime(notes, limits);
  lintStopTime(notes, limits);
}

/** A lost link that goes unnoticed for longer than this (s) gets a warning: common practice. */
const LONG_TIMEOUT_S = 5;

function lintTimeOut(notes: Notes): void {
  const { timeoutMs } = notes.prop.link;
  if (notes.given.broken(['link', 'timeoutMs']) || timeoutMs <= LONG_TIMEOUT_S * 1000) return;
  notes.warning(
    ['link', 'timeoutMs'],
    `for ${tidy(timeoutMs / 1000)} s after its link was lost the prop continues as if somebody were there`,
    `give ${LONG_TIMEOUT_S * 1000} or less; 500 is usual`,
  );
}

/** TimeoutStopSec of systemd/sinewd.service (s). */
const SERVICE_STOP_S = 60;

function lintServiceStop(notes: Notes): void {
  const { park, link } = notes.prop;
  const { deadlineS } = park;
  const holdS = link.onLoss === 'hold-then-park' ? (link.holdS ?? 0) : 0;
  if (deadlineS + holdS < SERVICE_STOP_S) return;
  const holding = holdS > 0 && deadlineS < SERVICE_STOP_S;
  notes.warning(
    holding ? ['link', 'holdS'] : ['park', 'deadlineS'],
    `a service that is stopped has ${SERVICE_STOP_S} s to park, and is then killed${holding ? `: holding and parking may take ${tidy(holdS + deadlineS)} s` : ''}`,
    holding
      ? `keep holdS and park.deadlineS together below ${SERVICE_STOP_S}, or raise TimeoutStopSec of the service above them`
      : `give less than ${SERVICE_STOP_S}, or raise TimeoutStopSec of the service above it`,
  );
}

// --- the time that parking takes --------------------------------------------------------------------

/** Checks that the deadline leaves time to park from the worst pose, if all rails have room. */
function lintParkTime(notes: Notes, limits: Limits): void {
  const { prop, given } = notes;
  if (['park', 'channels'].some((part) => given.broken([part]))) return;
  // A broken servo has its own findings, and its times would be wrong.
  const { channels, park } = prop;
  for (const [name, channel] of Object.entries(channels))
    if (kindOf(channel).moves && (!limits.has(name) || notes.hasErrorIn(['channels', name])))
      return;
  const needed = parkTime(prop, limits);
  if (needed.s <= park.deadlineS) return;
  const enoughS = Math.ceil(needed.s * 1.2 * 10) / 10;
  notes.warning(
    ['park', 'deadlineS'],
    `from the worst pose parking takes ${tidy(needed.s, 1)} s, longer than ${park.deadlineS} s: power would be dropped on the way (slowest: ${needed.slowest})`,
    `give ${enoughS} or more, or let more channels park together`,
  );
}

/** Checks that a stop of category 1 leaves every servo time to slow down from its highest speed. */
function lintStopTime(notes: Notes, limits: Limits): void {
  const { prop, given } = notes;
  if (given.broken(['stop'])) return;
  let slowest = '';
  let slowestS = 0;
  for (const [name, channel] of Object.entries(prop.channels)) {
    const servo = servoOf(channel);
    if (!servo || notes.hasErrorIn(['channels', name])) continue;
    const range = limits.get(name);
    if (!range) continue;
    // Within its limits it reaches no more speed than half the way allows.
    const vel = Math.min(servo.speedDegS, Math.sqrt(servo.accelDegS2 * (range[1] - range[0])));
    const s = secondsOf(() => planStop({ pos: 0, vel, acc: 0 }, motionLimits(servo)));
    if (s > slowestS) [slowest, slowestS] = [name, s];
  }
  const { deadlineS } = prop.stop;
  if (slowestS <= deadlineS) return;
  notes.warning(
    ['stop', 'deadlineS'],
    `${slowest} takes ${tidy(slowestS, 2)} s to slow down, longer than ${deadlineS} s: a stop of category 1 would drop its power on the way`,
    `raise its accelDegS2 (or jerkDegS3), or give ${Math.ceil(slowestS * 10) / 10} or more`,
  );
}

/** The least time (s) to park from the worst pose: stage after stage, along the interlocks. */
function parkTime(prop: Prop, limits: Limits): { s: number; slowest: string } {
  const { channels, park } = prop;
  const named = new Set(park.stages.flat());
  const rest = Object.keys(channels).filter((name) => !named.has(name));
  const before = dependentsFirst(prop);
  const home = new Set<string>();
  let slowest = '';
  let slowestS = -1;
  const maxParkS = (name: string): number => {
    const s = kindOf(channels[name]!).maxParkS(channels[name]!, limits.get(name));
    if (s > slowestS) [slowest, slowestS] = [name, s];
    return s;
  };
  let s = 0;
  for (const stage of [...park.stages, rest]) {
    const known = new Map<string, number>();
    /** When a channel has parked, from the start of the stage. */
    const atS = (name: string, way: readonly string[]): number => {
      if (home.has(name) || !Object.hasOwn(channels, name) || way.includes(name)) return 0;
      const found = known.get(name);
      if (found !== undefined) return found;
      let fromS = 0;
      for (const other of before.get(name) ?? [])
        fromS = Math.max(fromS, atS(other, [...way, name]));
      const all = fromS + maxParkS(name);
      known.set(name, all);
      return all;
    };
    s += stage.reduce((most, name) => Math.max(most, atS(name, [])), 0);
    for (const name of known.keys()) home.add(name);
  }
  return { s, slowest };
}

/** For each channel, those that must park before it, because they need it where it is. */
function dependentsFirst(prop: Prop): Map<string, string[]> {
  const before = new Map<string, string[]>();
  for (const [name, { requires = [] }] of Object.entries(prop.channels))
    for (const needs of requires)
      if (holdsParked(prop, needs) === false)
        before.set(needs.channel, [...(before.get(needs.channel) ?? []), name]);
  return before;
}
