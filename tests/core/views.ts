import type { Result } from '../../src/api/methods.ts';
import type { Actuator } from '../../src/core/actuators.ts';
import type { Core } from '../../src/core/core.ts';
import type { StaticInfo } from '../../src/service/protocol.ts';
import { ViewMaker } from '../../src/service/view.ts';
import { flagNames } from '../../src/shared/telemetry.ts';
import { tidy } from '../../src/shared/units.ts';

/** What a client is told without the core's doing, read straight from a core on a bench. */

export function listed(core: Core): Result<'channel.list'> {
  const { info, groups, poses } = new ViewMaker().view(core.prop, '');
  const channels = core.body.channels.map((one) => [one.name, channelOf(one, info)]);
  return { channels: Object.fromEntries(channels), groups, poses };
}

function channelOf(one: Actuator, info: Record<string, StaticInfo>): object {
  const common = { ...info[one.name], flags: flagNames(one.flags()) };
  switch (one.kind) {
    case 'servo': {
      const { pulseUs, pushing } = one;
      return {
        ...common,
        value: tidy(one.setpoint.pos),
        target: tidy(one.targetDeg),
        pulseUs,
        pushing,
      };
    }
    case 'relay':
      return { ...common, value: one.unknown ? null : one.closed, target: one.on };
    case 'rgb':
      return { ...common, value: one.hex, target: one.targetHex };
    case 'sound':
      return { ...common, value: tidy(one.value, 4), target: 0 };
    default:
      return { ...common, value: tidy(one.value, 4), target: tidy(one.target, 4) };
  }
}

export function cueList(core: Core): Result<'cue.list'> {
  const { cueDurationsS, idle, triggers } = new ViewMaker().view(core.prop, '');
  const running = new Set(core.cues.runningNames);
  return {
    cues: Object.fromEntries(
      Object.entries(cueDurationsS).map(([name, durationS]) => [
        name,
        { running: running.has(name), durationS },
      ]),
    ),
    idle: Object.fromEntries(idle.map((name) => [name, { running: core.idle.running === name }])),
    triggers: { names: triggers, armed: core.triggers.armed },
  };
}
