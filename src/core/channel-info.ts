import { linkageInfo, torqueInfo, vapourInfo } from '../service/view.ts';
import { flagNames } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import type { Actuator } from './body.ts';
import type { Core } from './core.ts';
import type { ChannelInfo } from './requests.ts';
import type { Servo } from './servo.ts';

/** What `channel.list` tells of one channel. */
export function channelInfo(core: Core, actuator: Actuator): ChannelInfo {
  const { body } = core;
  const groups = [...body.groups].filter(([, members]) =>
    (members as Actuator[]).includes(actuator),
  );
  const common = {
    flags: flagNames(core.flags(actuator)),
    groups: groups.map(([name]) => name),
    ...(actuator.spec.rail && { rail: actuator.spec.rail }),
    ...(actuator.spec.wire && { wire: actuator.spec.wire.label }),
  };
  switch (actuator.kind) {
    case 'servo':
      return {
        kind: 'servo',
        value: tidy(actuator.state.pos),
        target: tidy(actuator.target),
        ...common,
        park: { to: actuator.parkTo, then: actuator.parkThen },
        limitsDeg: [...actuator.limitsDeg],
        envelopeUs: [...actuator.envelopeUs],
        calibration: actuator.mapping.calibration.points.map(([us, deg]) => [us, deg]),
        ...mechanicsInfo(core, actuator),
        marks: Object.fromEntries(actuator.marks),
        speedDegS: actuator.spec.speedDegS,
        accelDegS2: actuator.spec.accelDegS2,
        ...(actuator.spec.jerkDegS3 !== undefined && { jerkDegS3: actuator.spec.jerkDegS3 }),
        pulseUs: actuator.pulseUs,
        pushing: actuator.pushing,
      };
    case 'relay':
      return {
        kind: 'relay',
        value: actuator.on,
        target: actuator.on,
        ...common,
        park: { to: actuator.parkOn },
        ...(actuator.spec.duty && { duty: actuator.spec.duty }),
        ...(actuator.spec.vapour && { vapour: vapourInfo(actuator.spec) }),
      };
    case 'lamp':
      return {
        kind: 'lamp',
        value: tidy(actuator.value, 4),
        target: tidy(actuator.target, 4),
        ...common,
        park: { to: actuator.spec.park.to },
        fadeS: actuator.spec.fadeS,
      };
    case 'rgb':
      return {
        kind: 'rgb',
        value: actuator.hex,
        target: actuator.targetHex,
        ...common,
        park: { to: actuator.spec.park.to },
        fadeS: actuator.spec.fadeS,
      };
  }
}

function mechanicsInfo(core: Core, { name, spec }: Servo): Partial<ChannelInfo> {
  const mechanics = core.body.mechanics.get(name) ?? {};
  const linkageFigures = linkageInfo(mechanics);
  const torque = torqueInfo(mechanics, spec);
  return {
    ...(spec.linkage && { linkage: spec.linkage }),
    ...(linkageFigures && { linkageFigures }),
    ...(torque && { torque }),
  };
}
