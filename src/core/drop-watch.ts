import type { DropWay, WeakWires } from '../prop/drop-ways.ts';
import { tidy } from '../shared/units.ts';
import { fitLinear } from '../sums/linear-fit.ts';
import type { Body } from './body.ts';
import type { CoreContext } from './core-context.ts';
import type { Sense } from './senses.ts';
import type { KeptDrop } from './store.ts';

/** Looks in a sample: 200 ms. */
const LOOKS = 10;
/** A current that changes less than this in a sample, and than this share of it, is steady (A). */
const STEADY_A = 0.05;
const STEADY_SHARE = 0.08;
/** A reading that is older says nothing of now (s). */
const FRESH_S = 0.1;
/**
 * Samples are kept in classes: by the rail's current, up to its limit, and by the share of it that flows in
 * the last group of wires. Many, because most props draw a small part of their limit, in a few steps.
 */
const CURRENTS = 16;
const SHARES = 3;
/** A class forgets its older samples beyond so many: a crimp may be made again. */
const KEPT = 100;
/** Samples that a class needs to count. */
const LEAST = 5;
/** A class may be wrong by this much, however often it is measured (V): steps of a converter, drift. */
const WRONG_V = 0.003;
/** A sample is wrong by at least this much (V). */
const NOISE_V = 0.001;
/** How many standard deviations what is found must be beyond what is allowed; with few classes, more. */
const SIGMAS = 5;
/** Groups of wires are told apart only if the resistance of each is known this well (ohm). */
const APART_OHM = 0.03;
/** What was found stays until it is below this share of what is allowed: it does not come and go. */
const STAYS_SHARE = 0.7;
/** Samples from one look at all of them to the next. */
const JUDGED_EVERY = 5;
/** Estimates that are wrong by more than this factor do not tell which wire carries what. */
const MOST_SCALE = 4;
/** What is found is told again when it has changed by this share, or was seen at so much more current. */
const NEWS_SHARE = 0.25;
const MORE_CURRENT = 1.5;

/** After a restart a class counts as if it had no more samples: the wire may have been mended meanwhile. */
const KEPT_OVER = 20;

/** Sums of the samples of one class of current. */
interface Class {
  count: number;
  meanA: number;
  /** Measured and computed drop, and what is between them with its variance (V). */
  dropV: number;
  computedV: number;
  moreV: number;
  moreV2: number;
  /** The current on each group of wires (A). */
  onA: Float64Array;
}

interface Watched {
  way: DropWay;
  far: Sense;
  near: Sense | undefined;
  current: Sense;
  limitA: number;
  /** Nominal voltage, which stands for that of the supply where nothing measures it (V). */
  railV: number;
  /** Places of the channels; what each drops (ohm), and their shares in each group, side by side. */
  channels: number[];
  ohm: Float64Array;
  share: Float64Array;
  /** The sample under way. */
  looks: number;
  sumV: number;
  sumA: number;
  leastA: number;
  mostA: number;
  estimatedA: Float64Array;
  wasSteady: boolean;
  unjudged: number;
  classes: Class[];
  found: WeakWires | undefined;
}

/**
 * Compares the drop that is measured along a rail's wires with the one that they explain. Only steady currents
 * count, and only the part of the difference that grows with a wire's current: a wrong zero of a sensor does
 * not. A wire is named once what it would have to have is beyond all that good contacts may add, by
 * `SIGMAS` standard deviations. It decides nothing.
 */
export class DropWatch {
  readonly #context: CoreContext;
  #ways: readonly DropWay[] | undefined;
  #body: Body | undefined;
  #watched: Watched[] = [];
  readonly #amps = new Float64Array(1);
  #isNews = false;

  constructor(context: CoreContext) {
    this.#context = context;
  }

  saidOf(sense: Sense): WeakWires | undefined {
    return this.#watched.find(({ far }) => far === sense)?.found;
  }

  /** After the readings; true when what is found has changed. */
  tick(): boolean {
    const { body } = this.#context;
    const { dropWays } = body.prop;
    if (body !== this.#body || dropWays !== this.#ways) this.#follow(body, dropWays ?? []);
    let changed = this.#isNews;
    this.#isNews = false;
    for (let i = 0; i < this.#watched.length; i++)
      if (this.#look(this.#watched[i]!)) changed = true;
    return changed;
  }

  #look(one: Watched): boolean {
    const { senses, channels } = this.#context.body;
    const { far, near, current } = one;
    const isMeasured =
      senses.isFresh(far, FRESH_S) &&
      senses.isFresh(current, FRESH_S) &&
      (near === undefined || senses.isFresh(near, FRESH_S));
    if (!isMeasured) {
      restart(one);
      one.wasSteady = false;
      return false;
    }
    const amps = senses.unfilteredOf(current);
    one.sumV +=
      (near === undefined ? one.railV : senses.unfilteredOf(near)) - senses.unfilteredOf(far);
    one.sumA += amps;
    one.leastA = Math.min(one.leastA, amps);
    one.mostA = Math.max(one.mostA, amps);
    for (let k = 0; k < one.channels.length; k++) {
      channels[one.channels[k]!]!.writeAmps(this.#amps, 0);
      one.estimatedA[k]! += this.#amps[0]! / LOOKS;
    }
    if (++one.looks < LOOKS) return false;
    const isSteady = one.mostA - one.leastA <= STEADY_A + STEADY_SHARE * Math.abs(one.mostA);
    // Not the first one: what came before may still be on its way through a converter.
    const counts = isSteady && one.wasSteady;
    one.wasSteady = isSteady;
    const isNew = counts && sample(one);
    restart(one);
    if (!isNew || ++one.unjudged < JUDGED_EVERY) return false;
    one.unjudged = 0;
    return this.#judge(one);
  }

  /** Whether what is found has changed. */
  #judge(one: Watched): boolean {
    const { found } = one;
    const now = weakWires(one, found !== undefined);
    if (!now && !found) return false;
    const isSame =
      now &&
      found &&
      now.wires.join() === found.wires.join() &&
      Math.abs(now.excessOhm - found.excessOhm) <= NEWS_SHARE * found.excessOhm &&
      now.amps <= MORE_CURRENT * found.amps;
    if (isSame) {
      this.#keep();
      return false;
    }
    one.found = now;
    this.#keep();
    const { journal, state } = this.#context;
    state.save(false);
    const sense = one.far.name;
    if (now) journal.recur('prop', 'sense', now.text, { sense, ...now });
    else
      journal.recur(
        'prop',
        'sense',
        `the wires of ${one.way.rail} explain the drop up to ${sense}`,
        {
          sense,
        },
      );
    return true;
  }

  /** Findings outlast a restart, with the samples by which they are judged. */
  #keep(): void {
    this.#context.keptDrops = this.#watched.flatMap(({ way, found, classes }) =>
      found ? { digest: way.digest, classes: rowsOf(classes) } : [],
    );
  }

  #follow(body: Body, ways: readonly DropWay[]): void {
    const before = this.#watched;
    this.#body = body;
    this.#ways = body.prop.dropWays;
    const { senses, rails } = body;
    this.#watched = ways.flatMap((way): Watched[] => {
      const [far, current] = [senses.find(way.far), senses.find(way.current)];
      const near = way.near === undefined ? undefined : senses.find(way.near);
      const rail = rails.find(({ name }) => name === way.rail);
      if (!far || !current || !rail || (way.near !== undefined && !near)) return [];
      const names = Object.keys(way.ohm);
      const channels = names.map((name) => body.channels.findIndex((each) => each.name === name));
      if (channels.includes(-1)) return [];
      const groups = way.suspects.length;
      return [
        {
          ...{ way, far, near, current, channels, limitA: rail.limitA, railV: rail.volts },
          ohm: Float64Array.from(names, (name) => way.ohm[name]!),
          share: Float64Array.from(
            way.suspects.flatMap(({ share }) => names.map((name) => share[name] ?? 0)),
          ),
          ...{ looks: 0, sumV: 0, sumA: 0, wasSteady: false, unjudged: 0, found: undefined },
          ...{ leastA: Number.POSITIVE_INFINITY, mostA: Number.NEGATIVE_INFINITY },
          estimatedA: new Float64Array(names.length),
          classes: Array.from({ length: CURRENTS * SHARES }, () => ({
            ...{ count: 0, meanA: 0, dropV: 0, computedV: 0, moreV: 0, moreV2: 0 },
            onA: new Float64Array(groups),
          })),
        },
      ];
    });
    const { keptDrops } = this.#context;
    for (const one of this.#watched) {
      const was = before.find(({ way }) => way.digest === one.way.digest);
      const kept = keptDrops.find(({ digest }) => digest === one.way.digest);
      // Another version of the file in which the way is the same, or another run.
      if (was) {
        one.classes = was.classes;
        one.found = was.found;
      } else if (kept) takeOver(one, kept);
    }
    this.#keep();
    this.#isNews = [...before, ...this.#watched].some(({ found }) => found !== undefined);
  }
}

/** Each class that has samples: its place, then its members, the currents of the groups last. */
function rowsOf(classes: readonly Class[]): number[][] {
  return classes.flatMap(({ count, meanA, dropV, computedV, moreV, moreV2, onA }, place) =>
    count > 0 ? [[place, count, meanA, dropV, computedV, moreV, moreV2, ...onA]] : [],
  );
}

/** Takes up a finding of the run before; nothing, where the samples do not give it. */
function takeOver(one: Watched, { classes: rows }: KeptDrop): void {
  const fresh = one.classes;
  const groups = one.way.suspects.length;
  const classes = [...fresh];
  for (const [place = -1, count = 0, ...sums] of rows) {
    const [meanA, dropV, computedV, moreV, moreV2, ...onA] = sums;
    const isSound =
      fresh[place] !== undefined &&
      Number.isInteger(count) &&
      count > 0 &&
      count <= KEPT &&
      onA.length === groups &&
      sums.every(Number.isFinite);
    if (!isSound) return;
    classes[place] = {
      ...{ count, meanA: meanA!, dropV: dropV!, computedV: computedV!, moreV: moreV! },
      ...{ moreV2: moreV2!, onA: Float64Array.from(onA) },
    };
  }
  one.classes = classes;
  one.found = weakWires(one, true);
  if (!one.found) {
    one.classes = fresh;
    return;
  }
  one.classes = classes.map((each) => ({ ...each, count: Math.min(each.count, KEPT_OVER) }));
  // So few may be too noisy to show it: then all of them count on.
  if (!weakWires(one, true)) one.classes = classes;
}

function restart(one: Watched): void {
  one.looks = 0;
  one.sumV = 0;
  one.sumA = 0;
  one.leastA = Number.POSITIVE_INFINITY;
  one.mostA = Number.NEGATIVE_INFINITY;
  one.estimatedA.fill(0);
}

/** Takes a steady sample into its class; false where nobody can tell what flows where. */
function sample(one: Watched): boolean {
  const { way, estimatedA, ohm, share } = one;
  const amps = one.sumA / LOOKS;
  const dropV = one.sumV / LOOKS;
  let estimate = 0;
  for (const each of estimatedA) estimate += each;
  // Both next to nothing: it does not matter how it is shared.
  const isIdle = Math.abs(amps) < STEADY_A && estimate < STEADY_A;
  const scale = isIdle ? 1 : amps / estimate;
  if (!(scale <= MOST_SCALE && scale >= 1 / MOST_SCALE)) return false;
  let computedV = way.shuntOhm * amps;
  for (let k = 0; k < estimatedA.length; k++) computedV += ohm[k]! * estimatedA[k]! * scale;
  const count = estimatedA.length;
  const onGroup = (g: number) => {
    let on = 0;
    for (let k = 0; k < count; k++) on += share[g * count + k]! * estimatedA[k]! * scale;
    return on;
  };
  const last = isIdle ? 0 : onGroup(way.suspects.length - 1) / amps;
  const byAmps = classOf(amps / one.limitA, CURRENTS);
  const into = one.classes[byAmps * SHARES + classOf(last, SHARES)]!;
  into.count = Math.min(into.count + 1, KEPT);
  const part = 1 / into.count;
  const moreV = dropV - computedV;
  into.meanA += (amps - into.meanA) * part;
  into.dropV += (dropV - into.dropV) * part;
  into.computedV += (computedV - into.computedV) * part;
  into.moreV += (moreV - into.moreV) * part;
  into.moreV2 += (moreV * moreV - into.moreV2) * part;
  for (let g = 0; g < way.suspects.length; g++) into.onA[g]! += (onGroup(g) - into.onA[g]!) * part;
  return true;
}

/** Which of so many classes a share from 0 to 1 is in. */
function classOf(share: number, classes: number): number {
  return Math.min(Math.max(Math.floor(share * classes), 0), classes - 1);
}

/**
 * The wires that have too much resistance, by all samples; undefined where nothing can be said.
 * @param isFound it was found before, and stays until it is well below the limit
 */
function weakWires(one: Watched, isFound: boolean): WeakWires | undefined {
  const { way, far } = one;
  const used = one.classes.filter(({ count }) => count >= LEAST);
  const found = apart(one, used, isFound) ?? together(one, used, isFound);
  if (!found) return undefined;
  const { wires, excessOhm, offset } = found;
  const most = used.reduce((a, b) => (b.meanA > a.meanA ? b : a));
  const measuredMv = tidy((most.dropV - offset) * 1000, 0);
  const computedMv = tidy(most.computedV * 1000, 0);
  const amps = tidy(most.meanA, 2);
  const text = `${wires.join(' or ')}: up to ${far.name}, ${measuredMv} mV are measured at ${amps} A and ${computedMv} mV computed; it has ${Math.round(excessOhm * 1000)} mohm more than the wires explain. Look at crimps and contacts there, with the power off`;
  return {
    ...{ rail: way.rail, far: far.name, wires, measuredMv, computedMv, amps },
    ...{ excessOhm: tidy(excessOhm, 3), text },
  };
}

interface Excess {
  wires: string[];
  excessOhm: number;
  /** The part of the drop that no current explains: the zeros of the sensors (V). */
  offset: number;
}

/** How a class counts: by its noise, and what it may be wrong by however often it is measured. */
function weightOf({ count, moreV, moreV2 }: Class): number {
  const noiseV2 = Math.max(moreV2 - moreV ** 2, NOISE_V ** 2);
  return 1 / (noiseV2 / count + WRONG_V ** 2);
}

/** The limit in standard deviations; few classes tell little of how far they may be off. */
const sigmas = (freedom: number) => SIGMAS * (1 + 4 / freedom);

/** What each group of wires has more than it should, where their currents differ enough to tell. */
function apart({ way }: Watched, used: readonly Class[], isFound: boolean): Excess | undefined {
  const points = used.map((each) => ({ x: each.onA, y: each.moreV, weight: weightOf(each) }));
  const fit = fitLinear(points, way.suspects.length);
  if (!fit || fit.deviations.some((ohm) => ohm > APART_OHM)) return undefined;
  const share = isFound ? STAYS_SHARE : 1;
  let worst: (Excess & { beyond: number }) | undefined;
  for (const [g, { wires, allowedOhm }] of way.suspects.entries()) {
    const [excessOhm, deviation] = [fit.slopes[g]!, fit.deviations[g]!];
    // What a shunt or the supply adds is in the group that carries most.
    const allowed = allowedOhm + (g === 0 ? way.allowedOhm : 0);
    if (excessOhm <= share * (allowed + sigmas(fit.freedom) * deviation)) continue;
    const beyond = (excessOhm - allowed) / deviation;
    if (!worst || beyond > worst.beyond) worst = { wires, excessOhm, offset: fit.offset, beyond };
  }
  return worst;
}

/** What all of them together have more, as far as the current of the whole rail explains it. */
function together({ way }: Watched, used: readonly Class[], isFound: boolean): Excess | undefined {
  const points = used.map((each) => ({ x: [each.meanA], y: each.moreV, weight: weightOf(each) }));
  const fit = fitLinear(points, 1);
  if (!fit) return undefined;
  let allowed = way.allowedOhm;
  for (const [g, { allowedOhm }] of way.suspects.entries()) {
    const on = used.map((each) => ({ x: [each.meanA], y: each.onA[g]!, weight: weightOf(each) }));
    allowed += allowedOhm * Math.abs(fitLinear(on, 1)!.slopes[0]!);
  }
  const [excessOhm, deviation] = [fit.slopes[0]!, fit.deviations[0]!];
  const share = isFound ? STAYS_SHARE : 1;
  if (excessOhm <= share * (allowed + sigmas(fit.freedom) * deviation)) return undefined;
  return { wires: way.suspects.flatMap(({ wires }) => wires), excessOhm, offset: fit.offset };
}
