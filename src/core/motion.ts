import type { MotionState, Trajectory } from '../sums/profile.ts';
import { posAfter, STRIDE, velAfter } from '../sums/profile-path.ts';

/** Places of one motion's numbers. The state comes first, then the time and the segment in hand. */
const POS = 0;
const VEL = 1;
const ACC = 2;
/** Where it will rest (deg). */
const TARGET = 3;
const AT = 4;
/** When the segment in hand ends (s). */
const UNTIL = 5;
/** Its start (s), then position, velocity, acceleration there, and its jerk: as in a trajectory. */
const SEGMENT = 6;
/** The pulse (us) of the servo, which is not a motion but is read with it. */
const PULSE = SEGMENT + STRIDE;
/** Until when its motor waits, from when it starts or turns round, and until when (s), in the trajectory. */
const WAITS_UNTIL = PULSE + 1;
const STARTS_FROM = PULSE + 2;
const STARTS_UNTIL = PULSE + 3;
const PLACES = PULSE + 4;
/** Times closer than this are the same but for rounding (s). */
const SAME_S = 1e-6;
const NO_TURNS = new Float64Array(0);

/** What the motor of a servo does: waits for its turn, starts, or moves. */
export const PHASE = { waits: 0, starts: 1, moves: 2 } as const;
/** Motions whose numbers lie side by side. */
const BLOCK = 256;

/**
 * Where a servo is, and the trajectory it follows. What a tick reads and writes lies side by side for
 * all servos: with a thousand objects, each with its trajectory, every tick would fetch them all again.
 */
export class Motion implements MotionState {
  readonly #numbers: Float64Array;
  readonly #base: number;
  /** Where the servo keeps its pulse (us) in `numbers`. */
  readonly pulseAt: number;
  #trajectory: Trajectory | undefined;
  /** When its motor starts or turns on the way (s), and which of these is next. */
  #turns: Float64Array = NO_TURNS;
  #turn = 0;
  /** How long each of them lasts (s). */
  #turnLastS = 0;
  /** Where in the trajectory the segment in hand is. */
  #segment = 0;

  private constructor(numbers: Float64Array, base: number) {
    this.#numbers = numbers;
    this.#base = base;
    this.pulseAt = base + PULSE;
  }

  /** This many motions, each at rest at 0 deg. */
  static make(count: number): Motion[] {
    const numbers = new Float64Array(count * PLACES);
    return Array.from({ length: count }, (_, i) => new Motion(numbers, i * PLACES));
  }

  /** Gives one motion after the other, side by side in blocks, for as many as there will be. */
  static blocks(): () => Motion {
    let block: Motion[] = [];
    return () => {
      if (block.length === 0) block = Motion.make(BLOCK).reverse();
      return block.pop()!;
    };
  }

  get numbers(): Float64Array {
    return this.#numbers;
  }

  /** deg */
  get pos(): number {
    return this.#numbers[this.#base + POS]!;
  }

  /** deg/s */
  get vel(): number {
    return this.#numbers[this.#base + VEL]!;
  }

  /** deg/s2 */
  get acc(): number {
    return this.#numbers[this.#base + ACC]!;
  }

  get moving(): boolean {
    return this.#trajectory !== undefined;
  }

  /** Where it will rest (deg). */
  get targetDeg(): number {
    return this.#numbers[this.#base + TARGET]!;
  }

  /** Follows a trajectory from its start on. */
  follow(trajectory: Trajectory): void {
    this.#trajectory = trajectory;
    this.#segment = 0;
    this.#numbers[this.#base + TARGET] = trajectory.endPos;
    this.#numbers[this.#base + AT] = 0;
    this.#turns = NO_TURNS;
    this.startsBetween(0, 0, 0);
    this.#load(trajectory);
  }

  /**
   * Its motor starts, or turns round, between two times (s) of the trajectory that it follows, and waits
   * before `waitsUntilS`.
   */
  startsBetween(fromS: number, untilS: number, waitsUntilS: number): void {
    this.#numbers[this.#base + STARTS_FROM] = fromS;
    this.#numbers[this.#base + STARTS_UNTIL] = untilS;
    this.#numbers[this.#base + WAITS_UNTIL] = waitsUntilS;
  }

  /** As `follow`, of a way with more than one start or turn of the motor, at these times (s), each for `lastS`. */
  followTurning(trajectory: Trajectory, turnsS: Float64Array, lastS: number): void {
    this.follow(trajectory);
    this.#turns = turnsS;
    this.#turn = 0;
    this.#turnLastS = lastS;
    this.#nextTurn();
  }

  /** Whether more starts or turns of its motor may come on its way. */
  get turns(): boolean {
    return this.#trajectory !== undefined && this.#turns.length > 0;
  }

  /** What is left of its way, from now on; at rest, nothing. */
  remaining(): Trajectory {
    const numbers = this.#numbers;
    const trajectory = this.#trajectory;
    if (!trajectory) return { durationS: 0, endPos: this.pos, segments: new Float64Array(0) };
    const atS = numbers[this.#base + AT]!;
    const segments = trajectory.segments.slice(this.#segment);
    for (let i = 0; i < segments.length; i += STRIDE) segments[i]! -= atS;
    if (segments.length > 0) {
      segments[0] = 0;
      segments[1] = this.pos;
      segments[2] = this.vel;
      segments[3] = this.acc;
    }
    return { durationS: trajectory.durationS - atS, endPos: trajectory.endPos, segments };
  }

  #nextTurn(): void {
    const atS = this.#turns[this.#turn++];
    if (atS !== undefined) this.startsBetween(atS, atS + this.#turnLastS, 0);
  }

  /** One of PHASE, while it moves. */
  get phase(): number {
    const numbers = this.#numbers;
    const base = this.#base;
    const atS = numbers[base + AT]! + SAME_S;
    if (atS < numbers[base + WAITS_UNTIL]!) return PHASE.waits;
    if (atS >= numbers[base + STARTS_UNTIL]!) return PHASE.moves;
    return atS >= numbers[base + STARTS_FROM]! ? PHASE.starts : PHASE.moves;
  }

  /** How long until its motor no longer waits, until it starts or turns, and until that is over (s). */
  get ahead(): { waitsS: number; startsS: number; startedS: number } {
    const atS = this.#numbers[this.#base + AT]!;
    return {
      waitsS: this.#numbers[this.#base + WAITS_UNTIL]! - atS,
      startsS: this.#numbers[this.#base + STARTS_FROM]! - atS,
      startedS: this.#numbers[this.#base + STARTS_UNTIL]! - atS,
    };
  }

  /** How long until it is there (s); 0 at rest. */
  get leftS(): number {
    const trajectory = this.#trajectory;
    return trajectory ? Math.max(0, trajectory.durationS - this.#numbers[this.#base + AT]!) : 0;
  }

  /** Rests where it is, at once. */
  rest(): void {
    this.restAt(this.pos);
  }

  /** Rests at `deg`, at once. */
  restAt(deg: number): void {
    this.#trajectory = undefined;
    this.#turns = NO_TURNS;
    this.#numbers[this.#base + POS] = deg;
    this.#numbers[this.#base + TARGET] = deg;
    this.#numbers[this.#base + VEL] = 0;
    this.#numbers[this.#base + ACC] = 0;
  }

  /** Advances by `dtS` (s), as `sample` would give; it no longer moves when its trajectory is over. */
  advance({ dtS }: { readonly dtS: number }): void {
    const trajectory = this.#trajectory;
    if (!trajectory) return;
    const numbers = this.#numbers;
    const base = this.#base;
    numbers[base + AT]! += dtS;
    if (this.#turn < this.#turns.length && numbers[base + AT]! >= numbers[base + STARTS_UNTIL]!)
      this.#nextTurn();
    if (!(numbers[base + AT]! < numbers[base + UNTIL]!) && this.#goOn(trajectory)) {
      this.restAt(trajectory.endPos);
      return;
    }
    const t = Math.max(numbers[base + AT]! - numbers[base + SEGMENT]!, 0);
    const vel = numbers[base + SEGMENT + 2]!;
    const acc = numbers[base + SEGMENT + 3]!;
    const jerk = numbers[base + SEGMENT + 4]!;
    numbers[base + POS] = posAfter(t, numbers[base + SEGMENT + 1]!, vel, acc, jerk);
    numbers[base + VEL] = velAfter(t, vel, acc, jerk);
    numbers[base + ACC] = acc + t * jerk;
  }

  /** Takes the segment that is now due; whether there is none. */
  #goOn(trajectory: Trajectory): boolean {
    const { segments, durationS } = trajectory;
    const atS = this.#numbers[this.#base + AT]!;
    if (!(atS < durationS) || segments.length === 0) return true;
    while (this.#segment + STRIDE < segments.length && segments[this.#segment + STRIDE]! <= atS)
      this.#segment += STRIDE;
    this.#load(trajectory);
    return false;
  }

  #load({ segments, durationS }: Trajectory): void {
    const next = this.#segment + STRIDE;
    const untilS = next < segments.length ? segments[next]! : durationS;
    this.#numbers[this.#base + UNTIL] = Math.min(untilS, durationS);
    for (let i = 0; i < STRIDE; i++)
      this.#numbers[this.#base + SEGMENT + i] = segments[this.#segment + i] ?? 0;
  }
}
