import { RAIL_FIELD, type Telemetry } from '../shared/telemetry.ts';
import type { Body } from './body.ts';

/**
 * Writes the state of every channel and rail into the memory that other threads read.
 * @param measured whether the drivers were asked in this tick what they measure
 */
export function publish(telemetry: Telemetry, body: Body, measured: boolean): void {
  const { channels, rails } = body;
  const { numbers } = telemetry;
  for (let i = 0; i < channels.length; i++) channels[i]!.publish(telemetry, measured);
  for (let i = 0; i < rails.length; i++) {
    const at = telemetry.railAt(i);
    numbers[at + RAIL_FIELD.amps] = rails[i]!.amps;
    // No driver measures a rail yet.
    numbers[at + RAIL_FIELD.measuredA] = Number.NaN;
  }
}
