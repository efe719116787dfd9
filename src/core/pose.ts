import { didYouMean } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import type { Colouring, Dimming } from './light.ts';
import type { Switching } from './relay.ts';
import type { Move } from './servo.ts';
import type { Sounding } from './sound.ts';

/** What a pose or a step of a cue asks of every channel that it names. */
export interface Targets {
  moves: Move[];
  dims: Dimming[];
  colours: Colouring[];
  switches: Switching[];
  sounds: Sounding[];
}

/** A `Wanted` that asks nothing of any channel, to add to. */
export function noTargets(): Targets {
  return { moves: [], dims: [], colours: [], switches: [], sounds: [] };
}

/** Every channel that is asked for something. */
export function channelsOf({ moves, dims, colours, switches, sounds }: Targets): Set<Actuator> {
  return new Set<Actuator>([
    ...moves.map(({ servo }) => servo),
    ...dims.map(({ lamp }) => lamp),
    ...colours.map(({ light }) => light),
    ...switches.map(({ relay }) => relay),
    ...sounds.map(({ sound }) => sound),
  ]);
}

/** The relays that are asked to open. */
export function opening({ switches }: Targets): Set<Actuator> {
  return new Set(switches.filter(({ on }) => !on).map(({ relay }) => relay));
}

/** @throws Refusal `pose.unknown` */
export function mustHavePose({ prop: { poses } }: Body, name: string): void {
  if (Object.hasOwn(poses, name)) return;
  const advice = didYouMean(name, Object.keys(poses));
  throw new Refusal('pose.unknown', `there is no pose ${name}; ${advice}`, { pose: name });
}

/** @throws Refusal `noSuchThing` */
export function targetsOfPose(body: Body, name: string): Targets {
  mustHavePose(body, name);
  const { poses } = body.prop;
  const targets = noTargets();
  for (const [channel, value] of Object.entries(poses[name]!))
    body.channel(channel).collectTarget(value, targets);
  return targets;
}
