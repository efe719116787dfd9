/**
 * What the two threads see of each other without messages: the core writes the state of every
 * channel, rail and sense once a tick, the gateway writes signs of life. The core never waits for a reader
 * and a tick allocates nothing.
 */

export const MAX_SESSIONS = 32;

/** Fields of one channel. Angles in deg, levels 0..1, pulses in us, currents in A. */
export const FIELD = {
  /** Servo: deg. Relay: 0 or 1. Lamp: perceived lightness 0..1. Rgb: sRGB red, green, blue 0..1. */
  value: 0,
  target: 3,
  /** Servo pulse (us); 0 while released. */
  pulseUs: 6,
  flags: 7,
  /** Estimated draw (A). */
  amps: 8,
  /** Measured angle (deg) and current (A); NaN where the driver cannot tell. */
  measuredDeg: 9,
  measuredA: 10,
} as const;
/**
 * What wears a channel, counted since the body began, behind its state. Times in s, `lightS` weighted by the
 * level; from `value` on, what the count itself needs of the tick before.
 */
export const WEAR_FIELD = {
  cycles: 11,
  travelDeg: 12,
  starts: 13,
  /** Pulses are sent, the contact is closed, or it is lit. */
  onS: 14,
  pushingS: 15,
  closures: 16,
  lightS: 17,
  value: 18,
  moving: 19,
  way: 20,
  seen: 21,
} as const;
const CHANNEL_STRIDE = 22;

export const FLAG = {
  moving: 1,
  /** No pulses: the servo is limp. */
  released: 2,
  /**
   * Where the servo stands is not known: its first move is staged alone. Of a relay or light: its board
   * cannot be reached, and it may be on.
   */
  unknown: 4,
  /** Outside its soft limits, feeling for the stop. */
  beyond: 8,
  /** The servo pushes against something: it buzzes. */
  pushing: 16,
  /** An interlock holds it. */
  interlocked: 32,
  /** The duty guard keeps the relay open. */
  resting: 64,
  /** Waits until its rail has room; of a relay, until its closure is saved or its contact has rested. */
  delayed: 128,
  /** A change is held back so that it does not flash faster than allowed. */
  flashHeld: 256,
  /** A servo is measured elsewhere than it was commanded to, or far behind on its way there. */
  astray: 512,
} as const;
export type FlagName = keyof typeof FLAG;

/**
 * Of a relay alone, in fields that only colours use: when it opens by itself, and when it may close again
 * (s since the daemon started); 0 where neither is due.
 */
export const RELAY_FIELD = { offAtS: 1, readyAtS: 2 } as const;

/** Names of the flags set in `bits`. */
export function flagNames(bits: number): FlagName[] {
  return (Object.keys(FLAG) as FlagName[]).filter((name) => (bits & FLAG[name]) !== 0);
}

/**
 * Fields of one rail: estimated draw (A), measured draw (A) and voltage (V), NaN where not measured; from
 * `battery` on the numbers of its battery, NaN where it has none (`BATTERY_FIELD`).
 */
export const RAIL_FIELD = { amps: 0, measuredA: 1, measuredV: 2, battery: 3 } as const;
/**
 * Numbers of a battery, NaN where they are not known: the share that is left (0 to 1), and whether that was
 * counted since it was full (1) or read off its curve (0); its mean draw (A), and the share of that which
 * was measured (0 to 1); the voltage that it should have under this load (V).
 */
export const BATTERY_FIELD = { left: 0, counted: 1, meanA: 2, measured: 3, expectedV: 4 } as const;
export const BATTERY_FIELDS = Object.keys(BATTERY_FIELD).length;
const RAIL_STRIDE = RAIL_FIELD.battery + BATTERY_FIELDS;

const SENSE_STRIDE = 3;
/**
 * Fields of one sense: value, NaN while it is not measured; the reading behind it (A or V); and how old
 * that is (s).
 */
export const SENSE_FIELD = { value: 0, raw: 1, ageS: 2 } as const;

/**
 * Upper bounds (ms) of the classes that ticks are counted in by how late they come; the last class has
 * none. Each is a tenth above the one before it, from 50 us to 93 ms.
 */
export const LATENESS_MS: readonly number[] = Array.from(
  { length: 80 },
  (_unused, i) => 0.05 * 1.1 ** i,
);

const HEADER = {
  sequence: 0,
  condition: 1,
  coreBeat: 2,
  gatewayBeat: 3,
  /** The slot of the holder of the lease, counted from 1; 0 where it has none. */
  holder: 4,
  life: 5,
} as const;
/** Behind the signs of life, the proofs that a session receives. */
const RECEIVED_START = HEADER.life + MAX_SESSIONS;
const LATENESS_START = RECEIVED_START + MAX_SESSIONS;
/** The body begins with the time (s) and the number of the tick. */
const CHANNELS_START = 2;

/** The state of the channels, rails and senses of one version of the prop file. */
export interface TelemetryBody {
  channels: number;
  rails: number;
  senses: number;
  /** Tells this body from every other, those of earlier runs included. */
  id: string;
  body: SharedArrayBuffer;
}

type Counts = Pick<TelemetryBody, 'channels' | 'rails'>;

function railStart({ channels }: Counts): number {
  return CHANNELS_START + channels * CHANNEL_STRIDE;
}

function senseStart(counts: Counts): number {
  return railStart(counts) + counts.rails * RAIL_STRIDE;
}

export interface TelemetryBuffers extends TelemetryBody {
  header: SharedArrayBuffer;
}

/** Both ends of the memory in which the core shows each tick and the gateway reads it. */
export class Telemetry {
  readonly #headerBuffer: SharedArrayBuffer;
  readonly #header: Int32Array;
  #bodyBuffers: TelemetryBody;
  /** [t (s), tick, channels..., rails..., senses...] */
  #body: Float64Array;
  #railStart: number;
  #senseStart: number;

  constructor({ header, ...body }: TelemetryBuffers) {
    this.#headerBuffer = header;
    this.#header = new Int32Array(header);
    this.#bodyBuffers = body;
    this.#body = new Float64Array(body.body);
    this.#railStart = railStart(body);
    this.#senseStart = senseStart(body);
  }

  static create(channels: number, rails: number, senses = 0): Telemetry {
    return new Telemetry({
      ...Telemetry.body(channels, rails, senses),
      header: new SharedArrayBuffer(4 * (LATENESS_START + LATENESS_MS.length + 1)),
    });
  }

  /** A body for so many channels, rails and senses. */
  static body(channels: number, rails: number, senses = 0): TelemetryBody {
    const counts = { channels, rails, senses };
    const numbers = senseStart(counts) + senses * SENSE_STRIDE;
    return { ...counts, id: crypto.randomUUID(), body: new SharedArrayBuffer(8 * numbers) };
  }

  get buffers(): TelemetryBuffers {
    return { ...this.#bodyBuffers, header: this.#headerBuffer };
  }

  /** Goes by another body from now on: the prop has other channels. */
  useBody(body: TelemetryBody): void {
    this.#bodyBuffers = body;
    this.#body = new Float64Array(body.body);
    this.#railStart = railStart(body);
    this.#senseStart = senseStart(body);
  }

  // --- the core's side: between `begin` and `commit`, readers know that the body is in motion

  begin({ nowS }: { readonly nowS: number }, tick: number, condition: number): void {
    Atomics.add(this.#header, HEADER.sequence, 1);
    this.#header[HEADER.condition] = condition;
    this.#body[0] = nowS;
    this.#body[1] = tick;
  }

  /** For changes between two ticks: after an answer a reader finds what the answer says. */
  setCondition(condition: number): void {
    Atomics.store(this.#header, HEADER.condition, condition);
  }

  /** The slot of the holder of the lease; -1 without one. */
  setHolder(slot: number): void {
    Atomics.store(this.#header, HEADER.holder, slot + 1);
  }

  get holder(): number {
    return Atomics.load(this.#header, HEADER.holder) - 1;
  }

  /** Where the fields of a channel, a rail or a sense begin in `numbers`. */
  channelAt(channel: number): number {
    return CHANNELS_START + channel * CHANNEL_STRIDE;
  }

  railAt(rail: number): number {
    return this.#railStart + rail * RAIL_STRIDE;
  }

  senseAt(sense: number): number {
    return this.#senseStart + sense * SENSE_STRIDE;
  }

  /** Of all channels, rails and senses. They are written here: handed on, a fraction may be allocated. */
  get numbers(): Float64Array {
    return this.#body;
  }

  commit(): void {
    Atomics.add(this.#header, HEADER.sequence, 1);
    Atomics.add(this.#header, HEADER.coreBeat, 1);
  }

  /** Counts a tick that began so much after it was due (ms). */
  countLateness(lateMs: number): void {
    let at = 0;
    while (at < LATENESS_MS.length && lateMs > LATENESS_MS[at]!) at++;
    Atomics.add(this.#header, LATENESS_START + at, 1);
  }

  /** Counts up with every sign of life of the session in `slot`. */
  life(slot: number): number {
    return Atomics.load(this.#header, HEADER.life + slot);
  }

  /** Counts up with every proof that the session in `slot` has received something of late. */
  received(slot: number): number {
    return Atomics.load(this.#header, RECEIVED_START + slot);
  }

  // --- the gateway's side

  /** A link that works both ways. */
  markLife(slot: number): void {
    this.markSent(slot);
    this.markReceived(slot);
  }

  /** The session in `slot` has sent something. */
  markSent(slot: number): void {
    Atomics.add(this.#header, HEADER.life + slot, 1);
  }

  /** The session in `slot` has shown that it received something of late. */
  markReceived(slot: number): void {
    Atomics.add(this.#header, RECEIVED_START + slot, 1);
  }

  /** Ticks by lateness: one number for each class of `LATENESS_MS`, and one for what is above. */
  lateness(): number[] {
    const at = (i: number) => Atomics.load(this.#header, LATENESS_START + i) >>> 0;
    return Array.from({ length: LATENESS_MS.length + 1 }, (_unused, i) => at(i));
  }

  beatGateway(): void {
    Atomics.add(this.#header, HEADER.gatewayBeat, 1);
  }

  get coreBeat(): number {
    return Atomics.load(this.#header, HEADER.coreBeat);
  }

  get gatewayBeat(): number {
    return Atomics.load(this.#header, HEADER.gatewayBeat);
  }

  /** Copies a consistent picture into `into` (made by `snapshot`); false if the core kept writing. */
  read(into: Snapshot): boolean {
    for (let attempt = 0; attempt < 100; attempt++) {
      const before = Atomics.load(this.#header, HEADER.sequence);
      if (before & 1) continue;
      into.body.set(this.#body);
      into.condition = Atomics.load(this.#header, HEADER.condition);
      if (Atomics.load(this.#header, HEADER.sequence) === before) return true;
    }
    return false;
  }

  snapshot(): Snapshot {
    return new Snapshot(this.#bodyBuffers, this.#body.length);
  }
}

/** A private copy of the telemetry at one tick. */
export class Snapshot {
  condition = 0;
  readonly body: Float64Array;
  readonly #railStart: number;
  readonly #senseStart: number;

  constructor(counts: Counts, length: number) {
    this.body = new Float64Array(length);
    this.#railStart = railStart(counts);
    this.#senseStart = senseStart(counts);
  }

  /** Number of the tick. */
  get tick(): number {
    return this.body[1]!;
  }

  /** Seconds since the daemon started. */
  get tS(): number {
    return this.body[0]!;
  }

  channel(channel: number, field: number): number {
    return this.body[CHANNELS_START + channel * CHANNEL_STRIDE + field]!;
  }

  rail(rail: number, field: number): number {
    return this.body[this.#railStart + rail * RAIL_STRIDE + field]!;
  }

  sense(sense: number, field: number): number {
    return this.body[this.#senseStart + sense * SENSE_STRIDE + field]!;
  }
}
