import { BATTERY_FIELDS, RAIL_FIELD, SENSE_FIELD, type Telemetry } from '../shared/telemetry.ts';
import type { Body } from './body.ts';
import { SENSE_AT } from './senses.ts';

/**
 * Writes the state of every channel, rail and sense into the memory that other threads read.
 * @param measured whether the drivers were asked in this tick what they measure
 */
export function publish(telemetry: Telemetry, body: Body, measured: boolean): void {
  const { channels, rails, senses } = body;
  const { numbers } = telemetry;
  for (let i = 0; i < channels.length; i++) channels[i]!.publish(telemetry, measured);
  for (let i = 0; i < rails.length; i++) {
    const at = telemetry.railAt(i);
    numbers[at + RAIL_FIELD.amps] = rails[i]!.amps;
    numbers[at + RAIL_FIELD.measuredA] = rails[i]!.measuredA;
    numbers[at + RAIL_FIELD.measuredV] = rails[i]!.measuredV;
    const { battery } = rails[i]!;
    for (let k = 0; k < BATTERY_FIELDS; k++)
      numbers[at + RAIL_FIELD.battery + k] = battery ? battery[k]! : Number.NaN;
  }
  const { list, numbers: read } = senses;
  for (let i = 0; i < list.length; i++) {
    const at = telemetry.senseAt(i);
    const from = senses.placeOf(i);
    numbers[at + SENSE_FIELD.value] = read[from + SENSE_AT.value]!;
    numbers[at + SENSE_FIELD.raw] = read[from + SENSE_AT.raw]!;
    numbers[at + SENSE_FIELD.ageS] = read[from + SENSE_AT.rawAgeS]!;
  }
}
