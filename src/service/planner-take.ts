import { durationOf, type Recording } from '../core/recorder.ts';
import { MAX_TAKE_CHARS, MAX_TAKE_POINTS, type Take, takeText } from '../prop/take/take-text.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import {
  changed,
  largestDifference,
  resample,
  simplified,
  TAKE_HZ,
  type TakePoints,
  trim as trimmed,
} from '../sums/take-points.ts';
import { linePoints } from '../sums/take-simplify.ts';
import type { Asked } from './planner-question.ts';

/** How far a saved point may be from what was recorded (deg), where nobody says. */
const TOLERANCE_DEG = 0.5;
/** A drawing of the movement is this near to it (deg), and has so many points of a channel at most. */
const DRAWN_DEG = 0.1;
const DRAWN_POINTS = 600;

type Curve = [tS: number, deg: number][];

/** What a recording, or a take, becomes. */
export interface MadeTake {
  /** Of the take's file. */
  text: string;
  points: number;
  durationS: number;
  /** How long it was before (s), and the channels. */
  wholeS: number;
  channels: string[];
  /** By channel, for a drawing: all that there was, and what the take has of it. */
  recorded: Record<string, Curve>;
  simplified: Record<string, Curve>;
  /** The largest difference between the two, by channel (deg). */
  differenceDeg: Record<string, number>;
}

/** What is changed: servos by their names, in the time of the whole. */
interface Source {
  wholeS: number;
  servos: { name: string; points: TakePoints }[];
}

/**
 * A take from a recording, or from another take: trimmed, changed, and with no more points than it needs.
 * @throws Refusal `take.trimmed-away`, `take.too-long`, `take.unusable`
 */
export function takeAnswer({ of, params }: Asked<'take'>): MadeTake {
  const isRecording = 'samples' in of;
  const { wholeS, servos } = isRecording ? sourceOf(of) : takeSource(of);
  const { trim = [0, wholeS] } = params;
  // A take has few points already: it loses some only where that is asked for.
  const { toleranceDeg = isRecording ? TOLERANCE_DEG : undefined } = params;
  const [fromS, toS] = trim.map((s) =>
    s >= wholeS ? wholeS : Math.round(s * TAKE_HZ) / TAKE_HZ,
  ) as [number, number];
  if (toS <= fromS)
    throw new Refusal(
      'take.trimmed-away',
      `nothing is left of it between ${tidy(trim[0])} s and ${tidy(trim[1])} s; it is ${tidy(wholeS)} s long`,
      { durationS: wholeS, trim: [...trim] },
    );
  const made: Omit<MadeTake, 'text'> = {
    ...{ points: 0, durationS: tidy(toS - fromS), wholeS, channels: [] },
    ...{ recorded: {}, simplified: {}, differenceDeg: {} },
  };
  const take: Take = { servos: [] };
  for (const { name, points } of servos) {
    const part = fromS > 0 || toS < wholeS ? trimmed(points, fromS, toS) : points;
    const all = changed(part, params);
    const kept =
      toleranceDeg === undefined
        ? all
        : simplified(all, toleranceDeg, MAX_TAKE_POINTS - made.points);
    if (!kept || made.points + kept.timesS.length > MAX_TAKE_POINTS)
      throw tooLong(MAX_TAKE_POINTS, 'points');
    made.points += kept.timesS.length;
    made.channels.push(name);
    take.servos.push({ name, timesS: [...kept.timesS], deg: [...kept.deg] });
    made.recorded[name] = drawn(points);
    made.simplified[name] = kept.timesS.map((s, i) => [tidy(fromS + s), tidy(kept.deg[i]!)]);
    made.differenceDeg[name] = tidy(largestDifference(points, fromS, kept), 2);
  }
  return { ...made, text: textOf(take) };
}

/** @throws Refusal `take.too-long`, `take.unusable` */
function textOf(take: Take): string {
  let text: string;
  try {
    text = takeText(take);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new Refusal('take.unusable', `what it would become is not a take: ${error.message}`);
  }
  if (text.length > MAX_TAKE_CHARS) throw tooLong(MAX_TAKE_CHARS, 'characters');
  return text;
}

function tooLong(limit: number, what: string): Refusal {
  return new Refusal(
    'take.too-long',
    `the take would have more than ${limit} ${what}; trim it, or allow a larger tolerance`,
    { limit },
  );
}

function sourceOf(recording: Recording): Source {
  const { channels, samples, count } = recording;
  const timesS = Array.from({ length: count }, (_, i) => i / TAKE_HZ);
  return {
    wholeS: durationOf(recording),
    servos: channels.map((name, at) => ({
      name,
      points: { timesS, deg: timesS.map((_, i) => samples[i * channels.length + at]!) },
    })),
  };
}

function takeSource({ servos }: Take): Source {
  return {
    wholeS: Math.max(...servos.map(({ timesS }) => timesS.at(-1)!)),
    servos: servos.map(({ name, ...points }) => ({ name, points })),
  };
}

/** With a tolerance that leaves few enough points for a drawing. */
function drawn(points: TakePoints): Curve {
  const { timesS, deg } = resample(points, TAKE_HZ);
  let toleranceDeg = DRAWN_DEG;
  let kept = linePoints(deg, toleranceDeg);
  while (kept.length > DRAWN_POINTS) {
    toleranceDeg *= 2;
    kept = linePoints(deg, toleranceDeg);
  }
  return kept.map((i) => [tidy(timesS[i]!), tidy(deg[i]!, 2)]);
}
