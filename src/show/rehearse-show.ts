import { cueDurationS } from '../prop/cue-plan.ts';
import type { Path, Remark } from '../prop/finding.ts';
import type { Prop } from '../prop/schema.ts';
import { REHEARSAL, Stage, TICK_MS, time } from '../rehearsal/stage.ts';
import { Refusal } from '../shared/errors.ts';
import { briefly } from '../shared/journal.ts';
import { tidy } from '../shared/units.ts';
import { worstTogether } from '../sums/flash.ts';
import { askedOf, holds, type ShowFile, type ShowStep } from './show-file.ts';

/** What a rehearsal of a whole show finds out. */
export interface ShowRehearsal {
  /** Until everything is still again (s). */
  durationS: number;
  /** It would go on; only this much of it was computed. */
  cutShort: boolean;
  /** What was asked of each prop, in the order of time (s). */
  steps: { atS: number; prop: string; act: string; cue?: string; skipped?: true }[];
  supplies: { name: string; limitA: number; peakA: number; peakAtS: number }[];
  /** All light of all props together: the most flashes in any second (WCAG 2.2, 2.3.1). */
  light: { flashes: number; colourFlashes: number };
  remarks: Remark[];
}

/** The most flashes of all light together in a second: WCAG 2.2, success criterion 2.3.1. */
const MAX_FLASHES = 3;
/** A show that goes on is cut short so long (s) after its last step. */
const AFTER_S = 600;
/** Reports of one prop that are findings; like ones are counted. */
const REPORTED = 20;

/** A prop on its stage. */
class Player {
  readonly name: string;
  readonly prop: Prop;
  readonly stage: Stage;
  /** Steps that were sent to it, and start a cue at their time. */
  readonly waiting = new Set<number>();

  constructor(name: string, prop: Prop, stage: Stage) {
    this.name = name;
    this.prop = prop;
    this.stage = stage;
  }

  get runs(): string[] {
    return this.stage.core.cues.runningNames;
  }

  /** As its status would say it. */
  get state(): Parameters<typeof holds>[0] {
    const { condition } = this.stage.core;
    return { condition, armed: true, runs: this.runs, waits: this.waiting.size };
  }
}

/** Does something that the core may refuse. @returns why it did */
function refusalOf(act: () => void): string | undefined {
  try {
    act();
    return undefined;
  } catch (error) {
    if (error instanceof Refusal) return error.message;
    throw error;
  }
}

/**
 * Computes a whole show without hardware: every prop is the core itself, all on one virtual clock. They
 * begin parked and armed, and wake when the first cue is sent, as in the real show.
 * @param hasTime called now and then; once it returns false, the rehearsal is cut short
 */
export async function rehearseShow(
  show: ShowFile,
  props: ReadonlyMap<string, Prop>,
  hasTime: () => boolean = () => true,
): Promise<ShowRehearsal> {
  const players = new Map<string, Player>();
  for (const [name, prop] of props) players.set(name, new Player(name, prop, await Stage.of(prop)));
  return new Run(show, players).play(hasTime);
}

class Run {
  readonly #show: ShowFile;
  readonly #players: ReadonlyMap<string, Player>;
  readonly #remarks: Remark[] = [];
  readonly #steps: ShowRehearsal['steps'] = [];
  readonly #supplies: Load[];
  readonly #light = new AllLight();
  /** By prop, what it was told last: reports of it are placed there. */
  readonly #lastStep = new Map<string, number>();
  /** Of each go that is sent: whether its condition held then. */
  readonly #decided = new Map<number, boolean>();
  readonly #reported = new Map<string, number>();
  /** Since the start of the show (s); negative while props wake for the first cues. */
  #nowS = 0;

  constructor(show: ShowFile, players: ReadonlyMap<string, Player>) {
    this.#show = show;
    this.#players = players;
    this.#supplies = Object.entries(show.supplies).map(
      ([name, one]) => new Load(name, one, players),
    );
  }

  play(hasTime: () => boolean): ShowRehearsal {
    const { timeline, leadS } = this.#show;
    let waiting = [...timeline.entries()].sort(([, a], [, b]) => a.at - b.at);
    const waking = [...waiting];
    // What was sent before the show ended still happens.
    const end = () => {
      waking.length = 0;
      waiting = waiting.filter(([index]) => this.#decided.has(index));
    };
    const lastS = Math.max(...timeline.map(({ at }) => at));
    for (const { stage } of this.#players.values()) stage.listen();
    let tick = -Math.round((leadS * 1000) / TICK_MS);
    let cutShort = false;
    for (;;) {
      this.#nowS = (tick * TICK_MS) / 1000;
      while (waking[0] && waking[0][1].at - leadS <= this.#nowS)
        if (!this.#wake(waking.shift()![0])) end();
      while (waiting[0] && waiting[0][1].at <= this.#nowS)
        if (!this.#do(waiting.shift()![0])) end();
      for (const { stage } of this.#players.values()) stage.tick();
      this.#look();
      tick++;
      const busy = [...this.#players.values()].some(({ stage }) => stage.isBusy);
      if (waiting.length === 0 && !busy) break;
      if (this.#nowS > lastS + AFTER_S || (tick % 200 === 0 && !hasTime())) {
        cutShort = true;
        break;
      }
    }
    return this.#result(cutShort);
  }

  #say(severity: Remark['severity'], path: Path, wrong: string, right: string): void {
    this.#remarks.push({
      severity,
      path,
      wrong: `${wrong} (at ${tidy(time(this.#nowS))} s)`,
      right,
    });
  }

  /** A go is decided, and wakes its props, when it is sent. @returns false where the show ends with it */
  #wake(index: number): boolean {
    const step = this.#show.timeline[index]!;
    if (!step.go) return true;
    const isOn = this.#holds(step);
    this.#decided.set(index, isOn);
    if (!isOn) return step.otherwise === 'skip';
    for (const { prop } of askedOf(this.#show, step)) {
      const player = this.#players.get(prop);
      player?.waiting.add(index);
      if (player?.stage.core.condition !== 'parked') continue;
      const why = refusalOf(() => player.stage.beginWake());
      if (why !== undefined)
        this.#say(
          'error',
          ['timeline', index],
          `${prop} cannot wake: ${why}`,
          'see sinew check of its file',
        );
    }
    return true;
  }

  #holds({ only = [] }: ShowStep): boolean {
    return only.every((one) => holds(this.#players.get(one.prop)?.state, one));
  }

  /** One step. @returns false where the show ends with it */
  #do(index: number): boolean {
    const step = this.#show.timeline[index]!;
    const isOn = this.#decided.get(index) ?? this.#holds(step);
    for (const asked of askedOf(this.#show, step)) {
      this.#steps.push({ atS: step.at, ...asked, ...(!isOn && { skipped: true }) });
      const player = this.#players.get(asked.prop);
      if (!isOn || !player) continue;
      this.#lastStep.set(asked.prop, index);
      const { core } = player.stage;
      if (asked.act === 'park') core.park(REHEARSAL);
      else if (asked.act === 'end') this.#end(player);
      else if (player.waiting.delete(index)) this.#go(index, player, asked.cue!);
    }
    return isOn || step.otherwise === 'skip';
  }

  /** As the prop does it: what waits there is void, too. */
  #end({ name, runs, waiting, stage: { core } }: Player): void {
    for (const cue of runs) core.cues.stop(cue, REHEARSAL);
    const { timeline, leadS } = this.#show;
    for (const index of waiting) {
      const { cue } = askedOf(this.#show, timeline[index]!).find(({ prop }) => prop === name)!;
      this.#say(
        'error',
        ['timeline', index],
        `cue ${cue} of ${name} has been sent and waits, so the end of what runs there ends it, too`,
        `start it more than ${leadS} s (leadS) after that end, or leave the end out`,
      );
    }
    waiting.clear();
  }

  #go(index: number, { name, prop, runs, stage: { core } }: Player, cue: string): void {
    const path = ['timeline', index];
    if (core.condition !== 'live') {
      const slow = core.condition === 'waking';
      this.#say(
        'error',
        path,
        slow
          ? `${name} still wakes when its cue ${cue} is to start`
          : `${name} is ${core.condition}, so it cannot start cue ${cue}`,
        slow
          ? `give leadS more than ${this.#show.leadS}`
          : 'start it later, or leave out what parks it',
      );
      return;
    }
    const busy = runs.join(', ');
    const why = refusalOf(() => core.cues.run(cue, REHEARSAL, core.nowS));
    if (why !== undefined)
      this.#say(
        'error',
        path,
        `${name} refuses cue ${cue}: ${why}`,
        'start it when it is allowed, or end what is in its way first',
      );
    else if (busy !== '')
      this.#say(
        'warning',
        path,
        `cue ${cue} of ${name} starts while ${busy} still runs there`,
        `start it later${endsText(prop, runs)}, or end the other first`,
      );
  }

  /** What has happened in this tick. */
  #look(): void {
    for (const load of this.#supplies) load.note(this.#nowS);
    this.#light.note(this.#nowS, this.#players);
    for (const { name, stage } of this.#players.values()) {
      const { events } = stage;
      for (let i = this.#reported.get(name) ?? 0; i < Math.min(events.length, REPORTED); i++) {
        const { what, channel, text } = events[i]!;
        const index = this.#lastStep.get(name);
        // That a start waits a moment for its rail is normal; what parks was asked to.
        if (what === 'staggered' || what === 'park' || index === undefined) continue;
        const about = briefly({ text });
        this.#say(
          'warning',
          ['timeline', index],
          `${name}: ${about}`,
          `see sinew rehearse of its file${channel === undefined ? '' : `, channel ${channel}`}`,
        );
      }
      this.#reported.set(name, events.length);
    }
  }

  #result(cutShort: boolean): ShowRehearsal {
    const light = this.#light.worst();
    const over = Math.max(light.flashes, light.colourFlashes);
    const remarks = [...this.#remarks];
    if (over > MAX_FLASHES)
      remarks.push({
        severity: 'error',
        path: ['timeline'],
        wrong: `all light together flashes up to ${over} times in a second, though each prop by itself does not`,
        right: `stay at ${MAX_FLASHES} or fewer: let the lights of several props change at the same time, less often, or by less`,
      });
    for (const { name, limitA, peakA, peakAtS } of this.#supplies)
      if (peakA > limitA)
        remarks.push({
          severity: 'error',
          path: ['supplies', name, 'limitA'],
          wrong: `the props draw up to ${tidy(peakA, 2)} A (at ${tidy(time(peakAtS))} s), and it gives ${limitA} A`,
          right: 'start their cues one after another, or fit a stronger supply',
        });
    return {
      durationS: time(this.#nowS),
      cutShort,
      steps: this.#steps,
      supplies: this.#supplies.map(({ name, limitA, peakA, peakAtS }) => ({
        name,
        limitA,
        peakA: tidy(peakA, 3),
        peakAtS: time(peakAtS),
      })),
      light,
      remarks,
    };
  }
}

/** `, after its 3.2 s`; empty where a cue has no end of its own. */
function endsText(prop: Prop, runs: readonly string[]): string {
  const longest = Math.max(
    ...runs.map((cue) => cueDurationS(prop, cue) ?? Number.POSITIVE_INFINITY),
  );
  return Number.isFinite(longest) ? ` (it takes ${tidy(longest, 1)} s)` : '';
}

/** What the rails of several props draw from one supply. */
class Load {
  readonly name: string;
  readonly limitA: number;
  peakA = 0;
  peakAtS = 0;
  /** Each rail, and the amperes of the supply for one of its own. */
  readonly #rails: { rail: { readonly amps: number }; share: number }[] = [];

  constructor(
    name: string,
    { volts, limitA, efficiency, rails }: ShowFile['supplies'][string],
    players: ReadonlyMap<string, Player>,
  ) {
    this.name = name;
    this.limitA = limitA;
    for (const [prop, list] of Object.entries(rails)) {
      const player = players.get(prop);
      for (const rail of player?.stage.core.body.rails ?? []) {
        if (!list.includes(rail.name)) continue;
        const railV = player!.prop.rails[rail.name]!.volts;
        // A converter takes the power that it gives, and its loss: conservation of energy.
        const share = railV === volts ? 1 : railV / (volts * efficiency);
        this.#rails.push({ rail, share });
      }
    }
  }

  note(nowS: number): void {
    let amps = 0;
    for (const { rail, share } of this.#rails) amps += share * rail.amps;
    if (amps <= this.peakA) return;
    this.peakA = amps;
    this.peakAtS = nowS;
  }
}

/** The light of all props together, each prop with the same weight. */
class AllLight {
  readonly #tS: number[] = [];
  readonly #parts: [number[], number[], number[]] = [[], [], []];
  readonly #sum = [0, 0, 0];

  note(nowS: number, players: ReadonlyMap<string, Player>): void {
    const sum = this.#sum.fill(0);
    for (const { stage } of players.values())
      for (let k = 0; k < 3; k++) sum[k]! += stage.core.light.shown[k]! / players.size;
    const parts = this.#parts;
    if (this.#tS.length > 0 && parts.every((part, k) => part.at(-1) === sum[k])) return;
    this.#tS.push(nowS);
    for (let k = 0; k < 3; k++) parts[k]!.push(sum[k]!);
  }

  worst(): ShowRehearsal['light'] {
    const [red, green, blue] = this.#parts;
    const { general, colour } = worstTogether({ tS: this.#tS, red, green, blue });
    return { flashes: general, colourFlashes: colour };
  }
}
