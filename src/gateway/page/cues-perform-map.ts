import type { Result } from '../../api/methods.ts';
import { clamp } from '../../shared/units.ts';

/** From what a hand does to where a servo is led: pure, without browser or prop. */

/** What leads a servo. */
export type Leader =
  | 'slider'
  | 'pad-across'
  | 'pad-up'
  | 'keys'
  | 'tilt-roll'
  | 'tilt-pitch'
  | `axis-${number}`
  | `button-${number}`
  | `with-${string}`;

/** One servo that is led, as the person has set it up. */
export interface Led {
  channel: string;
  by: Leader;
  /** Where it is when the hand is at its low, and at its high end (deg); the limits where nothing is said. */
  fromDeg?: number | undefined;
  toDeg?: number | undefined;
  /** The hand's low end is the high one. */
  turned?: boolean | undefined;
  /** For keys: towards low, and towards high. */
  keys?: readonly [string, string] | undefined;
}

/** The range in which a servo is led (deg): what was chosen, within its limits now. */
export function rangeOf(
  { fromDeg, toDeg }: Pick<Led, 'fromDeg' | 'toDeg'>,
  [low, high]: readonly [number, number],
): [number, number] {
  const from = clamp(fromDeg ?? low, low, high);
  const to = clamp(toDeg ?? high, low, high);
  return from <= to ? [from, to] : [to, from];
}

/**
 * The angle (deg) at a place of the hand, 0 to 1. Rounded to 0.01 deg towards the inside: what is asked for
 * is never outside the limits.
 */
export function degAt(
  place: number,
  [from, to]: readonly [number, number],
  turned = false,
): number {
  const at = clamp(turned ? 1 - place : place, 0, 1);
  const deg = from + at * (to - from);
  const middle = (from + to) / 2;
  const rounded = (deg > middle ? Math.floor(deg * 100 + 1e-6) : Math.ceil(deg * 100 - 1e-6)) / 100;
  return clamp(rounded, from, to);
}

/** The place of the hand, 0 to 1, that an angle (deg) stands for: `degAt` the other way round. */
export function placeAt(
  deg: number,
  [from, to]: readonly [number, number],
  turned = false,
): number {
  const place = to > from ? clamp((deg - from) / (to - from), 0, 1) : 0;
  return turned ? 1 - place : place;
}

/** A stick that is let go stands this near to its middle (share of its way). */
export const DEAD_ZONE = 0.12;

/** A stick's reading, -1 to 1, without its dead zone; beyond that it begins at 0. */
export function withoutDeadZone(reading: number, zone = DEAD_ZONE): number {
  const size = Math.abs(reading);
  if (!(size > zone)) return 0;
  return Math.sign(reading) * Math.min(1, (size - zone) / (1 - zone));
}

/** The place of the hand, 0 to 1, of a stick at a reading. */
export function placeOfAxis(reading: number): number {
  return (1 + withoutDeadZone(reading)) / 2;
}

/** The place of the hand, 0 to 1, of a trigger that is pressed so far. */
export function placeOfButton(pressed: number): number {
  return Math.max(0, withoutDeadZone(pressed));
}

/** Tilting the phone so far to either side leads from end to end (deg). */
export const TILT_DEG = 35;

/**
 * The place of the hand after the phone was tilted, from the place where it began: it is led from where it
 * stands.
 * @param turnedDeg how far it was tilted since (deg)
 */
export function placeOfTilt(beganAt: number, turnedDeg: number): number {
  return clamp(beganAt + turnedDeg / (2 * TILT_DEG), 0, 1);
}

/** The place after a finger has moved: led from where it stands, a tap alone moves nothing. */
export function placeOfDrag(beganAt: number, moved: number, length: number): number {
  return length > 0 ? clamp(beganAt + moved / length, 0, 1) : beganAt;
}

/** Up and down count downwards (section 10): here up is high. */
const DOWNWARDS = new Set([1, 3]);

/** Where a gamepad has the hand for a servo (0 to 1); undefined where another thing leads it. */
export function gamepadPlace(
  { by }: Led,
  pad: { axes: readonly number[]; buttons: readonly { value: number }[] },
): number | undefined {
  const [what, number] = by.split('-');
  const at = Number(number);
  if (what === 'axis') {
    const reading = pad.axes[at];
    if (reading === undefined || !Number.isFinite(reading)) return undefined;
    return placeOfAxis(DOWNWARDS.has(at) ? -reading : reading);
  }
  const button = what === 'button' ? pad.buttons[at] : undefined;
  return button && placeOfButton(button.value);
}

/** Whether a stick or a button of a gamepad leads it. */
export const leadsByGamepad = ({ by }: Led): boolean => /^(axis|button)-/.test(by);

/** The channel that this one goes together with, if it does. */
export function partnerOf({ by }: Led): string | undefined {
  return by.startsWith('with-') ? by.slice('with-'.length) : undefined;
}

const FIXED: readonly string[] = [
  'slider',
  'pad-across',
  'pad-up',
  'keys',
  'tilt-roll',
  'tilt-pitch',
];

function isLeader(by: unknown): by is Leader {
  return (
    typeof by === 'string' &&
    (FIXED.includes(by) || /^(axis|button)-\d{1,2}$/.test(by) || /^with-./.test(by))
  );
}

/** What a browser has kept, as far as it makes sense. */
export function ledFrom(kept: unknown): Led[] {
  if (!Array.isArray(kept)) return [];
  const number = (value: unknown) => (Number.isFinite(value) ? (value as number) : undefined);
  const seen = new Set<string>();
  return kept.flatMap((one): Led[] => {
    const { channel, by, fromDeg, toDeg, turned, keys } = (one ?? {}) as Record<string, unknown>;
    if (typeof channel !== 'string' || !isLeader(by) || seen.has(channel)) return [];
    seen.add(channel);
    const pair = Array.isArray(keys) && keys.length === 2 && keys.every((key) => isKey(key));
    return [
      {
        channel,
        by,
        fromDeg: number(fromDeg),
        toDeg: number(toDeg),
        turned: turned === true,
        keys: pair ? (keys as [string, string]) : undefined,
      },
    ];
  });
}

/** A letter or digit: other keys have a meaning already. */
export function isKey(key: unknown): key is string {
  return typeof key === 'string' && /^[a-z0-9]$/.test(key);
}

/** Pairs that lie side by side on most keyboards. */
const PAIRS = ['ad', 'jl', 'ws', 'ik', 'qe', 'uo', 'zx', 'nm', '12', '34', '56', '78', '90'];

/** Two keys that lead nothing yet: towards low, and towards high. */
export function freeKeys(led: readonly Led[]): readonly [string, string] {
  const taken = new Set(led.flatMap(({ by, keys = [] }) => (by === 'keys' ? keys : [])));
  const [low, high] = PAIRS.find((pair) => [...pair].every((key) => !taken.has(key))) ?? '';
  return [low ?? '', high ?? ''];
}

/**
 * The keys of a servo with another one in the place of one of them; the two change places where it is the
 * other one. Where that cannot be: why, for a person.
 * @param at 0: towards low; 1: towards high
 */
export function withKeyAt(
  led: readonly Led[],
  { channel, keys = ['', ''] }: Led,
  at: 0 | 1,
  key: string,
): readonly [string, string] | string {
  if (!isKey(key)) return 'Give a letter or a digit: other keys have a meaning already.';
  const other = led.find(
    (one) => one.by === 'keys' && one.channel !== channel && one.keys?.includes(key),
  );
  if (other) return `Key ${key} leads ${other.channel} already.`;
  const rest = keys[1 - at] === key ? keys[at] : keys[1 - at]!;
  return at === 0 ? [key, rest!] : [rest!, key];
}

/** What moves less than this does not move (deg); so much rest is kept at both ends (s). */
const STILL_DEG = 0.3;
const REST_S = 0.2;

/**
 * What is worth keeping (s): from shortly before anything moved until shortly after. Over a cue or a sound
 * it begins with that.
 */
export function usualTrim({
  durationS,
  over: cue,
  sound,
  recorded = {},
}: Pick<Result<'take.read'>, 'durationS' | 'over' | 'sound' | 'recorded'>): [number, number] {
  let fromS = durationS;
  let toS = 0;
  for (const curve of Object.values(recorded)) {
    const [first, last] = [curve[0], curve.at(-1)];
    if (!first || !last) continue;
    const begins = curve.findIndex(([, deg]) => Math.abs(deg - first[1]) > STILL_DEG);
    const ends = curve.findLastIndex(([, deg]) => Math.abs(deg - last[1]) > STILL_DEG);
    if (begins < 0) continue;
    fromS = Math.min(fromS, curve[begins - 1]?.[0] ?? 0);
    toS = Math.max(toS, curve[ends + 1]?.[0] ?? durationS);
  }
  if (fromS >= toS) return [0, durationS];
  const round = (s: number) => Math.round(s * 50) / 50;
  return [
    cue === undefined && sound === undefined ? round(Math.max(0, fromS - REST_S)) : 0,
    round(Math.min(durationS, toS + REST_S)),
  ];
}
