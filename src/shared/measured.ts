/**
 * What was measured on the prop itself, and of what: a measurement holds only as long as what it was
 * measured of is the same. The prop file keeps the date and a digest of that.
 */

/** What can be measured of a channel; each is a key of `measured` in the prop file. */
export const MEASURABLE = [
  'calibration',
  'freeRunning',
  'contact',
  'colours',
  'white',
  'resistors',
] as const;
export type Measurable = (typeof MEASURABLE)[number];

/** One measurement as the prop file keeps it. */
export interface Measurement {
  /** `2026-11-26` */
  date: string;
  /** Digest of what it was measured of: see `measuredOf`. */
  of: string;
}

/** What measurements are made of: a channel's entry in the prop file, or what `channel.list` says of it. */
export interface MeasuredThing {
  output: object;
  calibration?: readonly (readonly [number, number])[] | undefined;
  linkage?: object | undefined;
  limitsDeg?: readonly number[] | undefined;
  speedDegS?: number | undefined;
  accelDegS2?: number | undefined;
  freeRunning?: object | undefined;
  whiteBalance?: readonly number[] | undefined;
  led?: object | undefined;
  /** The terminals of a relay's contact. */
  terminals?: object | undefined;
}

/** The digest of what a measurement was made of: 8 hexadecimal digits after an m. */
export function measuredOf(what: Measurable, thing: MeasuredThing): string {
  const { output, calibration, linkage, whiteBalance, led, terminals } = thing;
  const { limitsDeg, speedDegS, accelDegS2, freeRunning } = thing;
  // In either order it is the same calibration.
  const angles = [[...(calibration ?? [])].sort(([a], [b]) => a - b), linkage];
  // What is fitted to a pin decides its level at power-on, and nothing that is measured here.
  const { pull: _pull, ...pins } = output as { pull?: unknown };
  const parts: Record<Measurable, unknown[]> = {
    calibration: angles,
    freeRunning: [...angles, limitsDeg, speedDegS, accelDegS2, freeRunning],
    contact: [terminals],
    colours: [],
    white: [whiteBalance],
    resistors: [led],
  };
  return `m${fnv1a(sorted([what, pins, ...parts[what]]))}`;
}

/** JSON with the keys in order, and without what is undefined. */
function sorted(value: unknown): string {
  return JSON.stringify(value, (_key, one: unknown) =>
    typeof one === 'object' && one !== null && !Array.isArray(one)
      ? Object.fromEntries(Object.entries(one).sort(([a], [b]) => (a < b ? -1 : 1)))
      : one,
  );
}

/**
 * The 32-bit FNV-1a hash of a text's UTF-8 bytes (Fowler, Noll, Vo; draft-eastlake-fnv): for changes that
 * somebody made, not against somebody who wants to deceive.
 */
export function fnv1a(text: string): string {
  let hash = 0x811c9dc5;
  for (const byte of new TextEncoder().encode(text))
    hash = Math.imul(hash ^ byte, 0x01000193) >>> 0;
  return hash.toString(16).padStart(8, '0');
}
