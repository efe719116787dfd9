import { tidy } from '../../shared/units.ts';
import { START_S } from '../../sums/start.ts';
import { TakeCurve } from '../../sums/take-curve.ts';
import { trim } from '../../sums/take-points.ts';
import { type Deviation, deviationOf, type TakeTrack, trackOf } from '../../sums/take-track.ts';
import { servoOf } from '../kinds/channel.ts';
import { servoDraw } from '../kinds/servo.ts';
import { longCue } from '../long-cue.ts';
import { softLimits } from '../mechanics.ts';
import { motionLimits } from '../motion-limits.ts';
import type { Cue, CueStep, Prop, ServoChannel } from '../schema.ts';
import { takeOf } from '../steps.ts';
import type { Take, TakeServo } from './take-text.ts';

/** Takes as they play: worked out where there is time for it, for the core to follow. */

/** A take at a rate, ready to be followed. */
export interface PlayedTake {
  name: string;
  rate: number;
  servos: { name: string; track: TakeTrack }[];
  /** How long it takes once all stand where it begins (s). */
  durationS: number;
  /** By rail, the most that it draws above the current of its servos at rest, with all starts (A). */
  peaksA: Record<string, number>;
}

interface Fitted {
  key: string;
  track: TakeTrack | undefined;
  deviation: Deviation | undefined;
}

const curves = new WeakMap<TakeServo, TakeCurve>();
/** By servo of a take: its track at every rate and within all limits that were asked for last. */
const tracks = new WeakMap<TakeServo, Fitted[]>();
/** As many rates and limits of one take are kept. */
const MAX_KEPT = 8;

/** The movement of a servo in a take. */
export function curveOf(servo: TakeServo): TakeCurve {
  let curve = curves.get(servo);
  if (!curve) {
    curve = new TakeCurve(servo.timesS, servo.deg);
    curves.set(servo, curve);
  }
  return curve;
}

function fittedOf(servo: TakeServo, rate: number, spec: ServoChannel): Fitted {
  const limits = motionLimits(spec);
  const soft = softLimits(spec);
  const key = JSON.stringify([rate, limits, soft]);
  const kept = tracks.get(servo) ?? [];
  let fitted = kept.find((one) => one.key === key);
  if (!fitted) {
    fitted = { key, track: trackOf(curveOf(servo), rate, limits, soft), deviation: undefined };
    tracks.set(servo, [...kept.slice(1 - MAX_KEPT), fitted]);
  }
  return fitted;
}

/** How a servo plays its part of a take; undefined where it never could within its limits. */
export function trackIn(servo: TakeServo, rate: number, spec: ServoChannel): TakeTrack | undefined {
  return fittedOf(servo, rate, spec).track;
}

/** Where a servo is furthest from its part of a take. */
export function deviationIn(
  servo: TakeServo,
  rate: number,
  spec: ServoChannel,
): Deviation | undefined {
  const fitted = fittedOf(servo, rate, spec);
  if (fitted.track) fitted.deviation ??= deviationOf(fitted.track, curveOf(servo), rate);
  return fitted.deviation;
}

/** The servos of a take that the prop has. */
export function servosIn(
  { channels }: Pick<Prop, 'channels'>,
  take: Take,
): { servo: TakeServo; spec: ServoChannel }[] {
  return take.servos.flatMap((servo) => {
    const spec = servoOf(Object.hasOwn(channels, servo.name) ? channels[servo.name] : undefined);
    return spec ? [{ servo, spec }] : [];
  });
}

const played = new WeakMap<Take, { key: string; played: PlayedTake | undefined }[]>();

/** The rest of a step's take, from a time as performed (s); undefined as in `playedTake`. */
export function playedFrom(prop: Prop, step: CueStep, fromS: number): PlayedTake | undefined {
  const take = takeOf(prop, step);
  if (!take) return undefined;
  const parts = servosIn(prop, take).map(({ servo, spec }) => {
    const { name, timesS, deg } = servo;
    const rest = trim({ timesS, deg }, Math.min(fromS, timesS.at(-1)!), timesS.at(-1)!);
    return { servo: { name, timesS: [...rest.timesS], deg: [...rest.deg] }, spec };
  });
  return play(step.take!, step.rate ?? 1, parts);
}

/** What a step plays; undefined where it has no take, or none that can be played. */
export function playedTake(prop: Prop, step: CueStep): PlayedTake | undefined {
  const take = takeOf(prop, step);
  if (!take) return undefined;
  const { rate = 1 } = step;
  const parts = servosIn(prop, take);
  const key = JSON.stringify([
    step.take,
    rate,
    parts.map(({ servo, spec }) => [
      servo.name,
      motionLimits(spec),
      softLimits(spec),
      servoDraw(spec),
      spec.rail,
    ]),
  ]);
  const kept = played.get(take) ?? [];
  const before = kept.find((one) => one.key === key);
  if (before) return before.played;
  const now = play(step.take!, rate, parts);
  played.set(take, [...kept.slice(1 - MAX_KEPT), { key, played: now }]);
  return now;
}

function play(
  name: string,
  rate: number,
  parts: readonly { servo: TakeServo; spec: ServoChannel }[],
): PlayedTake | undefined {
  const servos: PlayedTake['servos'] = [];
  const rails = new Map<string, Change[]>();
  for (const { servo, spec } of parts) {
    const track = trackIn(servo, rate, spec);
    if (!track) return undefined;
    servos.push({ name: servo.name, track });
    if (spec.rail === undefined) continue;
    const rail = rails.get(spec.rail) ?? [];
    rails.set(spec.rail, rail);
    addTo(rail, track, servoDraw(spec));
  }
  if (servos.length === 0) return undefined;
  return {
    name,
    rate,
    servos,
    durationS: Math.max(...servos.map(({ track }) => track.trajectory.durationS)),
    peaksA: Object.fromEntries([...rails].map(([rail, changes]) => [rail, peakOf(changes)])),
  };
}

/** A current (A) that begins, or, below 0, ends at a time (s). */
interface Change {
  atS: number;
  amps: number;
}

/** Adds what a servo draws above its current at rest. */
function addTo(
  rail: Change[],
  { trajectory: { durationS }, startsS }: TakeTrack,
  { idleA, busyA, stallA }: { idleA: number; busyA: number; stallA: number },
): void {
  if (durationS === 0) return;
  rail.push({ atS: 0, amps: busyA - idleA }, { atS: durationS, amps: idleA - busyA });
  let untilS = 0;
  for (const atS of startsS) {
    // Starts that follow each other closely are one.
    const fromS = Math.max(atS, untilS);
    untilS = atS + START_S;
    rail.push({ atS: fromS, amps: stallA - busyA }, { atS: untilS, amps: busyA - stallA });
  }
}

function peakOf(changes: readonly Change[]): number {
  // Of changes at the same time, the ends come first.
  const inOrder = [...changes].sort((a, b) => a.atS - b.atS || a.amps - b.amps);
  let amps = 0;
  let peakA = 0;
  for (const change of inOrder) {
    amps += change.amps;
    peakA = Math.max(peakA, amps);
  }
  return peakA;
}

/** What the steps of a cue play, by their places; undefined where none of them plays a take. */
export function takesOfCue(prop: Prop, cue: Cue): (PlayedTake | undefined)[] | undefined {
  const { steps } = longCue(cue);
  if (steps.every(({ take }) => take === undefined)) return undefined;
  return steps.map((step) => playedTake(prop, step));
}

/** The same for all cues of a prop, by their names. */
export function takesOfCues(prop: Prop): Record<string, (PlayedTake | undefined)[]> {
  return Object.fromEntries(
    Object.entries(prop.cues).flatMap(([name, cue]) => {
      const takes = takesOfCue(prop, cue);
      return takes ? [[name, takes]] : [];
    }),
  );
}

/** Rates that are tried, as shares of one that is too fast; servos are tried for as long as this (s). */
const SLOWER = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1];
const MAX_TRIED_S = 60;

const rates = new WeakMap<Take, Map<string, number | undefined>>();

/**
 * A lower rate at which all servos of a take are never further than this from it (deg); undefined where
 * there is none, or the take is too long to try.
 */
export function rateWithin(prop: Prop, step: CueStep, deg: number): number | undefined {
  const take = takeOf(prop, step);
  if (!take) return undefined;
  const parts = servosIn(prop, take);
  const { rate = 1 } = step;
  const limits = parts.map(({ spec }) => [motionLimits(spec), softLimits(spec)]);
  const key = JSON.stringify([rate, deg, limits]);
  const known = rates.get(take) ?? new Map<string, number | undefined>();
  if (known.size > MAX_KEPT) known.clear();
  rates.set(take, known);
  if (!known.has(key)) known.set(key, tried(parts, rate, deg));
  return known.get(key);
}

function tried(
  parts: readonly { servo: TakeServo; spec: ServoChannel }[],
  tooFast: number,
  deg: number,
): number | undefined {
  const allS = parts.reduce((sum, { servo }) => sum + curveOf(servo).durationS / tooFast, 0);
  if (allS > MAX_TRIED_S) return undefined;
  return SLOWER.map((share) => tidy(tooFast * share, 2)).find(
    (rate) =>
      rate >= 0.1 &&
      parts.every(({ servo, spec }) => {
        const curve = curveOf(servo);
        const track = trackOf(curve, rate, motionLimits(spec), softLimits(spec));
        return track !== undefined && deviationOf(track, curve, rate).deg <= deg;
      }),
  );
}
