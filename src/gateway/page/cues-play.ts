import { computed, signal } from '@preact/signals';
import type { ChannelInfo, ChannelState } from '../../api/types.ts';
import { valueAt } from './cues-curve-value.ts';
import { cursorS, type Rehearsed, rehearsed } from './cues-data.ts';
import { KIND_WORDS } from './kind-words.ts';
import { parkValue } from './standing.ts';

/** A rehearsal, played on the screen: nothing here is sent to the prop. */

export const playing = signal(false);
/** Where it is (s). */
export const headS = signal(0);
export const loop = signal(false);
export const half = signal(false);

const lengthS = computed(() => rehearsed.value?.of.durationS ?? 0);

let lastMs = 0;
/** Where it begins again in a loop (s). */
let fromS = 0;

/** Plays from a time on (s). */
export function play(atS: number): void {
  fromS = atS < lengthS.peek() ? atS : 0;
  headS.value = fromS;
  lastMs = performance.now();
  if (playing.peek()) return;
  playing.value = true;
  requestAnimationFrame(next);
}

export function pause(): void {
  playing.value = false;
}

/** Plays from the cursor, or stops. */
export function toggle(): void {
  if (playing.peek()) pause();
  else play(cursorS.peek());
}

function next(nowMs: number): void {
  if (!playing.peek()) return;
  const passedS = Math.max(0, nowMs - lastMs) / 1000;
  lastMs = nowMs;
  const atS = headS.peek() + passedS * (half.peek() ? 0.5 : 1);
  const endS = lengthS.peek();
  if (atS < endS) headS.value = atS;
  else if (loop.peek() && endS > 0) headS.value = fromS;
  else {
    headS.value = endS;
    playing.value = false;
    return;
  }
  requestAnimationFrame(next);
}

/** The state that a channel has in the rehearsal at a time. */
export function stateAt(
  of: Rehearsed | undefined,
  channel: string,
  info: ChannelInfo,
  atS: number,
): ChannelState {
  const track = of?.channels.find(({ name }) => name === channel);
  const park = parkValue(info);
  const rest = { value: park ?? 0, target: park ?? 0, flags: [], amps: 0 };
  if (!track) return rest;
  const stays = KIND_WORDS[info.kind].part === 'switch';
  const value = valueAt(track, atS, stays);
  const moves = !stays && differ(value, valueAt(track, atS + SOON_S), track.within);
  return { ...rest, value, target: value, flags: moves ? ['moving'] : [] };
}

/** Whether a channel moves is seen from where it is a little later (s). */
const SOON_S = 0.05;

/** @param within how far the curve may be from what the core does */
function differ(now: unknown, then: unknown, within: number): boolean {
  if (typeof now !== 'number' || typeof then !== 'number') return now !== then;
  return Math.abs(then - now) > 2 * within;
}
