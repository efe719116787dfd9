import { effect } from '@preact/signals';
import type { ChannelInfo } from '../../api/types.ts';
import { withMinus } from '../../shared/minus.ts';
import { ServoMapping } from '../../sums/servo-mapping.ts';
import { call } from './link.ts';
import { commanding, stateOf } from './store.ts';

/** How the bench moves a servo: in small steps, or slowly, with somebody's fingers near. */

/** The fastest that a trial move may be (deg/s). */
export const SLOW_DEG_S = 15;
const CREEP_STEP_DEG = 1;
/** The state says where a servo is in steps of 0.001 deg. */
const SAME_DEG = 0.002;
const ARRIVE_WITHIN_MS = 10_000;

/** A number with two decimals at most and a true minus sign. */
const numberText = (deg: number) => withMinus(Number(deg.toFixed(2)) || 0);

/** `12.5 deg`, with as many decimals as say something. */
export const degText = (deg: number) => `${numberText(deg)} deg`;

/** `−5 to 40 deg`. */
export const rangeText = ([low, high]: readonly [number, number]) =>
  `${numberText(low)} to ${degText(high)}`;

/** Between the pulses and the degrees of a servo. */
export function mappingOf({ calibration, envelopeUs, linkage }: ChannelInfo): ServoMapping {
  return new ServoMapping({ calibration: calibration!, envelopeUs, linkage });
}

/** The angles (deg) at the ends of the pulse envelope, low then high. */
export function envelopeDeg(info: ChannelInfo): readonly [number, number] {
  return mappingOf(info).envelopeDeg;
}

/**
 * The time (s) in which a move from rest to rest cruises at `SLOW_DEG_S`: the closed form of the
 * trapezoid, d / v + v / a, with a / j more where jerk is limited (Biagiotti & Melchiorri, Trajectory
 * Planning for Automatic Machines and Robots, Springer 2008, sections 3.2 and 3.4, from memory).
 */
function slowOverS(info: ChannelInfo, fromDeg: number, targetDeg: number): number {
  const { accelDegS2 = 300, jerkDegS3 } = info;
  const ramps = SLOW_DEG_S / accelDegS2 + (jerkDegS3 === undefined ? 0 : accelDegS2 / jerkDegS3);
  return Math.abs(targetDeg - fromDeg) / SLOW_DEG_S + ramps;
}

/** @param to deg or a mark; waits until it has arrived. @throws RpcError, LinkGone */
export async function moveSlowly(
  channel: string,
  info: ChannelInfo,
  to: number | string,
): Promise<void> {
  const targetDeg = typeof to === 'number' ? to : info.marks![to]!;
  const overS = slowOverS(info, stateOf(channel).value.value as number, targetDeg);
  await call('channel.move', { channel, to, overS, wait: true });
}

/** Creeps to an angle (deg) in small steps, soft limits or not. @throws Error with the reason */
export async function creepTo(
  channel: string,
  targetDeg: number,
  signal: AbortSignal,
): Promise<void> {
  const leftDeg = () => targetDeg - (stateOf(channel).value.value as number);
  while (Math.abs(leftDeg()) > SAME_DEG) {
    signal.throwIfAborted();
    const byDeg = Math.max(-CREEP_STEP_DEG, Math.min(leftDeg(), CREEP_STEP_DEG));
    const { target, limited } = await call('channel.jog', {
      channel,
      byDeg,
      beyondLimits: true,
    });
    await arrival(channel, target);
    if (limited) throw new Error(`the pulse envelope ends at ${degText(target)}`);
  }
}

/** Waits until the servo stands still. */
export async function standstill(channel: string): Promise<void> {
  await until(channel, () => !stateOf(channel).value.flags.includes('moving'));
}

async function arrival(channel: string, targetDeg: number): Promise<void> {
  await until(channel, () => {
    const { value, flags } = stateOf(channel).value;
    return !flags.includes('moving') && Math.abs((value as number) - targetDeg) < SAME_DEG;
  });
}

function until(channel: string, isMet: () => boolean): Promise<void> {
  return new Promise((resolve, reject) => {
    const late = setTimeout(() => end(new Error(`${channel} did not arrive`)), ARRIVE_WITHIN_MS);
    let dispose: (() => void) | undefined;
    let isOver = false;
    const end = (error?: Error) => {
      isOver = true;
      clearTimeout(late);
      dispose?.();
      if (error) reject(error);
      else resolve();
    };
    dispose = effect(() => {
      if (isOver) return;
      if (!commanding.value) end(new Error('this page may not move the prop any more'));
      else if (isMet()) end();
    });
    // An effect that ends in its first run could not dispose of itself.
    if (isOver) dispose();
  });
}
