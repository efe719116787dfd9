import { Refusal } from '../shared/errors.ts';
import type { WeakWires } from './drop-ways.ts';
import { didYouMean } from './finding.ts';
import { kindOf } from './kinds/registry.ts';
import { shuntText } from './measuring-path.ts';
import type { Prop } from './schema.ts';
import type { Symptom } from './symptoms.ts';
import { Site } from './trace-site.ts';
import { measuredStep, stepsFor, type TraceStep } from './trace-steps.ts';

/**
 * Fault-finding: from a channel that fails to what it depends on, in a technician's order (common
 * practice, no source): ask and look, then the supply and its fuse, the plug, the signal at the plug, the
 * signal at the board, then resistances with the power off, and parts last.
 */

export interface Trace {
  channel: string;
  kind: Prop['channels'][string]['kind'];
  symptom: Symptom;
  /** All symptoms of this kind of channel. */
  symptoms: readonly Symptom[];
  /** What the channel depends on, from the supply to its plug. */
  rail?: string;
  fuse?: string;
  /** `shunt 0.01 ohm of board meter`, for each that its current flows through. */
  through?: string[];
  wires: string[];
  connectors: string[];
  cautions: readonly string[];
  steps: TraceStep[];
  /** What the file would have to give for more readings. */
  gaps: string[];
}

export const CAUTIONS: readonly string[] = [
  'Keep fingers out of hinges and linkages: a contact that comes back moves the prop at once. Take the linkage off where you can.',
  'Steps marked off: switch the supply off, unplug batteries, wait until the lights are out. An ohmmeter on a live circuit gives false readings, and may be destroyed.',
  'Steps marked on: one hand, insulated probe tips, nothing bridged. A probe that slips from plus to a signal kills the board.',
  'Low voltage only. Mains is for licensed persons, under the local code.',
];

/**
 * What to check when a channel fails.
 * @param weak wires that have too much resistance by what is measured; those on its way come first
 * @throws Refusal `noSuchThing` for a channel that does not exist, `invalidParams` for a symptom that its
 * kind cannot have.
 */
export function traceFault(
  prop: Prop,
  channel: string,
  symptom: Symptom = 'dead',
  weak: readonly WeakWires[] = [],
): Trace {
  if (!Object.hasOwn(prop.channels, channel)) {
    const advice = didYouMean(channel, Object.keys(prop.channels));
    throw new Refusal('channel.unknown', `there is no channel ${channel}; ${advice}`, { channel });
  }
  const { kind } = prop.channels[channel]!;
  const { symptoms } = kindOf({ kind }).faults;
  if (!symptoms.includes(symptom))
    throw new Refusal(
      'symptom.wrong',
      `${channel} is a ${kind}; its symptoms are ${symptoms.join(', ')}, not ${symptom}`,
      { channel, symptom },
    );
  const site = new Site(prop, channel);
  const { rail, fuse, wires, connectors, gaps } = site.dependence();
  const ours = weak.filter((one) => one.wires.some((label) => wires.includes(label)));
  const steps = [...ours.map(measuredStep), ...stepsFor(site, symptom)];
  return {
    channel,
    kind,
    symptom,
    symptoms,
    ...(rail !== undefined && { rail }),
    ...(fuse !== undefined && { fuse }),
    ...(site.shunts.length > 0 && { through: site.shunts.map(shuntText) }),
    wires,
    connectors,
    cautions: CAUTIONS,
    steps,
    gaps,
  };
}
