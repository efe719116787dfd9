import { didYouMean } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import { parseColour, type Rgb } from '../sums/light.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import type { Lamp, RgbLight } from './light.ts';
import type { Move } from './move.ts';
import type { Relay } from './relay.ts';
import type { Servo } from './servo.ts';

/** What a pose or a step of a cue asks of every channel that it names. */
export interface Wanted {
  moves: Move[];
  dims: { lamp: Lamp; to: number }[];
  colours: { light: RgbLight; to: Rgb }[];
  switches: { relay: Relay; on: boolean }[];
}

export function nothing(): Wanted {
  return { moves: [], dims: [], colours: [], switches: [] };
}

/** Every channel that is asked for something. */
export function channelsOf({ moves, dims, colours, switches }: Wanted): Set<Actuator> {
  return new Set<Actuator>([
    ...moves.map(({ servo }) => servo),
    ...dims.map(({ lamp }) => lamp),
    ...colours.map(({ light }) => light),
    ...switches.map(({ relay }) => relay),
  ]);
}

/** The relays that are asked to open. */
export function opening({ switches }: Wanted): Set<Actuator> {
  return new Set(switches.filter(({ on }) => !on).map(({ relay }) => relay));
}

/** @throws Refusal `pose.unknown` */
export function mustHavePose({ prop: { poses } }: Body, name: string): void {
  if (Object.hasOwn(poses, name)) return;
  const advice = didYouMean(name, Object.keys(poses));
  throw new Refusal('pose.unknown', `there is no pose ${name}; ${advice}`, { pose: name });
}

/** @throws Refusal `noSuchThing` */
export function wantedByPose(body: Body, name: string): Wanted {
  mustHavePose(body, name);
  const { poses } = body.prop;
  const wanted = nothing();
  for (const [channel, value] of Object.entries(poses[name]!))
    body.channel(channel).want(value, wanted);
  return wanted;
}

/** An angle (deg) from deg or a mark. @throws Refusal `noSuchThing` */
export function degOf(servo: Servo, to: number | string): number {
  if (typeof to === 'number') return to;
  const deg = servo.marks.get(to);
  if (deg !== undefined) return deg;
  throw new Refusal(
    'mark.unknown',
    `${servo.name} has no mark ${to}; ${didYouMean(to, servo.marks.keys())}`,
    { channel: servo.name, mark: to },
  );
}

/** @throws Refusal `invalidParams` */
export function colourOf(text: string): Rgb {
  const colour = parseColour(text);
  if (colour) return colour;
  throw new Refusal(
    'colour.unreadable',
    `${JSON.stringify(text.slice(0, 40))} is not a CSS colour; try "#ffcc00", "orange" or "oklch(75% 0.15 80)"`,
    { to: text.slice(0, 80) },
  );
}
