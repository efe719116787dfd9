import { kindOf } from '../prop/kinds/registry.ts';
import type { Prop } from '../prop/schema.ts';
import { START_S } from '../sums/start.ts';
import { type RailTrack, type Rehearsal, rehearse, TICK_MS } from './rehearse.ts';

/** The load of a rail during a cue. */
interface RehearsedRail extends RailTrack {
  /** The largest current if every moving servo were stalled (A), and when (s). */
  worstA: number;
  worstAtS: number;
  /** The mean over the whole cue (A). */
  meanA: number;
}

export interface RehearsedLoad {
  cue: string;
  durationS: number;
  /** The cue goes on until it is stopped; only this much of it was computed. */
  cutShort: boolean;
  rails: RehearsedRail[];
}

/**
 * The load of every rail during a rehearsed cue, with everything that the daemon delays or slows down.
 * @throws Refusal when the cue may not start
 */
export async function rehearsedLoad(prop: Prop, cue: string): Promise<RehearsedLoad> {
  return loadOf(prop, await rehearse(prop, cue));
}

function loadOf(prop: Prop, done: Rehearsal): RehearsedLoad {
  const { cue, durationS, cutShort } = done;
  return { cue, durationS, cutShort, rails: done.rails.map((rail) => railOf(prop, done, rail)) };
}

function railOf(prop: Prop, { tracks, durationS }: Rehearsal, rail: RailTrack): RehearsedRail {
  // The extra current of a stalled servo, from the end of its start until it rests. While it starts or
  // reverses, the rail's current already includes the stall.
  const steps: { atS: number; moreA: number }[] = [];
  for (const { name, tS, value } of tracks) {
    const channel = prop.channels[name]!;
    const kind = kindOf(channel);
    if (!kind.moves || channel.rail !== rail.name) continue;
    const { busyA, stallA } = kind.draw(channel);
    for (const [fromS, toS] of motions(tS, value as number[]))
      steps.push({ atS: fromS, moreA: stallA - busyA }, { atS: toS, moreA: busyA - stallA });
  }
  steps.sort((a, b) => a.atS - b.atS || a.moreA - b.moreA);
  let worstA = rail.peakA;
  let worstAtS = rail.peakAtS;
  let stalledA = 0;
  let next = 0;
  let chargeAs = 0;
  for (const [i, atS] of rail.tS.entries()) {
    const untilS = rail.tS[i + 1] ?? durationS;
    const amps = rail.amps[i]!;
    chargeAs += amps * (untilS - atS);
    const look = (seenS: number): void => {
      if (amps + stalledA <= worstA + 1e-9) return;
      worstA = amps + stalledA;
      worstAtS = seenS;
    };
    for (; next < steps.length && steps[next]!.atS <= atS; next++) stalledA += steps[next]!.moreA;
    look(atS);
    for (; next < steps.length && steps[next]!.atS < untilS; next++) {
      stalledA += steps[next]!.moreA;
      look(steps[next]!.atS);
    }
  }
  const meanA = durationS > 0 ? chargeAs / durationS : (rail.amps[0] ?? 0);
  return { ...rail, worstA, worstAtS, meanA };
}

/**
 * The times in which a servo moves, without its starts (s): its track has a sample for every tick in
 * which it moves.
 */
function motions(tS: readonly number[], deg: readonly number[]): [fromS: number, toS: number][] {
  const tickS = TICK_MS / 1000;
  const found: [number, number][] = [];
  // Plus a tick and a half, as the rail's samples may be that far apart.
  const startS = START_S + 1.5 * tickS;
  let way = 0;
  // The first sample is the position before the cue.
  for (const [i, atS] of tS.entries()) {
    if (i === 0) continue;
    const last = found.at(-1);
    const goes = Math.sign(deg[i]! - deg[i - 1]!);
    const goesOn = last !== undefined && atS - tS[i - 1]! < 1.5 * tickS;
    if (goesOn && goes === way) last[1] = atS;
    else found.push([atS - tickS + startS, atS]);
    way = goes;
  }
  return found.filter(([fromS, toS]) => toS > fromS);
}
