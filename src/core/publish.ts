import { FIELD, FLAG, RAIL_FIELD, type Telemetry } from '../shared/telemetry.ts';
import type { Actuator, Body } from './body.ts';

/**
 * Writes the state of every channel and rail into the memory that other threads read.
 * @param measured whether the drivers were asked in this tick what they measure
 */
export function publish(telemetry: Telemetry, body: Body, measured: boolean): void {
  const { channels, rails } = body;
  for (let i = 0; i < channels.length; i++) publishChannel(telemetry, channels[i]!, body, measured);
  for (let i = 0; i < rails.length; i++) {
    const rail = rails[i]!;
    telemetry.setRail(rail.index, RAIL_FIELD.amps, rail.amps);
    // No driver measures a rail yet.
    telemetry.setRail(rail.index, RAIL_FIELD.measuredA, Number.NaN);
  }
}

function publishChannel(
  telemetry: Telemetry,
  channel: Actuator,
  body: Body,
  measured: boolean,
): void {
  const { index } = channel;
  telemetry.setChannel(index, FIELD.flags, flagsOf(channel, body));
  if (channel.kind === 'servo') {
    telemetry.setChannel(index, FIELD.value, channel.state.pos);
    telemetry.setChannel(index, FIELD.target, channel.target);
    telemetry.setChannel(index, FIELD.pulseUs, channel.pulseUs);
    telemetry.setChannel(index, FIELD.amps, channel.amps(body.nowS));
    if (!measured) return;
    telemetry.setChannel(index, FIELD.measuredDeg, channel.measuredDeg);
    telemetry.setChannel(index, FIELD.measuredA, channel.measuredA);
    return;
  }
  telemetry.setChannel(index, FIELD.amps, channel.amps());
  if (channel.kind === 'relay') {
    telemetry.setChannel(index, FIELD.value, channel.closed ? 1 : 0);
    telemetry.setChannel(index, FIELD.target, channel.on ? 1 : 0);
  } else if (channel.kind === 'lamp') {
    telemetry.setChannel(index, FIELD.value, channel.value);
    telemetry.setChannel(index, FIELD.target, channel.target);
  } else {
    const { value, target } = channel;
    telemetry.setChannel(index, FIELD.value, value.red);
    telemetry.setChannel(index, FIELD.value + 1, value.green);
    telemetry.setChannel(index, FIELD.value + 2, value.blue);
    telemetry.setChannel(index, FIELD.target, target.red);
    telemetry.setChannel(index, FIELD.target + 1, target.green);
    telemetry.setChannel(index, FIELD.target + 2, target.blue);
  }
}

/** The FLAG bits of a channel. */
export function flagsOf(channel: Actuator, body: Body): number {
  if (channel.kind === 'servo')
    return (
      (channel.moving ? FLAG.moving : 0) |
      (channel.energised ? 0 : FLAG.released) |
      (channel.known && body.nowS >= channel.jumpUntilS ? 0 : FLAG.unknown) |
      (channel.beyond ? FLAG.beyond : 0) |
      (channel.pushing ? FLAG.pushing : 0) |
      (channel.interlocked ? FLAG.interlocked : 0) |
      (channel.delayed ? FLAG.delayed : 0)
    );
  // Nobody can tell whether a board that cannot be reached has opened or darkened what hangs on it.
  const unknown = channel.board.unknown ? FLAG.unknown : 0;
  if (channel.kind === 'relay')
    return (
      unknown |
      (channel.waiting ? FLAG.delayed : 0) |
      (channel.interlocked ? FLAG.interlocked : 0) |
      (channel.flashHeld ? FLAG.flashHeld : 0) |
      (channel.duty && channel.duty.restLeftS(body.nowS) > 0 ? FLAG.resting : 0)
    );
  return (
    unknown |
    (channel.fading ? FLAG.moving : 0) |
    (channel.flashHeld ? FLAG.flashHeld : 0) |
    (channel.interlocked ? FLAG.interlocked : 0)
  );
}
