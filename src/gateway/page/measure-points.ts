import type { ChannelInfo } from '../../api/types.ts';
import type { CalibrationPoint } from '../../sums/calibration.ts';
import {
  inNewDegrees,
  largestDifference,
  type Measured,
  measuredCalibration,
  type Places,
} from '../../sums/measured-points.ts';
import { ServoMapping } from '../../sums/servo-mapping.ts';
import type { HingeAlong } from '../../sums/tilt.ts';
import { type Kept, readKept } from './kept.ts';
import { type Edit, measuredEdit } from './measured.ts';

/** Measuring the angles of a servo: what was read, kept in this browser, and what the prop file gets. */

export const ALONG: readonly HingeAlong[] = ['short edge', 'long edge', 'screen'];

/** What was read so far. */
export interface Reading {
  /** Pulse (us) and true angle (deg), as they were taken. */
  points: CalibrationPoint[];
  /** With a linkage: what the angles are of. */
  of: 'horn' | 'flap';
  /** Where the hinge runs, for a phone that lies on the flap. */
  along: HingeAlong;
  /** The phone's own angle that counts as 0 (deg), and which way counts as rising. */
  zeroDeg: number;
  turned: boolean;
}

/** Nothing read yet. */
export const fresh = (): Reading => ({
  points: [],
  of: 'flap',
  along: 'short edge',
  zeroDeg: 0,
  turned: false,
});

/** Another pin is another servo: what was read of it says nothing. */
const keyOf = (prop: string, channel: string, { output }: ChannelInfo) =>
  `sinew-measure/${prop}/${channel}/${output?.board}/${output?.pin}`;

/** What was kept of a servo's points; undefined when there are none, or none that can be read. */
export function load(
  kept: Kept,
  prop: string,
  channel: string,
  info: ChannelInfo,
): Reading | undefined {
  const found = readKept(kept.getItem(keyOf(prop, channel, info)));
  return isReading(found) ? found : undefined;
}

/** Keeps what was read; nothing of it when there is no point. */
export function save(
  kept: Kept,
  prop: string,
  channel: string,
  info: ChannelInfo,
  reading: Reading,
): void {
  const key = keyOf(prop, channel, info);
  if (JSON.stringify(reading) === JSON.stringify(fresh())) kept.removeItem(key);
  else kept.setItem(key, JSON.stringify(reading));
}

function isReading(found: unknown): found is Reading {
  const { points, of, along, zeroDeg, turned } = (found ?? {}) as Partial<Reading>;
  return (
    Array.isArray(points) &&
    points.every(
      (point) => Array.isArray(point) && point.length === 2 && point.every(Number.isFinite),
    ) &&
    (of === 'horn' || of === 'flap') &&
    ALONG.includes(along as HingeAlong) &&
    Number.isFinite(zeroDeg) &&
    typeof turned === 'boolean'
  );
}

/** A point in the degrees that a calibration counts: those of the horn, where there is a linkage. */
export function calibrationPoint(
  [pulseUs, deg]: CalibrationPoint,
  info: ChannelInfo,
  of: Reading['of'],
): CalibrationPoint {
  if (!info.linkage || of === 'horn') return [pulseUs, deg];
  return [pulseUs, mappingOf(info).linkage!.toHorn(deg)];
}

function mappingOf({ calibration, envelopeUs, linkage }: ChannelInfo): ServoMapping {
  return new ServoMapping({ calibration: calibration!, envelopeUs, linkage });
}

/** What the points come to, against what the prop file has now. */
export interface Outcome extends Measured {
  /** The most by which the new angles differ from those that count now (deg, at which pulse). */
  difference: { deg: number; atUs: number };
  /** Limits, marks and park position by their names: degrees and pulse now, and with either choice. */
  rows: Row[];
  /** Numbers that would lie outside the pulse envelope if they stayed as they are. */
  outside: string[];
  /** The same places in the new degrees. */
  kept: Places;
}

interface Row {
  name: string;
  deg: number;
  pulseUs: number;
  /** The number that keeps its place. */
  newDeg: number;
  /** The place that its number means from then on. */
  newUs: number;
}

/** @throws RangeError with the reason why the points make no calibration */
export function outcomeOf(reading: Reading, info: ChannelInfo): Outcome {
  const envelopeUs = info.envelopeUs!;
  const points = reading.points.map((point) => calibrationPoint(point, info, reading.of));
  const measured = measuredCalibration(points, envelopeUs);
  const from = mappingOf(info);
  const to = new ServoMapping({ ...info, calibration: measured.calibration, envelopeUs });
  const places = placesOf(info);
  const kept = inNewDegrees(places, from, to);
  // Low stays low: of a servo that turns the other way round now, they change places.
  const turned = to.toPulseUs(kept.limitsDeg[0]) > to.toPulseUs(kept.limitsDeg[1]);
  const was = from.toPulseUs(places.limitsDeg[0]) > from.toPulseUs(places.limitsDeg[1]);
  const limits = turned === was ? kept.limitsDeg : kept.limitsDeg.toReversed();
  const row = (name: string, deg: number, newDeg: number): Row => ({
    name,
    deg,
    pulseUs: from.toPulseUs(deg),
    newDeg,
    newUs: to.toPulseUs(deg),
  });
  const rows = [
    row('low limit', places.limitsDeg[0], limits[0]!),
    row('high limit', places.limitsDeg[1], limits[1]!),
    ...Object.entries(places.marks).map(([mark, deg]) => row(mark, deg, kept.marks[mark]!)),
    ...(typeof places.park === 'number'
      ? [row('park position', places.park, kept.park as number)]
      : []),
  ];
  return {
    ...measured,
    difference: largestDifference(from, to, envelopeUs),
    rows,
    outside: rows
      .filter(({ newUs }) => newUs < envelopeUs[0] - SLACK_US || newUs > envelopeUs[1] + SLACK_US)
      .map(({ name }) => name),
    kept,
  };
}

/** Rounding of the sums, no more. */
const SLACK_US = 0.01;

function placesOf({ limitsDeg, marks = {}, park }: ChannelInfo): Places {
  return { limitsDeg: limitsDeg!, marks, park: park.to as number | string };
}

/**
 * The change of the prop file: calibration and date, and the envelope as it is, which would otherwise
 * follow the new calibration. With `keepPlaces`, limits, marks and park position in the new degrees too;
 * without it they are written as the numbers that they are, limits included.
 */
export function servoEdits(
  channel: string,
  info: ChannelInfo,
  { calibration, kept }: Outcome,
  keepPlaces: boolean,
  date: string,
): Edit[] {
  const at = (...keys: string[]) => ['channels', channel, ...keys];
  const places = keepPlaces ? kept : placesOf(info);
  return [
    { path: at('calibration'), value: calibration },
    { path: at('envelopeUs'), value: info.envelopeUs },
    { path: at('limitsDeg'), value: places.limitsDeg },
    ...(keepPlaces
      ? [
          ...Object.entries(places.marks).map(([mark, value]) => ({
            path: at('marks', mark),
            value,
          })),
          ...(typeof places.park === 'number'
            ? [{ path: at('park', 'to'), value: places.park }]
            : []),
        ]
      : []),
    measuredEdit(channel, 'calibration', { ...info, calibration }, date),
  ];
}
