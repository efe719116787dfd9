import { deviation, mean, quantile, scatter } from '../sums/statistics.ts';
import { type Probe, PUSHES, refuse, type Script, SENSOR, UNSTEADY } from './measure-probe.ts';

/** Where a servo can turn no further. */
export interface End {
  /** The last angle without a push (deg); where there is no stop, the end of the pulse envelope. */
  deg: number;
  /** It met something there. */
  stop: boolean;
}

export interface Ends {
  low: End;
  high: End;
  /** What it drew creeping (A), standing (A), and where it met something (A; NaN where it met nothing). */
  creepingA: number;
  standingA: number;
  pushingA: number;
}

/** Before each step it goes back over what it has passed, so that its current shows that it moves (deg). */
const STROKE_DEG = 2;
/** It looks for this long whether it pushes (ms), from when it has arrived, and waits no longer for readings. */
const LOOK_MS = 80;
const LOOK_MOST_MS = 110;
/** It rests for this long further inside (ms). */
const REST_MS = 230;
/** Its current must fall within this time after it has backed off (ms). */
const FALLS_MS = 600;
/** Steps out (deg): the first time, as far as its acceleration lets it come back in time, and the second time. */
const COARSE_DEG = 0.75;
const FINE_DEG = 0.25;
const STEP_PER_ACCEL_S2 = 0.0018;
/** Two touches of one stop are no further apart (deg). */
const ALIKE_DEG = 0.75;
/** A stroke with too few readings, as on a machine that was busy, is made again this many times in a row. */
const MOST_AGAIN = 3;
/** Places at which the current rose, and did not when it came again. */
const MOST_SPOTS = 3;
/** Strokes of the first trial, and those that are looked at together later. */
const TRIALS = 4;
const TOGETHER = 3;
/** A later stroke shows at least this share of what the trial showed. */
const SHOWN_SHARE = 0.35;
/** It shows its motion by so many times what chance would make of it, and this much (A). */
const SURE = 4;
const LEAST_A = 0.003;
/** A push draws more than moving by this share of what moving draws more than standing, at least (A). */
const MORE_SHARE = 0.4;
const MORE_A = 0.015;
/** It may draw so many times more than at the beginning before that counts as a push. Chosen, no source. */
const MOST_GROWTH = 3;
/** So much of what a push draws more it may grow from one step to the next. Chosen, no source. */
const GROWTH = 0.4;
/** It stands so long after it has arrived (ms). */
const STANDS_MS = 30;
/** The scatter of readings that a push must be above. */
const NOISE = 4;
/** A measured angle that is further behind (deg) does not follow. */
const BEHIND_DEG = 2;
/** It is sent so much past a stop before it pushes (deg): its dead band. Common practice, no source. */
const DEAD_BAND_DEG = 0.25;

/** What a stroke over ground that is known to be free has shown. */
interface Stroke {
  moving: number[];
  standing: number[];
  /** At its outer end: on the last step of the way, and after that. */
  outer: number[];
  outside: number[];
}

/** One step out. */
interface Touch {
  /** What it draws where it pushes (A); undefined where it does not, or where there were too few readings to tell. */
  pushingA: number | undefined;
  outer: number[];
  outside: number[];
}

/** How much more a servo drew moving than standing (A); what it draws as it starts does not count. */
function shownBy({ moving, standing }: Stroke): number {
  return quantile(moving, 0.5) - mean(standing);
}

/**
 * Finds where a servo can turn no further, both ways: it creeps out in small steps, and goes back a little
 * after each. Twice it touches what it meets, and backs off each time.
 * @param mostA a current that is a push in any case (A)
 * @throws Refusal `measure.sensor`, `measure.pushes`, `measure.unsteady`
 */
export class EndSearch {
  readonly #probe: Probe;
  readonly #mostA: number;
  /** The last strokes, all of them free. */
  #strokes: Stroke[] = [];
  /** How much more it drew moving than standing, in the trial and in the last strokes (A). */
  #shownA = Number.NaN;
  #shown: number[] = [];
  /** The measured angle less the commanded one, standing (deg). */
  #offsetDeg = Number.NaN;
  #pushingA = Number.NaN;
  /** The most that it has drawn on free strokes lately, at the two places of a stroke (A). */
  readonly #drawnA = { outer: 0, outside: 0 };
  /** What it may draw at most before it counts as a push, however slowly it has grown (A). */
  #grownA = Number.POSITIVE_INFINITY;
  /** Strokes in a row with too few readings. */
  #again = 0;
  /** The way out now, also while it comes back from a step; 0 between. */
  #outwards: -1 | 0 | 1 = 0;
  /** Where the step in hand began (deg): free, and known to be free no further inside. */
  #freeDeg = Number.NaN;

  constructor(probe: Probe, mostA: number) {
    this.#probe = probe;
    this.#mostA = mostA;
  }

  /** Where it backs off to (deg), from where it may push; undefined where it does not. */
  get backOffDeg(): number | undefined {
    const { pos, backDeg } = this.#probe;
    if (this.#outwards === 0) return undefined;
    return this.#outwards > 0
      ? Math.max(pos - backDeg, this.#freeDeg)
      : Math.min(pos + backDeg, this.#freeDeg);
  }

  *run(): Script<Ends> {
    const probe = this.#probe;
    const from = probe.pos;
    const inwards = yield* this.#trial();
    // What the trial has gone over is free.
    const one = yield* this.#end(inwards, from + inwards * STROKE_DEG);
    yield* this.#backTo(from);
    const other = yield* this.#end(inwards > 0 ? -1 : 1, from);
    yield* this.#backTo(from);
    const [low, high] = inwards > 0 ? [other, one] : [one, other];
    return {
      low,
      high,
      creepingA: quantile(
        this.#strokes.flatMap(({ moving }) => moving),
        0.75,
      ),
      standingA: mean(this.#strokes.flatMap(({ standing }) => standing)),
      pushingA: this.#pushingA,
    };
  }

  /** Its current, and its angle where that is measured, must follow what it does. The way inwards. */
  *#trial(): Script<1 | -1> {
    const probe = this.#probe;
    const { servo } = probe;
    const from = probe.pos;
    const [low, high] = servo.limitsDeg;
    const inwards = from > (low + high) / 2 ? -1 : 1;
    this.#outwards = 0;
    yield* probe.wait(REST_MS);
    const strokes: Stroke[] = [];
    const offsets: number[] = [probe.angleDeg - probe.pos];
    while (strokes.length < TRIALS) {
      probe.clear();
      const to = from + inwards * STROKE_DEG;
      this.#outwards = inwards;
      this.#freeDeg = from;
      const { outer, outside, pushingA } = yield* this.#touch(
        inwards,
        to - inwards * this.#coarseDeg,
        to,
      );
      if (pushingA !== undefined)
        refuse(
          PUSHES,
          `${servo.name} draws ${pushingA.toFixed(2)} A where it begins: it is not free there`,
          servo,
        );
      offsets.push(...(yield* this.#angleMoves(from, offsets[0]!)));
      yield* probe.creep(from);
      this.#outwards = 0;
      yield* probe.wait(REST_MS);
      this.#mustNotStick();
      const stroke = { moving: probe.moving, standing: probe.standing, outer, outside };
      if (this.#isEnough(stroke)) strokes.push(stroke);
    }
    const moving = strokes.flatMap((one) => one.moving);
    const standing = strokes.flatMap((one) => one.standing);
    this.#shownA = mean(strokes.map(shownBy));
    const chance = deviation(standing) * Math.sqrt(1 / moving.length + 1 / standing.length);
    if (!(this.#shownA > SURE * chance + LEAST_A)) this.#doesNotShow();
    this.#strokes = strokes;
    this.#shown = strokes.slice(-TOGETHER).map(shownBy);
    this.#offsetDeg = mean(offsets);
    this.#drawnA.outer = Math.max(...strokes.flatMap((one) => one.outer));
    this.#drawnA.outside = Math.max(...strokes.flatMap((one) => one.outside));
    const standingA = mean(standing);
    const drawnA = this.#drawnA.outer + this.#moreA;
    this.#grownA = standingA + MOST_GROWTH * (drawnA - standingA);
    if (this.#moreA > this.#shownA + MORE_A) this.#doesNotShow();
    if (drawnA > this.#mostA)
      refuse(
        PUSHES,
        `${servo.name} draws ${(drawnA - this.#moreA).toFixed(2)} A where it begins: it is not free there`,
        servo,
      );
    return inwards;
  }

  /** In the trial: the measured angle goes along. What it is off by, or nothing where none is measured. */
  *#angleMoves(from: number, offset: number): Script<number[]> {
    const probe = this.#probe;
    if (!probe.measuresAngle) return [];
    yield* probe.wait(REST_MS);
    const off = probe.angleDeg - probe.pos;
    if (!(Math.abs(off - offset) < STROKE_DEG / 2)) this.#angleLies(from);
    return [off];
  }

  #angleLies(at: number): never {
    const { servo } = this.#probe;
    return refuse(
      SENSOR,
      `the measured angle of ${servo.name} does not go along near ${at.toFixed(1)} deg: its sensor sticks, or is that of another`,
      servo,
    );
  }

  #doesNotShow(): never {
    const { servo } = this.#probe;
    return refuse(
      SENSOR,
      `the current of ${servo.name} does not show when it moves: the sensor sticks, is too coarse or noisy, or measures something else`,
      servo,
    );
  }

  /** What a push draws more than a free stroke at the same place of the stroke, at least (A). */
  get #moreA(): number {
    const moving = this.#strokes.flatMap((one) => one.moving);
    const standing = this.#strokes.flatMap((one) => one.standing);
    const noise = mean(this.#strokes.map((one) => scatter(one.standing)));
    const more = MORE_SHARE * (quantile(moving, 0.5) - mean(standing));
    return Math.max(NOISE * noise, more, MORE_A);
  }

  /**
   * The current from which it pushes (A): more than it has drawn on free strokes, at the same place of the
   * stroke. It may grow outwards, with friction or a spring, but not without a bound.
   */
  #pushA(where: 'outer' | 'outside'): number {
    return Math.min(this.#drawnA[where] + this.#moreA, this.#mostA, this.#grownA);
  }

  /** Whether a stroke has enough readings; otherwise it is to be made again. */
  #isEnough({ moving, standing, outside }: Stroke): boolean {
    const { servo } = this.#probe;
    if (moving.length >= 3 && standing.length >= 3 && outside.length >= 2) {
      this.#again = 0;
      return true;
    }
    if (++this.#again > MOST_AGAIN)
      refuse(SENSOR, `the current of ${servo.name} is read too seldom to find its ends`, servo);
    return false;
  }

  /** Readings that are all the same, while it moved and stood, are no readings. */
  #mustNotStick(): void {
    const { all } = this.#probe;
    if (all.every((amps) => amps === all[0])) this.#doesNotShow();
  }

  /** The larger step (deg), as far as its acceleration lets it come back in time. */
  get #coarseDeg(): number {
    const { accel } = this.#probe.servo.limits;
    return Math.min(COARSE_DEG, Math.max(0.2, accel * STEP_PER_ACCEL_S2));
  }

  /** One end. @param from where it goes out from (deg) */
  *#end(way: 1 | -1, from: number): Script<End> {
    const { servo } = this.#probe;
    const coarse = this.#coarseDeg;
    const fine = Math.min(coarse, FINE_DEG);
    let at = from;
    for (let spots = 0; spots <= MOST_SPOTS; spots++) {
      const first = yield* this.#out(way, at, coarse, Number.POSITIVE_INFINITY);
      if (!first.stop) return first;
      // It comes again, more slowly, from a little further inside.
      const again = first.deg - way;
      const second = yield* this.#out(
        way,
        again,
        fine,
        (first.deg + way * (coarse + ALIKE_DEG)) * way,
      );
      if (second.stop && (first.deg - second.deg) * way <= ALIKE_DEG)
        return { deg: second.deg - way * DEAD_BAND_DEG, stop: true };
      if (second.stop)
        refuse(
          UNSTEADY,
          `${servo.name} met something at ${first.deg.toFixed(1)} deg, and at ${second.deg.toFixed(1)} deg when it came again: look for what is loose`,
          servo,
        );
      at = second.deg;
    }
    return refuse(
      UNSTEADY,
      `the current of ${servo.name} rose at ${MOST_SPOTS + 1} places, and not again at the same: it sticks, or the sensor is not steady`,
      servo,
    );
  }

  /**
   * Step by step out from `at`, all of it free up to there, until it meets something.
   * @param untilOut it goes no further out (deg, counted outwards)
   */
  *#out(way: 1 | -1, from: number, stepDeg: number, untilOut: number): Script<End> {
    const probe = this.#probe;
    const { servo } = probe;
    let at = from;
    for (;;) {
      const [lowest, highest] = servo.envelopeDeg;
      const isEnd = way > 0 ? at >= highest - 1e-6 : at <= lowest + 1e-6;
      if (isEnd || at * way >= untilOut) return { deg: at, stop: false };
      const back = way > 0 ? Math.max(at - STROKE_DEG, lowest) : Math.min(at + STROKE_DEG, highest);
      this.#outwards = 0;
      yield* this.#backTo(back);
      yield* probe.wait(REST_MS);
      probe.clear();
      const to = at + way * stepDeg;
      this.#outwards = way;
      this.#freeDeg = back;
      const { pushingA, outer, outside } = yield* this.#touch(way, at, to);
      const reached = probe.pos;
      const movedIn = probe.angleDeg;
      if (pushingA !== undefined) {
        yield* this.#release(way, at);
        this.#outwards = 0;
        this.#pushingA = Math.max(pushingA, this.#pushingA || pushingA);
        return { deg: at, stop: true };
      }
      yield* probe.creep(back);
      this.#outwards = 0;
      yield* probe.wait(REST_MS);
      const stroke = { moving: probe.moving, standing: probe.standing, outer, outside };
      if (!this.#isEnough(stroke)) continue;
      this.#learn(stroke);
      if (probe.measuresAngle && Math.abs(movedIn - probe.angleDeg) < Math.abs(reached - back) / 3)
        this.#angleLies(at);
      at = reached;
    }
  }

  /** One step out, of which all before `at` is free. In the trial nothing is known of its current yet. */
  *#touch(way: 1 | -1, at: number, to: number): Script<Touch> {
    const probe = this.#probe;
    const { servo } = probe;
    const isTrial = this.#strokes.length === 0;
    const onWayA = isTrial ? this.#mostA : this.#pushA('outer');
    const outsideA = isTrial ? this.#mostA : this.#pushA('outside');
    const outer: number[] = [];
    const outside: number[] = [];
    let above = 0;
    let mostA = 0;
    let arrivedMs = Number.POSITIVE_INFINITY;
    probe.onAmps = ({ amps, atMs }) => {
      // On what is known to be free, a motor that starts may draw more.
      if ((probe.pos - at) * way <= 0) return;
      const stands = atMs > arrivedMs + STANDS_MS;
      (stands ? outside : outer).push(amps);
      above = amps > (stands ? outsideA : onWayA) ? above + 1 : 0;
      mostA = above > 0 ? Math.max(mostA, amps) : 0;
    };
    try {
      // Past its soft limits a step is 5 deg at most; this one is less.
      probe.send(to);
      for (;;) {
        if (above >= 2) return { pushingA: mostA, outer, outside };
        if (!servo.moving && arrivedMs === Number.POSITIVE_INFINITY) arrivedMs = probe.nowMs;
        const waitedMs = probe.nowMs - arrivedMs;
        if (waitedMs >= LOOK_MS && outside.length >= 2 && above === 0) break;
        if (waitedMs >= LOOK_MOST_MS) break;
        yield;
      }
    } finally {
      probe.onAmps = undefined;
    }
    const behind = (probe.pos + this.#offsetDeg - probe.angleDeg) * way;
    if (behind > BEHIND_DEG)
      refuse(
        UNSTEADY,
        `the measured angle of ${servo.name} stays behind at ${to.toFixed(1)} deg, and its current shows no push: one of the two is wrong`,
        servo,
      );
    return { pushingA: undefined, outer, outside };
  }

  /** Backs off from what it has met; its current must fall. */
  *#release(way: 1 | -1, at: number): Script<void> {
    const probe = this.#probe;
    const aboveA = this.#pushA('outer');
    probe.send(at - way * probe.backDeg);
    yield* probe.arrive();
    const untilMs = probe.nowMs + FALLS_MS;
    let below = 0;
    probe.onAmps = ({ amps }) => {
      below = amps < aboveA ? below + 1 : 0;
    };
    while (below < 3) {
      if (probe.nowMs > untilMs) {
        probe.onAmps = undefined;
        refuse(
          SENSOR,
          `the current of ${probe.servo.name} stays high after it has backed off from ${at.toFixed(1)} deg: the sensor sticks, or it is caught`,
          probe.servo,
        );
      }
      yield;
    }
    probe.onAmps = undefined;
  }

  /** A step that met nothing has shown that the sensor still measures this servo. */
  #learn(stroke: Stroke): void {
    this.#mustNotStick();
    this.#strokes = [...this.#strokes.slice(1 - TRIALS), stroke];
    // Slowly: what grows from step to step by as much as a push does is one.
    for (const where of ['outer', 'outside'] as const) {
      const lately = Math.max(...this.#strokes.flatMap((one) => one[where]));
      this.#drawnA[where] = Math.min(lately, this.#drawnA[where] + this.#moreA * GROWTH);
    }
    this.#shown = [...this.#shown.slice(1 - TOGETHER), shownBy(stroke)];
    if (!(mean(this.#shown) > SHOWN_SHARE * this.#shownA)) this.#doesNotShow();
  }

  /** Back over what it has passed; what it meets there was not there before. */
  *#backTo(deg: number): Script<void> {
    const probe = this.#probe;
    const { servo } = probe;
    const aboveA = Math.min(this.#mostA, 2 * this.#pushA('outer'));
    let above = 0;
    const sentMs = probe.nowMs;
    probe.onAmps = ({ amps, atMs }) => {
      above = amps > aboveA && atMs > sentMs + 200 ? above + 1 : 0;
      if (above < 3) return;
      refuse(
        PUSHES,
        `${servo.name} meets something at ${probe.pos.toFixed(1)} deg that was not there before`,
        servo,
      );
    };
    yield* probe.creep(deg);
    probe.onAmps = undefined;
  }
}
