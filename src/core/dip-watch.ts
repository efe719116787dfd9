import { tidy } from '../shared/units.ts';
import type { Body } from './body.ts';
import type { CoreContext } from './core-context.ts';
import type { Sense } from './senses.ts';

/** Looks that are kept: what has begun to draw more within this time has started then. */
const LOOKS = 15;
/** A change of the estimate that is less than this is none (A). */
const RISE_A = 0.01;
/** So many of those that started are named. */
const NAMED = 3;
/** A dip is told of so often (s): a loose wire would fill the journal. */
const EVERY_S = 10;
/** How long it is warned of (s). */
const SAID_S = 60;

interface Dips {
  sense: Sense;
  /** The rail whose voltage it is; undefined where the file does not say. */
  rail: number | undefined;
  toldS: number;
  /** Dips since then that were not told. */
  untold: number;
  sinceS: number;
  lowV: number;
  told: boolean;
  said: string | undefined;
}

/**
 * Dips of a voltage that are too short for its limits: each is journalled at once, as the computer may reset
 * in the next moment, with what started then by the estimate. It only tells.
 */
export class DipWatch {
  readonly #context: CoreContext;
  #body: Body | undefined;
  #dips: Dips[] = [];
  /** The estimated draw of every channel in the last looks (A), one look after the other. */
  #amps = new Float64Array(0);
  #look = 0;

  constructor(context: CoreContext) {
    this.#context = context;
  }

  /** Notes what every channel draws; before the readings are taken. Allocates nothing. */
  note(): void {
    const { body } = this.#context;
    if (body !== this.#body) this.#follow(body);
    if (this.#dips.length === 0) return;
    const { channels } = body;
    this.#look = (this.#look + 1) % LOOKS;
    const from = this.#look * channels.length;
    for (let i = 0; i < channels.length; i++) channels[i]!.writeAmps(this.#amps, from + i);
  }

  /** After the readings; true when something that was said is over. */
  tick(): boolean {
    const { nowS, body } = this.#context;
    let over = false;
    for (let i = 0; i < this.#dips.length; i++) {
      const dip = this.#dips[i]!;
      if (dip.sense.dips) dip.lowV = Math.min(dip.lowV, body.senses.lowOf(dip.sense));
      else if (dip.said !== undefined && nowS - dip.sinceS > SAID_S) {
        dip.said = undefined;
        over = true;
      }
    }
    return over;
  }

  saidOf(sense: Sense): string | undefined {
    return this.#dips.find((one) => one.sense === sense)?.said;
  }

  /** A voltage has dipped, or has risen again. */
  heed(sense: Sense, news: 'dipped' | 'risen'): void {
    const dip = this.#dips.find((one) => one.sense === sense);
    if (!dip) return;
    if (news === 'dipped') this.#dipped(dip);
    else this.#risen(dip);
  }

  #dipped(dip: Dips): void {
    const { nowS, body, journal } = this.#context;
    const { sense } = dip;
    dip.sinceS = nowS;
    dip.lowV = body.senses.lowOf(sense);
    const own = this.#started(dip.rail);
    const isOther = own.length === 0 && dip.rail !== undefined;
    const started = isOther ? this.#started(undefined) : own;
    const named = started.slice(0, NAMED).map(({ channel, amps }) => `${channel} +${amps} A`);
    const more = started.length - named.length;
    const why =
      named.length === 0
        ? 'nothing started then, so look at the supply and its wires'
        : `started just before${isOther ? ' on other rails' : ''}, by the estimate: ${named.join(', ')}${more > 0 ? ` and ${more} more` : ''}`;
    dip.said = `${sense.name} dipped to ${sense.text(dip.lowV)}, below ${sense.text(sense.dip!.at)}; ${why}`;
    dip.told = nowS - dip.toldS >= EVERY_S;
    if (!dip.told) {
      dip.untold++;
      return;
    }
    const { untold } = dip;
    dip.toldS = nowS;
    dip.untold = 0;
    const others = untold > 0 ? `; ${untold} more since the last one` : '';
    journal.add('prop', 'sense', `${dip.said}${others}`, {
      ...{ sense: sense.name, value: tidy(dip.lowV), limit: 'dipBelow', at: sense.dip!.at },
      ...(untold > 0 && { untold }),
      started,
    });
  }

  #risen({ sense, told, sinceS, lowV }: Dips): void {
    if (!told) return;
    const { nowS, journal } = this.#context;
    const lastedS = tidy(nowS - sinceS, 2);
    journal.add(
      'prop',
      'sense',
      `${sense.name} is back above ${sense.text(sense.dip!.back)}; it fell to ${sense.text(lowV)}, for ${lastedS} s`,
      { sense: sense.name, value: tidy(lowV), forS: lastedS },
    );
  }

  /** What draws more than shortly before, by how much (A), the most first. */
  #started(rail: number | undefined): { channel: string; amps: number }[] {
    const { channels } = this.#context.body;
    const count = channels.length;
    return channels
      .flatMap(({ name, rail: at }, i) => {
        if (rail !== undefined && at !== rail) return [];
        let least = Number.POSITIVE_INFINITY;
        for (let k = 0; k < LOOKS; k++) least = Math.min(least, this.#amps[k * count + i]!);
        const amps = tidy(this.#amps[this.#look * count + i]! - least, 2);
        return amps >= RISE_A ? [{ channel: name, amps }] : [];
      })
      .sort((a, b) => b.amps - a.amps);
  }

  #follow(body: Body): void {
    this.#body = body;
    this.#dips = body.senses.list.flatMap((sense): Dips[] => {
      if (!sense.dip || sense.entry.kind !== 'volts') return [];
      const { rail: name } = sense.entry;
      const rail =
        name === undefined ? undefined : body.rails.findIndex((one) => one.name === name);
      const never = Number.NEGATIVE_INFINITY;
      return [
        {
          ...{ sense, rail, toldS: never, untold: 0, sinceS: never, lowV: Number.NaN },
          ...{ told: false, said: undefined },
        },
      ];
    });
    // What was drawn before is not known: as little as nothing, until the looks are full.
    const { channels } = body;
    this.#amps = new Float64Array(LOOKS * channels.length);
    for (let k = 0; k < LOOKS; k++)
      for (let i = 0; i < channels.length; i++)
        channels[i]!.writeAmps(this.#amps, k * channels.length + i);
  }
}
