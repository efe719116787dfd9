import { planMove } from '../../sums/profile.ts';
import { ServoMapping } from '../../sums/servo-mapping.ts';
import { lintDraw } from '../lint-draw.ts';
import { lintRates, lintServo } from '../lint-servos.ts';
import { motionLimits, secondsOf } from '../motion-limits.ts';
import type { Requirement } from '../schema-parts.ts';
import { edgeInfo, linkageInfo, torqueInfo } from './info.ts';
import type { Draw, Kind } from './kind.ts';
import { average, type Level } from './meter.ts';
import type { ServoChannel } from './servo-schema.ts';

/** The position of a servo's mark or number (deg); undefined for an unknown mark. */
export function degIn({ marks = {} }: ServoChannel, to: number | string): number | undefined {
  if (typeof to === 'number') return to;
  return Object.hasOwn(marks, to) ? marks[to] : undefined;
}

/**
 * Whether a requirement holds with the other channel, a servo, anywhere from `low` to `high` (deg);
 * undefined if the file does not say.
 */
export function holdsBetween(
  needs: Requirement,
  other: ServoChannel,
  low: number,
  high: number,
): boolean | undefined {
  if ('is' in needs) {
    const parkDeg = degIn(other, other.park.to);
    if (needs.is !== 'parked' || parkDeg === undefined) return undefined;
    return Math.abs(low - parkDeg) < 1e-6 && Math.abs(high - parkDeg) < 1e-6;
  }
  const deg = degIn(other, 'above' in needs ? needs.above : needs.below);
  if (deg === undefined) return undefined;
  return 'above' in needs ? low > deg : high < deg;
}

/** Currents of a servo (A): at rest, moving, stalled. */
export function servoDraw({ draw }: Pick<ServoChannel, 'draw'>): Draw {
  const idleA = draw?.idleA ?? 0;
  const busyA = draw?.movingA ?? idleA;
  return { idleA, busyA, stallA: Math.max(busyA, draw?.stallA ?? 0), pinsA: [busyA] };
}

/** What a meter shows at the outermost marks, or at the limits: pulse width x frequency. */
function levels(servo: ServoChannel, name: string, _role: string, pulseHz: number): Level[] {
  const mapping = new ServoMapping(servo);
  const marks = Object.entries(servo.marks ?? {}).sort(([, a], [, b]) => a - b);
  const [first, last] = [marks[0], marks.at(-1)];
  const ends =
    first && last && first[1] !== last[1]
      ? [first, last]
      : (servo.limitsDeg ?? mapping.calibrationDeg).map((deg) => [String(deg), deg] as const);
  return ends.map(([word, deg]) => ({
    command: `sinew move ${name} ${word}`,
    ...average(mapping.toPulseUs(deg) * 1e-6 * pulseHz),
  }));
}

export const servo: Kind<ServoChannel> = {
  value: 'deg',
  part: 'move',
  moves: true,
  levels: ['angle'],
  switches: false,
  needs: 'pulses',
  unlikelyA: 20,
  words: {
    part: 'servo',
    busy: 'moving',
    used: 'away from its park position',
    unused: 'parked',
    release: (name) => `bring ${name} to its park position`,
    requireInstead: 'use above or below (deg), or is: parked',
    cores: 'a servo has signal, plus and return',
  },
  faults: {
    symptoms: ['dead', 'weak', 'buzzing', 'wrong-way'],
    rulesOut: () => [],
    levels,
  },
  outputs: ({ output: { pin } }) => [{ pin, at: ['pin'] }],
  cores: () => ['signal', 'plus', 'return'],
  draw: servoDraw,
  glow: () => undefined,
  usedAt: (channel, value) => {
    const [deg, parkDeg] = [degIn(channel, value), degIn(channel, channel.park.to)];
    return deg !== undefined && parkDeg !== undefined && Math.abs(deg - parkDeg) >= 1e-6;
  },
  meets: (channel, needs, value) => {
    const deg = degIn(channel, value);
    return deg === undefined ? undefined : holdsBetween(needs, channel, deg, deg);
  },
  maxParkS: (channel, range) => {
    const parkDeg = degIn(channel, channel.park.to);
    if (parkDeg === undefined || !range) return 0;
    const far = parkDeg - range[0] > range[1] - parkDeg ? range[0] : range[1];
    return secondsOf(() => planMove({ pos: far, vel: 0, acc: 0 }, parkDeg, motionLimits(channel)));
  },
  check: (notes, name, channel, limits) => {
    lintServo(notes, name, channel, limits);
    lintDraw(notes, name, channel);
    lintRates(notes, name, channel);
  },
  checkPose: (notes, name, _channel, value, path, limits) =>
    notes.checkPosition(name, value, path, limits),
  measurable: ({ freeRunning }) => (freeRunning ? ['calibration', 'freeRunning'] : ['calibration']),
  info: (channel, { mapping, mechanics }) => {
    const linkageFigures = linkageInfo(mechanics);
    const torque = torqueInfo(mechanics, mechanics.stallNm);
    const edge = edgeInfo(channel.edge, mechanics);
    return {
      park: { to: channel.park.to, then: channel.park.then },
      limitsDeg: [...(channel.limitsDeg ?? mapping!.calibrationDeg)] as [number, number],
      envelopeUs: [...mapping!.envelopeUs] as [number, number],
      calibration: mapping!.calibration.points.map(([us, deg]) => [us, deg]),
      ...(channel.linkage && { linkage: channel.linkage }),
      ...(linkageFigures && { linkageFigures }),
      ...(torque && { torque }),
      ...(edge && { edge }),
      marks: channel.marks ?? {},
      speedDegS: channel.speedDegS,
      accelDegS2: channel.accelDegS2,
      ...(channel.jerkDegS3 !== undefined && { jerkDegS3: channel.jerkDegS3 }),
      ...(channel.freeRunning && { freeRunning: channel.freeRunning }),
    };
  },
};
