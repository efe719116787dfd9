import { BATTERY_FIELD } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import { runTimeH } from '../sums/supply.ts';
import type { Rail } from './schema.ts';

export type Battery = NonNullable<Rail['battery']>;

/** Voltages that differ by more than this share have a regulator between them. */
const REGULATED_SHARE = 0.25;

/** Whether a rail has a battery, and no regulator after it: its nominal voltage is near the rail's. */
export function feedsDirectly({ battery, volts }: Rail): boolean {
  if (!battery) return false;
  const { nominalV = volts } = battery;
  return Math.abs(nominalV - volts) <= REGULATED_SHARE * volts;
}

/**
 * The battery of a rail, if its full or empty voltage is given and it feeds the rail directly: not if there
 * is a regulator between them.
 */
export function batteryOf(rail: Rail): Battery | undefined {
  const { battery } = rail;
  if (!battery || (battery.fullV === undefined && battery.emptyV === undefined)) return undefined;
  return feedsDirectly(rail) ? battery : undefined;
}

/** What is known of a battery in use. Each number is absent where it is not known. */
export interface BatteryState {
  /** The share of its charge that is left, 0 to 1. */
  left?: number;
  /** How that is known: off its curve, or counted since it was full. */
  by?: 'curve' | 'counted';
  /** Its mean draw over the last minutes (A). */
  meanA: number;
  /** Whether that was measured all the time. */
  draw: 'measured' | 'estimated';
  /** How long it lasts at that draw (h): what is left of it, and from full. */
  leftH?: number;
  fullH?: number;
  /** The voltage that it should have under this load (V). */
  expectedV?: number;
}

/** Below this it draws next to nothing, and how long it lasts says nothing (A). */
const LEAST_A = 0.01;

/** @param numbers in the places of `BATTERY_FIELD`; NaN where not known */
export function batteryState(
  battery: Pick<Battery, 'capacityAh' | 'ratedH' | 'peukert'>,
  numbers: ArrayLike<number>,
): BatteryState {
  const at = (field: keyof typeof BATTERY_FIELD) => numbers[BATTERY_FIELD[field]]!;
  const [left, meanA, expectedV] = [at('left'), at('meanA'), at('expectedV')];
  const knows = !Number.isNaN(left);
  const fullH = meanA >= LEAST_A ? runTimeH(battery, meanA) : undefined;
  return {
    ...(knows && { left: tidy(left, 2), by: at('counted') === 1 ? 'counted' : 'curve' }),
    meanA: Number.isNaN(meanA) ? 0 : tidy(meanA, 2),
    draw: at('measured') > MOSTLY ? 'measured' : 'estimated',
    ...(fullH !== undefined && { fullH: tidy(fullH, 2) }),
    ...(fullH !== undefined && knows && { leftH: tidy(left * fullH, 2) }),
    ...(!Number.isNaN(expectedV) && { expectedV: tidy(expectedV, 2) }),
  };
}

/** A mean draw of which so much was measured counts as measured. */
const MOSTLY = 0.99;

/**
 * In words: `about 2 h left (60 % by its curve), at a measured 1.2 A`. Only what is known is said, and
 * times are rounded: none of this is exact.
 */
export function batteryText({ left, by, meanA, draw, leftH, fullH }: BatteryState): string {
  const how = by === 'counted' ? 'counted since it was full' : 'by its curve';
  const share = left === undefined ? undefined : `${Math.round(left * 100)} % left, ${how}`;
  const at = `at ${draw === 'measured' ? 'a measured' : 'an estimated'} ${meanA.toFixed(2)} A`;
  if (fullH === undefined) return share ?? 'what is left is not known';
  if (leftH === undefined)
    return `${aboutHours(fullH)} from full, estimated, ${at}; what is left is not known`;
  return `${aboutHours(leftH)}, estimated, ${at} (${share})`;
}

/** `about 20 min`, `about 1.5 h`, `about 6 h`: rounded as far as such an estimate holds. */
export function aboutHours(hours: number): string {
  if (hours < 1 / 12) return 'less than 5 min';
  if (hours > MOST_H) return `more than ${MOST_H} h`;
  // To 5 min below an hour, to half an hour below three.
  if (hours < 57.5 / 60) return `about ${Math.round(hours * 12) * 5} min`;
  return hours < 2.75 ? `about ${Math.round(hours * 2) / 2} h` : `about ${Math.round(hours)} h`;
}

const MOST_H = 48;
