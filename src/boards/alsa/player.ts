import { type ChildProcess, spawn } from 'node:child_process';
import { PLAYED_HZ } from '../../sound/limits.ts';
import { LEAD_MS } from './lead.ts';
import { type Clip, isOver, mix, type Voice } from './mix.ts';
import { readStatus, StreamClock, statusFile } from './position.ts';

const TICK_MS = 20;
/** The buffer of the device, the largest part of that (us), and how often it is filled (us). */
const BUFFER_US = 60_000;
const PERIOD_US = 10_000;
/** A player that does not start, or ends, is started again after this, and each time later (ms). */
const AGAIN_MS = 1000;
const AGAIN_MOST_MS = 30_000;
/** What starts later than this, or drifts further, is reported (ms). */
const TOLERANCE_MS = 10;
/** How often the device is asked for its position (ms). */
const LOOK_MS = 200;

/** What a player needs from outside; tests put their own in. */
export interface Around {
  /** Monotonic time (ms). */
  nowMs(): number;
  /** Something that a person should know. */
  news(text: string): void;
  /** Environment of the player's process. */
  env?: NodeJS.ProcessEnv;
}

/** What one channel plays. */
interface Playing extends Voice {
  name: string;
  /** When its start is heard (ms). */
  heardMs: number;
  /** What the device's drift was when it was put into the stream (ms). */
  driftMs: number;
}

/**
 * Plays on one ALSA device, through `aplay`: its input is a stream without gaps, silence included, so that
 * it is known when the device plays what is written now. The stream is never more than `LEAD_MS` ahead,
 * and the player ends when its input does: without this process there is silence.
 */
export class Player {
  readonly #device: string;
  readonly #around: Around;
  readonly #gains: Float64Array;
  readonly #voices = new Map<number, Playing>();
  #child: ChildProcess | undefined;
  #clock: StreamClock | undefined;
  #written = 0;
  /** The end of the last stretch in which something could be heard. */
  #loudUntil = 0;
  #timer: NodeJS.Timeout | undefined;
  #again: NodeJS.Timeout | undefined;
  #failures = 0;
  #problem: string | undefined;
  #status: string | undefined;
  #lookedMs = 0;
  #isMeasured = false;
  #closed = false;

  /** @param gains the amplitude of each channel now, 0 to 1; shared, and read with every part written */
  constructor(device: string, gains: Float64Array, around: Around) {
    this.#device = device;
    this.#gains = gains;
    this.#around = around;
  }

  open(): void {
    this.#start();
    this.#timer = setInterval(() => this.#feed(), TICK_MS);
  }

  /** Whether the device plays, silence included; how it is known where it is; when its stream began (ms). */
  get state(): { plays: boolean; position: 'device' | 'written'; beganMs: number | undefined } {
    return {
      plays: this.#child !== undefined,
      position: this.#isMeasured ? 'device' : 'written',
      beganMs: this.#clock?.msAt(0),
    };
  }

  /** Plays a clip on a channel, so that it is heard at `atMs`, or as soon as it can be after that. */
  play(channel: number, name: string, clip: Clip, atMs: number): void {
    const clock = this.#clock;
    const startFrame = clock ? Math.max(clock.frameAt(atMs), this.#written) : 0;
    const heardMs = clock ? clock.msAt(startFrame) : atMs;
    const driftMs = clock?.driftMs ?? 0;
    this.#voices.set(channel, { name, clip, startFrame, gain: 0, heardMs, driftMs });
    const lateMs = heardMs - atMs;
    if (lateMs > TOLERANCE_MS)
      this.#around.news(`${name} starts ${Math.round(lateMs)} ms late: it was asked for too late`);
  }

  /** Ends what a channel plays; what is in the device's buffer and can be heard is thrown away. */
  silence(channel: number): void {
    if (!this.#voices.delete(channel)) return;
    const clock = this.#clock;
    if (!clock || this.#loudUntil <= clock.frameAt(this.#around.nowMs())) return;
    this.#kill();
    this.#start();
  }

  close(): void {
    this.#closed = true;
    clearInterval(this.#timer);
    clearTimeout(this.#again);
    this.#kill();
  }

  #kill(): void {
    const child = this.#child;
    this.#child = undefined;
    this.#clock = undefined;
    child?.stdin?.destroy();
    // Its buffer would still be heard: the kernel stops the device with its last user.
    child?.kill('SIGKILL');
  }

  #start(): void {
    if (this.#closed) return;
    const options = `-q -t raw -f S16_LE -c 2 -r ${PLAYED_HZ} --buffer-time=${BUFFER_US} --period-time=${PERIOD_US} --start-delay=${PERIOD_US}`;
    const child = spawn('aplay', [...options.split(' '), '-D', this.#device, '-'], {
      stdio: ['pipe', 'ignore', 'pipe'],
      ...(this.#around.env && { env: this.#around.env }),
    });
    let said = '';
    child.stderr!.on('data', (part: Buffer) => {
      said = (said + part.toString()).slice(-2000);
    });
    // It ends while something is written to it: its end is reported by itself.
    child.stdin!.on('error', () => {});
    child.on('error', (error: NodeJS.ErrnoException) =>
      this.#ended(
        child,
        error.code === 'ENOENT'
          ? 'aplay is not installed; sudo apt install alsa-utils'
          : `aplay does not start: ${error.message}`,
      ),
    );
    // Not its exit: what it said may be read after that.
    child.on('close', () =>
      this.#ended(
        child,
        `sound device ${this.#device} does not play: ${firstLine(said)}; plug it in, or name another; aplay -L lists them`,
      ),
    );
    this.#child = child;
    this.#written = 0;
    this.#loudUntil = 0;
    this.#status = undefined;
    this.#isMeasured = false;
    this.#lookedMs = 0;
    this.#clock = new StreamClock(this.#around.nowMs());
    // What other channels play goes on where it would be by now.
    for (const voice of this.#voices.values()) {
      voice.startFrame = this.#clock.frameAt(voice.heardMs);
      voice.driftMs = 0;
    }
  }

  #ended(child: ChildProcess, problem: string): void {
    if (child !== this.#child || this.#closed) return;
    this.#child = undefined;
    this.#clock = undefined;
    if (problem !== this.#problem)
      this.#around.news(`${problem}. The prop is silent; everything else goes on`);
    this.#problem = problem;
    const waitMs = Math.min(AGAIN_MS * 2 ** this.#failures, AGAIN_MOST_MS);
    this.#failures++;
    this.#again = setTimeout(() => this.#start(), waitMs);
  }

  /** Writes what is still missing of the stream. */
  #feed(): void {
    const [child, clock] = [this.#child, this.#clock];
    if (!child || !clock) return;
    const nowMs = this.#around.nowMs();
    // The device takes nothing: more would only come later.
    if (child.stdin!.writableLength > 0) return;
    this.#look(child, clock, nowMs);
    const playing = clock.frameAt(nowMs);
    if (playing > this.#written && this.#written > 0) {
      const gapMs = Math.round(nowMs - clock.msAt(this.#written));
      if (this.#loudUntil >= this.#written && this.#voices.size > 0)
        this.#around.news(`the sound broke off for ${gapMs} ms: the machine was too busy`);
      clock.resume(this.#written, nowMs);
    }
    const count = clock.frameAt(nowMs + LEAD_MS) - this.#written;
    if (count <= 0) return;
    const channels = [...this.#voices.keys()];
    const voices = [...this.#voices.values()];
    const gains = channels.map((channel) => this.#gains[channel] ?? 0);
    const { bytes, loud } = mix(voices, gains, this.#written, count);
    this.#written += count;
    if (loud) this.#loudUntil = this.#written;
    child.stdin!.write(bytes);
    for (const [channel, voice] of this.#voices)
      if (isOver(voice, clock.frameAt(nowMs))) this.#over(channel, voice, clock);
    if (this.#problem !== undefined && nowMs - clock.msAt(0) > AGAIN_MS) {
      this.#around.news(`sound device ${this.#device} plays again`);
      this.#problem = undefined;
      this.#failures = 0;
    }
  }

  #over(channel: number, { name, driftMs }: Playing, clock: StreamClock): void {
    this.#voices.delete(channel);
    const driftedMs = clock.driftMs - driftMs;
    if (Math.abs(driftedMs) > TOLERANCE_MS)
      this.#around.news(
        `${name} ended ${Math.round(Math.abs(driftedMs))} ms ${driftedMs > 0 ? 'late' : 'early'}: the sound device has a clock of its own`,
      );
  }

  /** Asks the device where it is, where it can tell. */
  #look(child: ChildProcess, clock: StreamClock, nowMs: number): void {
    if (nowMs - this.#lookedMs < LOOK_MS || child.pid === undefined) return;
    this.#lookedMs = nowMs;
    if (!this.#isMeasured) this.#status = statusFile(child.pid);
    if (this.#status === undefined) return;
    const frames = readStatus(this.#status, child.pid);
    if (frames === undefined) return;
    clock.measured(frames, this.#around.nowMs(), !this.#isMeasured);
    this.#isMeasured = true;
  }
}

function firstLine(text: string): string {
  const [line = 'no reason given'] = text.split('\n').filter((one) => one.trim() !== '');
  return line.replace(/^aplay: /, '').slice(0, 200);
}
