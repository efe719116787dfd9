import { didYouMean } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import { type Random, seeded } from '../sums/random.ts';
import type { Body } from './body.ts';
import type { Cues } from './cues.ts';

/** After a command by hand nothing stirs by itself for this long (s). */
const QUIET_S = 10;
/** A play whose channels are in use is tried again after this time (s). */
const AGAIN_S = 1;

interface Play {
  cue: string;
  everyS: readonly [number, number];
  nextS: number;
}

/**
 * Background behaviour: small cues at random times, for as long as nothing else wants their
 * channels. It runs only when it is asked for, so that nothing stirs under a maker's fingers.
 */
export class Idle {
  readonly #body: Body;
  readonly #cues: Cues;
  #name: string | undefined;
  #random: Random = () => 0;
  #plays: Play[] = [];
  #quietUntilS = 0;

  constructor(body: Body, cues: Cues) {
    this.#body = body;
    this.#cues = cues;
  }

  get running(): string | null {
    return this.#name ?? null;
  }

  /** @throws Refusal `noSuchThing` */
  start(name: string, nowS: number): void {
    const { idle } = this.#body.prop;
    if (!Object.hasOwn(idle, name)) {
      const advice = didYouMean(name, Object.keys(idle));
      throw new Refusal('idle.unknown', `there is no idle behaviour ${name}; ${advice}`, {
        idle: name,
      });
    }
    this.stop();
    const { seed, plays } = idle[name]!;
    this.#name = name;
    this.#random = seeded(seed);
    this.#quietUntilS = nowS;
    this.#plays = plays.map(({ cue, everyS }) => ({
      cue,
      everyS,
      nextS: nowS + this.#pause(everyS),
    }));
  }

  /** Another version of the file is in use: continues with it, or ends where it is gone. */
  follow(nowS: number): void {
    const name = this.#name;
    if (name === undefined) return;
    this.stop();
    if (Object.hasOwn(this.#body.prop.idle, name)) this.start(name, nowS);
  }

  /** Plays nothing more; what is playing is brought to rest. */
  stop(): void {
    for (const { cue } of this.#plays)
      if (this.#cues.isBackground(cue)) this.#cues.stop(cue, 'the idle behaviour ends');
    this.forget();
  }

  /** Plays nothing more; the caller brings the channels to rest. */
  forget(): void {
    this.#name = undefined;
    this.#plays = [];
  }

  /** Somebody commands by hand: nothing stirs for a while. */
  disturb(nowS: number): void {
    this.#quietUntilS = nowS + QUIET_S;
  }

  /** Once a tick. */
  tick(): void {
    if (this.#plays.length === 0) return;
    const { nowS } = this.#body;
    for (const play of this.#plays) {
      if (nowS < play.nextS || nowS < this.#quietUntilS) continue;
      const channels = this.#cues.channelsOf(play.cue);
      if (this.#cues.using(channels).length > 0 || [...channels].some(({ isBusy }) => isBusy)) {
        play.nextS = nowS + AGAIN_S;
        continue;
      }
      this.#cues.run(play.cue, `idle ${this.#name}`, nowS, { background: true });
      play.nextS = nowS + this.#pause(play.everyS);
    }
  }

  #pause([shortestS, longestS]: readonly [number, number]): number {
    return shortestS + this.#random() * (longestS - shortestS);
  }
}
