import { Refusal } from '../shared/errors.ts';
import { TAKE_HZ } from '../sums/take-points.ts';
import type { Journal } from './journal.ts';
import type { Session } from './lease.ts';
import type { Servo } from './servo.ts';

/** The longest recording (s); of 24 servos it fills 1.4 MB. */
export const LONGEST_TAKE_S = 300;

/** Times that differ by less are the same but for rounding (s). */
const SAME_S = 1e-6;

/** What runs while a take is recorded, from its beginning on: a cue, or a sound alone. */
export interface Over {
  over?: string | undefined;
  sound?: { channel: string; sound: string } | undefined;
}

/** What was recorded; it stays until the next recording begins, or the daemon ends. */
export interface Recording extends Over {
  channels: readonly string[];
  /** One number (deg) for each channel, sample after sample, in memory that other threads can read. */
  samples: Float32Array;
  /** How many samples there are: the first is where the servos stood at the beginning. */
  count: number;
  /** Why it ended; undefined while it goes on. */
  ended: string | undefined;
  /** The take that it was last saved as. */
  saved?: string;
}

/** How long a recording is (s). */
export function durationOf({ count }: Recording): number {
  return Math.max(0, count - 1) / TAKE_HZ;
}

/**
 * Records what servos are commanded to do: the set point of each of them, 50 times a second, into memory
 * that is there before it begins. A tick allocates nothing for it.
 */
export class Recorder {
  readonly #journal: Journal;
  readonly #tickMs: number;
  #servos: readonly Servo[] = [];
  #recording: Recording | undefined;
  /** Time since the last sample (s). */
  #sinceS = 0;
  /** Until what runs meanwhile begins, which is time 0 of the take (s). */
  #waitS = 0;
  #who = '';
  /** The session that began the last recording. */
  session = '';
  /** Called when a recording has ended. */
  readonly #onEnd: () => void;

  constructor(journal: Journal, tickMs: number, onEnd: () => void) {
    this.#journal = journal;
    this.#tickMs = tickMs;
    this.#onEnd = onEnd;
  }

  get active(): boolean {
    return this.#recording !== undefined && this.#recording.ended === undefined;
  }

  /** The last recording, or the one under way. */
  get recording(): Recording | undefined {
    return this.#recording;
  }

  /** As `recording`. @throws Refusal `take.nothing` */
  mustHave(): Recording {
    if (this.#recording) return this.#recording;
    const reason = 'nothing has been recorded since the daemon started; begin with take.begin';
    throw new Refusal('take.nothing', reason);
  }

  /** The last recording, once it has ended. @throws Refusal `take.running`, `take.nothing` */
  ended(): Recording {
    const recording = this.mustHave();
    if (recording.ended === undefined) throw this.#running();
    return recording;
  }

  /** @throws Refusal `take.running` while one is under way */
  mustBeFree(): void {
    if (this.active) throw this.#running();
  }

  #running(): Refusal {
    return new Refusal('take.running', `${this.#who} is recording; end that first (take.end)`, {
      who: this.#who,
    });
  }

  /**
   * Begins a recording, which takes the place of the last one.
   * @param meanwhile what runs meanwhile
   * @param inS when that begins, and with it the recording: a sound is heard later than it is asked for (s)
   */
  begin(servos: readonly Servo[], meanwhile: Over, session: Session, inS = 0): void {
    this.mustBeFree();
    const most = 1 + LONGEST_TAKE_S * TAKE_HZ;
    const bytes = Float32Array.BYTES_PER_ELEMENT * servos.length * most;
    const channels = servos.map(({ name }) => name);
    // The system gives its pages when they are first written: to ask for it takes no time.
    const samples = new Float32Array(new SharedArrayBuffer(bytes));
    this.#servos = servos;
    const { client: who } = session;
    this.#who = who;
    this.session = session.id;
    this.#sinceS = 0;
    this.#waitS = inS;
    this.#recording = { channels, ...meanwhile, samples, count: 0, ended: undefined };
    this.#sample(this.#recording, 0);
    const text = `records ${channels.join(', ')}${meanwhileText(meanwhile)}`;
    this.#journal.add(who, 'take', text, { channels, ...meanwhile });
  }

  /** Ends the recording under way, if there is one; what was recorded stays. */
  end(why: string, who = this.#who): void {
    const recording = this.#recording;
    if (!recording || recording.ended !== undefined) return;
    recording.ended = why;
    this.#servos = [];
    const durationS = durationOf(recording);
    this.#journal.add(who, 'take', `the recording ends after ${durationS} s: ${why}`, {
      channels: recording.channels,
      durationS,
    });
    this.#onEnd();
  }

  /**
   * Once a tick, after everything has moved.
   * @param elapsed ticks since the one before: after a stall everything stood still meanwhile
   */
  tick(elapsed: number, dtS: number): void {
    const recording = this.#recording;
    if (!recording || recording.ended !== undefined) return;
    const tickS = (elapsed * this.#tickMs) / 1000;
    if (this.#waitS > 0) {
      this.#waitS -= tickS;
      if (this.#waitS > SAME_S) return;
      // Its beginning is now, or was within this tick.
      recording.count = 0;
      this.#sinceS = Math.max(0, -this.#waitS);
      this.#waitS = 0;
      this.#sample(recording, Math.min(this.#sinceS, dtS));
      return;
    }
    this.#sinceS += tickS;
    const periodS = 1 / TAKE_HZ;
    while (this.#sinceS >= periodS - SAME_S) {
      this.#sinceS -= periodS;
      if ((recording.count + 1) * this.#servos.length > recording.samples.length) {
        this.end(`a recording lasts ${LONGEST_TAKE_S} s at most`, 'prop');
        return;
      }
      this.#sample(recording, Math.min(this.#sinceS, dtS));
    }
  }

  /** Notes where the servos were `agoS` before now. */
  #sample(recording: Recording, agoS: number): void {
    const servos = this.#servos;
    const { samples } = recording;
    const at = recording.count * servos.length;
    for (let i = 0; i < servos.length; i++) {
      const { setpoint } = servos[i]!;
      samples[at + i] = setpoint.pos - agoS * setpoint.vel;
    }
    recording.count++;
  }
}

function meanwhileText({ over, sound }: Over): string {
  if (over !== undefined) return ` while cue ${over} runs`;
  return sound ? ` while ${sound.channel} plays ${sound.sound}` : '';
}
