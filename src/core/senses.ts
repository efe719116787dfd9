import { isDeepStrictEqual } from 'node:util';
import type { Reading } from '../boards/board.ts';
import type { WeakWires } from '../prop/drop-ways.ts';
import type { SenseEntry, SenseKind } from '../prop/schema.ts';
import {
  dipOf,
  type SenseLimit,
  type SenseLimitName,
  senseLimits,
  senseMaxV,
  sensePoints,
  senseQuantity,
  senseRange,
  senseText,
} from '../prop/senses.ts';
import { tidy } from '../shared/units.ts';
import { interpolate, table } from '../sums/calibration.ts';
import type { Board } from './boards.ts';

/** A sense that is not as it should be, for clients. */
export interface SenseNote {
  name: string;
  /** `fault`: not measured. `warning`: beyond a limit. `low`: the prop parks, and does not wake. */
  what: 'fault' | 'warning' | 'low';
  text: string;
  /** Wires that have too much resistance, by what it measures. */
  weak?: WeakWires;
}

/** Places of the numbers of one sense; they lie side by side. */
const VALUE = 0;
const RAW = 1;
/** When the last good reading was taken (ms); -Infinity before the first. */
const AT_MS = 2;
/** Since when there has been none (ms): the last one, or the first look. */
const SINCE_MS = 3;
/** The last good value, kept while it is not measured. */
const LAST = 4;
/** How old the last good reading is (s); Infinity before the first. */
const AGE_S = 5;
/** The lowest value since the look before, not filtered. */
const LOW = 6;
/** When the raw reading was taken (ms), and how old it is (s), also where it lies outside the calibration. */
const RAW_MS = 7;
const RAW_AGE_S = 8;
/** For each limit, since when the value asks for a change of it (ms); NaN where it does not. */
const ASKS_MS = 9;
const MOST_LIMITS = 4;
const STRIDE = ASKS_MS + MOST_LIMITS;

/** The numbers that are read of a sense: value and its time (ms), raw reading (A or V) and its age (s). */
export const SENSE_AT = {
  ...{ value: VALUE, atMs: AT_MS, low: LOW, raw: RAW, rawAgeS: RAW_AGE_S },
} as const;

/** Levels of a contact to ground: closed reads 0. */
const CLOSED = 0;

/** One entry of `senses:`. */
export class Sense {
  readonly name: string;
  /** Its place among the senses of the prop. */
  readonly index: number;
  readonly entry: SenseEntry;
  readonly kind: SenseKind;
  readonly board: Board;
  /** Its place among the senses of its board; of a contact, among the inputs. */
  readonly at: number;
  readonly quantity: 'current' | 'volts' | undefined;
  readonly limits: readonly SenseLimit[];
  readonly points: Float64Array;
  /** What the board reads for a value: the other way. */
  readonly inverse: Float64Array;
  readonly range: readonly [low: number, high: number];
  /** A single reading below `at` is a dip, until one is above `back`. */
  readonly dip: { readonly at: number; readonly back: number } | undefined;
  dips = false;
  readonly staleMs: number;
  readonly filterMs: number;
  /** Why it is not measured. */
  fault: string | undefined;
  /** The fault says no more than that there is no reading. */
  vague = false;
  /** The limits that it has passed: a bit for each, by its place in `limits`. */
  passed = 0;

  constructor(name: string, index: number, entry: SenseEntry, board: Board) {
    this.name = name;
    this.index = index;
    this.entry = entry;
    this.kind = entry.kind;
    this.board = board;
    this.limits = senseLimits(entry);
    this.quantity = senseQuantity(entry);
    this.dip = dipOf(entry);
    const points = sensePoints(entry);
    this.points = points.length > 0 ? table(points) : new Float64Array(0);
    const others = points.map(([raw, value]): [number, number] => [value, raw]);
    this.inverse = others.length > 0 ? table(others.sort(([a], [b]) => a - b)) : this.points;
    // A level beyond its ends is as full, or as empty, as it can be.
    const anything = [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY] as const;
    this.range = entry.kind === 'level' ? anything : senseRange(entry);
    this.staleMs = entry.kind === 'contact' ? 1000 : entry.staleS * 1000;
    this.filterMs = entry.kind === 'contact' ? 0 : entry.filterS * 1000;
    if (entry.kind === 'contact') {
      this.at = board.addInput({ name: `sense ${name}`, pin: entry.pin, pull: 'up' });
      return;
    }
    const maxV = senseMaxV(entry);
    this.at = board.addSense({
      name,
      quantity: this.quantity!,
      input: entry.input ?? 0,
      ...(maxV !== undefined && { maxV }),
    });
  }

  /** Whether it has passed a limit, by the place of that in `limits`. */
  hasPassed(limit: number): boolean {
    return ((this.passed >> limit) & 1) === 1;
  }

  /** Whether it has passed the limit of this name. */
  isPast(what: SenseLimitName): boolean {
    return this.limits.some((limit, i) => limit.what === what && this.hasPassed(i));
  }

  /** What the board reads while the value is `value`: A or V, of a contact its level. */
  rawOf(value: number): number {
    if (this.kind === 'contact') return value > 0.5 ? CLOSED : 1 - CLOSED;
    return interpolate(this.inverse, 0, value);
  }

  text(value: number): string {
    return senseText(this.kind, value);
  }
}

/** What is measured of. */
interface ShownOn {
  readonly rails: readonly { readonly name: string; measuredA: number; measuredV: number }[];
  readonly servos: readonly { readonly name: string; measuredA: number; measuredDeg: number }[];
}

/** What of a sense has changed. */
export type SenseNews = 'fault' | 'measured' | 'passed' | 'back' | 'dipped' | 'risen';

/**
 * Everything that is measured. What is read here decides nothing: `SenseWatch` does.
 *
 * A reading counts only if it is a number within its calibration, newer than the one before it, and the
 * board reports no fault. Without such a reading for `staleS` the sense is not measured: its value is NaN,
 * and its limits neither begin nor end to count. A limit counts once readings have been beyond it from one
 * to another that is `forS` later, so that one wrong reading alone does nothing.
 */
export class Senses {
  readonly list: Sense[] = [];
  #numbers = new Float64Array(0);
  readonly #byName = new Map<string, Sense>();
  /** Where the value of a sense is shown: the place of a rail, or of a servo; -1 for neither. */
  readonly #shown: { sense: Sense; rail: number; servo: number }[] = [];
  readonly #reading: Reading = {
    value: Number.NaN,
    low: Number.POSITIVE_INFINITY,
    atMs: 0,
    fault: undefined,
  };

  add(name: string, entry: SenseEntry, board: Board): void {
    const sense = new Sense(name, this.list.length, entry, board);
    this.list.push(sense);
    this.#byName.set(name, sense);
    const numbers = new Float64Array(this.list.length * STRIDE).fill(Number.NaN);
    numbers.set(this.#numbers);
    numbers[sense.index * STRIDE + AT_MS] = Number.NEGATIVE_INFINITY;
    this.#numbers = numbers;
  }

  find(name: string): Sense | undefined {
    return this.#byName.get(name);
  }

  /** The numbers of all; those of a sense begin at `placeOf`. */
  get numbers(): Float64Array {
    return this.#numbers;
  }

  placeOf(index: number): number {
    return index * STRIDE;
  }

  valueOf(sense: Sense): number {
    return this.#numbers[sense.index * STRIDE + VALUE]!;
  }

  /** The value by the last reading alone, not filtered. */
  unfilteredOf(sense: Sense): number {
    const raw = this.#numbers[sense.index * STRIDE + RAW]!;
    return sense.points.length > 0 ? interpolate(sense.points, 0, raw) : raw;
  }

  /** Whether it is measured, and its last good reading is not older than this (s). */
  isFresh({ index, fault }: Sense, mostS: number): boolean {
    return fault === undefined && this.#numbers[index * STRIDE + AGE_S]! <= mostS;
  }

  /** The lowest value since the look before (a dip). */
  lowOf(sense: Sense): number {
    return this.#numbers[sense.index * STRIDE + LOW]!;
  }

  /** The last good value, also where it is not measured now; NaN where there never was one. */
  lastOf(sense: Sense): number {
    return this.#numbers[sense.index * STRIDE + LAST]!;
  }

  /** When the last good reading was taken (ms); -Infinity before the first. */
  takenMsOf({ index }: Sense): number {
    return this.#numbers[index * STRIDE + AT_MS]!;
  }

  /** Whether a limit is about to begin or end to count, by its place among those of the sense. */
  asks({ index }: Sense, limit: number): boolean {
    return !Number.isNaN(this.#numbers[index * STRIDE + ASKS_MS + limit]!);
  }

  /** What was known of the same senses in the version before holds on. */
  resume(before: Senses): void {
    for (const sense of this.list) {
      const was = before.find(sense.name);
      if (!was || !isDeepStrictEqual(was.entry, sense.entry)) continue;
      const from = was.index * STRIDE;
      this.#numbers.set(before.numbers.subarray(from, from + STRIDE), sense.index * STRIDE);
      sense.fault = was.fault;
      sense.vague = was.vague;
      sense.passed = was.passed;
    }
  }

  /**
   * Takes the latest readings; allocates nothing unless something changes.
   * @param atRest the prop is parked or just wakes: a first reading counts at once, so that a daemon that
   *   was reset by a flat battery does not wake the prop again
   * @param levelOf the level of a contact; undefined where its board has failed
   */
  read(
    nowMs: number,
    atRest: boolean,
    levelOf: (board: Board, input: number) => 0 | 1 | undefined,
    onNews: (sense: Sense, news: SenseNews, limit: SenseLimit | undefined) => void,
  ): void {
    const { list } = this;
    const numbers = this.#numbers;
    const reading = this.#reading;
    for (let i = 0; i < list.length; i++) {
      const sense = list[i]!;
      // Its board is being opened for another version of the file.
      if (sense.board.away) continue;
      const at = i * STRIDE;
      ask(sense, nowMs, reading, levelOf);
      const raw = reading.value;
      const lastMs = numbers[at + AT_MS]!;
      const { atMs } = reading;
      const good =
        reading.fault === undefined &&
        raw >= sense.range[0] &&
        raw <= sense.range[1] &&
        Number.isFinite(raw);
      // One from the future would never grow old.
      if (good && atMs > lastMs && atMs <= nowMs) {
        const isFirst = lastMs === Number.NEGATIVE_INFINITY;
        let value = sense.points.length > 0 ? interpolate(sense.points, 0, raw) : raw;
        if (sense.kind === 'level') value = Math.min(Math.max(value, 0), 1);
        if (sense.dip) this.#judgeDip(sense, at, value, onNews);
        const before = numbers[at + VALUE]!;
        if (sense.filterMs > 0 && !Number.isNaN(before))
          value = before + (value - before) * (1 - Math.exp((lastMs - atMs) / sense.filterMs));
        numbers[at + VALUE] = value;
        numbers[at + LAST] = value;
        numbers[at + RAW] = raw;
        numbers[at + RAW_MS] = atMs;
        numbers[at + RAW_AGE_S] = (nowMs - atMs) / 1000;
        numbers[at + AT_MS] = atMs;
        numbers[at + SINCE_MS] = atMs;
        numbers[at + AGE_S] = (nowMs - atMs) / 1000;
        if (sense.fault !== undefined) {
          sense.fault = undefined;
          onNews(sense, 'measured', undefined);
        }
        if (sense.limits.length > 0) this.#judge(sense, at, atRest && isFirst, onNews);
        continue;
      }
      // What lies outside the calibration is shown all the same: a new one is made from it.
      if (reading.fault === undefined && Number.isFinite(raw)) {
        numbers[at + RAW] = raw;
        if (atMs <= nowMs) numbers[at + RAW_MS] = atMs;
      }
      numbers[at + RAW_AGE_S] = (nowMs - numbers[at + RAW_MS]!) / 1000;
      numbers[at + AGE_S] = (nowMs - lastMs) / 1000;
      if (Number.isNaN(numbers[at + SINCE_MS]!)) numbers[at + SINCE_MS] = nowMs;
      if (nowMs - numbers[at + SINCE_MS]! <= sense.staleMs) continue;
      if (sense.fault === undefined) this.#lose(sense, at, onNews);
      else if (sense.vague && reading.fault !== undefined) {
        sense.fault = reading.fault;
        sense.vague = false;
        onNews(sense, 'fault', undefined);
      }
    }
  }

  /**
   * Shows what is measured of rails and servos there. A sense goes before what the servo's own board
   * tells, also where it is not measured: what is shown as measured is then nothing.
   */
  show({ rails, servos }: ShownOn): void {
    for (let i = 0; i < this.#shown.length; i++) {
      const { sense, rail, servo } = this.#shown[i]!;
      const from = sense.index * STRIDE + VALUE;
      if (rail >= 0) {
        if (sense.kind === 'volts') rails[rail]!.measuredV = this.#numbers[from]!;
        else rails[rail]!.measuredA = this.#numbers[from]!;
      } else if (sense.kind === 'position') servos[servo]!.measuredDeg = this.#numbers[from]!;
      else servos[servo]!.measuredA = this.#numbers[from]!;
    }
  }

  /** Looks up what the senses are of, once all of it is there; the first of a kind counts. */
  link({ rails, servos }: ShownOn): void {
    const taken = new Set<string>();
    for (const sense of this.list) {
      const { entry, kind } = sense;
      const names = { rail: undefined, channel: undefined, ...entry };
      const rail = rails.findIndex(({ name }) => name === names.rail);
      const servo = servos.findIndex(({ name }) => name === names.channel);
      const key = `${kind} ${rail} ${servo}`;
      if ((rail < 0 && servo < 0) || taken.has(key)) continue;
      taken.add(key);
      this.#shown.push({ sense, rail, servo });
    }
  }

  /** Whether a limit begins or ends to count. @param atOnce parkBelow need not wait to begin */
  #judge(
    sense: Sense,
    at: number,
    atOnce: boolean,
    onNews: (sense: Sense, news: SenseNews, limit: SenseLimit | undefined) => void,
  ): void {
    const numbers = this.#numbers;
    const value = numbers[at + VALUE]!;
    const atMs = numbers[at + AT_MS]!;
    for (let k = 0; k < sense.limits.length; k++) {
      const limit = sense.limits[k]!;
      const isPast = sense.hasPassed(k);
      const isAbove = limit.side === 'above';
      const asks = isPast
        ? isAbove
          ? value <= limit.back
          : value >= limit.back
        : isAbove
          ? value > limit.at
          : value < limit.at;
      const place = at + ASKS_MS + k;
      if (!asks) {
        numbers[place] = Number.NaN;
        continue;
      }
      if (Number.isNaN(numbers[place]!)) numbers[place] = atMs;
      const now = atOnce && !isPast && limit.what === 'parkBelow';
      if (!now && atMs - numbers[place]! < limit.forS * 1000) continue;
      numbers[place] = Number.NaN;
      sense.passed ^= 1 << k;
      onNews(sense, isPast ? 'back' : 'passed', limit);
    }
  }

  /** A reading below the limit of dips counts at once, the lowest since the look before included. */
  #judgeDip(
    sense: Sense,
    at: number,
    value: number,
    onNews: (sense: Sense, news: SenseNews, limit: SenseLimit | undefined) => void,
  ): void {
    const { low } = this.#reading;
    const isLow = low >= sense.range[0] && low <= sense.range[1];
    const least = isLow ? Math.min(interpolate(sense.points, 0, low), value) : value;
    this.#numbers[at + LOW] = least;
    if (sense.dips ? value < sense.dip!.back : least >= sense.dip!.at) return;
    sense.dips = !sense.dips;
    onNews(sense, sense.dips ? 'dipped' : 'risen', undefined);
  }

  /** There has been no good reading for too long. */
  #lose(
    sense: Sense,
    at: number,
    onNews: (sense: Sense, news: SenseNews, limit: SenseLimit | undefined) => void,
  ): void {
    const numbers = this.#numbers;
    numbers[at + VALUE] = Number.NaN;
    if (!Number.isFinite(this.#reading.value)) numbers[at + RAW] = Number.NaN;
    for (let k = 0; k < MOST_LIMITS; k++) numbers[at + ASKS_MS + k] = Number.NaN;
    sense.dips = false;
    const told = this.#reading.fault ?? sense.board.sensesFault;
    sense.fault = told ?? this.#vagueFault(sense, numbers[at + AT_MS]!);
    sense.vague = told === undefined;
    // What is not measured warns of nothing but that; a prop that is kept parked stays so.
    for (const [k, { what }] of sense.limits.entries())
      if (what !== 'parkBelow') sense.passed &= ~(1 << k);
    onNews(sense, 'fault', undefined);
  }

  #vagueFault(sense: Sense, lastMs: number): string {
    const { value, atMs } = this.#reading;
    const [low, high] = sense.range;
    if (!Number.isFinite(value) && atMs > Number.NEGATIVE_INFINITY)
      return 'its readings are not numbers; check the sensor and its wiring';
    if (value < low || value > high)
      return `it reads ${tidy(value, 3)} V, outside its calibration (${tidy(low, 3)} to ${tidy(high, 3)} V with a margin); check its wires`;
    const since =
      lastMs === Number.NEGATIVE_INFINITY ? 'there is no reading yet' : 'there are no new readings';
    return `${since}; check the board and its wiring`;
  }
}

/** The latest reading of a sense. */
function ask(
  { kind, board, at }: Sense,
  nowMs: number,
  into: Reading,
  levelOf: (board: Board, input: number) => 0 | 1 | undefined,
): void {
  into.value = Number.NaN;
  into.low = Number.POSITIVE_INFINITY;
  into.atMs = Number.NEGATIVE_INFINITY;
  into.fault = undefined;
  if (kind === 'contact') {
    const level = levelOf(board, at);
    if (level === undefined) into.fault = 'its board has failed; see the journal';
    else {
      into.value = level === CLOSED ? 1 : 0;
      into.atMs = nowMs;
    }
    return;
  }
  if (board.dead) into.fault = 'its board has failed; see the journal';
  if (board.dead || !board.measures) return;
  try {
    board.driver.reading?.(at, nowMs, into);
  } catch (error) {
    // A driver does not throw here; if one does, it must fault its own reading alone.
    into.value = Number.NaN;
    into.low = Number.POSITIVE_INFINITY;
    into.fault = (error as Error).message;
  }
}
