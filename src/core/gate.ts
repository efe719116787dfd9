import { didYouMean } from '../prop/finding.ts';
import type { Requirement } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { clamp, tidy } from '../shared/units.ts';
import { type Resolvers, withResolvers } from '../shared/with-resolvers.ts';
import type { Ease } from '../sums/ease.ts';
import { easedRange } from '../sums/eased-move.ts';
import type { Rgb } from '../sums/light.ts';
import type { Trajectory } from '../sums/profile.ts';
import { RailAhead, START_S, staggeredPeakA, startOrder } from '../sums/start.ts';
import type { TakeTrack } from '../sums/take-track.ts';
import type { Standing } from './actuator.ts';
import type { Actuator } from './actuators.ts';
import { type Body, NO_RAIL, type Rail } from './body.ts';
import type { Journal } from './journal.ts';
import type { Lamp, RgbLight } from './light.ts';
import { type Planned, Planning } from './planning.ts';
import type { Targets } from './pose.ts';
import type { Relay } from './relay.ts';
import type { Move, Servo } from './servo.ts';
import type { Sound } from './sound.ts';

/** A rail may be over its limit by this much (A), from rounding only. */
const RAIL_SLACK_A = 1e-9;
const FEEL_STEP_DEG = 5;
/** Moves of more servos than this are worked out in slices, one a tick; eased ones take longer to plan. */
const PLANNED_AT_ONCE = 16;
const EASED_AT_ONCE = 2;

/** A channel that is asked to change, and to what. */
interface Change {
  actuator: Actuator;
  target: Standing;
}

/** What one channel requires of another one. */
interface Dependent {
  actuator: Actuator;
  requirement: Requirement;
}

const NONE: ReadonlySet<Actuator> = new Set();
const NO_DEPENDENTS: readonly Dependent[] = [];

/** Moves that start and arrive together, waiting for room on their rails. */
interface Waiting {
  moves: readonly Move[];
  overS: number;
  who: string;
  jog: boolean;
  ease: Ease | undefined;
  /** How many times longer it takes than it otherwise would. */
  stretch?: number;
  /** Of so many servos that it is worked out in slices; what its sender is told then. */
  answer?: Resolvers<Started | undefined>;
  /** It is being planned, a slice in each tick; then the result. */
  planning?: Planning | undefined;
  planned?: Planned;
  /** That it has to wait for its rail has been reported. */
  delayed?: boolean;
  /** The starts by which it is planned. */
  starts?: Starts | undefined;
  /** When it was asked for, or planned again (s). */
  askedS?: number;
  /** One of a stream, whose sender reports what has to be reported. */
  streamed?: boolean;
  /** Called with how long it takes (s), once that is known. */
  onPlanned?: ((durationS: number) => void) | undefined;
}

/** When the servos of moves start, so that their rails hold: by their places in the moves. */
interface Starts {
  delaysS: number[];
  /** Whether the rail has room for each start; if it never could, none other is under way meanwhile. */
  counts: boolean[];
  /** The rail for which they do not start all at once, if any. */
  staggeredFor?: Rail;
  /** The rail that they have to wait for, if any: the rest of this counts for nothing then. */
  full?: Rail;
}

/** A servo that moves and will turn round, by its place in the moves. */
interface Turn {
  place: number;
  /** When it turns round (s from now), at the earliest and the latest. */
  earliestS: number;
  latestS: number;
}

export interface Started {
  /** How long the move takes once it has started (s); the least while it is still being planned. */
  durationS: number;
  /** Why it has to wait, in words. */
  delayed?: string;
}

/** What is known of a move when it has been asked for. */
export interface Asked extends Started {
  /**
   * While it is still being worked out, the same once it starts or has to wait; undefined when something
   * else came first. Rejects with the Refusal for which it may not start after all.
   */
  soon?: Promise<Started | undefined>;
}

/**
 * The one gate that everything which moves, switches or lights something passes: limits,
 * interlocks, duty guards and rails are applied here and nowhere else. It knows nothing of sessions
 * or of the prop's condition: those are asked before.
 */
export class Gate {
  readonly #body: Body;
  readonly #journal: Journal;
  /** The draw of a channel (A), on its way to that of its rail. */
  readonly #amps = new Float64Array(1);
  /** By rail, the current without starts (A). */
  readonly #lastingA: Float64Array;
  readonly #nowMs: () => number;
  /** The servos with an interlock: no others are looked at in every tick. */
  readonly #guarded: readonly Servo[];
  readonly #guardedLights: readonly (RgbLight | Lamp)[];
  readonly #guardedSounds: readonly Sound[];
  /** What others require of each channel. */
  readonly #dependents = new Map<Actuator, Dependent[]>();
  #waiting: Waiting[] = [];
  /** Set while parking: going to rest is never refused by an interlock. */
  parking = false;
  /** The servo that is being measured: nothing else moves meanwhile. */
  measured: Servo | undefined;
  /** Set for the small move that checks a measured angle. */
  checking = false;
  /** Set while nothing may move or close: why. */
  blocked: (() => Refusal) | undefined;

  /** @param nowMs the clock by which slices of planning end; without it they end by their number */
  constructor(body: Body, journal: Journal, nowMs: () => number = () => 0) {
    this.#body = body;
    this.#journal = journal;
    this.#nowMs = nowMs;
    this.#lastingA = new Float64Array(body.rails.length);
    this.#guarded = body.servos.filter(({ spec }) => spec.requires);
    this.#guardedLights = body.lights.filter(({ spec }) => spec.requires);
    this.#guardedSounds = body.sounds.filter(({ spec }) => spec.requires);
    for (const actuator of body.channels)
      for (const requirement of actuator.spec.requires ?? []) {
        const other = body.channel(requirement.channel);
        const dependents = this.#dependents.get(other) ?? [];
        this.#dependents.set(other, [...dependents, { actuator, requirement }]);
      }
  }

  // --- servos -----------------------------------------------------------------------------------

  /**
   * Sends servos to angles (deg); together they start and arrive together, paced by the slowest.
   * @param ease the shape of the move, for servos that stand still; as fast as allowed without it
   * @param onPlanned told how long the move takes (s), now or, for many eased ones, some ticks later
   * @param stretch how many times longer it takes than it otherwise would
   * @throws Refusal `outOfLimits`, `interlock`, `railLimit`; nothing has moved then
   */
  move(
    moves: readonly Move[],
    overS: number,
    who: string,
    nowS: number,
    ease?: Ease,
    onPlanned?: (durationS: number) => void,
    stretch = 1,
  ): Asked {
    return this.#send({ moves, overS, who, jog: false, ease, onPlanned, stretch }, nowS);
  }

  /**
   * As `move`, of one servo that a stream of targets leads, as fast as its limits allow. What it has to
   * wait for is answered, and not in the journal.
   * @throws Refusal as `move`
   */
  follow(move: Move, who: string, nowS: number): Started {
    const moves = [move];
    return this.#send({ moves, overS: 0, who, jog: false, ease: undefined, streamed: true }, nowS);
  }

  #send(asked: Waiting, nowS: number): Asked {
    this.#mustBeFree();
    const { moves, ease } = asked;
    this.#mustBeAbleToFollow(moves, ease);
    this.cancel(moves.map((move) => move.servo));
    if (isLong(asked) && !moves.some(({ servo }) => servo.moving)) {
      const answer = withResolvers<Started | undefined>();
      // A cue does not ask: the journal says why.
      answer.promise.catch(() => {});
      this.#waiting.push({ ...asked, answer, askedS: nowS });
      for (const { servo } of moves) servo.delayed = true;
      return { durationS: asked.overS, soon: answer.promise };
    }
    const starts = this.#noteStarts(asked);
    const { plans, durationS } = planningOf(asked).whole();
    asked.onPlanned?.(durationS);
    const full = this.#blockedBy(moves) ?? starts.full;
    if (!full) {
      this.#start(asked, plans);
      return { durationS };
    }
    // A servo that would turn round stops meanwhile: it never goes on where nobody wants it.
    for (const { servo, targetDeg } of moves)
      if (starts.full && (servo.startsIn(targetDeg)?.earliestS ?? 0) > 0) servo.halt();
    this.#waiting.push({ ...asked, delayed: true });
    for (const { servo } of moves) servo.delayed = true;
    return { durationS, delayed: this.#reportDelayed(asked, full) };
  }

  /** As `move`, without moving: checks whether it is allowed; with `plans`, works out when it starts and gives the ways. */
  consider(moves: readonly Move[], ease: Ease | undefined, plans: boolean): readonly Trajectory[] {
    try {
      this.#mustBeAbleToFollow(moves, ease);
      if (plans) return new Planning(moves, 1, ease, this.#startsOf(moves).delaysS).whole().plans;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
    }
    return [];
  }

  /**
   * Lets servos follow tracks, together, from where they stand. Nothing has moved where it is refused.
   * @param peaksA by rail, the most that they draw above their current at rest
   * @returns the rail that they have to wait for, if there is one: ask again then
   * @throws Refusal as `move`
   */
  perform(
    parts: readonly { servo: Servo; track: TakeTrack }[],
    peaksA: Readonly<Record<string, number>>,
  ): Rail | undefined {
    this.#mustBeFree();
    const moves = parts.map(({ servo, track }) => ({
      servo,
      targetDeg: track.trajectory.endPos,
    }));
    this.#mustPlay(parts);
    this.mustBeAbleToMove(moves, new Set<Actuator>(moves.map(({ servo }) => servo)));
    this.cancel(moves.map(({ servo }) => servo));
    const full = this.#blockedBy(moves) ?? this.#fullFor(moves, peaksA);
    if (full) return full;
    for (const { servo, track } of parts)
      if (track.trajectory.durationS > 0) servo.perform(track, this.#peakFits(servo.rail, peaksA));
    return undefined;
  }

  /** A track must keep to the limits that hold now, and to what others require, all the way. */
  #mustPlay(parts: readonly { servo: Servo; track: TakeTrack }[]): void {
    const together = new Set<Actuator>(parts.map(({ servo }) => servo));
    for (const { servo, track } of parts) {
      const { speed, accel, jerk } = servo.limits;
      const kept = track.limits;
      if (
        kept.speed > speed ||
        kept.accel > accel ||
        (kept.jerk ?? Number.POSITIVE_INFINITY) > (jerk ?? Number.POSITIVE_INFINITY)
      )
        throw new Refusal(
          'take.unusable',
          `the take was worked out for other limits of ${servo.name}; save the prop file again`,
          { channel: servo.name },
        );
      for (const deg of track.rangeDeg) {
        const [low, high] = servo.limitsDeg;
        if (deg < low - 1e-9 || deg > high + 1e-9) this.mustBeWithin(servo, deg);
        this.#mustNotBreak([{ actuator: servo, target: deg }], together);
      }
    }
  }

  /** The rail, if any, that has no room now for all starts and turns, but would have if others stood still. */
  #fullFor(moves: readonly Move[], peaksA: Readonly<Record<string, number>>): Rail | undefined {
    const fresh = new Set(moves.map(({ servo }) => servo));
    this.measureRails(true);
    for (const rail of this.#body.rails) {
      const peakA = peaksA[rail.name];
      if (peakA === undefined || !this.#peakFits(rail.index, peaksA)) continue;
      const ahead = new RailAhead(this.#othersOn(rail));
      for (const servo of this.#body.servos) {
        if (servo.rail !== rail.index) continue;
        if (fresh.has(servo)) ahead.add(servo.draw.idleA, 0);
        else servo.addTo(ahead);
      }
      if (ahead.peakA + peakA > rail.limitA + RAIL_SLACK_A) return rail;
    }
    return undefined;
  }

  /** Whether a rail has room for all starts and turns of a take while all else on it stands still. */
  #peakFits(index: number, peaksA: Readonly<Record<string, number>>): boolean {
    const rail = this.#body.rails[index];
    if (!rail) return true;
    let amps = peaksA[rail.name] ?? 0;
    for (const servo of this.#body.servos)
      if (servo.rail === index && servo.pulsing) amps += servo.draw.idleA;
    return amps <= rail.limitA + RAIL_SLACK_A;
  }

  /** What is said of moves, or of a take, that wait for a rail. */
  reportWaiting(moves: readonly Move[], who: string, full: Rail): string {
    return this.#reportDelayed({ moves, who }, full);
  }

  #reportDelayed(
    { moves, who, streamed }: Pick<Waiting, 'moves' | 'who' | 'streamed'>,
    full: Rail,
  ): string {
    const delayed = `waits until rail ${full.name} has room (${tidy(full.amps)} A of ${full.limitA} A in use)`;
    if (streamed) return delayed;
    this.#journal.add(who, 'delayed', `${moves.map((m) => m.servo.name).join(', ')} ${delayed}`, {
      rail: full.name,
      amps: tidy(full.amps),
      limitA: full.limitA,
    });
    return delayed;
  }

  /** A broken guard or a lockout lets nothing move or close; parking passes. */
  #mustBeFree(): void {
    if (this.blocked && !this.parking && !this.checking) throw this.blocked();
  }

  /** @throws Refusal `outOfLimits`, `interlock`, `condition`, `railLimit` when they may not move */
  mustBeAbleToMove(moves: readonly Move[], leaving: ReadonlySet<Actuator> = NONE): void {
    const measured = this.parking ? undefined : this.measured;
    const feeling = measured ?? this.#body.servos.find((servo) => servo.feeling);
    for (const { servo, targetDeg } of moves) {
      this.mustBeWithin(servo, targetDeg);
      if (!staysAtRest(servo, targetDeg)) this.#interlocksMustHold(servo);
      if (feeling && feeling !== servo)
        throw new Refusal(
          'jog.feeling',
          `${feeling.name} is feeling for its stop; nothing else moves meanwhile`,
          { channel: servo.name, feeling: feeling.name },
        );
    }
    this.#mustNotBreak(changesOf(moves), leaving);
    this.#mustFitAlone(moves);
  }

  /**
   * One jog step from where the servo is; a jog that follows another counts from its target.
   * @throws Refusal as `move`
   */
  jog(
    servo: Servo,
    byDeg: number,
    beyondLimits: boolean,
    who: string,
    nowS: number,
  ): { targetDeg: number; limited: boolean } {
    const fromDeg = this.jogsFrom(servo);
    const askedDeg = fromDeg + byDeg;
    this.#mustBeFree();
    if (beyondLimits) return this.#feel(servo, askedDeg, byDeg);
    const [low, high] = servo.limitsDeg;
    const targetDeg = clamp(askedDeg, low, high);
    // Standing outside after feeling for the stop, it may only come back in, and only when asked to.
    if ((targetDeg - fromDeg) * byDeg < 0) this.mustBeWithin(servo, askedDeg);
    const moves = [{ servo, targetDeg }];
    this.#send({ moves, overS: 0, who, jog: true, ease: undefined }, nowS);
    return { targetDeg, limited: targetDeg !== askedDeg };
  }

  /** Where the next jog of a servo counts from (deg). */
  jogsFrom(servo: Servo): number {
    const waiting = this.#waiting.find(({ jog, moves }) => jog && moves[0]!.servo === servo);
    if (waiting) return waiting.moves[0]!.targetDeg;
    return servo.jogging ? servo.targetDeg : servo.setpoint.pos;
  }

  #feel(servo: Servo, askedDeg: number, byDeg: number): { targetDeg: number; limited: boolean } {
    if (Math.abs(byDeg) > FEEL_STEP_DEG + 1e-9)
      throw new Refusal(
        'jog.too-far',
        `a step beyond the limits is ${FEEL_STEP_DEG} deg at most, not ${tidy(Math.abs(byDeg))} deg`,
        { channel: servo.name, value: tidy(byDeg), limit: FEEL_STEP_DEG },
      );
    const other = this.#body.servos.find((one) => one !== servo && (one.moving || one.delayed));
    if (other)
      throw new Refusal(
        'jog.others-move',
        `${other.name} is moving; feeling for a stop is for one servo while no other moves`,
        { channel: servo.name, moving: other.name },
      );
    // On its way at full speed it might still be too fast at the limit.
    if (servo.moving && !servo.feeling && !servo.beyond)
      throw new Refusal(
        'jog.moving',
        `${servo.name} is moving; feel for its stop when it stands still`,
        { channel: servo.name, value: tidy(servo.setpoint.pos), target: tidy(servo.targetDeg) },
      );
    this.#interlocksMustHold(servo);
    const [low, high] = servo.envelopeDeg;
    const at = servo.setpoint.pos;
    // Steps that come faster than the servo follows never send it more than one step ahead.
    const near = clamp(askedDeg, at - FEEL_STEP_DEG, at + FEEL_STEP_DEG);
    const targetDeg = clamp(near, low, high);
    const moves = [{ servo, targetDeg }];
    this.#mustNotBreak(changesOf(moves));
    this.#mustFitAlone(moves);
    this.cancel([servo]);
    const starts = this.#startsOf(moves);
    servo.feel(servo.plan(targetDeg, 0, true), !starts.full && starts.counts[0]!);
    const [softLow, softHigh] = servo.limitsDeg;
    servo.beyond ||= targetDeg < softLow || targetDeg > softHigh;
    return { targetDeg, limited: targetDeg !== askedDeg };
  }

  /** Starts what has been waiting, oldest first, as soon as it is planned and the rails have room. */
  retry(): void {
    // Kept apart: a function with another one in it allocates each time it is called.
    if (this.#waiting.length > 0) this.#retryAll();
  }

  #retryAll(): void {
    const { nowS } = this.#body;
    this.#waiting = this.#waiting.filter((asked) => {
      const { moves, who, answer } = asked;
      // Its moves have been checked in this tick, which is enough work for one tick.
      if (asked.askedS === nowS) return true;
      try {
        for (const { servo, targetDeg } of moves) {
          this.mustBeWithin(servo, targetDeg);
          if (!staysAtRest(servo, targetDeg)) this.#interlocksMustHold(servo);
        }
        this.#mustNotBreak(changesOf(moves));
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        for (const { servo } of moves) servo.delayed = false;
        answer?.reject(error);
        if (asked.streamed) return false;
        this.#journal.add('prop', 'refused', `no longer: ${error.message}`, error.values);
        return false;
      }
      // When so many start, how, and that they do is work for a separate tick each.
      if (answer && !asked.planned) {
        if (asked.planning) this.#planOn(asked, asked.planning);
        else {
          this.#noteStarts(asked);
          asked.planning = planningOf(asked);
        }
        return true;
      }
      const starts = this.#startsOf(moves);
      const full = this.#blockedBy(moves) ?? starts.full;
      if (full) {
        if (answer && !asked.delayed) {
          const { durationS } = asked.planned!;
          answer.resolve({ durationS, delayed: this.#reportDelayed(asked, full) });
        }
        asked.delayed = true;
        return true;
      }
      const planned = this.#plannedFor(asked, starts, nowS);
      if (!planned) return true;
      this.#start(asked, planned.plans);
      answer?.resolve({ durationS: planned.durationS });
      if (asked.delayed && !asked.streamed)
        this.#journal.add(
          who,
          'started',
          `${moves.map((m) => m.servo.name).join(', ')} starts now`,
        );
      return false;
    });
  }

  /** Works out when the moves start, by which they are planned unless they have to wait for a rail. */
  #noteStarts(asked: Waiting): Starts {
    const starts = this.#startsOf(asked.moves);
    asked.starts = starts.full ? undefined : starts;
    return starts;
  }

  /** Plans a slice. */
  #planOn(asked: Waiting, planning: Planning): void {
    const planned = planning.slice(this.#nowMs);
    if (!planned) return;
    asked.planned = planned;
    asked.planning = undefined;
    asked.onPlanned?.(planned.durationS);
  }

  /**
   * The plans, made now unless those in hand start as they now must from where everything stands; undefined
   * where that takes longer than a tick has time for, so that they are planned again in slices.
   */
  #plannedFor(asked: Waiting, starts: Starts, nowS: number): Planned | undefined {
    const { moves, planned } = asked;
    const same = asked.starts?.delaysS.every((delayS, i) => delayS === starts.delaysS[i]) ?? false;
    const still = !moves.some(({ servo }) => servo.moving);
    if (planned && same && still) return planned;
    asked.starts = starts;
    const planning = planningOf(asked);
    // Without a curve a second planning is short: others that start meanwhile must not hold it up for long.
    if (same || !asked.answer || !asked.ease) return planning.whole();
    asked.planned = undefined;
    asked.planning = planning;
    asked.askedS = nowS;
    return undefined;
  }

  /** Forgets what waits for one of these servos, or everything. */
  cancel(servos: readonly Servo[] = this.#body.servos): void {
    if (this.#waiting.length === 0) return;
    this.#waiting = this.#waiting.filter(({ moves, answer }) => {
      if (!moves.some(({ servo }) => servos.includes(servo))) return true;
      for (const { servo } of moves) servo.delayed = false;
      answer?.resolve(undefined);
      return false;
    });
  }

  #start({ moves, jog, who, starts, streamed }: Waiting, plans: readonly Trajectory[]): void {
    if (starts?.staggeredFor && !streamed)
      this.#reportStaggered(moves, who, starts, starts.staggeredFor);
    for (const [i, { servo, targetDeg }] of moves.entries()) {
      servo.delayed = false;
      // For others that require it parked, it stays so.
      if (staysAtRest(servo, targetDeg)) continue;
      servo.take(plans[i]!, starts?.delaysS[i], starts?.counts[i]);
      servo.jogging = jog;
    }
  }

  #mustBeAbleToFollow(moves: readonly Move[], ease: Ease | undefined): void {
    this.mustBeAbleToMove(moves);
    if (ease)
      for (const { servo, targetDeg } of moves) this.#mustCurveWithin(servo, targetDeg, ease);
  }

  /** A curve that overshoots must do so within the limits. */
  #mustCurveWithin(servo: Servo, targetDeg: number, ease: Ease): void {
    for (const deg of easedRange(servo.setpoint.pos, targetDeg, ease)) {
      const [low, high] = servo.limitsDeg;
      if (deg < low - 1e-9 || deg > high + 1e-9) this.mustBeWithin(servo, deg);
    }
  }

  /** @throws Refusal `limits.outside` */
  mustBeWithin(servo: Servo, targetDeg: number): void {
    const [low, high] = servo.limitsDeg;
    if (targetDeg >= low && targetDeg <= high) return;
    const limit = targetDeg < low ? low : high;
    throw new Refusal(
      'limits.outside',
      `${servo.name} may go from ${tidy(low)} to ${tidy(high)} deg; ${tidy(targetDeg)} deg is outside`,
      { channel: servo.name, value: targetDeg, limit, limitsDeg: [low, high] },
    );
  }

  // --- relays and lights --------------------------------------------------------------------------

  /**
   * Closes or opens a relay; `forS` opens it by itself. What stops, parks or guards opens relays
   * itself: only here is opening refused, while another channel requires it closed.
   * @param leaving relays that open at the same time
   * @throws Refusal `interlock`, `dutyRest`, `railLimit`
   */
  switch(
    relay: Relay,
    on: boolean,
    forS: number,
    nowS: number,
    leaving: ReadonlySet<Actuator> = NONE,
  ): void {
    if (!on) {
      if (relay.on) this.#mustNotBreak([{ actuator: relay, target: false }], leaving);
      // Parking opens at once: it is for safety.
      if (this.parking) relay.set(false);
      else if (relay.on) relay.openInTime();
      return;
    }
    this.mustBeAbleToClose(relay, nowS, leaving);
    let offAtS = nowS + Math.max(forS, relay.minOnS);
    // Asked for again meanwhile, a momentary contact ends its pulse when it was to end.
    if (relay.pulseS !== undefined)
      offAtS = Math.min(offAtS, relay.on ? relay.offAtS : nowS + relay.pulseS);
    relay.set(true, offAtS);
  }

  /** @throws Refusal `interlock`, `dutyRest`, `railLimit` when the relay may not close now */
  mustBeAbleToClose(relay: Relay, nowS: number, leaving: ReadonlySet<Actuator> = NONE): void {
    this.#mustBeFree();
    this.#interlocksMustHold(relay);
    if (!relay.on) this.#mustNotBreak([{ actuator: relay, target: true }], leaving);
    if (relay.unknown)
      throw new Refusal(
        'board.unreachable',
        `board ${relay.board.name} cannot be reached, so nobody can tell whether ${relay.name} is open`,
        { channel: relay.name, board: relay.board.name },
      );
    const restLeftS = relay.duty?.restLeftS(nowS) ?? 0;
    if (restLeftS > 0)
      throw new Refusal(
        'duty.rest',
        `${relay.name} has used up its ${relay.spec.duty!.maxOnS} s and rests; ${tidy(restLeftS, 1)} s are left`,
        { channel: relay.name, secondsLeft: tidy(restLeftS, 3) },
      );
    if (!relay.on) {
      this.#railMustHold(relay.rail, relay.closingA, relay.name);
      this.#railMustHold(relay.coilRail, relay.coilFullA, relay.name);
    }
  }

  /** @throws Refusal `interlock`, `railLimit` */
  dim(lamp: Lamp, target: number, fadeS: number, ease?: Ease): void {
    this.mustBeAbleToDim(lamp, target);
    const waitS = this.#roomInS(lamp.rail, lamp.ampsAt(target) - lamp.amps());
    lamp.fade(target, fadeS, ease);
    if (waitS > 0) lamp.wait(waitS);
  }

  /** @throws Refusal `interlock`, `railLimit` */
  colour(light: RgbLight, target: Readonly<Rgb>, fadeS: number, ease?: Ease): void {
    this.mustBeAbleToColour(light, target);
    const waitS = this.#roomInS(light.rail, light.ampsAt(target) - light.amps());
    light.fade(target, fadeS, ease);
    if (waitS > 0) light.wait(waitS);
  }

  /**
   * Plays a sound, so that it is heard at `startS`. @param volume 0 to 1 of the channel's ceiling
   * @throws Refusal `sound.unknown`, `interlock`
   */
  play(sound: Sound, name: string, volume: number, startS: number, fadeInS = 0): void {
    if (!sound.has(name))
      throw new Refusal(
        'sound.unknown',
        `there is no sound ${name}; ${didYouMean(name, sound.soundNames)}`,
        { sound: name },
      );
    this.#interlocksMustHold(sound);
    this.#mustNotBreak([{ actuator: sound, target: false }]);
    sound.start(name, volume, startS, fadeInS);
  }

  /** Plays a tone, by which a person finds a loudspeaker. @throws Refusal `interlock` */
  chirp(sound: Sound): void {
    this.#interlocksMustHold(sound);
    this.#mustNotBreak([{ actuator: sound, target: false }]);
    sound.chirp();
  }

  /** Whether a whole pose may be taken. @throws Refusal as each part of it would */
  mustBeAbleToDo({ moves, dims, colours, switches }: Targets, nowS: number): void {
    const closing = switches.filter(({ on }) => on).map(({ relay }) => relay);
    const opening = switches.filter(({ on, relay }) => !on && relay.on).map(({ relay }) => relay);
    const leaving = new Set(opening);
    for (const relay of closing) this.mustBeAbleToClose(relay, nowS, leaving);
    for (const { lamp, target } of dims) this.mustBeAbleToDim(lamp, target);
    for (const { light, target } of colours) this.mustBeAbleToColour(light, target);
    this.mustBeAbleToMove(moves);
    // Each of them may be allowed by itself, and yet not all of them together.
    const changes = [
      ...changesOf(moves),
      ...opening.map((relay) => ({ actuator: relay, target: false })),
      ...closing.filter(({ on }) => !on).map((relay) => ({ actuator: relay, target: true })),
      ...dims.map(({ lamp, target }) => dimChange(lamp, target)),
      ...colours.map(({ light, target }) => colourChange(light, target)),
    ];
    const users: Actuator[] = [
      ...moves
        .filter(({ servo, targetDeg }) => !staysAtRest(servo, targetDeg))
        .map(({ servo }) => servo),
      ...closing,
      ...dims.filter(({ target }) => target > 0).map(({ lamp }) => lamp),
      ...colours
        .filter(({ target: { red, green, blue } }) => red + green + blue > 0)
        .map(({ light }) => light),
    ];
    for (const user of users) this.#mustStayMet(user, changes);
    this.#mustNotBreak(changes, leaving);
    const lights = [
      ...dims.map(({ lamp, target }) => [lamp, lamp.ampsAt(target)] as const),
      ...colours.map(({ light, target }) => [light, light.ampsAt(target)] as const),
    ];
    this.#mustFitTogether(moves, closing, lights);
  }

  /** @throws Refusal `interlock`, `railLimit` when the lamp may not go there now */
  mustBeAbleToDim(lamp: Lamp, target: number): void {
    if (target > lamp.value) this.#interlocksMustHold(lamp);
    this.#mustNotBreak([dimChange(lamp, target)]);
    this.#mustHoldLight(lamp, lamp.ampsAt(target));
  }

  /** @throws Refusal `interlock`, `railLimit` when the light may not go there now */
  mustBeAbleToColour(light: RgbLight, target: Readonly<Rgb>): void {
    if (target.red + target.green + target.blue > 0) this.#interlocksMustHold(light);
    this.#mustNotBreak([colourChange(light, target)]);
    this.#mustHoldLight(light, light.ampsAt(target));
  }

  #mustHoldLight(light: Lamp | RgbLight, toA: number): void {
    const moreA = toA - Math.max(light.targetAmps(), light.amps());
    if (moreA > 0) this.#railMustHold(light.rail, moreA, light.name);
  }

  // --- interlocks ---------------------------------------------------------------------------------

  /** What other channels require of this one. */
  dependentsOf(actuator: Actuator): readonly Dependent[] {
    return this.#dependents.get(actuator) ?? NO_DEPENDENTS;
  }

  /**
   * Once a tick: what an interlock no longer allows ends at once (relays open, lights go dark) or
   * decelerates and holds (servos), and the reason is recorded.
   */
  enforce(): void {
    const { relays } = this.#body;
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      if (!relay.on && !relay.lingers) continue;
      if (this.#dutyEnds(relay)) relay.set(false);
      // A closure that has to wait begins later, and ends later.
      else if (this.#body.nowS >= relay.offAtS - 1e-9 && !relay.waiting) relay.openInTime();
    }
    // What opens or goes dark may be what another one requires.
    while (this.#endUnmet()) {}
    this.#holdClosures();
    if (this.parking) return;
    for (let i = 0; i < this.#guarded.length; i++) {
      const servo = this.#guarded[i]!;
      if (!servo.moving || servo.interlocked) continue;
      const unmet = this.#unmet(servo);
      if (!unmet) continue;
      servo.halt();
      servo.interlocked = true;
      this.#reportInterlock(servo, unmet, 'held');
    }
  }

  /** Opens every relay and darkens every light whose interlock no longer holds; whether there was one. */
  #endUnmet(): boolean {
    let ended = false;
    const { relays } = this.#body;
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      const unmet = relay.on || relay.lingers ? this.#unmet(relay) : undefined;
      if (!unmet) continue;
      relay.set(false);
      relay.interlocked = true;
      ended = true;
      this.#reportInterlock(relay, unmet, 'opened');
    }
    for (let i = 0; i < this.#guardedLights.length; i++) {
      const light = this.#guardedLights[i]!;
      const unmet = light.lit ? this.#unmet(light) : undefined;
      if (!unmet) continue;
      light.cut(this.#body.nowS);
      light.interlocked = true;
      ended = true;
      this.#reportInterlock(light, unmet, 'went dark');
    }
    for (let i = 0; i < this.#guardedSounds.length; i++) {
      const sound = this.#guardedSounds[i]!;
      const unmet = sound.rests ? undefined : this.#unmet(sound);
      if (!unmet) continue;
      sound.cut();
      sound.interlocked = true;
      ended = true;
      this.#reportInterlock(sound, unmet, 'fell silent');
    }
    return ended;
  }

  /** A relay closes when the motors that start on its rail, with what closes before it, leave room. */
  #holdClosures(): void {
    const { relays } = this.#body;
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      relay.railFull = false;
      if (!relay.on || relay.closed) continue;
      relay.railFull =
        this.#roomInS(relay.rail, relay.closingA, relay) > 0 ||
        this.#roomInS(relay.coilRail, relay.coilFullA, relay) > 0;
    }
  }

  #dutyEnds(relay: Relay): boolean {
    const { nowS } = this.#body;
    if (relay.duty && relay.duty.leftS(nowS) <= 1e-9) {
      const { maxOnS, restS } = relay.spec.duty!;
      this.#journal.add(
        'prop',
        'duty',
        `${relay.name} opened after ${maxOnS} s; it rests ${restS} s`,
        {
          channel: relay.name,
          maxOnS,
          restS,
        },
      );
      return true;
    }
    return false;
  }

  #unmet(actuator: Actuator): Requirement | undefined {
    const { requires } = actuator.spec;
    if (!requires) return undefined;
    for (const requirement of requires) if (!this.#body.met(requirement)) return requirement;
    return undefined;
  }

  /** What this channel requires holds now, and will where the other channels are on their way to. */
  #interlocksMustHold(actuator: Actuator): void {
    if (this.parking && actuator.moves) return;
    const unmet = this.#unmet(actuator);
    if (unmet)
      throw new Refusal('interlock.unmet', `${actuator.name} needs ${this.#body.describe(unmet)}`, {
        channel: actuator.name,
        requires: unmet,
        value: this.#valueOf(unmet.channel),
      });
    this.#mustStayMet(actuator, []);
  }

  /** Refuses what would be without its requirement once the others are where they go, or are asked to. */
  #mustStayMet(actuator: Actuator, changes: readonly Change[]): void {
    for (const requirement of actuator.spec.requires ?? []) {
      const other = this.#body.channel(requirement.channel);
      const asked = changes.find((change) => change.actuator === other);
      const ways = asked ? [asked.target] : this.#moveTargets(other);
      const to = ways.find((way) => !this.#body.metAt(requirement, way));
      if (to === undefined) continue;
      const way = asked ? 'is to go' : 'is on its way';
      throw new Refusal(
        'interlock.together',
        `${actuator.name} needs ${this.#body.describe(requirement)}, and ${other.name} ${way} ${other.targetText(to)}; bring it where it is needed first`,
        { channel: actuator.name, requires: requirement, value: to },
      );
    }
  }

  /** Where a servo that moves, or waits for its rail, is going (deg); nowhere for all else. */
  #moveTargets(other: Actuator): readonly number[] {
    if (!other.moves) return [];
    for (const { moves } of this.#waiting)
      for (const { servo, targetDeg } of moves) if (servo === other) return [targetDeg];
    return other.moving ? other.wayDeg : [];
  }

  /**
   * Refuses changes that would break what another channel requires that is away from its park
   * position or on, or is asked to go there.
   * @param leaving relays that open at the same time, and need nothing any more
   * @throws Refusal `interlock` that names the other channel, its requirement and the value
   */
  #mustNotBreak(changes: readonly Change[], leaving: ReadonlySet<Actuator> = NONE): void {
    if (this.parking) return;
    for (const { actuator, target: to } of changes)
      for (const { actuator: other, requirement } of this.dependentsOf(actuator)) {
        if (leaving.has(other) || !this.#isInUse(other, requirement, changes)) continue;
        if (!this.#breaks(requirement, actuator, to)) continue;
        const needs = this.#body.describe(requirement);
        throw new Refusal(
          'interlock.needed',
          `${actuator.name} may not go ${actuator.targetText(to)}: ${other.name} ${other.useText()} and needs ${needs}; ${other.remedy()} first`,
          {
            channel: actuator.name,
            requiredBy: other.name,
            requires: requirement,
            value: typeof to === 'number' ? tidy(to) : to,
          },
        );
      }
  }

  /** Whether going to `target` breaks a requirement, or moves one that is already broken further away. */
  #breaks(requirement: Requirement, actuator: Actuator, target: Standing): boolean {
    if (this.#body.metAt(requirement, target)) return false;
    const { now } = actuator;
    if (typeof now !== 'number' || typeof target !== 'number') return true;
    if ('is' in requirement || this.#body.met(requirement)) return true;
    return 'above' in requirement ? target < now : target > now;
  }

  /** Whether what a channel requires binds others: it is on, away from rest, or asked to go there. */
  #isInUse(other: Actuator, requirement: Requirement, changes: readonly Change[]): boolean {
    const moving = requirement.while === 'moving';
    if (other.isInUse(moving)) return true;
    if (!other.moves) return false;
    const from = moving ? other.now : other.home;
    return changes.some(({ actuator, target: to }) => actuator === other && to !== from);
  }

  /** Opens relays, except those that are needed closed by what is in use. */
  open(relays: readonly Relay[]): void {
    for (const relay of this.#mayOpen(relays)) relay.set(false);
  }

  /** As `open`, those that park open. */
  openParkedOpen(): void {
    this.open(this.#body.relays.filter(({ parkOn }) => !parkOn));
  }

  /**
   * Which of these relays may open together; the others are needed closed by what is in use. Those
   * that need each other alone go together.
   */
  #mayOpen(relays: readonly Relay[]): Relay[] {
    let may = relays.filter(({ on }) => on);
    for (;;) {
      const leaving = new Set<Actuator>(may);
      const left = may.filter((relay) => !this.#isNeeded(relay, leaving));
      if (left.length === may.length) return may;
      may = left;
    }
  }

  #isNeeded(relay: Relay, leaving: ReadonlySet<Actuator>): boolean {
    return this.dependentsOf(relay).some(
      ({ actuator, requirement }) =>
        !leaving.has(actuator) &&
        this.#isInUse(actuator, requirement, []) &&
        !this.#body.metAt(requirement, false),
    );
  }

  #reportInterlock(actuator: Actuator, unmet: Requirement, done: string): void {
    this.#journal.add(
      'prop',
      'interlock',
      `${actuator.name} ${done}: it needs ${this.#body.describe(unmet)}`,
      { channel: actuator.name, requires: unmet, value: this.#valueOf(unmet.channel) },
    );
  }

  #valueOf(channel: string): Standing | null {
    const now = this.#body.find(channel)?.now ?? null;
    return typeof now === 'number' ? tidy(now) : now;
  }

  // --- rails --------------------------------------------------------------------------------------

  /**
   * Estimates the draw of every rail for this tick.
   * @param asked relays count as they are to be, not as their contacts are
   */
  measureRails(asked = false): void {
    const { rails, servos, relays, lights, sounds } = this.#body;
    for (let i = 0; i < rails.length; i++) rails[i]!.amps = 0;
    for (let i = 0; i < servos.length; i++) {
      const servo = servos[i]!;
      if (servo.rail === NO_RAIL) continue;
      servo.writeAmps(this.#amps, 0);
      rails[servo.rail]!.amps += this.#amps[0]!;
    }
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      if (relay.rail !== NO_RAIL) rails[relay.rail]!.amps += relay.amps(asked);
      if (relay.coilRail !== NO_RAIL) rails[relay.coilRail]!.amps += relay.coilAmps(asked);
    }
    for (let i = 0; i < lights.length; i++) {
      const light = lights[i]!;
      if (light.rail !== NO_RAIL) rails[light.rail]!.amps += light.amps();
    }
    for (let i = 0; i < sounds.length; i++) {
      const sound = sounds[i]!;
      if (sound.rail !== NO_RAIL) rails[sound.rail]!.amps += sound.amps;
    }
  }

  /**
   * As `measureRails`, without what flows only while motors start: what is switched on, or asked for, in
   * such a moment is not refused for it.
   */
  #measureLasting(): void {
    if (this.#body.rails.length === 0) return;
    this.measureRails(true);
    for (const { index, amps } of this.#body.rails) this.#lastingA[index] = amps;
    for (const servo of this.#body.servos)
      if (servo.rail !== NO_RAIL) this.#lastingA[servo.rail]! += servo.lastingA - servo.amps();
  }

  /**
   * Whether the pulses of a limp servo may start on top of what its rail gives now: `counted`, or `alone`
   * where the rail could never give its start, but no other is under way.
   */
  roomToStart(servo: Servo): 'none' | 'counted' | 'alone' {
    const moves = [{ servo, targetDeg: servo.setpoint.pos }];
    if (this.#blockedBy(moves)) return 'none';
    const starts = this.#startsOf(moves, true);
    if (starts.full || starts.delaysS[0]! > 0) return 'none';
    return starts.counts[0] ? 'counted' : 'alone';
  }

  /**
   * When each of these moves starts, so that every rail holds while motors start. A servo that moves cannot
   * wait: where it turns round, it starts then.
   * @param limp they are about to get their pulses, where they stand
   */
  #startsOf(moves: readonly Move[], limp = false): Starts {
    const starts: Starts = {
      delaysS: moves.map(() => 0),
      counts: moves.map(({ servo }) => servo.rail === NO_RAIL),
    };
    if (moves.every(({ servo }) => servo.rail === NO_RAIL)) return starts;
    this.measureRails(true);
    for (const rail of this.#body.rails) {
      const starters: number[] = [];
      const turning: Turn[] = [];
      for (const [i, { servo, targetDeg }] of moves.entries()) {
        if (servo.rail !== rail.index || (!limp && staysAtRest(servo, targetDeg))) continue;
        const start = servo.startsIn(targetDeg);
        if (!start) continue;
        if (start.earliestS > 0) turning.push({ place: i, ...start });
        else starters.push(i);
      }
      if (starters.length + turning.length === 0) continue;
      if (!this.#startsOn(rail, moves, starters, turning, starts)) return { ...starts, full: rail };
    }
    return starts;
  }

  /** Notes when the moves at these places start on a rail; false where they have to wait. */
  #startsOn(
    rail: Rail,
    moves: readonly Move[],
    starters: readonly number[],
    turning: readonly Turn[],
    starts: Starts,
  ): boolean {
    const on = this.#body.servos.filter((servo) => servo.rail === rail.index);
    const othersA = this.#othersOn(rail);
    const ahead = new RailAhead(othersA);
    const fresh = new Set(starters.map((i) => moves[i]!.servo));
    for (const servo of on)
      if (fresh.has(servo)) ahead.add(servo.draw.idleA, 0);
      else servo.addTo(ahead);
    const turns = turning.map(({ place }) => moves[place]!.servo.draw);
    for (const turn of turning) moves[turn.place]!.servo.addTurnTo(ahead, turn);
    const draws = starters.map((i) => moves[i]!.servo.draw);
    const delaysS = ahead.stagger(draws, rail.limitA);
    if (delaysS && ahead.peakA <= rail.limitA + RAIL_SLACK_A) {
      for (const [k, i] of starters.entries()) starts.delaysS[i] = delaysS[k]!;
      for (const i of starters) starts.counts[i] = true;
      for (const { place } of turning) starts.counts[place] = true;
      if (delaysS.some((delayS) => delayS > 0)) starts.staggeredFor = rail;
      return true;
    }
    // What could start if all others stood still waits for that, unless something that stays on while
    // the prop parks is in its way.
    const idleA = on.reduce((sum, { draw }) => sum + draw.idleA, this.parking ? othersA : 0);
    if (staggeredPeakA([...draws, ...turns], idleA) <= rail.limitA + RAIL_SLACK_A) return false;
    // The rail never has room for these starts, as `check` reports: one after another, uncounted.
    let fromS = on.reduce((most, servo) => Math.max(most, servo.startedAfterS), 0);
    for (const k of startOrder(draws)) {
      starts.delaysS[starters[k]!] = fromS;
      if (fromS > 0) starts.staggeredFor = rail;
      fromS += START_S;
    }
    return true;
  }

  /** What flows on a rail, as measured last, but for its servos; fades under way count with their ends (A). */
  #othersOn(rail: Rail): number {
    let amps = rail.amps + this.#lightsRisingOn(rail.index);
    for (const servo of this.#body.servos) if (servo.rail === rail.index) amps -= servo.amps();
    return amps;
  }

  /**
   * How long until a rail has room for a current (A) beside the motors that start on it, or will (s).
   * @param before relays that come before this one in the prop have their places already
   */
  #roomInS(rail: number, moreA: number, before?: Relay): number {
    if (rail === NO_RAIL || moreA <= 0) return 0;
    const { rails, servos, relays } = this.#body;
    let startedS = 0;
    for (const servo of servos)
      if (servo.rail === rail) startedS = Math.max(startedS, servo.startedAfterS);
    if (startedS === 0) return 0;
    this.measureRails();
    let othersA = this.#othersOn(rails[rail]!);
    for (const relay of relays) {
      if (relay === before) break;
      if (!relay.on || relay.closed || relay.railFull) continue;
      if (relay.rail === rail) othersA += relay.closingA;
      if (relay.coilRail === rail) othersA += relay.coilFullA;
    }
    const ahead = new RailAhead(othersA);
    for (const servo of servos) if (servo.rail === rail) servo.addTo(ahead);
    return ahead.peakA + moreA <= rails[rail]!.limitA + RAIL_SLACK_A ? 0 : startedS;
  }

  #reportStaggered(moves: readonly Move[], who: string, { delaysS }: Starts, rail: Rail): void {
    const names = moves.filter((_, i) => delaysS[i]! > 0).map(({ servo }) => servo.name);
    const lastS = tidy(Math.max(...delaysS), 3);
    this.#journal.add(
      who,
      'staggered',
      `${names.join(', ')} ${names.length === 1 ? 'starts' : 'start'} up to ${lastS} s later, so that rail ${rail.name} holds while motors start`,
      { rail: rail.name, channels: names, laterS: lastS, limitA: rail.limitA },
    );
  }

  /** The first rail that would be over its limit if these moves began now. */
  #blockedBy(moves: readonly Move[]): Rail | undefined {
    this.#measureLasting();
    for (const rail of this.#body.rails) {
      const nowA = this.#lastingA[rail.index]! + this.#lightsRisingOn(rail.index);
      let amps = nowA;
      let more = false;
      for (const { servo } of moves) {
        if (servo.rail !== rail.index) continue;
        more = true;
        const moreA = servo.draw.busyA - servo.lastingA;
        amps += servo.pushing ? moreA : Math.max(0, moreA);
      }
      // What takes less than now may begin however full the rail is: servos that push against a stop must
      // be able to leave it.
      if (more && amps >= nowA && amps > rail.limitA + RAIL_SLACK_A) return rail;
    }
    return undefined;
  }

  /** What fades that are under way will add to a rail (A). */
  #lightsRisingOn(rail: number): number {
    let amps = 0;
    for (const light of this.#body.lights)
      if (light.rail === rail) amps += Math.max(0, light.targetAmps() - light.amps());
    return amps;
  }

  /**
   * Whether relays may close and lights go to their new draw (A) all at once, and these moves fit
   * on top, now or later.
   * @throws Refusal `railLimit`, though each of them by itself may fit
   */
  #mustFitTogether(
    moves: readonly Move[],
    relays: readonly Relay[],
    lights: readonly (readonly [Lamp | RgbLight, number])[],
  ): void {
    const moreA = this.#body.rails.map(() => 0);
    const names: string[] = [];
    const add = ({ rail, name }: { rail: number; name: string }, amps: number): void => {
      if (rail === NO_RAIL || amps <= 0) return;
      moreA[rail]! += amps;
      names.push(name);
    };
    for (const relay of relays) {
      if (relay.on) continue;
      add(relay, relay.closingA);
      add({ name: relay.name, rail: relay.coilRail }, relay.coilFullA);
    }
    for (const [light, toA] of lights) add(light, toA - Math.max(light.targetAmps(), light.amps()));
    this.#measureLasting();
    for (const rail of this.#body.rails)
      if (moreA[rail.index]! > 0)
        this.#refuseOver(
          rail,
          this.#lastingA[rail.index]! + this.#lightsRisingOn(rail.index) + moreA[rail.index]!,
          () => names.join(', '),
        );
    this.#mustFitAlone(moves, moreA);
  }

  /** Refuses moves that do not fit even while every other servo holds still. */
  #mustFitAlone(moves: readonly Move[], moreA: readonly number[] = []): void {
    this.#measureLasting();
    const ours = new Set(moves.map(({ servo }) => servo));
    for (const rail of this.#body.rails) {
      let amps =
        this.#lastingA[rail.index]! + this.#lightsRisingOn(rail.index) + (moreA[rail.index] ?? 0);
      let any = false;
      for (const servo of this.#body.servos) {
        if (servo.rail !== rail.index) continue;
        const isOurs = ours.has(servo);
        any ||= isOurs;
        const restA = servo.pulsing ? servo.draw.idleA : 0;
        amps += (isOurs ? servo.draw.busyA : restA) - servo.lastingA;
      }
      if (any) this.#refuseOver(rail, amps, () => moves.map(({ servo }) => servo.name).join(', '));
    }
  }

  #railMustHold(rail: number, moreA: number, channel: string): void {
    if (rail === NO_RAIL) return;
    this.#measureLasting();
    const { [rail]: found } = this.#body.rails;
    const amps = this.#lastingA[rail]! + this.#lightsRisingOn(rail) + moreA;
    this.#refuseOver(found!, amps, () => channel);
  }

  #refuseOver(rail: Rail, amps: number, channels: () => string): void {
    if (amps <= rail.limitA + RAIL_SLACK_A) return;
    throw new Refusal(
      'rail.limit',
      `${channels()} would bring rail ${rail.name} to ${tidy(amps, 2)} A; its limit is ${rail.limitA} A`,
      { rail: rail.name, amps: tidy(amps), limitA: rail.limitA },
    );
  }
}

/** The way there of each, by the starts that have been noted. */
function planningOf({ moves, overS, ease, starts, stretch }: Waiting): Planning {
  return new Planning(moves, overS, ease, starts?.delaysS, stretch);
}

/** Whether moves take longer to work out than a tick has time for. */
function isLong({ moves, ease }: Waiting): boolean {
  return moves.length > (ease ? EASED_AT_ONCE : PLANNED_AT_ONCE);
}

function changesOf(moves: readonly Move[]): Change[] {
  return moves.map(({ servo, targetDeg }) => ({ actuator: servo, target: targetDeg }));
}

function dimChange(lamp: Lamp, target: number): Change {
  return { actuator: lamp, target: target === lamp.spec.park.to };
}

function colourChange(light: RgbLight, target: Readonly<Rgb>): Change {
  const { red, green, blue } = light.park;
  return {
    actuator: light,
    target: target.red === red && target.green === green && target.blue === blue,
  };
}

function staysAtRest(servo: Servo, targetDeg: number): boolean {
  return targetDeg === servo.homeDeg && servo.known && servo.atPark;
}
