import { kindOf } from '../prop/kinds/registry.ts';
import type { Prop } from '../prop/schema.ts';
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
  // A stalled servo draws this much more from when it starts to move until it rests.
  const steps: { atS: number; moreA: number }[] = [];
  for (const { name, tS } of tracks) {
    const channel = prop.channels[name]!;
    const kind = kindOf(channel);
    if (!kind.moves || channel.rail !== rail.name) continue;
    const { busyA, stallA } = kind.draw(channel);
    for (const [fromS, toS] of motions(tS))
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

/** From when until when a servo moves (s): its track has a sample for every tick in which it does. */
function motions(tS: readonly number[]): [fromS: number, toS: number][] {
  const tickS = TICK_MS / 1000;
  const found: [number, number][] = [];
  // The first sample is where it stands at the start.
  for (const atS of tS.slice(1)) {
    const last = found.at(-1);
    if (last && atS - last[1] < 1.5 * tickS) last[1] = atS;
    else found.push([atS - tickS, atS]);
  }
  return found;
}
