import { relayOf } from '../prop/kinds/channel.ts';
import type { ValueType } from '../prop/kinds/kind.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import type { Prop } from '../prop/schema.ts';
import { type Curve, keptPoints, straight } from '../sums/thin.ts';
import { type RailTrack, type Rehearsal, TICK_MS, type Track } from './rehearse.ts';
import { time } from './stage.ts';

/** What a rehearsed cue does, as curves of few points: for a drawing. */

const TICK_S = TICK_MS / 1000;
/** How near a curve is to every tick: servos in deg, lamps in lightness, sounds in volume, colours in steps of 255. */
const WITHIN = { deg: 0.1, lightness: 1 / 255, volume: 1 / 255, colour: 1, amps: 0.01 };
/** Of a rail, in shares of its limit. */
const OF_LIMIT = 0.002;
/** Points that a curve may have; one with more is drawn more coarsely. */
const MAX_POINTS = 3000;
/** Points that all curves together may have. */
const MAX_IN_ALL = 24_000;
/** Closures that are listed. */
const MAX_CLOSURES = 1000;

export interface ChannelCurve {
  name: string;
  kind: string;
  tS: number[];
  value: (number | string)[];
  within: number;
  /** Of a relay that switches too often: from here on its changes are left out (s). */
  cutAtS?: number;
}

export interface RailCurve {
  name: string;
  limitA: number;
  peakA: number;
  peakAtS: number;
  tS: number[];
  amps: number[];
  within: number;
}

export interface Closure {
  channel: string;
  fromS: number;
  toS: number | null;
  restUntilS: number | null;
}

interface Thinned {
  curve: Curve;
  within: number;
}

/** @param within how near it stays, also where its values are then rounded by up to a tenth of that */
function thin(curve: Curve, within: number, most: number): Thinned {
  for (let tolerance = within; ; tolerance *= 2) {
    // Rounding takes its share.
    const kept = keptPoints(curve, tolerance * 0.9);
    if (kept.length > most && tolerance < 1000 * within) continue;
    const pick = (line: readonly number[]) => kept.map((i) => line[i]!);
    return {
      curve: { tS: pick(curve.tS).map(time), values: curve.values.map(pick) },
      within: tolerance,
    };
  }
}

/** The curves of channels that change, the most that there is room for. */
export function channelCurves({ tracks, durationS }: Rehearsal, prop: Prop): ChannelCurve[] {
  const changing = tracks.filter(({ tS }) => tS.length > 1);
  const most = Math.max(20, Math.min(MAX_POINTS, Math.floor(MAX_IN_ALL / (changing.length + 1))));
  return changing.map((track) =>
    curveOf(track, kindOf(prop.channels[track.name]!).value, durationS, most),
  );
}

function curveOf(
  { name, kind, tS, value }: Track,
  type: ValueType,
  endS: number,
  most: number,
): ChannelCurve {
  const own = { name, kind };
  if (type === 'on') {
    const cutAtS = tS[most];
    return {
      ...own,
      tS: tS.slice(0, most),
      value: value.slice(0, most),
      within: 0,
      ...(cutAtS !== undefined && { cutAtS }),
    };
  }
  if (type === 'colour') {
    const parts = [1, 3, 5].map((from) =>
      value.map((colour) => Number.parseInt(String(colour).slice(from, from + 2), 16)),
    );
    const { curve, within } = thin(straight(tS, parts, TICK_S, endS), WITHIN.colour, most);
    const words = curve.tS.map(
      (_, i) => `#${curve.values.map((line) => line[i]!.toString(16).padStart(2, '0')).join('')}`,
    );
    return { ...own, tS: curve.tS, value: words, within };
  }
  const near = WITHIN[type];
  const { curve, within } = thin(straight(tS, [value as number[]], TICK_S, endS), near, most);
  const steps = type === 'deg' ? 100 : 10_000;
  const rounded = curve.values[0]!.map((one) => Math.round(one * steps) / steps);
  return { ...own, tS: curve.tS, value: rounded, within };
}

/** What each rail carries. */
export function railCurves({ rails, durationS }: Rehearsal): RailCurve[] {
  return rails.map((rail) => railCurve(rail, durationS));
}

function railCurve({ name, limitA, tS, amps, peakA, peakAtS }: RailTrack, endS: number): RailCurve {
  const near = Math.max(WITHIN.amps, limitA * OF_LIMIT);
  const { curve, within } = thin(straight(tS, [amps], TICK_S, endS), near, MAX_POINTS);
  const rounded = curve.values[0]!.map((one) => Math.round(one * 1000) / 1000);
  return {
    name,
    limitA,
    peakA: Math.round(peakA * 1000) / 1000,
    peakAtS,
    tS: curve.tS,
    amps: rounded,
    within,
  };
}

/** When each relay is closed, and how long it has to rest after that; the first ones, and how many more there are. */
export function closuresOf(
  { tracks }: Rehearsal,
  prop: Prop,
): { closures: Closure[]; moreClosures: number } {
  const found: Closure[] = [];
  for (const { name, tS, value } of tracks) {
    const relay = relayOf(prop.channels[name]);
    if (!relay) continue;
    const restS = relay.duty?.restS;
    for (const [i, fromS] of tS.entries()) {
      if (value[i] !== 1) continue;
      const next = tS[i + 1];
      const toS = next ?? null;
      const restUntilS = restS === undefined || toS === null ? null : time(toS + restS);
      found.push({ channel: name, fromS, toS, restUntilS });
    }
  }
  found.sort((a, b) => a.fromS - b.fromS);
  const moreClosures = Math.max(0, found.length - MAX_CLOSURES);
  return { closures: found.slice(0, MAX_CLOSURES), moreClosures };
}
