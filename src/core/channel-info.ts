import type { Mechanics } from '../prop/mechanics.ts';
import type { RelayChannel, ServoChannel } from '../prop/schema.ts';
import { flagNames } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import { runTimeS, showTimeS } from '../sums/vapour.ts';
import type { Actuator } from './body.ts';
import type { Core } from './core.ts';
import type { ChannelInfo, LinkageInfo, TorqueInfo, VapourInfo } from './requests.ts';
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

export function torqueInfo(
  { worst, margin }: Mechanics,
  { stallNm }: ServoChannel,
): TorqueInfo | undefined {
  return (
    worst && {
      worstNm: tidy(worst.torqueNm, 4),
      atDeg: tidy(worst.atDeg, 1),
      accelerationNm: tidy(worst.accelerationNm, 4),
      ...(stallNm !== undefined && { stallNm }),
      ...(margin !== undefined && { margin: tidy(margin, 2) }),
    }
  );
}

export function linkageInfo({ linkage }: Mechanics): LinkageInfo | undefined {
  return (
    linkage && {
      transmissionDeg: tidy(linkage.transmissionDeg, 1),
      transmissionAtDeg: tidy(linkage.transmissionAtDeg, 1),
      hornSpeedDegS: tidy(linkage.hornSpeedDegS, 0),
      advantage: [tidy(linkage.advantage[0], 2), tidy(linkage.advantage[1], 2)],
    }
  );
}

export function vapourInfo({ vapour, duty }: RelayChannel): VapourInfo | undefined {
  return (
    vapour && {
      ...vapour,
      runTimeS: tidy(runTimeS(vapour), 0),
      ...(duty && { showTimeS: tidy(showTimeS(vapour, duty), 0) }),
    }
  );
}
