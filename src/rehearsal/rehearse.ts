import type { Actuator } from '../core/actuators.ts';
import type { Core } from '../core/core.ts';
import type { ChannelKind } from '../prop/kinds/channel.ts';
import type { Prop } from '../prop/schema.ts';
import {
  type LightSamples,
  luminancesOf,
  worstFlashes,
  worstRedFlashes,
  worstTogether,
} from '../sums/flash.ts';
import { formatPacked, lightnessToLuminance } from '../sums/light.ts';
import { type Event, REHEARSAL, Stage, TICK_MS, time } from './stage.ts';

export { type Event, TICK_MS } from './stage.ts';

/** The values of a channel during a cue: only the samples at which they change. */
export interface Track {
  name: string;
  kind: ChannelKind;
  /** s since the start of the cue. */
  tS: number[];
  /** Servo: deg. Relay: 0 or 1. Lamp: lightness 0..1. Rgb: #rrggbb. */
  value: (number | string)[];
  /** For a lamp or rgb channel: the most general and red flashes in any second. */
  flashes?: number;
  redFlashes?: number;
  /** For a relay: the total time closed (s). */
  onS?: number;
}

/** All light of the prop together, except lights for which the file lifts the limit; see `PropLight`. */
export interface TogetherTrack {
  /** Most general and colour flashes in any second, if nothing were held back. */
  plannedFlashes: number;
  plannedColourFlashes: number;
  /** The most general and colour flashes in any second, as shown. */
  flashes: number;
  colourFlashes: number;
}

export interface RailTrack {
  name: string;
  limitA: number;
  tS: number[];
  amps: number[];
  peakA: number;
  peakAtS: number;
}

export interface Rehearsal {
  cue: string;
  /** Time until everything is still again (s). */
  durationS: number;
  /** The cue goes on until it is stopped; only this much of it was computed. */
  cutShort: boolean;
  /** When each step of the cue started and ended (s); null when it did not. */
  steps: { startS: number | null; endS: number | null }[];
  tracks: Track[];
  rails: RailTrack[];
  light: TogetherTrack;
  events: Event[];
}

/** A cue without an end is rehearsed for this long (s). */
const LONGEST_S = 600;
/** Ticks between two looks at the time that is left. */
const LOOK_TICKS = 200;

/**
 * Computes a whole cue without hardware, with the core itself on a virtual clock: the same file, cue and
 * seeds give exactly the same result. It starts with every servo known and parked.
 * @param longestS where it is cut short (s of the cue)
 * @param hasTime called now and then; once it returns false, it is cut short
 * @throws Refusal when the cue may not start
 */
export async function rehearse(
  prop: Prop,
  cue: string,
  longestS = LONGEST_S,
  hasTime: () => boolean = () => true,
): Promise<Rehearsal> {
  const stage = await Stage.of(prop);
  const { core } = stage;
  stage.wake();

  stage.listen();
  const recorder = new Recorder(core);
  recorder.note();
  core.cues.run(cue, REHEARSAL, core.nowS);
  const steps = core.cues.stepsOf(cue);
  let ticks = 0;
  do {
    stage.tick();
    recorder.note();
  } while (stage.isBusy && stage.sinceS < longestS && (++ticks % LOOK_TICKS !== 0 || hasTime()));
  return {
    cue,
    durationS: time(stage.sinceS),
    cutShort: stage.isBusy,
    steps: steps.map(({ state, startedS: fromS, endedS }) => ({
      startS: state === 'waiting' ? null : time(fromS - stage.startedS),
      endS: state === 'done' ? time(endedS - stage.startedS) : null,
    })),
    ...recorder.tracks(),
    events: stage.events,
  };
}

/** Ticks that are recorded before they are copied to the columns, one column at a time. */
const BLOCK = 64;

/** A number that may change in every tick; only its changes are stored. */
class Column {
  count = 0;
  #tick = new Int32Array(1024);
  #value = new Float64Array(1024);

  /** Adds `count` numbers, from index `from` on; the first is for `tick`. */
  add(numbers: Float64Array, from: number, count: number, tick: number): void {
    while (this.count + count > this.#tick.length) this.#grow();
    const ticks = this.#tick;
    const values = this.#value;
    let at = this.count;
    for (let i = 0; i < count; i++) {
      const value = numbers[from + i]!;
      if (at > 0 && value === values[at - 1]) continue;
      ticks[at] = tick + i;
      values[at++] = value;
    }
    this.count = at;
  }

  get values(): Float64Array {
    return this.#value.subarray(0, this.count);
  }

  /** When each value begins (s). */
  times(): number[] {
    const times = new Array<number>(this.count);
    for (let i = 0; i < times.length; i++) times[i] = timeOf(this.#tick[i]!);
    return times;
  }

  changesWith(other: Column): boolean {
    if (this.count !== other.count) return false;
    for (let i = 0; i < this.count; i++) if (this.#tick[i] !== other.#tick[i]) return false;
    return true;
  }

  #grow(): void {
    const tick = new Int32Array(2 * this.#tick.length);
    const value = new Float64Array(2 * this.#tick.length);
    tick.set(this.#tick);
    value.set(this.#value);
    this.#tick = tick;
    this.#value = value;
  }
}

/** Linear light by tick; not rounded to 8 bits, as the recorded colour is. */
class LightColumns {
  count = 0;
  tS = new Float64Array(1024);
  red = new Float64Array(1024);
  green = new Float64Array(1024);
  blue = new Float64Array(1024);

  add(tick: number, red: number, green: number, blue: number): void {
    const last = this.count - 1;
    if (this.red[last] === red && this.green[last] === green && this.blue[last] === blue) return;
    if (this.count === this.tS.length) this.#resize(2 * this.count);
    this.tS[this.count] = timeOf(tick);
    this.red[this.count] = red;
    this.green[this.count] = green;
    this.blue[this.count++] = blue;
  }

  /** For counting flashes. */
  samples(): LightSamples {
    this.#resize(this.count);
    return this;
  }

  #resize(length: number): void {
    for (const key of ['tS', 'red', 'green', 'blue'] as const) {
      const column = new Float64Array(length);
      column.set(this[key].subarray(0, Math.min(this.count, length)));
      this[key] = column;
    }
  }
}

/** Several times as fast as `Array.from`. */
function listOf(numbers: Float64Array): number[] {
  const list = new Array<number>(numbers.length);
  for (let i = 0; i < list.length; i++) list[i] = numbers[i]!;
  return list;
}

/** Packed colours as `#rrggbb`, each made once. */
function wordsOf(colours: Float64Array): string[] {
  const words = new Array<string>(colours.length);
  const known = new Map<number, string>();
  for (let i = 0; i < words.length; i++) {
    const packed = colours[i]!;
    let word = known.get(packed);
    if (word === undefined) {
      word = formatPacked(packed);
      known.set(packed, word);
    }
    words[i] = word;
  }
  return words;
}

/** Time (s) of a tick since the cue began. */
function timeOf(tick: number): number {
  return (tick * TICK_MS) / 1000;
}

/** Records what changes from tick to tick. */
class Recorder {
  readonly #core: Core;
  readonly #channels: Column[];
  /** By channel; filled for those that have a colour. */
  readonly #lights: LightColumns[];
  /** All light together, as planned and as shown. */
  readonly #planned = new LightColumns();
  readonly #shown = new LightColumns();
  readonly #rails: Column[];
  readonly #times = new Map<Column, number[]>();
  /** The last ticks, up to `BLOCK` for each column. */
  readonly #block: Float64Array;
  /** Linear light of the present channel. */
  readonly #linear = new Float64Array(3);
  #noted = 0;
  /** The first tick of the block. */
  #tick = 0;

  constructor(core: Core) {
    this.#core = core;
    this.#channels = core.body.channels.map(() => new Column());
    this.#lights = core.body.channels.map(() => new LightColumns());
    this.#rails = core.body.rails.map(() => new Column());
    this.#block = new Float64Array((this.#channels.length + this.#rails.length) * BLOCK);
  }

  note(): void {
    const { channels, lights, rails } = this.#core.body;
    const now = this.#block;
    const at = this.#noted++;
    for (let i = 0; i < channels.length; i++) now[i * BLOCK + at] = channels[i]!.recordedValue;
    for (let i = 0; i < lights.length; i++) {
      const light = lights[i]!;
      if (light.valueType !== 'colour') continue;
      light.writeShown(this.#linear, 0);
      const [red, green, blue] = this.#linear;
      this.#lights[light.index]!.add(this.#tick + at, red!, green!, blue!);
    }
    const { setpoint: wanted, shown } = this.#core.light;
    this.#planned.add(this.#tick + at, wanted[0]!, wanted[1]!, wanted[2]!);
    this.#shown.add(this.#tick + at, shown[0]!, shown[1]!, shown[2]!);
    const first = this.#channels.length;
    for (let i = 0; i < rails.length; i++) now[(first + i) * BLOCK + at] = rails[i]!.amps;
    if (this.#noted === BLOCK) this.#takeOver();
  }

  #takeOver(): void {
    const columns = [...this.#channels, ...this.#rails];
    for (const [i, column] of columns.entries())
      column.add(this.#block, i * BLOCK, this.#noted, this.#tick);
    this.#tick += this.#noted;
    this.#noted = 0;
  }

  tracks(): Pick<Rehearsal, 'tracks' | 'rails' | 'light'> {
    this.#takeOver();
    const { body } = this.#core;
    const planned = worstTogether(this.#planned.samples());
    const shown = worstTogether(this.#shown.samples());
    return {
      light: {
        plannedFlashes: planned.general,
        plannedColourFlashes: planned.colour,
        flashes: shown.general,
        colourFlashes: shown.colour,
      },
      tracks: body.channels.map((channel, i) => this.#track(channel, i)),
      rails: body.rails.map(({ name, limitA }, i) => {
        const tS = this.#rails[i]!.times();
        const amps = listOf(this.#rails[i]!.values);
        const peakA = amps.reduce((most, one) => Math.max(most, one), 0);
        return { name, limitA, tS, amps, peakA, peakAtS: tS[amps.indexOf(peakA)] ?? 0 };
      }),
    };
  }

  /** Channels that move together share one list. */
  #timesOf(column: Column): number[] {
    for (const [other, times] of this.#times) if (column.changesWith(other)) return times;
    const times = column.times();
    this.#times.set(column, times);
    return times;
  }

  #track({ name, kind, valueType: records }: Actuator, i: number): Track {
    const column = this.#channels[i]!;
    const tS = this.#timesOf(column);
    if (records === 'colour') {
      const light = this.#lights[i]!.samples();
      return {
        name,
        kind,
        tS,
        value: wordsOf(column.values),
        flashes: worstFlashes(light.tS, luminancesOf(light)),
        redFlashes: worstRedFlashes(light),
      };
    }
    const value = listOf(column.values);
    if (records === 'on') return { name, kind, tS, value, onS: closedS(tS, value, this.#tick - 1) };
    if (records === 'lightness')
      return {
        name,
        kind,
        tS,
        value,
        flashes: worstFlashes(tS, column.values.map(lightnessToLuminance)),
      };
    return { name, kind, tS, value };
  }
}

function closedS(tS: readonly number[], value: readonly number[], ticks: number): number {
  let closed = 0;
  for (const [i, at] of tS.entries())
    if (value[i] === 1) closed += (tS[i + 1] ?? timeOf(ticks)) - at;
  return time(closed);
}
