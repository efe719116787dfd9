import type { Driver } from '../boards/board.ts';
import { factsOf } from '../boards/registry.ts';
import { feedsDirectly } from '../prop/battery.ts';
import { didYouMean } from '../prop/finding.ts';
import { requirementText } from '../prop/interlock.ts';
import { coilLoadOf, loadRailOf } from '../prop/kinds/contact.ts';
import type { Channel, Prop, Requirement } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { BATTERY_FIELDS } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import type { ActuatorContract, Standing } from './actuator.ts';
import { type Actuator, actuatorOf } from './actuators.ts';
import { Board } from './boards.ts';
import type { CoreProp } from './core-prop.ts';
import { Lamp, RgbLight } from './light.ts';
import { MeasuredAngle } from './measured-angle.ts';
import { Motion } from './motion.ts';
import { Relay } from './relay.ts';
import { Senses } from './senses.ts';
import { Servo } from './servo.ts';
import { Sound } from './sound.ts';

export interface Rail {
  name: string;
  index: number;
  volts: number;
  limitA: number;
  /** Estimated draw in the last tick (A). */
  amps: number;
  /** Measured current (A) and voltage (V); NaN where nothing measures them. */
  measuredA: number;
  measuredV: number;
  /** What is known of its battery, in the places of `BATTERY_FIELD`. */
  battery: Float64Array | undefined;
}

/** A contact that inhibits or stops; `brokenLevel` is what it reads then, or with a broken wire. */
export interface SafetyInput {
  board: Board;
  input: number;
  brokenLevel: 0 | 1;
}

/** A rail's position for a channel that names none. */
export const NO_RAIL = -1;

/**
 * Everything in the prop that can be driven, put together from a checked prop file: at once by `of`,
 * or channel by channel, a little in each tick.
 */
export class Body {
  /** Marks, cues, poses and the like are replaced in it while the prop runs. */
  prop: CoreProp;
  /**
   * Time of the last tick (s since the core was made). What runs in every tick reads it here: passed
   * from call to call, a number with a fraction is allocated.
   */
  nowS = 0;
  /** The time since the tick before (s); after a stall it is less, as motion resumes from there. */
  dtS = 0;
  readonly boards: Board[] = [];
  readonly rails: Rail[] = [];
  readonly channels: Actuator[] = [];
  readonly servos: Servo[] = [];
  readonly relays: Relay[] = [];
  readonly lights: (RgbLight | Lamp)[] = [];
  readonly sounds: Sound[] = [];
  /** What is measured. */
  readonly senses = new Senses();
  /** The measured angles of servos, by the first position sense of each. */
  readonly angles: MeasuredAngle[] = [];
  groups: ReadonlyMap<string, readonly Servo[]> = new Map();
  stopInput: { board: Board; input: number; pressedLevel: 0 | 1 } | undefined;
  /** The key switch of the lockout, and the contacts of guards by the guard's name. */
  lockoutInput: SafetyInput | undefined;
  readonly guardInputs = new Map<string, SafetyInput>();
  /** The contacts of triggers, by the trigger's name. */
  readonly triggerInputs = new Map<string, { board: Board; input: number }>();
  /** Outputs that enable the outputs of another board. */
  readonly enables: { board: Board; host: Board; output: number }[] = [];
  readonly #byName = new Map<string, Actuator>();
  readonly #boards = new Map<string, Board>();
  /** The motion of one more servo; they lie side by side. */
  readonly motion = Motion.blocks();

  /** A body without channels yet; `prop` has none either. */
  constructor(prop: CoreProp) {
    this.prop = prop;
    for (const name of Object.keys(prop.boards)) {
      const board = new Board(name);
      this.#boards.set(name, board);
      this.boards.push(board);
    }
    Object.entries(prop.rails).forEach(([name, rail], index) => {
      this.rails.push({
        ...rail,
        name,
        index,
        amps: 0,
        measuredA: Number.NaN,
        measuredV: Number.NaN,
        battery: feedsDirectly(rail)
          ? new Float64Array(BATTERY_FIELDS).fill(Number.NaN)
          : undefined,
      });
    });
  }

  /** The whole body of a prop. `drivers` holds one driver for every board, by name. */
  static of(prop: CoreProp, drivers: ReadonlyMap<string, Driver>): Body {
    const body = new Body({ ...prop, channels: {} });
    for (const board of body.boards) board.driver = drivers.get(board.name)!;
    for (const [name, spec] of Object.entries(prop.channels)) body.add(name, spec);
    body.complete();
    return body;
  }

  /** Adds the next channel. */
  add(name: string, spec: Channel): void {
    const board = this.#boards.get(spec.output.board)!;
    const indexOf = (rail: string | undefined) =>
      this.rails.find((one) => one.name === rail)?.index ?? NO_RAIL;
    const actuator = actuatorOf(name, spec, board, indexOf(loadRailOf(spec)), this);
    const coil = coilLoadOf(spec);
    if (coil && actuator instanceof Relay) actuator.feedCoil(indexOf(coil.rail), coil.amps);
    this.channels.push(actuator);
    this.#byName.set(name, actuator);
    this.prop.channels[name] = spec;
  }

  /** All channels have been added: references to them are looked up. */
  complete(): void {
    this.regroup(this.prop.groups);
    const stop = this.prop.stopInput;
    if (stop) {
      const board = this.#boards.get(stop.board)!;
      // The contact closes to ground against a pull-up, so a broken wire reads 1.
      const restLevel = stop.normallyClosed ? 0 : 1;
      const input = board.addInput({ name: 'stopInput', pin: stop.pin, pull: 'up', restLevel });
      this.stopInput = { board, input, pressedLevel: stop.normallyClosed ? 1 : 0 };
    }
    const { lockoutInput, guards } = this.prop;
    if (lockoutInput) this.lockoutInput = this.#safetyInput('lockoutInput', lockoutInput);
    for (const [name, guard] of Object.entries(guards))
      this.guardInputs.set(name, this.#safetyInput(`guard ${name}`, guard));
    for (const [name, spec] of Object.entries(this.prop.boards)) {
      const enable = factsOf(spec).enable?.(spec);
      if (!enable) continue;
      const host = this.#boards.get(enable.board)!;
      const { pin } = enable;
      const output = host.addOutput({ name: `${name}.enable`, kind: 'level', pin, safe: 1 });
      this.enables.push({ board: this.#boards.get(name)!, host, output });
    }
    for (const [name, { input: contact }] of Object.entries(this.prop.triggers)) {
      if (!contact) continue;
      const board = this.#boards.get(contact.board)!;
      const restLevel = contact.normallyClosed ? 0 : 1;
      const input = board.addInput({ name, pin: contact.pin, pull: 'up', restLevel });
      this.triggerInputs.set(name, { board, input });
    }
    this.#addSenses();
  }

  #addSenses(): void {
    // Absent from what an older release has compiled.
    for (const [name, entry] of Object.entries(this.prop.senses ?? {}))
      this.senses.add(name, entry, this.#boards.get(entry.board)!);
    this.senses.link(this);
    for (const sense of this.senses.list) {
      const { entry } = sense;
      const servo = entry.kind === 'position' ? this.servo(entry.channel) : undefined;
      if (servo === undefined || servo.angle) continue;
      const angle = new MeasuredAngle(sense, servo);
      servo.angle = angle;
      this.angles.push(angle);
    }
  }

  #safetyInput(
    name: string,
    { board: on, pin, normallyClosed }: { board: string; pin: number; normallyClosed: boolean },
  ): SafetyInput {
    const board = this.#boards.get(on)!;
    // As with the stop input: to ground against a pull-up, so that a broken wire reads 1.
    const restLevel = normallyClosed ? 0 : 1;
    const input = board.addInput({ name, pin, pull: 'up', restLevel });
    return { board, input, brokenLevel: normallyClosed ? 1 : 0 };
  }

  /** Takes over the groups of another version of the file. */
  regroup(groups: Prop['groups']): void {
    this.groups = new Map(
      Object.entries(groups).map(([name, members]) => [
        name,
        members.map((member) => this.servo(member)),
      ]),
    );
  }

  find(name: string): Actuator | undefined {
    return this.#byName.get(name);
  }

  /** @throws Refusal `noSuchThing` */
  channel(name: string): Actuator {
    const found = this.#byName.get(name);
    if (found) return found;
    const advice = this.groups.has(name)
      ? `${name} is a group: use group.move`
      : didYouMean(name, this.#byName.keys());
    throw new Refusal('channel.unknown', `there is no channel ${name}; ${advice}`, {
      channel: name,
    });
  }

  /** @throws Refusal `noSuchThing`, or `invalidParams` when the channel is not a servo */
  servo(name: string): Servo {
    return this.#ofKind(name, Servo, 'servo', 'channel.switch, channel.colour or channel.dim');
  }

  relay(name: string): Relay {
    return this.#ofKind(name, Relay, 'relay', 'channel.move, channel.colour or channel.dim');
  }

  rgb(name: string): RgbLight {
    return this.#ofKind(name, RgbLight, 'rgb', 'channel.move, channel.switch or channel.dim');
  }

  lamp(name: string): Lamp {
    return this.#ofKind(name, Lamp, 'lamp', 'channel.move, channel.switch or channel.colour');
  }

  sound(name: string): Sound {
    return this.#ofKind(name, Sound, 'sound', 'the command for its kind');
  }

  /** Whether an interlock's requirement holds now; marks count as they are now. */
  met(requirement: Requirement): boolean {
    return this.#byName.get(requirement.channel)!.meets(requirement);
  }

  /** Whether a requirement would hold with the other channel at `to`. */
  metAt(requirement: Requirement, standing: Standing): boolean {
    return this.#byName.get(requirement.channel)!.meetsAt(requirement, standing);
  }

  /** Whether a requirement would hold with the other channel at its park position. */
  metAtPark(requirement: Requirement): boolean {
    const other = this.#byName.get(requirement.channel)!;
    return other.meetsAt(requirement, other.home);
  }

  /** An interlock in words: `lid_left above half (5 deg)`. */
  describe(requirement: Requirement): string {
    const text = requirementText(requirement);
    if ('is' in requirement) return text;
    const bound = 'above' in requirement ? requirement.above : requirement.below;
    if (typeof bound === 'number') return text;
    const other: ActuatorContract | undefined = this.#byName.get(requirement.channel);
    const deg = other?.marks?.get(bound);
    return deg === undefined ? text : `${text} (${tidy(deg)} deg)`;
  }

  #ofKind<A extends Actuator>(
    name: string,
    type: abstract new (...given: never[]) => A,
    kind: string,
    instead: string,
  ): A {
    const found = this.channel(name);
    if (found instanceof type) return found;
    throw new Refusal(
      'channel.wrong-kind',
      `${name} is a ${found.kind}, not a ${kind}; use ${instead}`,
      {
        channel: name,
        kind: found.kind,
      },
    );
  }
}
