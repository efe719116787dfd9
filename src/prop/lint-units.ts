import { tidy } from '../shared/units.ts';
import type { Path } from './finding.ts';
import { servoOf } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import type { Notes } from './notes.ts';
import { railOf } from './rails.ts';
import type { Channel, ServoChannel } from './schema.ts';
import type { Wire } from './schema-parts.ts';

/**
 * Reports values in another unit than that of their key, which are a hundred or a thousand times too
 * large. Findings that would follow from them are suppressed. The bounds are common practice for props,
 * from memory: far above what is built, far below the same number in the smaller unit.
 */

/** A single LED draws less than this (A). */
const LED_A = 5;
/** Supplies and fuses of props are below this (A). */
const RAIL_A = 200;
/** Wires of props are shorter than this (m). */
const WIRE_M = 20;

/** Checks the values of all channels, rails and wires. */
export function lintUnits(notes: Notes): void {
  const { rails, channels, wires } = notes.prop;
  for (const [name, { limitA, fuse }] of Object.entries(rails)) {
    if (limitA >= RAIL_A) milliamperes(notes, ['rails', name, 'limitA'], { limitA });
    if (fuse && fuse.ratingA >= RAIL_A)
      milliamperes(notes, ['rails', name, 'fuse', 'ratingA'], { ratingA: fuse.ratingA });
  }
  for (const [name, channel] of Object.entries(channels)) {
    const at = ['channels', name];
    lintDraw(notes, channel, [...at, 'draw']);
    if ('led' in channel && channel.led && channel.led.currentA >= LED_A)
      milliamperes(notes, [...at, 'led', 'currentA'], { currentA: channel.led.currentA });
    if (channel.wire) lintLength(notes, channel.wire, [...at, 'wire']);
    const servo = servoOf(channel);
    if (servo) lintPairs(notes, servo, [...at, 'calibration']);
  }
  for (const [i, wire] of wires.entries()) lintLength(notes, wire, ['wires', i]);
}

/** The currents of a channel by their keys. */
function lintDraw(notes: Notes, channel: Channel, path: Path): void {
  const { rail, draw } = channel;
  if (!draw || notes.given.broken(path)) return;
  const values = draw as Record<string, number | number[]>;
  const largest = Math.max(...Object.values(values).flat());
  if (largest < kindOf(channel).unlikelyA) return;
  const limitA = railOf(notes.prop, rail)?.limitA;
  milliamperes(notes, path, values, limitA === undefined ? undefined : { rail: rail!, limitA });
}

function milliamperes(
  notes: Notes,
  path: Path,
  values: Record<string, number | number[]>,
  supply?: { rail: string; limitA: number },
): void {
  if (notes.given.broken(path)) return;
  const largest = Math.max(...Object.values(values).flat());
  const inA = (value: number | number[]): string =>
    Array.isArray(value) ? `[${value.map(inA).join(', ')}]` : String(tidy(value / 1000, 6));
  const meant = Object.entries(values)
    .filter(([, value]) => value !== 0)
    .map(([key, value]) => `${key}: ${inA(value)}`)
    .join(', ');
  const right = `did you mean milliamperes? write ${meant}`;
  const wrong = `${largest} A is far more than props draw`;
  if (supply && largest > supply.limitA)
    notes.error(path, `${wrong}, and rail ${supply.rail} gives ${supply.limitA} A`, right);
  else notes.warning(path, wrong, right);
  notes.suspect(path);
}

function lintLength(notes: Notes, { lengthM }: Wire, path: Path): void {
  const at = [...path, 'lengthM'];
  if (lengthM === undefined || lengthM < WIRE_M || notes.given.broken(at)) return;
  notes.warning(
    at,
    `a wire of ${lengthM} m is longer than props are`,
    `did you mean ${tidy(lengthM / 100, 4)} (${lengthM} cm) or ${tidy(lengthM / 1000, 4)} (${lengthM} mm)?`,
  );
  notes.suspect(at);
}

/** All servo pulses are within this range (us); angles are not. */
const PULSES_US = [400, 3000] as const;
const LARGEST_DEG = 360;

/** Reports a calibration whose points all have the angle first. */
function lintPairs(notes: Notes, { calibration }: ServoChannel, path: Path): void {
  if (notes.given.broken(path)) return;
  const swapped = calibration.every(
    ([first, second]) =>
      Math.abs(first) <= LARGEST_DEG && second >= PULSES_US[0] && second <= PULSES_US[1],
  );
  if (!swapped) return;
  const pairs = calibration.map(([deg, us]): [number, number] => [us, deg]);
  const shown = pairs.slice(0, 3).map(([us, deg]) => `[${us}, ${deg}]`);
  notes.error(
    path,
    'angle and pulse are the wrong way round',
    `write the pulse (us) first: [${[...shown, ...(pairs.length > 3 ? ['...'] : [])].join(', ')}]`,
    { path, value: pairs },
  );
  notes.suspect(path);
}
