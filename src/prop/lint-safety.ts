import { tidy } from '../shared/units.ts';
import { planMove, planStop } from '../sums/profile.ts';
import { degIn, holdsParked, isOnParked, levelOf } from './interlock.ts';
import { motionLimits } from './motion-limits.ts';
import type { Limits, Notes } from './notes.ts';
import type { Channel, Prop, RelayChannel, ServoChannel } from './schema.ts';

/** Times, rates and relays that would leave somebody without the protection that they expect. */
export function lintSafety(notes: Notes, limits: Limits): void {
  lintTimeOut(notes);
  lintServiceStop(notes);
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    if (channel.kind === 'relay') lintRelaySafety(notes, name, channel);
    if (channel.kind === 'servo') lintRates(notes, name, channel);
  }
  lintParkTime(notes, limits);
  lintStopTime(notes, limits);
}

/** A lost link that goes unnoticed for longer than this (s) is worth a word: common practice. */
const LONG_TIMEOUT_S = 5;

function lintTimeOut(notes: Notes): void {
  const { timeoutMs } = notes.prop.link;
  if (notes.given.broken(['link', 'timeoutMs']) || timeoutMs <= LONG_TIMEOUT_S * 1000) return;
  notes.warning(
    ['link', 'timeoutMs'],
    `for ${tidy(timeoutMs / 1000)} s after its link was lost the prop goes on as if somebody were there`,
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
    `a service that is stopped has ${SERVICE_STOP_S} s to park in, and is killed then${holding ? `: holding and parking may take ${tidy(holdS + deadlineS)} s` : ''}`,
    holding
      ? `let holdS and park.deadlineS together stay below ${SERVICE_STOP_S}, or raise TimeoutStopSec of the service above them`
      : `give less than ${SERVICE_STOP_S}, or raise TimeoutStopSec of the service above it`,
  );
}

// --- relays ---------------------------------------------------------------------------------------

/** Above this a relay's load heats, pumps or pulls hard enough to want a limit (A): common practice. */
const UNGUARDED_A = 1;

function lintRelaySafety(notes: Notes, name: string, relay: RelayChannel): void {
  const at = ['channels', name];
  const broken = (key: string) => notes.given.broken([...at, key]);
  const onA = broken('draw') ? 0 : (relay.draw?.onA ?? 0);
  if (onA > 0 && relay.rail === undefined && !notes.given.has([...at, 'rail']))
    notes.warning(
      [...at, 'draw'],
      `${name} draws ${onA} A from no rail, so no limit holds for it`,
      'add rail: the supply that it draws from',
    );
  if (onA > UNGUARDED_A && !relay.duty && !notes.given.has([...at, 'duty']))
    notes.warning(
      [...at, 'draw'],
      `${name} may keep ${onA} A on for good: nothing opens it`,
      'add duty: { maxOnS, restS } from the data sheet of its load',
    );
  if (broken('safe') || broken('park')) return;
  if (relay.safe === 'on') {
    if (relay.park.to !== 'on')
      notes.error(
        [...at, 'safe'],
        `${name} is safe closed, but parks open`,
        'add park: { to: on }, or remove safe',
      );
    if (relay.contact === 'momentary')
      notes.error([...at, 'safe'], 'a momentary contact cannot stay closed', 'remove safe');
    if (relay.duty)
      notes.error(
        [...at, 'safe'],
        `${name} cannot stay closed: its duty guard opens it after ${relay.duty.maxOnS} s`,
        'remove safe or duty',
      );
  } else if (relay.park.to === 'on' && relay.contact === 'held' && !relay.duty)
    notes.warning(
      [...at, 'park', 'to'],
      `${name} parks on, but a stop opens it`,
      'add safe: on if it must stay closed, such as a brake or a cooling fan, or write to: off',
    );
}

// --- speeds ---------------------------------------------------------------------------------------

/** A speed that is reached in a tick is not limited; one that takes this long (s) is never reached. */
const TICK_S = 0.005;
const LONG_RISE_S = 5;

function lintRates(notes: Notes, name: string, servo: ServoChannel): void {
  const at = ['channels', name];
  const { speedDegS, accelDegS2, jerkDegS3 } = servo;
  const broken = (key: string) => notes.given.broken([...at, key]);
  if (broken('speedDegS') || broken('accelDegS2')) return;
  lintRate(notes, [...at, 'accelDegS2'], speedDegS / accelDegS2, {
    what: `its speed, ${speedDegS} deg/s,`,
    low: Math.ceil(speedDegS / 0.5),
    high: Math.floor(speedDegS / 0.05),
    unit: 'deg/s2',
  });
  if (jerkDegS3 === undefined || broken('jerkDegS3')) return;
  lintRate(notes, [...at, 'jerkDegS3'], accelDegS2 / jerkDegS3, {
    what: `its acceleration, ${accelDegS2} deg/s2,`,
    low: Math.ceil(accelDegS2 / 0.5),
    high: Math.floor(accelDegS2 / 0.05),
    unit: 'deg/s3',
  });
}

function lintRate(
  notes: Notes,
  path: string[],
  riseS: number,
  { what, low, high, unit }: { what: string; low: number; high: number; unit: string },
): void {
  const usual = `${low} to ${high} ${unit} is usual`;
  // So small that nothing usual can be named; the planner says so where it matters.
  if (high < low) return;
  if (riseS < TICK_S)
    notes.warning(
      path,
      `with this the servo has ${what} within one tick of 5 ms, as if there were no limit`,
      `give less; ${usual}`,
    );
  else if (riseS > LONG_RISE_S)
    notes.warning(
      path,
      `with this the servo has ${what} only after ${tidy(riseS, 1)} s, and takes as long to stop`,
      `give more; ${usual}`,
    );
}

// --- the time that parking takes --------------------------------------------------------------------

/** Whether the deadline leaves the time to park from the worst pose, all rails having room. */
function lintParkTime(notes: Notes, limits: Limits): void {
  const { prop, given } = notes;
  if (['park', 'channels'].some((part) => given.broken([part]))) return;
  // A servo that is wrong is told of; its times would be, too.
  const { channels, park } = prop;
  for (const [name, { kind }] of Object.entries(channels))
    if (kind === 'servo' && (!limits.has(name) || notes.hasErrorIn(['channels', name]))) return;
  const needed = parkTime(prop, limits);
  if (needed.s <= park.deadlineS) return;
  const enoughS = Math.ceil(needed.s * 1.2 * 10) / 10;
  notes.warning(
    ['park', 'deadlineS'],
    `from the worst pose parking takes ${tidy(needed.s, 1)} s, longer than ${park.deadlineS} s: power would be dropped on the way (slowest: ${needed.slowest})`,
    `give ${enoughS} or more, or let more channels park together`,
  );
}

/** Whether a stop of category 1 leaves every servo the time to slow down from the speed that it can reach. */
function lintStopTime(notes: Notes, limits: Limits): void {
  const { prop, given } = notes;
  if (given.broken(['stop'])) return;
  let slowest = '';
  let slowestS = 0;
  for (const [name, channel] of Object.entries(prop.channels)) {
    if (channel.kind !== 'servo' || notes.hasErrorIn(['channels', name])) continue;
    const range = limits.get(name);
    if (!range) continue;
    // Within its limits it gets no faster than half of the way allows.
    const vel = Math.min(channel.speedDegS, Math.sqrt(channel.accelDegS2 * (range[1] - range[0])));
    const s = secondsOf(() => planStop({ pos: 0, vel, acc: 0 }, motionLimits(channel)));
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
export function parkTime(prop: Prop, limits: Limits): { s: number; slowest: string } {
  const { channels, park } = prop;
  const named = new Set(park.stages.flat());
  const rest = Object.keys(channels).filter((name) => !named.has(name));
  const before = dependentsFirst(prop);
  const home = new Set<string>();
  let slowest = '';
  let slowestS = -1;
  const homeS = (name: string): number => {
    const s = timeHomeS(name, channels[name]!, limits);
    if (s > slowestS) [slowest, slowestS] = [name, s];
    return s;
  };
  let s = 0;
  for (const stage of [...park.stages, rest]) {
    const known = new Map<string, number>();
    /** When a channel is home, counted from the start of the stage. */
    const atS = (name: string, way: readonly string[]): number => {
      if (home.has(name) || !Object.hasOwn(channels, name) || way.includes(name)) return 0;
      const found = known.get(name);
      if (found !== undefined) return found;
      let fromS = 0;
      for (const other of before.get(name) ?? [])
        fromS = Math.max(fromS, atS(other, [...way, name]));
      const all = fromS + homeS(name);
      known.set(name, all);
      return all;
    };
    s += stage.reduce((most, name) => Math.max(most, atS(name, [])), 0);
    for (const name of known.keys()) home.add(name);
  }
  return { s, slowest };
}

/** For each channel, those that must be home before it goes: they need it where it is. */
function dependentsFirst(prop: Prop): Map<string, string[]> {
  const before = new Map<string, string[]>();
  for (const [name, { requires = [] }] of Object.entries(prop.channels))
    for (const needs of requires)
      if (holdsParked(prop, needs) === false)
        before.set(needs.channel, [...(before.get(needs.channel) ?? []), name]);
  return before;
}

/** From the far end of its limits, or from full light, to its park position (s). */
function timeHomeS(name: string, channel: Channel, limits: Limits): number {
  if (channel.kind === 'relay') return 0;
  if (channel.kind !== 'servo') {
    const level = levelOf(channel.park.to);
    return channel.fadeS * Math.max(level, isOnParked(channel) ? 1 - level : 1);
  }
  const parkDeg = degIn(channel, channel.park.to);
  const range = limits.get(name);
  if (parkDeg === undefined || !range) return 0;
  const far = parkDeg - range[0] > range[1] - parkDeg ? range[0] : range[1];
  return secondsOf(() => planMove({ pos: far, vel: 0, acc: 0 }, parkDeg, motionLimits(channel)));
}

/** How long a motion takes (s); 0 for one that cannot be planned, which is told elsewhere. */
function secondsOf(plan: () => { durationS: number }): number {
  try {
    return plan().durationS;
  } catch (error) {
    if (error instanceof RangeError) return 0;
    throw error;
  }
}
