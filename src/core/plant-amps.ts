import type { Body } from './body.ts';

const amps = new Float64Array(1);

/** What flows from a rail: the simulated currents of servos, in place of their estimated ones. */
export function railAmps({ rails, servos }: Body, name: string | undefined): number {
  const rail = rails.find((one) => one.name === name);
  if (!rail) return 0;
  let sum = rail.amps;
  for (const servo of servos) {
    if (servo.rail !== rail.index || Number.isNaN(servo.measuredA)) continue;
    servo.writeAmps(amps, 0);
    sum += servo.measuredA - amps[0]!;
  }
  return sum;
}

export function channelAmps(body: Body, name: string): number {
  const servo = body.servos.find((one) => one.name === name);
  if (servo && !Number.isNaN(servo.measuredA)) return servo.measuredA;
  return 0;
}
