import type { JournalEntry } from '../../src/api/types.ts';
import type { Driver, Frame, InputSpec, OutputSpec } from '../../src/boards/board.ts';
import type { Core } from '../../src/core/core.ts';
import type { Prop, RelayChannel, Requirement, ServoChannel } from '../../src/prop/schema.ts';
import { FlashCounter, PeakFlashCounter, RedFlashCounter } from './flash-counter.ts';

/**
 * What leaves the pins, judged tick by tick. Everything is derived from the values that the driver
 * was given and from the prop file; of the core it takes the name of the condition and the journal.
 */

const TICK_S = 0.005;
/** The fastest a servo may go outside its soft limits (deg/s), as promised to the user. */
const FEEL_SPEED_DEG_S = 20;
/** Rounding of sums of doubles, as a share. */
const SLACK = 1e-6;

/** A board that keeps what stands at each of its pins. */
export class Pins implements Driver {
  readonly pulseStepUs: number;
  value = new Float64Array(0);
  /** How often it has been written to. */
  writes = 0;
  failing: 'write' | 'read' | undefined;
  readonly inputs = new Map<string, 0 | 1>();
  #safe = new Float64Array(0);
  #inputs: readonly InputSpec[] = [];

  constructor(pulseStepUs: number) {
    this.pulseStepUs = pulseStepUs;
  }

  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    this.#safe = Float64Array.from(outputs, (output) => output.safe);
    this.value = this.#safe.slice();
    this.#inputs = inputs;
  }

  write(frame: Frame): void {
    this.#mayFail('write');
    this.writes++;
    for (let i = 0; i < frame.count; i++) this.value[frame.output[i]!] = frame.value[i]!;
  }

  read(input: number): 0 | 1 {
    this.#mayFail('read');
    const { name, restLevel } = this.#inputs[input]!;
    return this.inputs.get(name) ?? restLevel ?? 1;
  }

  async close(): Promise<void> {
    this.value.set(this.#safe);
  }

  /** As a driver must: what fails is made safe first. */
  #mayFail(at: 'write' | 'read'): void {
    if (this.failing !== at) return;
    this.failing = undefined;
    this.value.set(this.#safe);
    throw new Error('the board is gone');
  }
}

interface ServoWatch {
  name: string;
  board: string;
  spec: ServoChannel;
  pins: Pins;
  output: number;
  fine: boolean;
  /** From pulse to angle and from angle to pulse, as straight pieces. */
  points: readonly (readonly [us: number, deg: number])[];
  envelopeUs: readonly [number, number];
  /** As the prop file now has them. */
  soft: [number, number];
  marks: Map<string, number>;
  parkTo: number | string;
  /** It was sent, or left, outside its soft limits on purpose. */
  felt: boolean;
  us: number;
  deg: number;
  step: number;
  change: number;
  /** Ticks of even length since it was last put somewhere, so that differences mean something. */
  even: number;
  /** Ticks in which the pulse did not change. */
  still: number;
  /** The same, counted from the last step beyond the limits. */
  calm: number;
  /** Where it stood when its pulses last stopped (deg); undefined where nobody knows. */
  left: number | undefined;
  settleUntilMs: number;
  jumpUntilMs: number;
  /** Its limits have changed under it: until then it comes to rest. */
  limitsUntilMs: number;
  /** How long it takes to stop from full speed (ticks). */
  stopTicks: number;
  unmetTicks: number;
}

interface RelayWatch {
  name: string;
  spec: RelayChannel;
  pins: Pins;
  output: number;
  onLevel: 0 | 1;
  on: boolean;
  changedMs: number;
  usedMs: number;
}

type LightWatch = {
  name: string;
  pins: Pins;
  /** One, or red, green and blue. */
  outputs: readonly number[];
  inverted: boolean;
  fullA: readonly number[];
  general: FlashCounter;
  red: RedFlashCounter | undefined;
};

export type Worst = Record<string, number>;

/** What must hold, tick by tick. */
export const INVARIANTS = {
  envelope: 'every pulse is within its envelope, and a whole step of its board',
  'soft limits': 'no servo leaves its soft limits, unless it feels for its stop',
  'speed beyond the limits': 'beyond its limits a servo goes at 20 deg/s at most',
  feeling: 'while one feels for its stop, no other moves',
  speed: 'no step is larger than the speed limit allows',
  acceleration: 'no change of a step is larger than the acceleration limit allows',
  jerk: 'nor a change of that than the jerk limit allows',
  interlocks: 'without what it needs a relay is open, and a servo stops and holds',
  duty: 'no relay is closed for longer than its duty guard or its pulse allows',
  'rail limit': 'no rail gives more than its limit',
  flashes: 'no light flashes more than three times in a second (WCAG 2.2)',
  'flashes of all light': 'nor does all light together, judged against its recent peak',
  'one holder': 'only the one holder of the lease is obeyed, and only while the prop is live',
  'lost link': 'parking begins within timeoutMs + 100 ms of the last sign of life',
  wake: 'pulses begin where the servo was left, or flagged, while waking alone',
  'parked or stopped': 'parked or stopped, nothing moves and no relay is closed',
  'park ends': 'every park ends within its deadline, with everything at rest in its place',
  core: 'nothing is thrown',
} as const;
export type Invariant = keyof typeof INVARIANTS;

export class Broken extends Error {
  readonly invariant: Invariant;

  constructor(invariant: Invariant, message: string) {
    super(message);
    this.invariant = invariant;
  }
}

export class Watch {
  ticks = 0;
  /** The largest share of each limit that was used. */
  readonly worst: Worst = {};
  /** How often each thing was seen to happen. */
  readonly seen: Record<string, number> = {};
  readonly #prop: Prop;
  readonly #core: Core;
  readonly #servos: ServoWatch[] = [];
  readonly #relays: RelayWatch[] = [];
  readonly #lights: LightWatch[] = [];
  readonly #together = new PeakFlashCounter();
  readonly #byName = new Map<string, ServoWatch | RelayWatch>();
  #condition = 'parked';
  /** Ticks in the present condition. */
  #inCondition = 0;
  #stopCategory = 2;
  #stopTick = 0;
  #parkingSinceMs = 0;
  readonly #parkLimitMs: number;
  #entries: JournalEntry[] = [];
  #unknown = new Set<string>();
  #failed = new Set<string>();
  /** The holder's last sign of life (ms), or Infinity while nobody holds the lease. */
  lifeMs = Number.POSITIVE_INFINITY;

  constructor(prop: Prop, core: Core, boards: ReadonlyMap<string, Pins>) {
    this.#prop = prop;
    this.#core = core;
    for (const board of core.body.boards) {
      const pins = boards.get(board.name)!;
      board.outputs.forEach(({ name }, output) => {
        this.#add(name, pins, output);
      });
    }
    const jumpMs = this.#servos.reduce((sum, { points }) => {
      const degs = points.map(([, deg]) => deg);
      return sum + 200 + (1000 * 1.3 * (Math.max(...degs) - Math.min(...degs))) / 300;
    }, 0);
    this.#parkLimitMs =
      1000 * (prop.park.deadlineS + (prop.link.holdS ?? 0)) + jumpMs + 4 * 1000 * TICK_S;
  }

  #add(output: string, pins: Pins, at: number): void {
    const [name, colour] = output.split('.') as [string, string?];
    const spec = this.#prop.channels[name]!;
    if (spec.kind === 'servo') {
      const rising = [...spec.calibration].sort((a, b) => a[0] - b[0]);
      const { speedDegS, accelDegS2, jerkDegS3 } = spec;
      const stopS = speedDegS / accelDegS2 + (jerkDegS3 ? (2 * accelDegS2) / jerkDegS3 : 0);
      const servo: ServoWatch = {
        name,
        board: spec.output.board,
        spec,
        pins,
        output: at,
        fine: spec.output.board === 'main',
        points: rising,
        envelopeUs: spec.envelopeUs ?? [rising[0]![0], rising.at(-1)![0]],
        soft: [...spec.limitsDeg!],
        marks: new Map(Object.entries(spec.marks ?? {})),
        parkTo: spec.park.to,
        felt: false,
        us: 0,
        deg: 0,
        step: 0,
        change: 0,
        even: 0,
        still: 0,
        calm: 0,
        left: undefined,
        settleUntilMs: 0,
        jumpUntilMs: 0,
        limitsUntilMs: 0,
        stopTicks: Math.ceil(stopS / TICK_S) + 4,
        unmetTicks: 0,
      };
      this.#servos.push(servo);
      this.#byName.set(name, servo);
    } else if (spec.kind === 'relay') {
      const relay: RelayWatch = {
        name,
        spec,
        pins,
        output: at,
        onLevel: spec.output.activeLow ? 0 : 1,
        on: false,
        changedMs: Number.NEGATIVE_INFINITY,
        usedMs: 0,
      };
      this.#relays.push(relay);
      this.#byName.set(name, relay);
    } else if (spec.kind !== 'sound' && (colour === undefined || colour === 'red')) {
      const isRgb = spec.kind === 'rgb';
      const drawn = spec.draw?.fullA ?? 0;
      this.#lights.push({
        name,
        pins,
        outputs: isRgb ? [at, at + 1, at + 2] : [at],
        inverted: isRgb ? spec.output.common === 'anode' : spec.output.activeLow,
        fullA: Array.isArray(drawn) ? drawn : [drawn],
        general: new FlashCounter(),
        red: isRgb ? new RedFlashCounter() : undefined,
      });
    }
  }

  // --- what the prop file now says ------------------------------------------------------------------

  servo(name: string): ServoWatch {
    return this.#byName.get(name) as ServoWatch;
  }

  parkDeg({ parkTo, marks }: ServoWatch): number {
    return typeof parkTo === 'number' ? parkTo : marks.get(parkTo)!;
  }

  /** It has been granted a step beyond its limits. */
  feels(name: string): void {
    const servo = this.servo(name);
    servo.felt = true;
    servo.calm = 0;
  }

  /** Where it stands may now be outside, and it comes to rest first. */
  limitsChanged(name: string): void {
    const servo = this.servo(name);
    this.feels(name);
    servo.limitsUntilMs = this.#nowMs + 1000 * TICK_S * servo.stopTicks;
    this.#count('limits captured');
  }

  /** The start: positions that the core was given. */
  known(positions: Readonly<Record<string, number>>): void {
    for (const servo of this.#servos) servo.left = positions[servo.name];
  }

  /** Who stopped the prop last, and must be named for a reset. */
  stoppedBy: string | undefined;

  recorded(entry: JournalEntry): void {
    this.#entries.push(entry);
  }

  // --- a tick ---------------------------------------------------------------------------------------

  #nowMs = 0;

  /** Looks at what stands at the pins after a tick. @throws Error naming what is broken */
  look(nowMs: number, elapsed: number): void {
    this.ticks++;
    this.#nowMs = nowMs;
    const { condition } = this.#core;
    this.#readJournal();
    const before = this.#condition;
    if (condition === before) this.#inCondition++;
    else {
      this.#inCondition = 0;
      this.#condition = condition;
      this.#count(`${before} to ${condition}`);
      if (condition === 'parking') this.#parkingSinceMs = nowMs;
    }
    let moving = 0;
    for (let i = 0; i < this.#servos.length; i++)
      if (this.#lookAtServo(this.#servos[i]!, elapsed)) moving++;
    // What a board that failed drove is lost.
    if (this.#failed.size > 0)
      for (const servo of this.#servos) if (this.#failed.has(servo.board)) servo.left = undefined;
    for (let i = 0; i < this.#servos.length; i++) this.#lookOutside(this.#servos[i]!, moving);
    for (let i = 0; i < this.#relays.length; i++) this.#lookAtRelay(this.#relays[i]!, elapsed);
    for (let i = 0; i < this.#relays.length; i++) this.#lookAtInterlock(this.#relays[i]!);
    for (let i = 0; i < this.#servos.length; i++) this.#lookAtRequired(this.#servos[i]!);
    this.#lookAtRails();
    this.#lookAtLights(nowMs / 1000);
    this.#lookAtCondition(before, moving);
    this.#unknown.clear();
    this.#failed.clear();
  }

  #readJournal(): void {
    if (this.#entries.length === 0) return;
    for (const { who, what, text, values } of this.#entries) {
      this.#count(`journal: ${what}`);
      if (what === 'stop') {
        const category = values!.category as number;
        const latched = this.#condition === 'stopped';
        this.#stopCategory = latched ? Math.min(this.#stopCategory, category) : category;
        this.#stopTick = this.ticks;
        if (who !== 'prop') this.stoppedBy = who;
        else if (text.endsWith('stop button')) this.stoppedBy = 'stop button';
      } else if (what === 'position unknown') this.#unknown.add(String(values!.channel));
      else if (what === 'fault') {
        if (text.startsWith('the core failed')) this.#wrong('core', `${text} ${values?.stack}`);
        this.#failed.add(String(values!.board));
      }
    }
    this.#entries = [];
  }

  #lookAtServo(servo: ServoWatch, elapsed: number): boolean {
    const us = servo.pins.value[servo.output]!;
    const before = servo.us;
    servo.us = us;
    if (us === 0) {
      servo.even = 0;
      servo.still = 0;
      if (before === 0) return false;
      // A servo that is cut off away from rest, or on its way from nowhere, stands anywhere.
      // A park that ends has brought it where it was to go when that began.
      // One that arrived in this very tick has its last step still before it.
      const stepDeg = servo.spec.accelDegS2 * TICK_S ** 2;
      const rests =
        this.#condition === 'parked' ||
        Math.abs(servo.deg - this.parkDeg(servo)) <= 0.1 * servo.pins.pulseStepUs + 1e-3 + stepDeg;
      servo.left = rests && this.#nowMs >= servo.jumpUntilMs ? servo.deg : undefined;
      servo.felt = false;
      return false;
    }
    const [lowUs, highUs] = servo.envelopeUs;
    if (!(us >= lowUs - 1e-6 && us <= highUs + 1e-6))
      this.#wrong(
        'envelope',
        `${servo.name}: pulse ${us} us outside its envelope ${lowUs} to ${highUs} us`,
      );
    const steps = us / servo.pins.pulseStepUs;
    if (Math.abs(steps - Math.round(steps)) > 1e-6)
      this.#wrong('envelope', `${servo.name}: pulse ${us} us is not a whole step`);
    const deg = angleAt(servo.points, us);
    if (before === 0) {
      this.#pulsing(servo, deg);
      return false;
    }
    this.#motion(servo, deg, elapsed);
    servo.still = us === before ? servo.still + 1 : 0;
    servo.calm = us === before ? servo.calm + 1 : 0;
    // New limits may round the pulse of a servo that stands still to the next step.
    return us !== before && this.#nowMs > servo.limitsUntilMs;
  }

  #pulsing(servo: ServoWatch, deg: number): void {
    const { name, left } = servo;
    if (this.#condition !== 'waking' && this.#condition !== 'parking' && this.#condition !== 'live')
      this.#wrong('wake', `${name}: pulses begin in ${this.#condition}`);
    const near = (to: number) =>
      Math.abs(deg - to) <= 2 * servo.spec.speedDegS * TICK_S + 0.1 * servo.pins.pulseStepUs + 1e-6;
    const parkDeg = this.parkDeg(servo);
    if (this.#unknown.has(name)) {
      if (!near(parkDeg))
        this.#wrong('wake', `${name}: from nowhere to ${deg} deg, not ${parkDeg} deg`);
      const range = Math.abs(servo.points[0]![1] - servo.points.at(-1)![1]);
      servo.jumpUntilMs = this.#nowMs + 200 + (1000 * range) / 300;
      this.#count('woken from an unknown position');
    } else {
      if (left === undefined)
        this.#wrong('wake', `${name}: starts at ${deg} deg; nobody knew where it was`);
      if (!near(left!))
        this.#wrong('wake', `${name}: starts at ${deg} deg, was left at ${left} deg`);
      servo.jumpUntilMs = 0;
    }
    servo.felt = deg < servo.soft[0] || deg > servo.soft[1];
    servo.settleUntilMs = this.#nowMs + 200;
    servo.deg = deg;
    servo.step = 0;
    servo.change = 0;
    servo.even = 0;
    servo.still = 1;
  }

  /**
   * Differences from tick to tick: a motion within speed v, acceleration a and jerk j moves by at
   * most v dt, changes that by at most a dt2, and that by at most j dt3 (mean value theorem).
   */
  #motion(servo: ServoWatch, deg: number, elapsed: number): void {
    const { speedDegS, accelDegS2, jerkDegS3 } = servo.spec;
    const step = deg - servo.deg;
    const grain = servo.fine ? 4e-7 : 0.55;
    this.#within(servo, 'speed', Math.abs(step), speedDegS * TICK_S * elapsed, grain);
    if (elapsed !== 1) {
      servo.even = 0;
      servo.deg = deg;
      return;
    }
    if (servo.fine && servo.even >= 1) {
      const change = step - servo.step;
      this.#within(servo, 'acceleration', Math.abs(change), accelDegS2 * TICK_S ** 2, grain);
      if (jerkDegS3 && servo.even >= 2) {
        const jerk = Math.abs(change - servo.change);
        this.#within(servo, 'jerk', jerk, jerkDegS3 * TICK_S ** 3, 2 * grain);
      }
      servo.change = change;
    }
    servo.even++;
    servo.step = step;
    servo.deg = deg;
  }

  #within(servo: ServoWatch, what: Invariant, found: number, most: number, grain: number): void {
    if (found > most * (1 + SLACK) + grain)
      this.#wrong(what, `${servo.name}: ${what} ${found / most} times its limit (${found} a tick)`);
    if (servo.fine) this.#note(what, (found - grain) / most);
  }

  /** Soft limits; outside them, slowly and alone. */
  #lookOutside(servo: ServoWatch, moving: number): void {
    if (servo.us === 0) return;
    const [low, high] = servo.soft;
    const { deg } = servo;
    const outside = Math.max(low - deg, deg - high);
    if (outside <= 1e-6) {
      if (servo.calm >= (servo.fine ? 3 : 100)) servo.felt = false;
      if (!servo.felt) this.#note('soft limits', outside);
      return;
    }
    if (!servo.felt)
      this.#wrong('soft limits', `${servo.name}: at ${deg} deg, outside ${low} to ${high} deg`);
    this.#count('ticks outside soft limits');
    if (this.#nowMs < servo.limitsUntilMs) return;
    const before = servo.deg - servo.step;
    if (!(before < low - 1e-6 || before > high + 1e-6) || servo.even < 1 || !servo.fine) return;
    const most = FEEL_SPEED_DEG_S * TICK_S;
    this.#within(servo, 'speed beyond the limits', Math.abs(servo.step), most, 1e-6);
    const outward = (deg > high && servo.step > 1e-6) || (deg < low && servo.step < -1e-6);
    if (outward && this.#condition === 'live' && moving > 1)
      this.#wrong('feeling', `${servo.name} feels for its stop while another moves`);
  }

  #lookAtRelay(relay: RelayWatch, elapsed: number): void {
    const { spec, name } = relay;
    const on = relay.pins.value[relay.output] === relay.onLevel;
    const nowMs = this.#nowMs;
    const periodMs = 1000 * TICK_S * elapsed + 2;
    if (on !== relay.on) {
      this.#count(`${name} ${on ? 'closes' : 'opens'}`);
      // What was granted while it was live may close in the tick in which that ends.
      const late = this.#justFailed || (this.#condition === 'parking' && this.#inCondition === 0);
      if (on && this.#condition !== 'live' && !late)
        this.#wrong('parked or stopped', `${name} closes in ${this.#condition}`);
      const sinceMs = nowMs - relay.changedMs;
      if (on && spec.duty && sinceMs >= 1000 * spec.duty.restS - 1e-6) relay.usedMs = 0;
      if (!on) relay.usedMs += sinceMs;
      relay.on = on;
      relay.changedMs = nowMs;
    }
    if (!on) return;
    const closedMs = nowMs - relay.changedMs;
    if (spec.contact === 'momentary' && closedMs > spec.pulseMs! + periodMs)
      this.#wrong('duty', `${name}: closed for ${closedMs} ms, not ${spec.pulseMs} ms`);
    if (!spec.duty) return;
    const maxMs = 1000 * spec.duty.maxOnS;
    if (relay.usedMs + closedMs > maxMs + periodMs)
      this.#wrong(
        'duty',
        `${name}: closed for ${relay.usedMs + closedMs} ms in all, not ${maxMs} ms`,
      );
    this.#note('duty', (relay.usedMs + closedMs - periodMs) / maxMs);
  }

  #met(requirement: Requirement): boolean {
    const other = this.#byName.get(requirement.channel)!;
    if ('is' in requirement) return (other as RelayWatch).on === (requirement.is === 'on');
    const { us, deg } = other as ServoWatch;
    if (us === 0) return false;
    return 'above' in requirement
      ? deg > Number(requirement.above) - 1e-6
      : deg < Number(requirement.below) + 1e-6;
  }

  #lookAtInterlock({ on, spec, name }: RelayWatch): void {
    if (!on || !spec.requires) return;
    for (const requirement of spec.requires)
      if (!this.#met(requirement) && !this.#justFailed)
        this.#wrong('interlocks', `${name} is closed, without ${JSON.stringify(requirement)}`);
  }

  /** A board failed while this tick was written: the others hear of it in the next. */
  get #justFailed(): boolean {
    return this.#failed.size > 0;
  }

  /** What a servo needs is gone: it decelerates and holds, unless it goes to rest. */
  #lookAtRequired(servo: ServoWatch): void {
    const { requires } = servo.spec;
    if (!requires) return;
    // New limits may round the pulse of a servo that stands still to the next step.
    const moves = servo.us !== 0 && servo.still === 0 && this.#nowMs > servo.limitsUntilMs;
    const goesHome = this.#condition === 'parking' || this.#condition === 'faulted';
    if (goesHome || requires.every((one) => this.#met(one))) servo.unmetTicks = 0;
    else if (++servo.unmetTicks > servo.stopTicks && moves)
      this.#wrong(
        'interlocks',
        `${servo.name} still moves ${servo.unmetTicks} ticks after its interlock ended`,
      );
  }

  #lookAtRails(): void {
    const nowMs = this.#nowMs;
    for (const [rail, { limitA }] of Object.entries(this.#prop.rails)) {
      let amps = 0;
      for (const { spec, us, still, settleUntilMs, limitsUntilMs } of this.#servos) {
        if (spec.rail !== rail || us === 0) continue;
        // New limits may round the pulse of a servo that stands still to the next step.
        const moves = (still === 0 && nowMs > limitsUntilMs) || nowMs < settleUntilMs - 10;
        amps += (moves ? spec.draw!.movingA : spec.draw!.idleA) ?? 0;
      }
      for (const { spec, on } of this.#relays) if (on && spec.rail === rail) amps += spec.draw!.onA;
      if (rail === 'five')
        for (const light of this.#lights)
          for (let i = 0; i < light.outputs.length; i++) amps += light.fullA[i]! * share(light, i);
      if (amps > limitA + 1e-6) this.#wrong('rail limit', `rail ${rail}: ${amps} A of ${limitA} A`);
      this.#note('rail limit', amps / limitA);
    }
  }

  #lookAtLights(tS: number): void {
    // One channel weighs as much as another, where the file says nothing else.
    let sum = 0;
    for (const { spec, on } of this.#relays) if (on && spec.light) sum++;
    for (const light of this.#lights) {
      const red = share(light, 0);
      let flashes: number;
      if (light.red) {
        const green = share(light, 1);
        const blue = share(light, 2);
        // Relative luminance of linear sRGB components (WCAG 2.2).
        const luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
        sum += luminance;
        flashes = light.general.add(tS, luminance);
        flashes = Math.max(flashes, light.red.add(tS, red, green, blue));
      } else {
        sum += red;
        flashes = light.general.add(tS, red);
      }
      if (flashes > 3) this.#wrong('flashes', `${light.name}: ${flashes} flashes within a second`);
      this.#note('flashes', flashes / 3);
    }
    const all = this.#together.add(tS, sum);
    if (all > 3) this.#wrong('flashes of all light', `${all} flashes within a second`);
    this.#note('flashes of all light', all / 3);
  }

  #lookAtCondition(before: string, moving: number): void {
    const condition = this.#condition;
    if (condition === 'parked') {
      if (this.#inCondition === 0 && before === 'parking') this.#mustBeParked();
      else if (moving > 0) this.#wrong('parked or stopped', 'a servo moves in parked');
      if (this.#relays.some(({ on }) => on))
        this.#wrong('parked or stopped', 'a relay is closed in parked');
    } else if (condition === 'stopped' || condition === 'faulted') {
      const closed = this.#relays.find(({ on }) => on);
      if (closed && !this.#justFailed)
        this.#wrong('parked or stopped', `${closed.name} is closed in ${condition}`);
      if (condition === 'stopped') this.#lookAtStop();
      else if (moving > 0 && this.#inCondition * 5 > this.#parkLimitMs)
        this.#wrong('parked or stopped', 'a servo still moves long after a fault');
    } else if (condition === 'parking' && this.#nowMs - this.#parkingSinceMs > this.#parkLimitMs)
      this.#wrong('park ends', `parking goes on after ${this.#nowMs - this.#parkingSinceMs} ms`);
    const silentMs = this.#nowMs - this.lifeMs;
    const { timeoutMs } = this.#prop.link;
    const commanded = condition === 'live' || condition === 'waking';
    if (commanded && silentMs > timeoutMs + 100)
      this.#wrong('lost link', `${condition} though the holder has been silent for ${silentMs} ms`);
    if (condition === 'parking' && silentMs < 1e6) this.#note('lost link', silentMs);
  }

  #mustBeParked(): void {
    this.#count('parked');
    for (const servo of this.#servos) {
      const parkDeg = this.parkDeg(servo);
      const at = servo.us !== 0 ? servo.deg : servo.left;
      // Limp from before, or lost with its board: it stays as it is.
      if (servo.us === 0 && (at === undefined || servo.spec.park.then === 'hold')) continue;
      if (servo.us !== 0 && servo.spec.park.then === 'release')
        this.#wrong('park ends', `${servo.name} is parked and still has pulses`);
      const grain = servo.fine ? 1e-5 : 0.5;
      if (servo.us !== 0 && Math.abs(at! - parkDeg) > grain)
        this.#wrong('park ends', `${servo.name} is parked at ${at} deg, not ${parkDeg} deg`);
    }
    for (const light of this.#lights)
      for (let i = 0; i < light.outputs.length; i++)
        if (share(light, i) > 1e-9)
          this.#wrong('parked or stopped', `${light.name} is lit in parked`);
  }

  #lookAtStop(): void {
    const since = this.ticks - this.#stopTick;
    for (const servo of this.#servos) {
      if (servo.us === 0) continue;
      if (this.#stopCategory === 0)
        this.#wrong('parked or stopped', `${servo.name} has pulses after a stop 0`);
      if (since <= servo.stopTicks) continue;
      if (servo.still === 0)
        this.#wrong('parked or stopped', `${servo.name} moves ${since} ticks after a stop`);
      if (this.#stopCategory === 1 && since > this.#slowest)
        this.#wrong('parked or stopped', `${servo.name} has pulses ${since} ticks after a stop 1`);
    }
    if (this.#stopCategory === 0)
      for (const light of this.#lights)
        if (share(light, 0) > 1e-9)
          this.#wrong('parked or stopped', `${light.name} is lit after a stop 0`);
  }

  get #slowest(): number {
    return Math.max(...this.#servos.map(({ stopTicks }) => stopTicks));
  }

  #note(what: string, value: number): void {
    if (!(value <= (this.worst[what] ?? Number.NEGATIVE_INFINITY))) this.worst[what] = value;
  }

  #count(what: string): void {
    this.seen[what] = (this.seen[what] ?? 0) + 1;
  }

  #wrong(invariant: Invariant, what: string): never {
    throw new Broken(invariant, `${what} [${this.#condition}, tick ${this.ticks}]`);
  }
}

/** How bright an output is, 0 to 1, whichever way it is wired. */
function share({ pins, outputs, inverted }: LightWatch, i: number): number {
  const duty = pins.value[outputs[i]!]!;
  return inverted ? 1 - duty : duty;
}

/** Linear between the points and beyond both ends. */
function angleAt(points: ServoWatch['points'], us: number): number {
  let i = 1;
  while (i < points.length - 1 && us > points[i]![0]) i++;
  const [us0, deg0] = points[i - 1]!;
  const [us1, deg1] = points[i]!;
  return deg0 + ((us - us0) / (us1 - us0)) * (deg1 - deg0);
}
