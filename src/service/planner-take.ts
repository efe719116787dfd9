import { durationOf, type Recording } from '../core/recorder.ts';
import { MAX_TAKE_CHARS, MAX_TAKE_POINTS, type Take, takeText } from '../prop/take/take-text.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { TAKE_HZ } from '../sums/take-points.ts';
import { curvePoints, linePoints } from '../sums/take-simplify.ts';
import type { Asked } from './planner-question.ts';

/** How far a saved point may be from what was recorded (deg), where nobody says. */
const TOLERANCE_DEG = 0.5;
/** A drawing of the recording is this near to it (deg), and has so many points of a channel at most. */
const DRAWN_DEG = 0.1;
const DRAWN_POINTS = 600;

type Curve = [tS: number, deg: number][];

/** What a recording becomes. */
export interface MadeTake {
  /** Of the take's file. */
  text: string;
  points: number;
  durationS: number;
  /** By channel, for a drawing: all that was recorded, and what the take has of it. */
  recorded: Record<string, Curve>;
  simplified: Record<string, Curve>;
}

/**
 * A take from a recording: trimmed, and with no more points than it needs.
 * @throws Refusal `take.trimmed-away`, `take.too-long`
 */
export function takeAnswer({ recording, params }: Asked<'take'>): MadeTake {
  const { channels } = recording;
  const wholeS = durationOf(recording);
  const { trim = [0, wholeS], toleranceDeg = TOLERANCE_DEG } = params;
  const [fromS, toS] = [Math.min(trim[0], wholeS), Math.min(trim[1], wholeS)];
  const first = Math.round(fromS * TAKE_HZ);
  const last = Math.round(toS * TAKE_HZ);
  if (last <= first)
    throw new Refusal(
      'take.trimmed-away',
      `nothing is left of the recording between ${tidy(trim[0])} s and ${tidy(trim[1])} s; it is ${wholeS} s long`,
      { durationS: wholeS, trim: [...trim] },
    );
  const made: Omit<MadeTake, 'text'> = {
    points: 0,
    durationS: tidy((last - first) / TAKE_HZ),
    recorded: {},
    simplified: {},
  };
  const take: Take = { servos: [] };
  for (const [at, name] of channels.entries()) {
    const whole = column(recording, at, 0, recording.count - 1);
    made.recorded[name] = drawn(whole);
    const part = column(recording, at, first, last);
    const room = MAX_TAKE_POINTS - made.points;
    const kept = curvePoints(part, 1 / TAKE_HZ, toleranceDeg, room);
    if (!kept) throw tooLong(MAX_TAKE_POINTS, 'points');
    made.points += kept.length;
    take.servos.push({
      name,
      timesS: kept.map((i) => i / TAKE_HZ),
      deg: kept.map((i) => part[i]!),
    });
    made.simplified[name] = kept.map((i) => [tidy((first + i) / TAKE_HZ), tidy(part[i]!)]);
  }
  const text = takeText(take);
  if (text.length > MAX_TAKE_CHARS) throw tooLong(MAX_TAKE_CHARS, 'characters');
  return { ...made, text };
}

function tooLong(limit: number, what: string): Refusal {
  return new Refusal(
    'take.too-long',
    `the take would have more than ${limit} ${what}; trim it, or allow a larger tolerance`,
    { limit },
  );
}

/** The samples of one channel (deg), the last one included. */
function column({ channels, samples }: Recording, at: number, first: number, last: number) {
  const deg = new Float64Array(last - first + 1);
  for (let i = first; i <= last; i++) deg[i - first] = samples[i * channels.length + at]!;
  return deg;
}

/** With a tolerance that leaves few enough points for a drawing. */
function drawn(deg: Float64Array): Curve {
  let toleranceDeg = DRAWN_DEG;
  let kept = linePoints(deg, toleranceDeg);
  while (kept.length > DRAWN_POINTS) {
    toleranceDeg *= 2;
    kept = linePoints(deg, toleranceDeg);
  }
  return kept.map((i) => [tidy(i / TAKE_HZ), tidy(deg[i]!, 2)]);
}
