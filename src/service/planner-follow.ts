import type { Recording } from '../core/recorder.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { decodeSound } from '../sound/decode.ts';
import { SoundError } from '../sound/sound-error.ts';
import {
  followed,
  integratedLufs,
  loudnessTrack,
  MOMENTARY_S,
  weightedEnergy,
} from '../sums/loudness.ts';
import { TAKE_HZ } from '../sums/take-points.ts';
import type { Asked } from './planner-question.ts';

/** A mouth follows syllables: a shorter window than that of momentary loudness (s). */
const MOUTH_S = 0.06;
const STEP_S = 1 / TAKE_HZ;
/** What is softer is not told apart (LUFS). */
const SOFTEST = -100;
/** The most points of a drawing of the loudness. */
const DRAWN = 3000;

async function decoded(name: string, bytes: Uint8Array) {
  try {
    return await decodeSound(bytes);
  } catch (error) {
    if (!(error instanceof SoundError)) throw error;
    throw new Refusal('sound.unreadable', `${name}: ${error.message}; ${error.right}`, {
      sound: name,
    });
  }
}

/** How loud a sound is over time, for a drawing. @throws Refusal `sound.unreadable` */
export async function loudnessAnswer({ name, bytes }: Asked<'loudness'>): Promise<object> {
  const sound = await decoded(name, bytes);
  const energy = weightedEnergy(sound);
  const stepS = Math.max(STEP_S, sound.durationS / DRAWN);
  const track = loudnessTrack(energy, sound.rateHz, { windowS: Math.max(MOUTH_S, stepS), stepS });
  const lufs = (one: number) => tidy(Math.max(one, SOFTEST), 1);
  return {
    sound: name,
    durationS: tidy(sound.durationS),
    stepS: tidy(stepS, 6),
    lufs: Array.from(track, lufs),
    loudestLufs: lufs(
      Math.max(...loudnessTrack(energy, sound.rateHz, { windowS: MOMENTARY_S, stepS: 0.1 })),
    ),
    wholeLufs: lufs(integratedLufs(energy, sound.rateHz)),
  };
}

/** The movement of a servo that follows a sound, as if it had been recorded. @throws Refusal */
export async function followAnswer({ name, bytes, how }: Asked<'follow'>): Promise<Recording> {
  const sound = await decoded(name, bytes);
  const energy = weightedEnergy(sound);
  const track = loudnessTrack(energy, sound.rateHz, { windowS: MOUTH_S, stepS: STEP_S });
  const open = followed(track, STEP_S, how);
  // It ends shut, however the sound ends.
  const rest = Math.ceil((3 * how.releaseS) / STEP_S);
  const samples = new Float32Array(open.length + rest + 1);
  const last = open.at(-1) ?? 0;
  for (let i = 0; i < samples.length; i++) {
    const share = i < open.length ? open[i]! : last * (1 - (i - open.length + 1) / (rest + 1));
    samples[i] = how.shutDeg + share * (how.openDeg - how.shutDeg);
  }
  return {
    channels: [how.channel],
    samples,
    count: samples.length,
    ended: 'it follows a sound',
  };
}
