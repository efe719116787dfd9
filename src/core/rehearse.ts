import type { Driver, Frame } from '../drivers/driver.ts';
import type { Prop } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import { Telemetry } from '../shared/telemetry.ts';
import { worstFlashes, worstRedFlashesOfLight } from '../sums/flash.ts';
import { lightnessToLuminance, luminanceOfLinear, type Rgb } from '../sums/light.ts';
import { Core } from './core.ts';
import { Journal } from './journal.ts';
import type { JournalEntry } from './requests.ts';

/** Where a channel is in the course of a cue: only the samples in which it changes. */
export interface Track {
  name: string;
  kind: 'servo' | 'relay' | 'lamp' | 'rgb';
  /** s since the start of the cue. */
  tS: number[];
  /** Servo: deg. Relay: 0 or 1. Lamp: lightness 0..1. Rgb: #rrggbb. */
  value: (number | string)[];
  /** Most general and red flashes in any second, of a lamp or rgb channel. */
  flashes?: number;
  redFlashes?: number;
  /** Time closed in all (s), of a relay. */
  onS?: number;
}

export interface RailTrack {
  name: string;
  limitA: number;
  tS: number[];
  amps: number[];
  peakA: number;
  peakAtS: number;
}

/** Something told on the way: what was refused, delayed, slower than asked. */
export interface Event {
  tS: number;
  what: string;
  text: string;
  /** The channel that it is about, where it is one. */
  channel?: string;
  /** The step of the cue that it is about, from 0. */
  cue?: string;
  step?: number;
}

export interface Rehearsal {
  cue: string;
  /** Until everything stands still again (s). */
  durationS: number;
  /** The cue goes on until it is stopped; only so much of it was computed. */
  cutShort: boolean;
  /** When each step of the cue started and ended (s); null when it did not. */
  steps: { startS: number | null; endS: number | null }[];
  tracks: Track[];
  rails: RailTrack[];
  events: Event[];
}

/** A cue that goes on until it is stopped is followed for this long (s). */
const LONGEST_S = 600;
const TICK_MS = 5;
/** Told by the journal on the way, and worth a line. */
const TOLD: ReadonlySet<string> = new Set([
  'refused',
  'delayed',
  'slower',
  'interlock',
  'duty',
  'park',
  'stop',
  'fault',
]);

/** A board on which nothing happens. */
class NoBoard implements Driver {
  readonly pulseStepUs = 1;
  async open(): Promise<void> {}
  write(_frame: Frame): void {}
  /** The stop button's contact rests closed; nobody presses it here. */
  read(): 0 | 1 {
    return 0;
  }
  async close(): Promise<void> {}
}

/** Stands still until it is told the time. */
class ToldClock implements Clock {
  ms = 0;
  nowMs(): number {
    return this.ms;
  }
  wallMs(): number {
    return this.ms;
  }
  after(): () => void {
    return () => {};
  }
}

/**
 * Computes a whole cue without hardware, with the core itself on a clock of its own: the same file,
 * cue and seeds give the same answer to the last bit. It starts with every servo known and parked.
 * @throws Refusal when the cue may not start
 */
export async function rehearse(prop: Prop, cue: string): Promise<Rehearsal> {
  const clock = new ToldClock();
  const events: Event[] = [];
  let startedS = Number.POSITIVE_INFINITY;
  const heard = (entry: JournalEntry): void => {
    if (core.nowS < startedS || !TOLD.has(entry.what)) return;
    const { what, text, values } = entry;
    const about = { cue: values?.cue as string, step: values?.step as number };
    const tS = time(core.nowS - startedS);
    // What the gate tells of a move, the cue tells again, and which step it was.
    const last = events.at(-1);
    if (about.step !== undefined && last?.tS === tS && last.what === what && !last.cue)
      events.pop();
    events.push({
      tS,
      what,
      text,
      ...(values?.channel !== undefined && { channel: values.channel as string }),
      ...(values?.cue !== undefined && about),
    });
  };
  const telemetry = Telemetry.create(
    Object.keys(prop.channels).length,
    Object.keys(prop.rails).length,
  );
  const core: Core = new Core({
    // A button that is pressed in the workshop is none of the rehearsal's business.
    prop: { ...prop, stopInput: undefined, triggers: {} },
    drivers: new Map(Object.keys(prop.boards).map((name) => [name, new NoBoard()])),
    clock,
    telemetry,
    store: { restored: 'none', bootNowS: () => 0, save: () => {} },
    journal: new Journal(clock, heard),
    tickMs: TICK_MS,
  });
  for (const servo of core.body.servos) servo.known = true;
  await core.open();
  core.take({ id: 'rehearsal', client: 'rehearsal', slot: -1, unattended: true });
  core.wake('rehearsal');
  const tick = (): void => {
    clock.ms += TICK_MS;
    core.tick(clock.ms, 1);
  };
  while (core.condition === 'waking') tick();

  startedS = core.nowS;
  const recorder = new Recorder(core, startedS);
  recorder.note();
  core.cues.run(cue, 'rehearsal', core.nowS);
  const steps = core.cues.stepsOf(cue);
  const busy = (): boolean =>
    core.cues.anyRunning ||
    core.condition === 'parking' ||
    core.body.servos.some((servo) => servo.moving || servo.delayed) ||
    core.body.lights.some((light) => light.fading || light.flashHeld) ||
    core.body.relays.some((relay) => Number.isFinite(relay.offAtS));
  do {
    tick();
    recorder.note();
  } while (busy() && core.nowS - startedS < LONGEST_S);
  return {
    cue,
    durationS: time(core.nowS - startedS),
    cutShort: busy(),
    steps: steps.map(({ state, startedS: fromS, endedS }) => ({
      startS: state === 'waiting' ? null : time(fromS - startedS),
      endS: state === 'done' ? time(endedS - startedS) : null,
    })),
    ...recorder.tracks(),
    events,
  };
}

/** Whole ms: ticks add up rounding that nobody wants to read. */
function time(seconds: number): number {
  return Math.round(seconds * 1000) / 1000;
}

/** The linear light of an rgb channel, which is not rounded to 8 bits as its colour is. */
interface Shown extends Rgb {
  tS: number;
  /** Relative. */
  luminance: number;
}

/** Writes down what changes from tick to tick. */
class Recorder {
  readonly #core: Core;
  readonly #startedS: number;
  readonly #tracks: Track[];
  /** Of every channel, filled for those that are rgb: flashes are counted in these. */
  readonly #shown: Shown[][];
  readonly #rails: RailTrack[];

  constructor(core: Core, startedS: number) {
    this.#core = core;
    this.#startedS = startedS;
    this.#tracks = core.body.channels.map(({ name, kind }) => ({ name, kind, tS: [], value: [] }));
    this.#shown = core.body.channels.map(() => []);
    this.#rails = core.body.rails.map(({ name, limitA }) => ({
      name,
      limitA,
      tS: [],
      amps: [],
      peakA: 0,
      peakAtS: 0,
    }));
  }

  note(): void {
    const tS = time(this.#core.nowS - this.#startedS);
    const { channels, rails } = this.#core.body;
    for (let i = 0; i < channels.length; i++) {
      const channel = channels[i]!;
      const track = this.#tracks[i]!;
      let value: number | string;
      if (channel.kind === 'servo') value = channel.state.pos;
      else if (channel.kind === 'relay') value = channel.on ? 1 : 0;
      else if (channel.kind === 'lamp') value = channel.value;
      else {
        const { red, green, blue } = channel.light;
        const shown = this.#shown[i]!;
        const last = shown.at(-1);
        if (last && last.red === red && last.green === green && last.blue === blue) continue;
        shown.push({ tS, red, green, blue, luminance: luminanceOfLinear(channel.light) });
        value = channel.hex;
      }
      if (track.value.at(-1) === value) continue;
      track.tS.push(tS);
      track.value.push(value);
    }
    for (let i = 0; i < rails.length; i++) {
      const { amps } = rails[i]!;
      const track = this.#rails[i]!;
      if (amps > track.peakA) {
        track.peakA = amps;
        track.peakAtS = tS;
      }
      if (track.amps.at(-1) === amps) continue;
      track.tS.push(tS);
      track.amps.push(amps);
    }
  }

  tracks(): { tracks: Track[]; rails: RailTrack[] } {
    const endS = time(this.#core.nowS - this.#startedS);
    for (const [i, track] of this.#tracks.entries()) {
      const shown = this.#shown[i]!;
      if (track.kind === 'relay') track.onS = closedS(track, endS);
      else if (track.kind === 'lamp') track.flashes = lampFlashes(track);
      else if (track.kind === 'rgb') {
        track.flashes = worstFlashes(shown);
        track.redFlashes = worstRedFlashesOfLight(shown);
      }
    }
    return { tracks: this.#tracks, rails: this.#rails };
  }
}

function closedS({ tS, value }: Track, endS: number): number {
  let closed = 0;
  for (const [i, at] of tS.entries()) if (value[i] === 1) closed += (tS[i + 1] ?? endS) - at;
  return time(closed);
}

function lampFlashes({ tS, value }: Track): number {
  return worstFlashes(
    tS.map((at, i) => ({ tS: at, luminance: lightnessToLuminance(value[i] as number) })),
  );
}
