import { didYouMean } from '../prop/finding.ts';
import { longCue, MAX_NESTED, MAX_STEPS } from '../prop/long-cue.ts';
import type { Cue } from '../prop/schema.ts';
import { type CueStep, childrenOf, fadeOf, type Touch, touchesOf } from '../prop/steps.ts';
import type { PlayedTake } from '../prop/take/played.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { type Ease, isSmooth, parseEase } from '../sums/ease.ts';
import { readyEase } from '../sums/eased-move.ts';
import { type Random, seeded, seedOf } from '../sums/random.ts';
import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';
import type { CueTakes } from './core-prop.ts';
import type { CuePassage, PassageCue, PassageStep } from './cue-passage.ts';
import type { Gate } from './gate.ts';
import type { Journal } from './journal.ts';
import { mustHavePose, noTargets, opening, type Targets } from './pose.ts';
import type { Switching } from './relay.ts';
import type { Move, Servo } from './servo.ts';
import { Sound, type Sounding } from './sound.ts';
import { type TakePart, TakeRun } from './take-run.ts';

/** A move that takes this much longer than asked (s) is reported: more than a tick. */
const SLOWER_S = 0.006;

/** A value that a step gives to channels. */
interface Value {
  actuators: readonly Actuator[];
  to: Touch['to'];
}

/** One step, with its easing parsed. */
interface ReadyStep {
  /** Its place among the steps that run. */
  index: number;
  /** Its place in the cue of the file; undefined for what brings the prop to where a passage begins. */
  place: number | undefined;
  spec: CueStep;
  /** It waits for the end of another step. */
  follows: boolean;
  /** Positions of the steps that wait for its end. */
  followers: readonly number[];
  ease: Ease | undefined;
  /** What it plays; undefined also where the take cannot be played. */
  take: PlayedTake | undefined;
  /** It lasts so long at least (s), whatever it does. */
  lastsS: number;
}

/** One cue of the prop file, ready to run. */
export interface ReadyCue {
  name: string;
  takesOver: boolean;
  seed: number;
  steps: ReadyStep[];
  /** As fast as the file says: 1. A move that has no time of its own takes as much longer. */
  rate: number;
  /** The cues within it that are not those of the file. */
  within: ReadonlyMap<string, ReadyCue> | undefined;
  /** Every channel that it, or a cue within it, may touch; looked up when it is first asked for. */
  channels: ReadonlySet<Actuator> | undefined;
  /** Its steps and those of the cues within it; counted when it is first asked for. */
  size: number | undefined;
}

/** Makes a cue of the prop file ready to run. @param takes what its steps play */
export function compileCue(name: string, given: Cue, takes?: CueTakes): ReadyCue {
  const { clash, seed, steps } = longCue(given);
  return {
    name,
    takesOver: clash === 'take over',
    seed: seed ?? seedOf(name),
    channels: undefined,
    size: undefined,
    rate: 1,
    within: undefined,
    steps: readySteps(steps.map((spec, place) => ({ place, spec, take: takes?.[place] }))),
  };
}

/** @param known the cue as the file has it: its curves are parsed, and made ready already */
function readySteps(given: readonly PassageStep[], known?: ReadyCue): ReadyStep[] {
  const followers = followersIn(given);
  return given.map(({ place, spec, take, lastsS = 0 }, index) => ({
    index,
    place,
    spec,
    follows: spec.after !== undefined,
    followers: (spec.name === undefined ? undefined : followers.get(spec.name)) ?? [],
    ease: spec.ease === undefined ? undefined : easeOf(spec.ease, known?.steps[place ?? -1]),
    take,
    lastsS,
  }));
}

function easeOf(text: string, known: ReadyStep | undefined): Ease | undefined {
  return known?.ease && known.spec.ease === text ? known.ease : parseEase(text);
}

/** Makes a passage of a cue ready to run. @param cues those of the file */
function compilePassage(
  whole: ReadyCue,
  { own, within, rate }: CuePassage,
  cues: ReadonlyMap<string, ReadyCue>,
): ReadyCue {
  const made = ({ name, steps }: PassageCue): ReadyCue => ({
    ...whole,
    name,
    channels: undefined,
    size: undefined,
    rate,
    within: undefined,
    steps: readySteps(steps, cues.get(name)),
  });
  const inner = Object.entries(within).map(([key, cue]) => [key, made(cue)] as const);
  return { ...made(own), within: new Map(inner) };
}

/** How a cue is run. */
export interface HowToRun {
  /** It gives way to everything else. */
  background?: boolean;
  /** When it is over it begins again, until something ends it. */
  loop?: boolean;
  /** What of it is played. */
  passage?: CuePassage | undefined;
  /** Servos that it, and all other cues, leave to whoever runs it and performs them. */
  leaves?: readonly Servo[];
}

/** How far a step has got, and when it started and ended (s). */
export interface StepProgress {
  readonly step: Pick<ReadyStep, 'index' | 'spec' | 'take'>;
  readonly state: 'waiting' | 'running' | 'done';
  /** When it starts (s); infinite until the step that it comes after is done. */
  readonly dueS: number;
  readonly startedS: number;
  readonly endedS: number;
  /** The cue within it that runs now. */
  readonly child:
    | { readonly cue: { name: string }; readonly steps: readonly StepProgress[] }
    | undefined;
  /** How often that one runs yet, this time included. */
  readonly timesLeft: number;
  readonly playing: Pick<TakeRun, 'followsS' | 'timesLeft'> | undefined;
}

/** One step of a running cue. */
interface RunningStep extends StepProgress {
  step: ReadyStep;
  state: StepProgress['state'];
  dueS: number;
  /** Random part of its start (s). */
  spreadS: number;
  startedS: number;
  endedS: number;
  /** Whether what it started still goes on. */
  busy: (() => boolean)[];
  child: RunningCue | undefined;
  timesLeft: number;
  playing: TakeRun | undefined;
  /** Its sounds have been asked for, before their time. */
  announced: boolean;
}

/** One running cue. */
interface RunningCue {
  cue: ReadyCue;
  who: string;
  /** Gives way to everything else. */
  background: boolean;
  steps: RunningStep[];
  /** Those that run or start now, in the same order. */
  open: RunningStep[];
  /** Those whose time has not come, the next one last. */
  later: RunningStep[];
  /** How many of those in `open` have not started. */
  waiting: number;
  /** How many are not done. */
  left: number;
  random: Random;
  /** The running cue that it is a part of; undefined for one that was started itself. */
  root: RunningCue | undefined;
  /** Ended early: nothing of it starts any more. */
  ended: boolean;
  /** When it is over it begins again. */
  loop: boolean;
  /** How often it has begun again, and when it last did (s). */
  round: number;
  begunS: number;
  /** The prop file has changed since it was worked out. */
  stale: boolean;
}

export interface CueEvents {
  /** A cue that does not run in the background is about to use these channels. */
  begins(channels: readonly Actuator[]): void;
  /** What a step waited for did not come, and it asks for the prop to park. */
  park(why: string): void;
}

/** Ticks differ from the times in the file only by rounding. */
const ROUNDING_S = 1e-9;

/** Steps that start in one tick, of all cues together; the rest start in the next ones. */
const MAX_STARTS = 64;
/** A cue that begins again does so after this time at the earliest (s). */
const LEAST_ROUND_S = 0.5;
/** Followers that are put into their places one by one. */
const FEW = 8;
/** Steps whose channels are looked up in one tick, before they run. */
const LOOKED_UP = 2;

/** The order of `later`; of two at the same time the one that stands first comes first. */
function latestFirst(a: RunningStep, b: RunningStep): number {
  return b.dueS - a.dueS || b.step.index - a.step.index;
}

/** The step that those at these places come after has ended at `endedS`. */
function setDue({ steps, later }: RunningCue, places: readonly number[], endedS: number): void {
  const many = places.length > FEW;
  for (const place of places) {
    const one = steps[place]!;
    one.dueS = endedS + (one.step.spec.at ?? 0) + one.spreadS;
    const at = many ? -1 : later.findIndex((other) => latestFirst(one, other) < 0);
    if (at === -1) later.push(one);
    else later.splice(at, 0, one);
  }
  if (many) later.sort(latestFirst);
}

/**
 * Takes what is due out of `later` and into `open`, in the order of the file. What has its place
 * before `from`, which this tick has passed already, comes in the next, and so does what goes beyond
 * `most` steps that are due.
 */
function takeDue(run: RunningCue, nowS: number, from: number, most: number): void {
  const { open, later } = run;
  const passed = from > 0 ? open[from - 1]!.step.index : -1;
  for (let i = later.length - 1; i >= 0 && run.waiting < most; i--) {
    const one = later[i]!;
    if (nowS < one.dueS - ROUNDING_S) break;
    if (one.step.index < passed) continue;
    later.splice(i, 1);
    run.waiting++;
    const before = open.findLastIndex(({ step }) => step.index < one.step.index);
    open.splice(before + 1, 0, one);
  }
}

/** The places of the steps that come after each step, by its name. */
function followersIn(steps: readonly PassageStep[]): Map<string, number[]> {
  const followers = new Map<string, number[]>();
  for (const [i, { spec }] of steps.entries()) {
    const { after } = spec;
    if (after === undefined) continue;
    const places = followers.get(after);
    if (places) places.push(i);
    else followers.set(after, [i]);
  }
  return followers;
}

function stepText({ cue }: RunningCue, { step: { place } }: RunningStep): string {
  const what = place === undefined ? 'going to where it is to begin' : `step ${place + 1}`;
  return `cue ${cue.name}, ${what}`;
}

/** How a cue runs, where that is not as in the file. */
function manner({ loop, passage }: HowToRun): string {
  const { fromS = 0, rate = 1 } = passage ?? {};
  const from = fromS > 0 ? ` from ${fromS} s` : '';
  const slower = rate < 1 ? ` at ${tidy(rate, 2)} of its speed` : '';
  return `${from}${slower}${loop ? ', in a loop' : ''}`;
}

/**
 * Runs cues, several at once as long as they share no channel. Everything a cue does passes the
 * gate; what the gate refuses is left out and reported, and the cue goes on.
 */
export class Cues {
  readonly #body: Body;
  readonly #gate: Gate;
  readonly #journal: Journal;
  readonly #events: CueEvents;
  readonly #cues = new Map<string, ReadyCue>();
  /** How often each cue has run, so that random choices differ from run to run. */
  readonly #runs = new Map<string, number>();
  /** Which run of each cue last came to its own end. */
  readonly #ended = new Map<string, number>();
  #running: RunningCue[] = [];
  /** Curves of moves that are not ready for their first: a part of one is made so in each tick. */
  readonly #unready = new Set<Ease>();
  /** The channels of steps, looked up before they run where there was time for it. */
  #values = new WeakMap<ReadyStep, readonly Value[]>();
  #lookUp: Iterator<ReadyStep> | undefined;
  #startsLeft = MAX_STARTS;
  /** Servos that somebody performs while a cue runs: cues leave them alone. */
  #performed: ReadonlySet<Actuator> = new Set();
  #performer = '';
  /** What is in the journal of that already: a cue and a channel. */
  readonly #gaveWay = new Set<string>();
  /** Counts up with every cue that begins or ends. */
  revision = 0;

  /** @param cues those of the prop, by name, each from `compileCue` */
  constructor(
    body: Body,
    gate: Gate,
    journal: Journal,
    events: CueEvents,
    cues: ReadonlyMap<string, ReadyCue>,
  ) {
    this.#body = body;
    this.#gate = gate;
    this.#journal = journal;
    this.#events = events;
    this.#cues = new Map(cues);
    for (const cue of cues.values()) this.#addCurves(cue);
    this.#lookUp = this.#allSteps();
  }

  *#allSteps(): Generator<ReadyStep> {
    for (const { steps } of this.#cues.values()) yield* steps;
  }

  #addCurves({ steps }: ReadyCue): void {
    for (const { spec, ease } of steps)
      if (ease && isSmooth(spec.ease!) && (spec.move || spec.pose)) this.#unready.add(ease);
  }

  /** Once a tick, in every condition. */
  ready(): void {
    for (let n = 0; n < LOOKED_UP && this.#lookUp; n++) {
      const next = this.#lookUp.next();
      if (next.done) this.#lookUp = undefined;
      else this.#valuesOf(next.value);
    }
    for (const ease of this.#unready) {
      if (!readyEase(ease)) this.#unready.delete(ease);
      return;
    }
  }

  /**
   * Takes over cues of another version of the file; undefined for one that is gone. What runs goes on
   * as it began.
   */
  replace(cues: ReadonlyMap<string, ReadyCue | undefined>): void {
    for (const [name, cue] of cues) {
      if (cue) {
        this.#cues.set(name, cue);
        this.#addCurves(cue);
      } else this.#cues.delete(name);
    }
    for (const run of this.#running) run.stale = true;
    // A cue within another one, a pose or a group may have changed.
    for (const cue of this.#cues.values()) {
      cue.channels = undefined;
      cue.size = undefined;
    }
    this.#values = new WeakMap();
    this.#lookUp = this.#allSteps();
  }

  get names(): string[] {
    return [...this.#cues.keys()];
  }

  isRunning(name: string): boolean {
    return this.#running.some((run) => run.cue.name === name);
  }

  /** Names of the cues that run. */
  get runningNames(): string[] {
    return this.#running.map(({ cue }) => cue.name);
  }

  get anyRunning(): boolean {
    return this.#running.length > 0;
  }

  /** How often a cue has been started. */
  runCount(name: string): number {
    return this.#runs.get(name) ?? 0;
  }

  /** Whether the run of that count came to its own end. */
  endedItself(name: string, count: number): boolean {
    return this.#ended.get(name) === count;
  }

  /** The steps of a running cue; they go on reporting after it has ended. */
  stepsOf(name: string): readonly StepProgress[] {
    return this.#running.find(({ cue }) => cue.name === name)?.steps ?? [];
  }

  isBackground(name: string): boolean {
    return this.#running.some((run) => run.cue.name === name && run.background);
  }

  /** The channels that a cue may touch. @throws Refusal `noSuchThing` */
  channelsOf(name: string): ReadonlySet<Actuator> {
    return this.#channels(this.#named(name));
  }

  /** Names of the running cues that use any of these channels. */
  using(channels: Iterable<Actuator>): string[] {
    const wanted = new Set(channels);
    return this.#running
      .filter(({ cue }) => [...this.#channels(cue)].some((channel) => wanted.has(channel)))
      .map(({ cue }) => cue.name);
  }

  /**
   * Starts a cue. One that shares a channel with a running cue takes over or is refused, as its
   * file says; what runs in the background always gives way. Started again while it runs, a cue
   * begins again.
   * @throws Refusal `noSuchThing`, `condition`, `outOfLimits` for one with too many steps, and as the gate
   *   does where a passage may not go to where it begins; nothing has changed then
   */
  run(name: string, who: string, nowS: number, how: HowToRun = {}): void {
    const { background = false, loop = false, passage } = how;
    const whole = this.#named(name);
    const size = this.#sizeOf(whole, 0);
    if (size > MAX_STEPS)
      throw new Refusal(
        'cue.too-long',
        `cue ${name} has ${size === Number.POSITIVE_INFINITY ? 'no end of' : size} steps, including those of the cues within it; it may have ${MAX_STEPS}: split it, or repeat a cue with times`,
        { cue: name, value: Number.isFinite(size) ? size : null, limit: MAX_STEPS },
      );
    const channels = this.#channels(whole);
    const cue = passage ? { ...compilePassage(whole, passage, this.#cues), channels } : whole;
    const clashes = this.using(channels).filter((other) => other !== name);
    if (!cue.takesOver && clashes.some((other) => !this.isBackground(other)))
      throw new Refusal(
        'cue.clash',
        `cue ${name} shares channels with ${clashes.join(', ')}, which ${clashes.length > 1 ? 'are' : 'is'} running; stop ${clashes.length > 1 ? 'them' : 'it'} first, or let the cue take over (clash: take over)`,
        { cue: name, running: clashes },
      );
    if (passage) this.#mustBegin(cue);
    for (const other of clashes) this.stop(other, `cue ${name} takes over`);
    if (this.isRunning(name)) this.stop(name, 'it begins again');
    if (how.leaves) this.leaveTo(who, how.leaves);
    if (!background)
      this.#events.begins([...channels].filter((channel) => !this.#performed.has(channel)));
    const count = this.#runs.get(name) ?? 0;
    this.#runs.set(name, count + 1);
    const random = seeded(cue.seed + count);
    this.revision++;
    const by = { who, background, random, root: undefined, loop, round: 0 };
    this.#running.push(this.#begin(cue, by, nowS + this.#delayS(cue)));
    this.#record(who, `cue ${name} runs${manner(how)}`, name, background);
  }

  /** What brings the prop to where a passage begins must be allowed. @throws Refusal as the gate does */
  #mustBegin({ steps }: ReadyCue): void {
    const first = steps.find(({ place, follows }) => place === undefined && !follows);
    if (!first) return;
    const { moves } = this.#targets(first, Math.random);
    this.#gate.mustBeAbleToMove(moves);
  }

  /** It is over, and begins again: as the file has it now, or as it was worked out. */
  #beginAgain(run: RunningCue, nowS: number): void {
    const { name } = run.cue;
    const now = this.#cues.get(name);
    if (!now || (run.cue.within && run.stale)) {
      const why = now ? 'the prop file has changed; run it again' : 'it is gone from the prop file';
      this.stop(name, why);
      return;
    }
    const cue = run.cue.within ? run.cue : now;
    const startS = Math.max(nowS, run.begunS + LEAST_ROUND_S);
    const next = this.#begin(cue, { ...run, round: run.round + 1 }, startS + this.#delayS(cue));
    this.revision++;
    this.#running = this.#running.map((other) => (other === run ? next : other));
    this.#journal.recur(run.who, 'cue', `cue ${name} begins again`, { cue: name });
  }

  /** How much later than asked a cue begins (s). @throws Refusal `noSuchThing` */
  delayOf(name: string): number {
    return this.#delayS(this.#named(name));
  }

  /** The device of its sounds is asked that much before: the whole cue begins that much later. */
  #delayS(cue: ReadyCue): number {
    const hasSound = this.#body.sounds.some((sound) => this.#channels(cue).has(sound));
    return hasSound ? this.#leadS : 0;
  }

  /**
   * Ends a cue: its servos decelerate and hold, its relays open, its lights stay as they are, its sounds
   * fade out;
   * channels in `keep` are left alone. @returns false when it was not running
   */
  stop(name: string, why: string, keep: ReadonlySet<Actuator> = new Set()): boolean {
    const run = this.#running.find(({ cue }) => cue.name === name);
    if (!run) return false;
    run.ended = true;
    this.revision++;
    this.#running = this.#running.filter((other) => other !== run);
    const used = this.#channels(run.cue);
    const isMine = (channel: Actuator) =>
      used.has(channel) && !keep.has(channel) && !this.#performed.has(channel);
    const servos = this.#body.servos.filter(isMine);
    for (const servo of servos) servo.halt();
    this.#gate.cancel(servos);
    // What a servo that is away from rest requires stays closed, and what is safe closed.
    const relays = this.#body.relays.filter((one) => isMine(one) && !one.safeOn);
    this.#gate.open(relays);
    for (const sound of this.#body.sounds.filter(isMine)) sound.fadeOut();
    this.#journal.add('prop', 'cue', `cue ${name} stopped: ${why}`, { cue: name });
    return true;
  }

  /** A command by hand for these channels ends the cues that use them. */
  yieldTo(channels: ReadonlySet<Actuator>, who: string): void {
    if (this.#running.length === 0) return;
    const wanted = [...channels].filter((channel) => !this.#performed.has(channel));
    if (wanted.length === 0) return;
    for (const name of this.using(wanted)) this.stop(name, `${who} took over a channel`, channels);
  }

  /** From now on all cues leave these servos to `who`, who performs them; to nobody when there are none. */
  leaveTo(who: string, servos: Iterable<Actuator>): void {
    this.#performer = who;
    this.#performed = new Set(servos);
    this.#gaveWay.clear();
  }

  stopAll(why: string): void {
    for (const { cue } of [...this.#running]) this.stop(cue.name, why);
  }

  /** Forgets every running cue; the caller brings the channels to rest. */
  clear(): void {
    for (const run of this.#running) {
      const { name } = run.cue;
      run.ended = true;
      this.#journal.add('prop', 'cue', `cue ${name} ended early`, { cue: name });
    }
    this.revision++;
    this.#running = [];
  }

  /** Once a tick. */
  tick(): void {
    this.#startsLeft = MAX_STARTS;
    // A cue that ends during this leaves a new list behind; one that begins, begins in the next tick.
    const running = this.#running;
    const { length } = running;
    for (let i = 0; i < length; i++) {
      const run = running[i]!;
      if (!this.#advance(run, this.#body.nowS)) continue;
      if (run.loop) {
        this.#beginAgain(run, this.#body.nowS);
        continue;
      }
      this.revision++;
      this.#running = this.#running.filter((other) => other !== run);
      this.#ended.set(run.cue.name, this.runCount(run.cue.name));
      this.#record('prop', `cue ${run.cue.name} is over`, run.cue.name, run.background);
    }
  }

  /** What runs in the background comes again and again. */
  #record(who: string, text: string, cue: string, background: boolean): void {
    if (background) this.#journal.recur(who, 'cue', text, { cue });
    else this.#journal.add(who, 'cue', text, { cue });
  }

  // --- running --------------------------------------------------------------------------------------

  #begin(
    cue: ReadyCue,
    by: Pick<RunningCue, 'who' | 'background' | 'random' | 'root' | 'loop' | 'round'>,
    nowS: number,
  ): RunningCue {
    const { random } = by;
    const steps = cue.steps.map((step): RunningStep => {
      const { at = 0, spreadS: maxS, times } = step.spec;
      const spreadS = maxS === undefined ? 0 : random() * maxS;
      return {
        step,
        state: 'waiting',
        dueS: step.follows ? Number.POSITIVE_INFINITY : nowS + at + spreadS,
        spreadS,
        startedS: 0,
        endedS: 0,
        busy: [],
        child: undefined,
        timesLeft: times === 'until stopped' ? Number.POSITIVE_INFINITY : (times ?? 1),
        playing: undefined,
        announced: false,
      };
    });
    const later = steps.filter(({ dueS }) => dueS < Number.POSITIVE_INFINITY);
    later.sort(latestFirst);
    return {
      ...by,
      cue,
      steps,
      open: [],
      later,
      waiting: 0,
      left: steps.length,
      ended: false,
      begunS: nowS,
      stale: false,
    };
  }

  /** Starts and ends steps; true when the cue is over by itself. */
  #advance(run: RunningCue, nowS: number): boolean {
    const root = run.root ?? run;
    const { open } = run;
    if (this.#body.sounds.length > 0) this.#announce(run, nowS);
    takeDue(run, nowS, 0, this.#startsLeft);
    let done = 0;
    // The end of a step may add others, behind it.
    for (let i = 0; i < open.length; i++) {
      const one = open[i]!;
      // A step before this one may have ended the whole cue.
      if (root.ended) return false;
      if (one.state === 'waiting') {
        if (this.#startsLeft === 0) continue;
        this.#startsLeft--;
        run.waiting--;
        one.state = 'running';
        one.startedS = nowS;
        this.#start(run, one, nowS);
      }
      if (this.#goesOn(run, one, nowS)) continue;
      one.state = 'done';
      one.endedS = nowS;
      done++;
      setDue(run, one.step.followers, nowS);
      takeDue(run, nowS, i + 1, this.#startsLeft);
    }
    if (done === 0) return false;
    run.left -= done;
    run.open = open.filter(({ state }) => state !== 'done');
    return run.left === 0 && !root.ended;
  }

  #start(run: RunningCue, one: RunningStep, nowS: number): void {
    this.#attempt(run, one, () => this.#act(run, one, nowS));
    this.#play(run, one);
    const untilS = nowS + one.step.lastsS;
    if (untilS > nowS) one.busy.push(() => this.#body.nowS < untilS - ROUNDING_S);
    if (one.step.spec.until) one.busy.push(() => this.#waits(run, one));
    this.#startChild(run, one, nowS);
  }

  /** Each part that the gate refuses is left out, and the others done. */
  #act(run: RunningCue, one: RunningStep, nowS: number): void {
    const { spec, ease } = one.step;
    const { overS = 0 } = spec;
    const fadeS = fadeOf(spec);
    const targets = this.#targets(one.step, run.random);
    const moves =
      this.#performed.size > 0 ? this.#givesWay(run, one, targets.moves) : targets.moves;
    if (moves.length > 0)
      this.#attempt(run, one, () => {
        const started = this.#gate.move(
          moves,
          overS,
          run.who,
          nowS,
          ease,
          (durationS) => this.#reportSlower(run, one, durationS, overS),
          spec.overS === undefined ? 1 / (run.root ?? run).cue.rate : 1,
        );
        if (started.delayed) this.#reportDelayed(run, one, started.delayed);
        const plans = moves.map(({ servo }) => servo.plans + (servo.delayed ? 1 : 0));
        const goesOn = ({ servo }: Move, i: number): boolean =>
          servo.delayed || (servo.moving && servo.plans === plans[i]);
        one.busy.push(() => moves.some(goesOn));
      });
    for (const { lamp, target } of targets.dims)
      this.#attempt(run, one, () => {
        this.#gate.dim(lamp, target, fadeS, ease);
        one.busy.push(() => lamp.fading);
      });
    for (const { light, target } of targets.colours)
      this.#attempt(run, one, () => {
        this.#gate.colour(light, target, fadeS, ease);
        one.busy.push(() => light.fading);
      });
    const leaving = opening(targets);
    for (const { relay, on } of targets.switches)
      this.#attempt(run, one, () => this.#switch(run, one, { relay, on }, nowS, leaving));
    for (const sounding of targets.sounds)
      if (!one.announced || sounding.play === undefined)
        this.#attempt(run, one, () => this.#playSound(run, one, sounding, nowS));
  }

  /** Sounds are asked for before their time, as early as their device needs. */
  #announce(run: RunningCue, nowS: number): void {
    const { later } = run;
    const leadS = this.#leadS;
    for (let i = later.length - 1; i >= 0; i--) {
      const one = later[i]!;
      if (one.dueS > nowS + leadS + ROUNDING_S) return;
      if (one.announced || !one.step.spec.sound || one.dueS <= nowS + ROUNDING_S) continue;
      one.announced = true;
      for (const { actuators, to } of this.#valuesOf(one.step))
        for (const sound of actuators)
          if (sound instanceof Sound && typeof to === 'string' && sound.has(to))
            this.#attempt(run, one, () => this.#playSound(run, one, { sound, play: to }, one.dueS));
    }
  }

  /** How long before its time the slowest sound device must be asked (s). */
  get #leadS(): number {
    let leadS = 0;
    for (const sound of this.#body.sounds) leadS = Math.max(leadS, sound.leadS);
    return leadS;
  }

  #playSound(run: RunningCue, one: RunningStep, { sound, play }: Sounding, startS: number): void {
    const { fadeS = 0, volume = 1 } = one.step.spec;
    if (play === undefined) {
      sound.fade(0, fadeS);
      return;
    }
    this.#gate.play(sound, play, volume, startS, fadeS);
    this.#record(run.who, `${sound.name} plays ${play}`, run.cue.name, run.background);
    const { starts } = sound;
    one.busy.push(() => sound.starts === starts && sound.isBusy);
  }

  /** What is left of moves when somebody performs the others; the step takes as long as they would. */
  #givesWay(run: RunningCue, one: RunningStep, moves: readonly Move[]): Move[] {
    const { nowS } = this.#body;
    for (const { servo, targetDeg } of moves) {
      if (!this.#performed.has(servo)) continue;
      const untilS = nowS + servo.plan(targetDeg, one.step.spec.overS).durationS;
      one.busy.push(() => this.#body.nowS < untilS - ROUNDING_S);
      this.#tellGaveWay(run, servo);
    }
    return moves.filter(({ servo }) => !this.#performed.has(servo));
  }

  #tellGaveWay(run: RunningCue, servo: Servo): void {
    const { name } = run.cue;
    const key = `${name} ${servo.name}`;
    if (this.#gaveWay.has(key)) return;
    this.#gaveWay.add(key);
    const text = `cue ${name} leaves ${servo.name} to ${this.#performer}, who performs it`;
    this.#journal.add('prop', 'cue', text, { cue: name, channel: servo.name });
  }

  /** The servos of a take, without those that somebody performs; the step takes its time all the same. */
  #partsOf(run: RunningCue, one: RunningStep, take: PlayedTake, times: number): TakePart[] {
    const parts = take.servos.map(({ name, track }) => ({ servo: this.#body.servo(name), track }));
    const left = parts.filter(({ servo }) => !this.#performed.has(servo));
    if (left.length === parts.length) return parts;
    for (const { servo } of parts) if (this.#performed.has(servo)) this.#tellGaveWay(run, servo);
    const untilS = this.#body.nowS + take.durationS * times;
    one.busy.push(() => this.#body.nowS < untilS - ROUNDING_S);
    return left;
  }

  /** Plays the take of a step, as often as it says. */
  #play(run: RunningCue, one: RunningStep): void {
    const { spec, take } = one.step;
    if (spec.take === undefined) return;
    this.#attempt(run, one, () => {
      if (!take)
        throw new Refusal('take.unusable', `take ${spec.take} cannot be played: see sinew check`, {
          take: spec.take!,
        });
      const times = childrenOf(spec).length > 0 ? 1 : one.timesLeft;
      const parts = this.#partsOf(run, one, take, times);
      const playing = new TakeRun(
        parts,
        take.peaksA,
        times,
        run.who,
        this.#body,
        this.#gate,
        (why) => this.#reportDelayed(run, one, why),
      );
      one.playing = playing;
      one.busy.push(() => {
        let goesOn = false;
        this.#attempt(run, one, () => {
          goesOn = playing.goesOn();
        });
        return goesOn;
      });
    });
  }

  #switch(
    run: RunningCue,
    one: RunningStep,
    { relay, on }: Switching,
    nowS: number,
    leaving: ReadonlySet<Actuator>,
  ): void {
    const { forS } = one.step.spec;
    const wasOn = relay.on;
    const closedS = on && forS !== undefined ? forS : Number.POSITIVE_INFINITY;
    this.#gate.switch(relay, on, closedS, nowS, leaving);
    if (forS === undefined) return;
    const changes = relay.changes;
    // `off` for a time: what was closed closes again, if it may and nobody else has switched it.
    one.busy.push(() => {
      const laterS = this.#body.nowS;
      if (laterS < nowS + forS - ROUNDING_S) return relay.changes === changes;
      // A contact that had to wait for its closure opens as much later.
      if (on) {
        const late = relay.waiting || relay.offAtS > laterS + ROUNDING_S;
        return relay.on && relay.changes === changes && Number.isFinite(relay.offAtS) && late;
      }
      if (wasOn && relay.changes === changes)
        this.#attempt(run, one, () =>
          this.#gate.switch(relay, true, Number.POSITIVE_INFINITY, laterS),
        );
      return false;
    });
  }

  /** Whether a step still waits for its `until`; what does not come is reported. */
  #waits(run: RunningCue, one: RunningStep): boolean {
    const { channel, above, below, is, withinS, otherwise } = one.step.spec.until!;
    const requirement =
      above !== undefined
        ? { channel, above }
        : below !== undefined
          ? { channel, below }
          : { channel, is: is! };
    if (this.#body.met(requirement)) return false;
    if (this.#body.nowS < one.startedS + withinS) return true;
    this.#journal.add(
      'prop',
      'cue',
      `cue ${run.cue.name} waited ${withinS} s for ${channel}, which did not get there`,
      {
        cue: run.cue.name,
        until: requirement,
        otherwise,
      },
    );
    const { name } = (run.root ?? run).cue;
    if (otherwise === 'end') this.stop(name, `${channel} did not get there`);
    else if (otherwise === 'park') this.#events.park(`${channel} did not get there`);
    return false;
  }

  #goesOn(run: RunningCue, one: RunningStep, nowS: number): boolean {
    const { busy } = one;
    let going = 0;
    for (let i = 0; i < busy.length; i++) {
      const goesOn = busy[i]!;
      if (goesOn()) busy[going++] = goesOn;
    }
    if (going < busy.length) busy.length = going;
    if (one.child) {
      if (!this.#advance(one.child, nowS)) return true;
      one.child = undefined;
      one.timesLeft--;
      this.#startChild(run, one, nowS);
    }
    return one.busy.length > 0 || one.child !== undefined;
  }

  #startChild(run: RunningCue, one: RunningStep, nowS: number): void {
    if (one.timesLeft < 1) return;
    const children = childrenOf(one.step.spec);
    if (children.length === 0) return;
    const drawn = children.length === 1 ? 0 : Math.floor(run.random() * children.length);
    const { cue: name } = children[drawn]!;
    // A version of the file that came into use meanwhile may have left it out.
    this.#attempt(run, one, () => {
      const root = run.root ?? run;
      const cue = root.cue.within?.get(name) ?? this.#named(name);
      one.child = this.#begin(cue, { ...run, root }, nowS);
    });
  }

  #reportDelayed(run: RunningCue, one: RunningStep, why: string): void {
    const text = `${stepText(run, one)}: ${why}`;
    this.#journal.add(run.who, 'delayed', text, { cue: run.cue.name, step: one.step.place });
  }

  /** A move that its limits hold back says so. */
  #reportSlower(run: RunningCue, one: RunningStep, durationS: number, overS: number): void {
    const { place } = one.step;
    // Nobody has asked for a time in which the prop is brought to where a passage begins.
    if (place !== undefined && overS > 0 && durationS > overS + SLOWER_S)
      this.#journal.add(
        run.who,
        'slower',
        `${stepText(run, one)}: takes ${tidy(durationS, 2)} s, not ${overS} s; the limits allow no more`,
        { cue: run.cue.name, step: place, durationS: tidy(durationS, 3), overS },
      );
  }

  #attempt(run: RunningCue, one: RunningStep, act: () => void): void {
    try {
      act();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const { place } = one.step;
      const text = `${stepText(run, one)}: ${error.message}`;
      this.#journal.add(run.who, 'refused', text, {
        cue: run.cue.name,
        step: place,
        ...error.values,
      });
      const root = run.root ?? run;
      // From another place it would not be the passage; in a loop, nobody would notice it.
      if (place === undefined || root.round > 0) this.stop(root.cue.name, text);
    }
  }

  #targets(step: ReadyStep, random: Random): Targets {
    const targets = noTargets();
    const { pose } = step.spec;
    if (pose !== undefined) mustHavePose(this.#body, pose);
    for (const { actuators, to } of this.#valuesOf(step)) {
      const drawn = typeof to === 'object' ? to.around + (2 * random() - 1) * to.spread : to;
      for (const actuator of actuators) actuator.collectTarget(drawn, targets as never);
    }
    return targets;
  }

  #valuesOf(step: ReadyStep): readonly Value[] {
    const known = this.#values.get(step);
    if (known) return known;
    const { poses, groups, channels: all } = this.#body.prop;
    // Without the take, which is played and not gone to.
    const touches = touchesOf({ poses, groups, channels: all }, step.spec);
    const values = [...touches].map(({ channels, to }) => ({
      actuators: channels.map((name) => this.#body.channel(name)),
      to,
    }));
    this.#values.set(step, values);
    return values;
  }

  // --- putting together -----------------------------------------------------------------------------

  #named(name: string): ReadyCue {
    const cue = this.#cues.get(name);
    if (cue) return cue;
    throw new Refusal(
      'cue.unknown',
      `there is no cue ${name}; ${didYouMean(name, this.#cues.keys())}`,
      {
        cue: name,
      },
    );
  }

  /** How many steps a cue has with those within it; each repetition is the same steps again. */
  #sizeOf(cue: ReadyCue, depth: number): number {
    if (cue.size !== undefined) return cue.size;
    if (depth > MAX_NESTED) return Number.POSITIVE_INFINITY;
    let size = cue.steps.length;
    for (const { spec } of cue.steps) {
      let most = 0;
      for (const child of childrenOf(spec)) {
        const inner = this.#cues.get(child.cue);
        if (inner) most = Math.max(most, this.#sizeOf(inner, depth + 1));
      }
      size += most;
    }
    // At a lesser depth it can be counted in full.
    if (Number.isFinite(size)) cue.size = size;
    return size;
  }

  #channels(cue: ReadyCue): ReadonlySet<Actuator> {
    cue.channels ??= this.#channelsIn(cue, new Set(), new Set());
    return cue.channels;
  }

  /** Collects the channels of a cue and of every cue within it, each looked at once. */
  #channelsIn(cue: ReadyCue, channels: Set<Actuator>, seen: Set<string>): Set<Actuator> {
    seen.add(cue.name);
    for (const step of cue.steps) {
      for (const { actuators } of this.#valuesOf(step))
        for (const actuator of actuators) channels.add(actuator);
      for (const { name } of step.take?.servos ?? []) channels.add(this.#body.channel(name));
      for (const { cue: inner } of childrenOf(step.spec)) {
        const found = seen.has(inner) ? undefined : this.#cues.get(inner);
        if (found) this.#channelsIn(found, channels, seen);
      }
    }
    return channels;
  }
}
