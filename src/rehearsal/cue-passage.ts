import type { Actuator } from '../core/actuators.ts';
import type { CuePassage, PassageAsked, PassageCue, PassageStep } from '../core/cue-passage.ts';
import type { StepProgress } from '../core/cues.ts';
import { noTargets, type Targets } from '../core/pose.ts';
import type { Servo } from '../core/servo.ts';
import { longCue } from '../prop/long-cue.ts';
import type { Prop } from '../prop/schema.ts';
import { type CueStep, childrenOf, fadeOf, touchesOf } from '../prop/steps.ts';
import { playedFrom, playedTake } from '../prop/take/played.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { formatPacked } from '../sums/light.ts';
import { REHEARSAL, Stage, TICK_MS } from './stage.ts';

/** Bringing servos and lights to where a passage begins takes this long at least (s). */
const BRING_S = 1;
/** What brings them there; no name in a prop file has a space. */
const BRING = 'to begin';
const TICK_S = TICK_MS / 1000;
/** Steps that a passage may have with those of the cues within it: the core takes them over between two ticks. */
const MAX_PASSAGE_STEPS = 500;
/** Ticks between two looks at the time that is left. */
const LOOK_TICKS = 200;

type Values = Record<string, number | string>;

/** What is worked out of a cue: everything but the version of the file. */
type Made = Omit<CuePassage, 'version'>;

/**
 * Works out a passage of a cue. From the middle, the core itself plays the cue up to there on a virtual
 * clock, from a parked prop, and everything is taken from where it is then: what is over is left out, what
 * is under way has the rest of its time, what comes later comes as much earlier. Servos begin from rest.
 * @param hasTime called now and then; once it returns false, it is given up
 * @throws Refusal `cue.past-end`, `cue.too-long`, `service.late`, and as `rehearse`
 */
export async function passageOf(
  prop: Prop,
  { cue, fromS, rate }: PassageAsked,
  hasTime: () => boolean = () => true,
): Promise<Made> {
  const making = new Making(prop, rate);
  const own =
    fromS > 0 ? await making.from(cue, fromS, hasTime) : { name: cue, steps: making.whole(cue) };
  const { within, leftOut, bringS } = making;
  const size = [own, ...Object.values(within)].reduce((sum, { steps }) => sum + steps.length, 0);
  if (size > MAX_PASSAGE_STEPS)
    throw new Refusal(
      'cue.too-long',
      `${size} steps of cue ${cue} are left to play, with those of the cues within it; ${MAX_PASSAGE_STEPS} can be played from a time in it, or slower: begin later in it, or split it`,
      { cue, value: size, limit: MAX_PASSAGE_STEPS },
    );
  return { cue, fromS, rate, own, within, leftOut: [...new Set(leftOut)], bringS };
}

class Making {
  readonly within: Record<string, PassageCue> = {};
  readonly leftOut: string[] = [];
  bringS = 0;
  readonly #prop: Prop;
  readonly #rate: number;
  /** The time at which it begins, on the stage (s). */
  #nowS = 0;
  #stage!: Stage;
  /** Servos that go on moving for a later step. */
  readonly #claimed = new Set<Servo>();
  readonly #closed = new Set<Actuator>();
  /** Where the rest of takes begins, by servo (deg). */
  readonly #starts = new Map<string, number>();

  constructor(prop: Prop, rate: number) {
    this.#prop = prop;
    this.#rate = rate;
  }

  // --- slower -------------------------------------------------------------------------------------

  /** All steps of a cue, from its beginning. */
  whole(cue: string): PassageStep[] {
    return longCue(this.#prop.cues[cue]!).steps.map((spec, place) => this.#later(cue, spec, place));
  }

  /** A step that has not begun; the cues within it are worked out as well. */
  #later(cue: string, spec: CueStep, place: number): PassageStep {
    for (const { cue: inner } of childrenOf(spec)) this.#inner(inner);
    return this.#step(cue, spec, place, spec.rate ?? 1);
  }

  #inner(cue: string): void {
    if (this.#rate === 1 || Object.hasOwn(this.within, cue)) return;
    // First, so that a cue that has itself within it comes to an end.
    this.within[cue] = { name: cue, steps: [] };
    this.within[cue].steps = this.whole(cue);
  }

  /** A step with its times at the rate of the passage. @param own how fast its take plays in the cue */
  #step(cue: string, spec: CueStep, place: number, own: number): PassageStep {
    const slow = { ...spec };
    for (const key of ['at', 'spreadS', 'overS', 'fadeS', 'forS'] as const)
      if (spec[key] !== undefined) slow[key] = this.#longer(spec[key]);
    if (spec.until) slow.until = { ...spec.until, withinS: this.#longer(spec.until.withinS) };
    const step: PassageStep = { place, spec: slow };
    // A contact that its duty guard opens sooner holds up what comes after it all the same.
    if (slow.forS !== undefined) step.lastsS = slow.forS;
    if (spec.take !== undefined) {
      slow.rate = own * this.#rate;
      step.take = playedTake(this.#prop, slow);
      if (!step.take) this.#leave(cue, place, `take ${spec.take} cannot be played`);
    }
    if (this.#rate < 1) this.#silence(cue, step, 0);
    return step;
  }

  /** Leaves the sounds of a step out; it takes as long as they would. @param fromS how far they have got */
  #silence(cue: string, step: PassageStep, fromS: number): void {
    const { sound } = step.spec;
    if (!sound) return;
    const { soundFiles = {} } = this.#prop;
    const played = Object.entries(sound).filter(([, name]) => Object.hasOwn(soundFiles, name));
    for (const [channel, name] of played)
      this.#leave(
        cue,
        step.place!,
        fromS > 0
          ? `sound ${name} on ${channel}: it began before, and a sound plays only from its beginning`
          : `sound ${name} on ${channel}: sounds play only at rate 1`,
      );
    const lengths = played.map(([, name]) => soundFiles[name]!.durationS);
    step.lastsS = Math.max(step.lastsS ?? 0, this.#longer(Math.max(0, ...lengths) - fromS));
    const left = Object.entries(sound).filter(([, name]) => !Object.hasOwn(soundFiles, name));
    step.spec.sound = Object.fromEntries(left);
  }

  #leave(cue: string, place: number, what: string): void {
    this.leftOut.push(`cue ${cue}, step ${place + 1}: ${what}`);
  }

  #longer(seconds: number): number {
    return tidy(Math.max(0, seconds) / this.#rate, 6);
  }

  // --- from the middle ------------------------------------------------------------------------------

  /** @throws Refusal `cue.past-end`, `service.late` */
  async from(cue: string, fromS: number, hasTime: () => boolean): Promise<PassageCue> {
    const stage = await Stage.of(this.#prop);
    const { core } = stage;
    this.#stage = stage;
    stage.wake();
    stage.listen();
    core.cues.run(cue, REHEARSAL, core.nowS);
    const steps = core.cues.stepsOf(cue);
    // What is to start just then starts with the passage.
    for (let ticks = 1; stage.sinceS < fromS - TICK_S - 1e-9; ticks++) {
      if (!core.cues.isRunning(cue)) break;
      if (ticks % LOOK_TICKS === 0 && !hasTime())
        throw new Refusal(
          'service.late',
          `working out where cue ${cue} is at ${fromS} s takes too long; begin earlier in it`,
          { cue, fromS },
        );
      stage.tick();
    }
    if (!core.cues.isRunning(cue)) {
      const endS = tidy(stage.sinceS, 2);
      throw new Refusal(
        'cue.past-end',
        `cue ${cue} is over after ${endS} s, so it cannot begin at ${fromS} s`,
        { cue, fromS, endS },
      );
    }
    this.#nowS = stage.startedS + fromS;
    const rest = this.#rest(cue, steps, { after: BRING });
    const bring = this.#bring(this.#touched(steps, new Set()));
    for (const relay of core.body.relays)
      if (relay.on && !relay.home && !this.#closed.has(relay))
        this.leftOut.push(
          `${relay.name}: it was closed before, and not for a time, so it stays open`,
        );
    return { name: cue, steps: [...bring, ...rest] };
  }

  /** The channels that have been commanded so far. */
  #touched(steps: readonly StepProgress[], found: Set<Actuator>): Set<Actuator> {
    for (const { state, step, child } of steps) {
      if (state === 'waiting') continue;
      this.#touchedBy(step.spec, found, new Set());
      if (child) this.#touched(child.steps, found);
    }
    return found;
  }

  #touchedBy(spec: CueStep, found: Set<Actuator>, seen: Set<string>): void {
    const { body } = this.#stage.core;
    for (const { channels } of touchesOf(this.#prop, spec))
      for (const name of channels) found.add(body.channel(name));
    // Of several cues to choose from, nobody knows any more which one it was; see `#valueOf`.
    if (spec.cue === undefined || seen.has(spec.cue)) return;
    seen.add(spec.cue);
    for (const step of longCue(this.#prop.cues[spec.cue]!).steps)
      this.#touchedBy(step, found, seen);
  }

  /**
   * The steps that bring servos and lights to where they are then: all together, but where interlocks ask
   * for an order. What comes home and needs another servo goes first, what leaves home and needs one last.
   */
  #bring(touched: ReadonlySet<Actuator>): PassageStep[] {
    const { servos, lights } = this.#stage.core.body;
    const stages = new Map<number, Values>();
    for (const servo of servos) {
      if (!touched.has(servo) && servo.atPark) continue;
      const depth = this.#depthOf(servo, new Set());
      const isHome = Math.abs(servo.setpoint.pos - servo.homeDeg) < 1e-6;
      const at = isHome ? -depth : depth;
      const values = stages.get(at) ?? {};
      values[servo.name] = this.#starts.get(servo.name) ?? servo.setpoint.pos;
      stages.set(at, values);
    }
    const dim: Record<string, number> = {};
    const colour: Record<string, string> = {};
    for (const light of lights) {
      if (!touched.has(light) && light.atPark) continue;
      if (light.valueType === 'colour') colour[light.name] = formatPacked(light.recordedValue);
      else dim[light.name] = light.recordedValue;
    }
    const isLit = Object.keys({ ...dim, ...colour }).length > 0;
    const moves = [...stages.entries()].sort(([a], [b]) => a - b).map(([, values]) => values);
    const overS = this.#longer(BRING_S);
    this.bringS = overS * Math.max(moves.length, isLit ? 1 : 0);
    // What comes next waits for the last one, even where nothing has to be brought anywhere.
    if (moves.length === 0) moves.push({});
    const nameOf = (i: number) => (i === moves.length - 1 ? BRING : `${BRING} ${i}`);
    return moves.map((move, i): PassageStep => {
      const lit = i === moves.length - 1 ? { dim, colour, fadeS: overS } : {};
      const start = i === 0 ? { at: 0 } : { after: nameOf(i - 1), at: 0 };
      return { place: undefined, spec: { name: nameOf(i), ...start, move, overS, ...lit } };
    });
  }

  /** How many servos in a row it needs. */
  #depthOf(servo: Servo, seen: Set<Servo>): number {
    if (seen.has(servo)) return 0;
    seen.add(servo);
    let depth = 0;
    for (const { channel } of servo.spec.requires ?? []) {
      const other = this.#stage.core.body.servos.find(({ name }) => name === channel);
      if (other) depth = Math.max(depth, 1 + this.#depthOf(other, seen));
    }
    return depth;
  }

  /** What is left of a cue. @param start what its steps wait for */
  #rest(cue: string, steps: readonly StepProgress[], start: { after?: string }): PassageStep[] {
    const found: PassageStep[] = [];
    // Of two steps with the same servo, the later one has it.
    const running = steps.filter(({ state }) => state === 'running');
    running.sort((a, b) => b.startedS - a.startedS || b.step.index - a.step.index);
    const going = new Map(running.map((one) => [one, this.#goingOn(cue, one, start)]));
    for (const one of steps) {
      const { step, state, dueS } = one;
      if (state === 'running') found.push(...going.get(one)!);
      if (state !== 'waiting') continue;
      const later = this.#later(cue, step.spec, step.index);
      if (dueS < Number.POSITIVE_INFINITY) {
        const { after: _, spreadS: __, ...spec } = later.spec;
        later.spec = { ...spec, ...start, at: this.#longer(dueS - this.#nowS) };
      }
      found.push(later);
    }
    return found;
  }

  /** The rest of a step that is under way. */
  #goingOn(cue: string, one: StepProgress, start: { after?: string }): PassageStep[] {
    const { spec, index: place } = one.step;
    const doneS = this.#nowS - one.startedS;
    const targets = this.#targetsOf(spec);
    const own: CueStep = { ...start, at: 0 };
    const step: PassageStep = { place, spec: own };
    this.#goOnMoving(own, spec, targets, doneS);
    const { forS, until } = spec;
    for (const { relay, on } of targets.switches) {
      if (!on || forS === undefined || !relay.on || forS - doneS <= 0) continue;
      own.switch = { ...own.switch, [relay.name]: 'on' };
      own.forS = this.#longer(forS - doneS);
      this.#closed.add(relay);
    }
    if (forS !== undefined) step.lastsS = this.#longer(forS - doneS);
    if (until) own.until = { ...until, withinS: this.#longer(until.withinS - doneS) };
    if (spec.sound) {
      own.sound = { ...spec.sound };
      this.#silence(cue, step, Math.max(doneS, TICK_S));
    }
    const again = { times: spec.times, left: one.timesLeft - 1 };
    if (one.child) {
      const key = `${one.child.cue.name} ${Object.keys(this.within).length}`;
      this.within[key] = { name: one.child.cue.name, steps: [] };
      this.within[key].steps = this.#rest(one.child.cue.name, one.child.steps, {});
      own.cue = key;
      return this.#repeated(cue, step, spec, place, again.left);
    }
    if (spec.take !== undefined && one.playing) {
      const { followsS, timesLeft } = one.playing;
      own.take = spec.take;
      own.rate = (spec.rate ?? 1) * this.#rate;
      const takeS = followsS === undefined ? 0 : (this.#nowS - followsS) * (spec.rate ?? 1);
      step.take = playedFrom(this.#prop, own, takeS);
      if (!step.take) this.#leave(cue, place, `the rest of take ${spec.take} cannot be played`);
      for (const { name, track } of step.take?.servos ?? []) this.#starts.set(name, track.startDeg);
      return this.#repeated(cue, step, spec, place, timesLeft - 1);
    }
    if (spec.name !== undefined) own.name = spec.name;
    return [step];
  }

  /** What plays again after the part that is under way. */
  #repeated(
    cue: string,
    step: PassageStep,
    spec: CueStep,
    place: number,
    left: number,
  ): PassageStep[] {
    const named = spec.name === undefined ? {} : { name: spec.name };
    if (left < 1) return [{ ...step, spec: { ...step.spec, ...named } }];
    const between = `${BRING} ${cue} ${place}`;
    const { take, rate, cue: inner, choose } = spec;
    const repeated: CueStep = {
      ...named,
      after: between,
      at: 0,
      ...(take !== undefined && { take }),
      ...(rate !== undefined && { rate }),
      ...(inner !== undefined && { cue: inner }),
      ...(choose && { choose }),
      times: Number.isFinite(left) ? left : 'until stopped',
    };
    return [{ ...step, spec: { ...step.spec, name: between } }, this.#later(cue, repeated, place)];
  }

  #goOnMoving(own: CueStep, spec: CueStep, targets: Targets, doneS: number): void {
    let leftS = 0;
    for (const { servo, targetDeg } of targets.moves) {
      if (!servo.isBusy || this.#claimed.has(servo)) continue;
      this.#claimed.add(servo);
      own.move = { ...own.move, [servo.name]: servo.delayed ? targetDeg : servo.targetDeg };
      leftS = Math.max(leftS, servo.leftS);
    }
    if (leftS > 0) own.overS = this.#longer(leftS);
    const fadeS = this.#longer(fadeOf(spec) - doneS);
    for (const { lamp, target } of targets.dims) {
      if (!lamp.fading) continue;
      own.dim = { ...own.dim, [lamp.name]: target };
      own.fadeS = fadeS;
    }
    for (const { light } of targets.colours) {
      if (!light.fading) continue;
      own.colour = { ...own.colour, [light.name]: light.targetHex };
      own.fadeS = fadeS;
    }
  }

  /** What a step asks of channels; of what is chosen at random, the middle. */
  #targetsOf(spec: CueStep): Targets {
    const { body } = this.#stage.core;
    const targets = noTargets();
    for (const { channels, to, part } of touchesOf(this.#prop, spec)) {
      if (part === 'take') continue;
      const target = typeof to === 'object' ? to.around : to;
      for (const name of channels) body.channel(name).collectTarget(target, targets as never);
    }
    return targets;
  }
}
