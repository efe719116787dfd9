import { RAIL_FIELD, type Telemetry } from '../shared/telemetry.ts';
import type { Body } from './body.ts';

/**
 * Writes the state of every channel and rail into the memory that other threads read.
 * @param measured whether the drivers were asked in this tick what they measure
 */
export function publish(telemetry: Telemetry, body: Body, measured: boolean): void {
  const { channels, rails } = body;
  for (let i = 0; i < channels.length; i++) channels[i]!.publish(telemetry, measured);
  for (let i = 0; i < rails.length; i++) {
    const rail = rails[i]!;
    telemetry.setRail(rail.index, RAIL_FIELD.amps, rail.amps);
    // No driver measures a rail yet.
    telemetry.setRail(rail.index, RAIL_FIELD.measuredA, Number.NaN);
  }
}
