import { PLAYED_HZ } from '../../sound/limits.ts';
import { CHIRP_S } from '../board.ts';

/** The player gets two channels of 16 bits. */
const CHANNELS = 2;
export const FRAME_BYTES = 2 * CHANNELS;
const FULL = 32_767;

/** A decoded sound, ready to be mixed: left and right, which may be the same. */
export interface Clip {
  left: Int16Array;
  right: Int16Array;
}

/** A sound that plays, or will. */
export interface Voice {
  clip: Clip;
  /** The frame of the stream at which it starts. */
  startFrame: number;
  /** Share of its full amplitude that it had at the end of what is written. */
  gain: number;
}

/** Samples of 16 bits from -1 to 1; what is beyond is cut off. */
export function toClip([left, right = left]: readonly Float32Array[]): Clip {
  const whole = (samples: Float32Array) =>
    Int16Array.from(samples, (sample) => Math.round(Math.min(Math.max(sample, -1), 1) * FULL));
  const first = whole(left!);
  return { left: first, right: right === left ? first : whole(right!) };
}

/** Whether a sound has nothing more to give from this frame on. */
export function isOver({ clip, startFrame }: Voice, frame: number): boolean {
  return frame >= startFrame + clip.left.length;
}

/**
 * The next frames of the stream: the sum of all voices, little-endian. The gain of each goes evenly to its
 * new value, so that a change makes no click.
 * @param gains the new gain of each voice
 * @returns the stream's bytes, and which voices can be heard in them
 */
export function mix(
  voices: readonly Voice[],
  gains: readonly number[],
  fromFrame: number,
  count: number,
): { bytes: Buffer; loud: boolean[] } {
  const sums = new Float64Array(count * CHANNELS);
  const loud: boolean[] = [];
  for (const [k, voice] of voices.entries()) {
    const { clip, startFrame } = voice;
    const to = gains[k]!;
    const first = Math.max(0, startFrame - fromFrame);
    const last = Math.min(count, startFrame + clip.left.length - fromFrame);
    // A voice that has not started yet starts with its gain as it is then.
    const from = fromFrame <= startFrame ? to : voice.gain;
    for (let i = first; i < last; i++) {
      const gain = from + ((to - from) * (i + 1)) / count;
      const at = fromFrame + i - startFrame;
      sums[CHANNELS * i]! += clip.left[at]! * gain;
      sums[CHANNELS * i + 1]! += clip.right[at]! * gain;
    }
    loud.push(last > first && (from > 0 || to > 0));
    voice.gain = to;
  }
  const bytes = Buffer.alloc(count * FRAME_BYTES);
  for (let i = 0; i < sums.length; i++)
    bytes.writeInt16LE(Math.round(Math.min(Math.max(sums[i]!, -FULL), FULL)), 2 * i);
  return { bytes, loud };
}

/** A tone by which a person finds a loudspeaker, soft at both ends. */
export function chirp(): Clip {
  const length = Math.round(CHIRP_S * PLAYED_HZ);
  const samples = Float32Array.from({ length }, (_, i) => {
    const share = i / length;
    return 0.25 * Math.sin(Math.PI * share) * Math.sin((2 * Math.PI * 660 * i) / PLAYED_HZ);
  });
  return toClip([samples]);
}
