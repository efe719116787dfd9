import type { Channel, Prop } from '../prop/schema.ts';
import type { Time } from './actuator.ts';
import type { Board } from './boards.ts';
import { Lamp, RgbLight } from './light.ts';
import type { Motion } from './motion.ts';
import { Relay } from './relay.ts';
import { Servo } from './servo.ts';
import { Sound } from './sound.ts';

export type Actuator = Servo | Relay | RgbLight | Lamp | Sound;
type Kind = Actuator['kind'];
type SpecOf<K extends Kind> = Extract<Channel, { kind: K }>;

/** What actuators are made for: the body that lists them. */
interface Listing extends Time {
  readonly prop: Pick<Prop, 'flash' | 'soundFiles'>;
  readonly channels: readonly Actuator[];
  readonly servos: Servo[];
  readonly relays: Relay[];
  readonly lights: (RgbLight | Lamp)[];
  readonly sounds: Sound[];
  /** The motion of one more servo. */
  motion(): Motion;
}

/** Makes the actuator of each kind, and gives it its place in the body. */
const MAKERS: {
  [K in Kind]: (
    name: string,
    spec: SpecOf<K>,
    board: Board,
    rail: number,
    body: Listing,
  ) => Actuator;
} = {
  servo: (name, spec, board, rail, body) =>
    listed(
      new Servo(name, body.channels.length, spec, board, rail, body.motion(), body),
      body.servos,
    ),
  relay: (name, spec, board, rail, body) =>
    listed(
      new Relay(name, body.channels.length, lifted(spec, body), board, rail, body),
      body.relays,
    ),
  rgb: (name, spec, board, rail, body) =>
    listed(
      new RgbLight(name, body.channels.length, lifted(spec, body), board, rail, body),
      body.lights,
    ),
  lamp: (name, spec, board, rail, body) =>
    listed(
      new Lamp(name, body.channels.length, lifted(spec, body), board, rail, body),
      body.lights,
    ),
  sound: (name, spec, board, rail, body) =>
    listed(new Sound(name, body.channels.length, spec, board, rail, body, body), body.sounds),
};

function listed<A extends Actuator>(actuator: A, list: { push(actuator: A): unknown }): A {
  list.push(actuator);
  return actuator;
}

/** Lifting the limit of flashes for the whole prop lifts it for each light. */
function lifted<S extends SpecOf<Exclude<Kind, 'servo' | 'sound'>>>(
  spec: S,
  { prop: { flash } }: Listing,
): S {
  return flash ? { flash, ...spec } : spec;
}

/** The actuator of a channel; `body` lists it among those of its kind. */
export function actuatorOf<K extends Kind>(
  name: string,
  spec: SpecOf<K>,
  board: Board,
  rail: number,
  body: Listing,
): Actuator {
  const make = MAKERS[spec.kind as K];
  return make(name, spec, board, rail, body);
}
