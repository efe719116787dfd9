import { Refusal } from '../../shared/errors.ts';
import { clamp } from '../../shared/units.ts';
import type {
  Driver,
  Frame,
  InputSpec,
  LoadPlant,
  OutputSpec,
  Reading,
  Sense,
  SenseSpec,
  ServoPlant,
  SimulatedSense,
} from '../board.ts';
import { SERVO_HZ, type SimBoard } from './facts.ts';
import { SimSenses } from './senses.ts';

type PlantSettings = NonNullable<SimBoard['plant']>[string];

/** A servo reads a new pulse once a frame. */
const FRAME_MS = 1000 / SERVO_HZ;
/** The average wait for the next frame: the part of `lagS` that is dead time. */
const MEAN_DEAD_TIME_S = FRAME_MS / 2 / 1000;
/** How fast a simulated hand turns a limp servo (deg/s). Chosen, no source. */
const HAND_DEG_S = 60;
/** A servo begins to push when it is commanded this far past a stop (deg). */
const DEADBAND_DEG = 0.5;
/** It pushes with full force when it is commanded this much further (deg). */
const FULL_PUSH_DEG = 6;
/** The share of the moving current that overcomes friction, as long as it is this far from its target (deg). */
const FRICTION_SHARE = 0.3;
const CREEPS_DEG = 0.2;
/** Current of the faintest push, as a share of the way from moving to stall current. */
const FAINTEST_PUSH = 0.2;
/** The buzz: the share of the push by which the current varies, and how often. */
const BUZZ_SHARE = 0.1;
const BUZZ_HZ = 9;

/**
 * A board without hardware. It is a plant, not a recorder: every servo has a lag, a speed and
 * hard stops of its own, which follow from the channel's name and are therefore the same in every run.
 */
export class SimDriver implements Driver {
  readonly pulseStepUs = 1;
  // Maps, since a channel may be named `constructor`.
  readonly #settings: ReadonlyMap<string, PlantSettings>;
  readonly #startDeg: ReadonlyMap<string, number>;
  /** Kept across close and open: a servo stays where it is. */
  readonly #servos = new Map<string, SimServo>();
  readonly #levels = new Map<string, 0 | 1>();
  readonly #senses = new SimSenses();
  #outputs: readonly OutputSpec[] = [];
  #inputs: readonly InputSpec[] = [];
  /** By output; undefined where the output is not a servo. */
  #servoAt: (SimServo | undefined)[] = [];
  /** By output: what was last written. */
  #value = new Float64Array(0);
  #open = false;
  /** It fails until `simulate` makes it work again. */
  #broken: Error | undefined;

  /**
   * @param plant how servos differ from the default, by channel.
   * @param startDeg where servos are at power-on (deg), by channel; default: near the park position.
   */
  constructor(plant: SimBoard['plant'] = {}, startDeg: Readonly<Record<string, number>> = {}) {
    this.#settings = new Map(Object.entries(plant));
    this.#startDeg = new Map(Object.entries(startDeg));
  }

  /** @throws Refusal when the plant settings name a servo that is not on this board */
  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    const servos = outputs.flatMap((o) => (o.plant?.kind === 'servo' ? [o.plant.channel] : []));
    for (const channel of this.#settings.keys())
      if (!servos.includes(channel))
        throw new Refusal(
          'sim.no-servo',
          `plant ${channel}: no such servo on this sim board; it has ${servos.join(', ') || 'none'}`,
          { plant: channel, servos },
        );
    if (this.#broken) throw this.#broken;
    this.#outputs = outputs;
    this.#inputs = inputs;
    this.#value = Float64Array.from(outputs, (output) => output.safe);
    this.#servoAt = outputs.map(({ plant }) => {
      if (plant?.kind !== 'servo') return undefined;
      const known = this.#servos.get(plant.channel);
      const servo = known ?? new SimServo(plant, this.#settings.get(plant.channel) ?? {});
      if (!known) {
        this.#servos.set(plant.channel, servo);
        servo.place(this.#startDeg.get(plant.channel) ?? servo.positionDeg);
      }
      servo.release();
      return servo;
    });
    this.#open = true;
  }

  write(frame: Frame, nowMs: number): void {
    this.#check();
    for (let i = 0; i < frame.count; i++) {
      const output = frame.output[i]!;
      const value = frame.value[i]!;
      if (output >= this.#value.length) throw new Error(`sim: there is no output ${output}`);
      this.#value[output] = value;
      this.#servoAt[output]?.command(value, nowMs);
    }
  }

  read(input: number): 0 | 1 {
    this.#check();
    const spec = this.#inputs[input];
    if (!spec) throw new Error(`sim: there is no input ${input}`);
    return this.#levelOf(spec);
  }

  sense(output: number, nowMs: number, into: Sense): void {
    this.#check();
    const servo = this.#servoAt[output];
    if (servo) {
      servo.sense(nowMs, into);
      return;
    }
    const plant = this.#outputs[output]?.plant;
    into.positionDeg = Number.NaN;
    into.pushing = false;
    into.amps = plant?.kind === 'load' ? loadAmps(plant, this.#value[output]!) : Number.NaN;
  }

  async openSenses(senses: readonly SenseSpec[]): Promise<void> {
    this.#senses.open(senses);
  }

  reading(sense: number, nowMs: number, into: Reading): void {
    this.#senses.read(sense, nowMs, into, this.#broken?.message);
  }

  exposeSense(sense: number, value: number): void {
    this.#senses.expose(sense, value);
  }

  simulateSenses(senses: Readonly<Record<string, SimulatedSense | null>>): void {
    this.#senses.set(senses);
  }

  turnByHand(servos: Readonly<Record<string, number>>): void {
    const names = [...this.#servos.keys()];
    for (const channel of Object.keys(servos))
      if (!this.#servos.has(channel))
        throw new Refusal(
          'sim.no-servo',
          `no such servo ${channel} on this sim board; it has ${names.join(', ') || 'none'}`,
          { channel, servos: names },
        );
    for (const [channel, deg] of Object.entries(servos)) this.#servos.get(channel)!.turnTo(deg);
  }

  async close(): Promise<void> {
    this.#open = false;
    for (const servo of this.#servos.values()) servo.release();
  }

  simulate(
    inputs: Readonly<Record<string, 0 | 1 | null>>,
    fault: string | null | undefined,
  ): { inputs: Record<string, 0 | 1>; fault: string | null } {
    for (const [pin, level] of Object.entries(inputs)) {
      const spec = this.#inputs.find((one) => String(one.pin) === pin);
      if (!spec) {
        const pins = this.#inputs.map((one) => `${one.pin} (${one.name})`).join(', ') || 'none';
        throw new Refusal('sim.no-input', `no input on pin ${pin}; this board has ${pins}`, {
          pin,
        });
      }
      if (level === null) this.#levels.delete(spec.name);
      else this.#levels.set(spec.name, level);
    }
    if (fault !== undefined) this.#broken = fault === null ? undefined : new Error(fault);
    const levels = this.#inputs.map((one) => [one.pin, this.#levelOf(one)] as const);
    return { inputs: Object.fromEntries(levels), fault: this.#broken?.message ?? null };
  }

  #levelOf({ name, restLevel, pull }: InputSpec): 0 | 1 {
    return this.#levels.get(name) ?? restLevel ?? (pull === 'up' ? 1 : 0);
  }

  /** The hard stops (deg) of a servo, low then high; undefined when it is not on this board. */
  stopsDeg(channel: string): readonly [number, number] | undefined {
    return this.#servos.get(channel)?.stopsDeg;
  }

  #check(): void {
    if (this.#broken) throw this.#broken;
    if (!this.#open) throw new Error('sim: the board is not open');
  }
}

/** Current (A) of a load; `share` is its level, or the share of the period in which the pin is high. */
function loadAmps(plant: LoadPlant, share: number): number {
  return plant.onA * (plant.activeLevel === 1 ? share : 1 - share);
}

/**
 * One servo: dead time until the next frame, then a first-order lag whose speed is limited, between hard
 * stops. Between two changes of the pulse its motion has a closed form, so any span of time takes one
 * short computation: full speed v while the error is above v T, then x(t) = target - error exp(-t / T).
 * Internally angles are those of the horn; arguments and results are in the channel's degrees.
 */
class SimServo {
  /** In the channel's degrees. */
  readonly stopsDeg: readonly [number, number];
  readonly #hornStopsDeg: readonly [number, number];
  #hornDeg = 0;
  readonly #plant: ServoPlant;
  readonly #timeConstantS: number;
  readonly #speedDegS: number;
  /** With an error above this (deg), it runs at full speed. */
  readonly #fullSpeedDeg: number;
  /** The horn angle that the pulses command (deg); NaN without pulses. */
  #targetDeg = Number.NaN;
  /** Where a hand turns it while it is limp (deg); NaN while none does. */
  #handDeg = Number.NaN;
  #nextUs = 0;
  /** When the servo reads `#nextUs` (ms); Infinity once it has. */
  #nextAtMs = Number.POSITIVE_INFINITY;
  #nowMs = Number.NEGATIVE_INFINITY;

  constructor(plant: ServoPlant, settings: PlantSettings) {
    const { channel, parkDeg } = plant;
    this.#plant = plant;
    this.stopsDeg = settings.stopsDeg ?? defaultStopsDeg(plant);
    this.#speedDegS = settings.speedDegS ?? vary(channel, 'speed', 300, 450);
    const lagS = settings.lagS ?? vary(channel, 'lag', 0.05, 0.08);
    this.#timeConstantS = Math.max(lagS - MEAN_DEAD_TIME_S, 0);
    this.#fullSpeedDeg = this.#speedDegS * this.#timeConstantS;
    const [one, other] = this.stopsDeg.map((deg) => this.#toHorn(deg)) as [number, number];
    this.#hornStopsDeg = [Math.min(one, other), Math.max(one, other)];
    this.place(parkDeg + vary(channel, 'rest', -2, 2));
  }

  get positionDeg(): number {
    const { linkage } = this.#plant;
    return linkage ? linkage.toFlap(this.#hornDeg) : this.#hornDeg;
  }

  place(deg: number): void {
    this.#turn(this.#toHorn(clamp(deg, this.stopsDeg[0], this.stopsDeg[1])));
  }

  #toHorn(deg: number): number {
    return this.#plant.linkage?.toHorn(deg) ?? deg;
  }

  #turn(hornDeg: number): void {
    this.#hornDeg = clamp(hornDeg, this.#hornStopsDeg[0], this.#hornStopsDeg[1]);
  }

  /** A hand turns it to `deg`, as long as it is limp. */
  turnTo(deg: number): void {
    this.#handDeg = this.#toHorn(clamp(deg, this.stopsDeg[0], this.stopsDeg[1]));
  }

  /** Stops the pulses at once: the servo is limp and stays where it is. */
  release(): void {
    this.#targetDeg = Number.NaN;
    this.#nextAtMs = Number.POSITIVE_INFINITY;
  }

  /** Sets the pulse (us) from now on; 0 stops the pulses. */
  command(us: number, nowMs: number): void {
    this.#advance(nowMs);
    this.#nextUs = us;
    this.#nextAtMs = Math.ceil(nowMs / FRAME_MS) * FRAME_MS;
  }

  sense(nowMs: number, into: Sense): void {
    this.#advance(nowMs);
    const { idleA, movingA, stallA } = this.#plant.draw;
    const errorDeg = this.#targetDeg - this.#hornDeg;
    into.positionDeg = this.positionDeg;
    into.pushing = false;
    if (Number.isNaN(errorDeg)) {
      into.amps = 0;
    } else if (!this.#isBlocked(errorDeg)) {
      const awayDeg = Math.abs(errorDeg);
      const speedShare = awayDeg === 0 ? 0 : Math.min(1, awayDeg / this.#fullSpeedDeg);
      // Its gears need a part of the current at any speed.
      const frictionShare = awayDeg > CREEPS_DEG ? FRICTION_SHARE : 0;
      into.amps = idleA + (movingA - idleA) * Math.max(speedShare, frictionShare);
    } else if (Math.abs(errorDeg) <= DEADBAND_DEG) {
      into.amps = idleA;
    } else {
      into.pushing = true;
      const beyond = Math.min(1, (Math.abs(errorDeg) - DEADBAND_DEG) / FULL_PUSH_DEG);
      const push = FAINTEST_PUSH + (1 - FAINTEST_PUSH) * beyond;
      const buzz = 1 - (BUZZ_SHARE / 2) * (1 + Math.sin(2 * Math.PI * BUZZ_HZ * (nowMs / 1000)));
      into.amps = movingA + (stallA - movingA) * push * buzz;
    }
  }

  #isBlocked(errorDeg: number): boolean {
    const [low, high] = this.#hornStopsDeg;
    return errorDeg < 0 ? this.#hornDeg <= low : errorDeg > 0 && this.#hornDeg >= high;
  }

  #advance(nowMs: number): void {
    if (nowMs >= this.#nextAtMs) {
      this.#move((this.#nextAtMs - this.#nowMs) / 1000);
      this.#nowMs = Math.max(this.#nowMs, this.#nextAtMs);
      this.#targetDeg =
        this.#nextUs === 0 ? Number.NaN : this.#plant.calibration.toDeg(this.#nextUs);
      this.#nextAtMs = Number.POSITIVE_INFINITY;
    }
    this.#move((nowMs - this.#nowMs) / 1000);
    this.#nowMs = Math.max(this.#nowMs, nowMs);
  }

  #turnByHand(dtS: number): void {
    const leftDeg = this.#handDeg - this.#hornDeg;
    if (!(dtS > 0) || Number.isNaN(leftDeg)) return;
    this.#turn(this.#hornDeg + Math.sign(leftDeg) * Math.min(Math.abs(leftDeg), HAND_DEG_S * dtS));
  }

  /** Moves towards the target for a time (s); does nothing unless that is above 0. */
  #move(dtS: number): void {
    if (Number.isNaN(this.#targetDeg)) this.#turnByHand(dtS);
    else this.#handDeg = Number.NaN;
    const errorDeg = this.#targetDeg - this.#hornDeg;
    if (!(dtS > 0) || Number.isNaN(errorDeg) || errorDeg === 0) return;
    const runDeg = Math.abs(errorDeg) - this.#fullSpeedDeg;
    const runS = clamp(runDeg / this.#speedDegS, 0, dtS);
    const leftDeg = errorDeg - Math.sign(errorDeg) * this.#speedDegS * runS;
    const settleS = dtS - runS;
    const lag = settleS > 0 ? Math.exp(-settleS / this.#timeConstantS) : 1;
    this.#turn(this.#targetDeg - leftDeg * lag);
  }
}

/**
 * Hard stops (deg) of a servo without plant settings: a few degrees beyond its soft limits if the pulse
 * envelope has room for it, otherwise inside them, as with a servo that is not calibrated yet. The park
 * position stays within reach.
 */
function defaultStopsDeg(plant: ServoPlant): readonly [number, number] {
  const { channel, calibration, linkage, envelopeUs, limitsDeg, parkDeg } = plant;
  const [a, b] = envelopeUs.map((us) => {
    const hornDeg = calibration.toDeg(us);
    return linkage ? linkage.toFlap(hornDeg) : hornDeg;
  }) as [number, number];
  const spanDeg = limitsDeg[1] - limitsDeg[0];
  const stop = (end: string, roomDeg: number) => {
    const ownDeg = vary(channel, end, 3, 8);
    // With less room, a search in steps of one degree would not notice it.
    if (roomDeg >= 1.5) return Math.min(ownDeg, 0.7 * roomDeg);
    return -Math.min(ownDeg, 0.15 * spanDeg);
  };
  const low = limitsDeg[0] - stop('low', limitsDeg[0] - Math.min(a, b));
  const high = limitsDeg[1] + stop('high', Math.max(a, b) - limitsDeg[1]);
  return [Math.min(low, parkDeg), Math.max(high, parkDeg)];
}

/** A number from `low` to `high` that depends only on two words: 32-bit FNV-1a. */
function vary(channel: string, aspect: string, low: number, high: number): number {
  let hash = 0x811c9dc5;
  for (const letter of `${channel} ${aspect}`) {
    hash ^= letter.codePointAt(0)!;
    hash = Math.imul(hash, 0x01000193);
  }
  // The last letters hardly affect the high bits, so mix them.
  hash = Math.imul(hash ^ (hash >>> 15), 0x2c1b3c6d);
  hash ^= hash >>> 13;
  return low + ((high - low) * (hash >>> 0)) / 0xffffffff;
}

/** The driver of a simulated board, not yet open. */
export function create({ plant }: SimBoard): Driver {
  return new SimDriver(plant);
}
