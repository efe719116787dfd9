import type { Quantity } from '../boards/board.ts';
import { undividedV } from '../sums/divider.ts';
import type { SenseEntry, SenseKind } from './senses-schema.ts';

/** What an entry of `senses:` means, worked out once. */

/** The unit of each kind, as it is shown. */
export const SENSE_UNITS: Readonly<Record<SenseKind, string>> = {
  current: 'A',
  volts: 'V',
  position: 'deg',
  level: '',
  contact: '',
};

/** The limits that a sense may have; the first that the value has passed gives the reason. */
export const SENSE_LIMITS = ['parkBelow', 'warnBelow', 'warnAbove', 'pushAboveA'] as const;
export type SenseLimitName = (typeof SENSE_LIMITS)[number];

export interface SenseLimit {
  what: SenseLimitName;
  /** Passed beyond this. */
  at: number;
  /** No longer passed once the value is back here. */
  back: number;
  /** The side on which it is passed. */
  side: 'above' | 'below';
  /** How long it must be passed (s). */
  forS: number;
}

/** Without `hysteresis`, a limit is left once the value is back by this share of it. */
const BACK_SHARE = 0.03;
/** A reading may be beyond the ends of its calibration by this share of it. */
const BEYOND_SHARE = 0.05;

type Point = readonly [raw: number, value: number];

/** What the reading of a board stands for: straight lines between these points, and beyond their ends. */
export function sensePoints(sense: SenseEntry): Point[] {
  if (sense.kind === 'contact') return [];
  if (sense.kind === 'position' || sense.kind === 'level') return rising(sense.calibration);
  const { gain = 1, offset = 0 } = sense;
  const trimmed = ([raw, value]: Point): Point => [raw, value * gain + offset];
  if (sense.kind === 'current' && sense.calibration) return rising(sense.calibration).map(trimmed);
  const factor = sense.kind === 'volts' ? dividerFactor(sense) : 1;
  return [trimmed([0, 0]), trimmed([1, factor])];
}

/** The measured voltage for each volt at the input. */
export function dividerFactor({ divider }: { divider?: readonly [number, number] | undefined }) {
  return divider ? undividedV(1, ...divider) : 1;
}

function rising(points: readonly Point[]): Point[] {
  return [...points].sort(([a], [b]) => a - b);
}

/**
 * The lowest and the highest reading that its calibration covers. Of a position or a current, what is
 * beyond is no reading: a wire is broken, or the input floats.
 */
export function senseRange(sense: SenseEntry): readonly [low: number, high: number] {
  const calibration = 'calibration' in sense ? sense.calibration : undefined;
  if (!calibration) return [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY];
  const points = rising(calibration);
  const [low, high] = [points[0]![0], points.at(-1)![0]];
  const slack = BEYOND_SHARE * (high - low);
  return [low - slack, high + slack];
}

/** Its limits, in the order of `SENSE_LIMITS`. */
export function senseLimits(sense: SenseEntry): SenseLimit[] {
  if (sense.kind === 'contact') {
    if (sense.warnWhen === undefined) return [];
    const [what, side] =
      sense.warnWhen === 'open'
        ? (['warnBelow', 'below'] as const)
        : (['warnAbove', 'above'] as const);
    return [{ what, at: 0.5, back: 0.5, side, forS: sense.forS }];
  }
  return SENSE_LIMITS.flatMap((what) => {
    const at = limitOf(sense, what);
    if (at === undefined) return [];
    const by = sense.hysteresis ?? Math.abs(at) * BACK_SHARE;
    const side = what === 'warnAbove' || what === 'pushAboveA' ? 'above' : 'below';
    const forS = what === 'pushAboveA' && sense.kind === 'current' ? sense.pushS : sense.forS;
    return [{ what, at, back: side === 'above' ? at - by : at + by, side, forS }];
  });
}

/** Below what a single reading is a dip, and where that is over (V); undefined where none is noticed. */
export function dipOf(sense: SenseEntry): { at: number; back: number } | undefined {
  if (sense.kind !== 'volts' || sense.dipBelow === undefined) return undefined;
  const { dipBelow: at, hysteresis = Math.abs(at) * BACK_SHARE } = sense;
  return { at, back: at + hysteresis };
}

function limitOf(sense: Exclude<SenseEntry, { kind: 'contact' }>, what: SenseLimitName) {
  if (what === 'parkBelow') return sense.kind === 'volts' ? sense.parkBelow : undefined;
  if (what === 'pushAboveA') return sense.kind === 'current' ? sense.pushAboveA : undefined;
  return sense[what];
}

/** How a sense notices that a servo pushes, and how far that backs off. */
export interface PushSense {
  channel: string;
  aboveA: number | undefined;
  /** It may draw so much more than it does running free (A). */
  overA: number | undefined;
  forS: number;
  backOffDeg: number;
}

/** The servo whose pushing a sense notices; undefined where it notices none. */
export function pushOf(sense: SenseEntry): PushSense | undefined {
  if (sense.kind !== 'current' || sense.channel === undefined) return undefined;
  const { channel, pushAboveA: aboveA, pushOverA: overA, pushS: forS, backOffDeg } = sense;
  if (aboveA === undefined && overA === undefined) return undefined;
  return { channel, aboveA, overA, forS, backOffDeg };
}

/** What the board must measure for it; undefined of a contact, which is an input like others. */
export function senseQuantity(sense: SenseEntry): Quantity | undefined {
  if (sense.kind === 'contact') return undefined;
  return sense.kind === 'current' && sense.input === undefined ? 'current' : 'volts';
}

/** The highest voltage at its input (V), where the file gives it. */
export function senseMaxV(sense: SenseEntry): number | undefined {
  if (sense.kind === 'contact') return undefined;
  if (sense.maxV !== undefined) return sense.maxV;
  const [, high] = senseRange(sense);
  return Number.isFinite(high) ? high : undefined;
}

/** A value with its unit, in words: `5.32 V`, `41 %`, `open`. */
export function senseText(kind: SenseKind, value: number): string {
  if (kind === 'contact') return value > 0.5 ? 'closed' : 'open';
  if (kind === 'level') return `${Math.round(value * 100)} %`;
  const digits = kind === 'position' ? 1 : 2;
  return `${fixed(value, digits)} ${SENSE_UNITS[kind]}`;
}

/** With so many decimals; noise around 0 has no sign. */
export function fixed(value: number, digits: number): string {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? (0).toFixed(digits) : text;
}
