import { kindOf } from '../prop/kinds/registry.ts';
import type { Prop } from '../prop/schema.ts';
import { START_S } from '../sums/start.ts';
import { type RailTrack, type Rehearsal, rehearse, TICK_MS } from './rehearse.ts';

/** What a cue asks of a rail. */
interface RehearsedRail extends RailTrack {
  /** The largest current if every servo that moves then were stalled (A), and when (s). */
  worstA: number;
  worstAtS: number;
  /** Over the whole cue (A). */
  meanA: number;
}

export interface RehearsedLoad {
  cue: string;
  durationS: number;
  /** It goes on until it is stopped; only so much of it was computed. */
  cutShort: boolean;
  rails: RehearsedRail[];
}

/**
 * What a cue asks of every rail: rehearsed, so as it really comes out, with everything that the daemon
 * delays or slows.
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
  // A stalled servo draws this much more from when it has started to move until it rests; while it
  // starts, or turns round, the rail's current has it already.
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
 * From when until when a servo moves, but for its starts (s): its track has a sample for every tick in which
 * it does.
 */
function motions(tS: readonly number[], deg: readonly number[]): [fromS: number, toS: number][] {
  const tickS = TICK_MS / 1000;
  const found: [number, number][] = [];
  // A tick is left out, as the rail's samples may be that much apart.
  const startS = START_S + 1.5 * tickS;
  let way = 0;
  // The first sample is where it stands at the start.
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
