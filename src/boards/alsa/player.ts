import { type ChildProcess, spawn } from 'node:child_process';
import { PLAYED_HZ } from '../../sound/limits.ts';
import { LEAD_MS } from './lead.ts';
import { type Clip, FRAME_BYTES, isOver, mix, type Voice } from './mix.ts';
import { bytesRead, DevicePosition, StreamClock } from './position.ts';

const TICK_MS = 20;
/** The buffer of the device, the largest part of that (us), and how often it is filled (us). */
const BUFFER_US = 60_000;
const PERIOD_US = 10_000;
/** A player that does not start, or ends, is started again after this, and each time later (ms). */
const AGAIN_MS = 1000;
const AGAIN_MOST_MS = 30_000;
/** What starts later than this, or drifts further, is reported (ms). */
const TOLERANCE_MS = 10;
/** A player that takes no data for this long is ended (ms); in its first seconds it may be opening the device. */
const STALLED_MS = 1000;
const OPENING_MS = 5000;
/** A player reads what there is every period: with less than this it has read no sound (bytes). */
const LEAST_READ = 256;

/** What a player needs from outside; tests put their own in. */
export interface Around {
  /** Monotonic time (ms). */
  nowMs(): number;
  /** Something that a person should know. */
  news(text: string): void;
  /** Environment of the player's process, and where the kernel lists its sound devices. */
  env?: NodeJS.ProcessEnv;
  asound?: string;
  /** How often the files are looked at (ms). */
  lookMs?: number;
}

/** What one channel plays. */
interface Playing extends Voice {
  channel: number;
  name: string;
  /** The end of the last stretch in which it could be heard (frame). */
  loudUntil: number;
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
  /** Replaced by the next sound of their channel: they end with the next part. */
  #leaving: Playing[] = [];
  #child: ChildProcess | undefined;
  #clock: StreamClock | undefined;
  #position: DevicePosition | undefined;
  #written = 0;
  /** What the player had read at the last look; when it has taken data last (ms). */
  #read: number | undefined;
  #tookMs = 0;
  #startedMs = 0;
  /** Bytes of the last part. */
  #partBytes = 0;
  #timer: NodeJS.Timeout | undefined;
  #again: NodeJS.Timeout | undefined;
  #failures = 0;
  #problem: string | undefined;
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
      position: this.#position?.isKnown ? 'device' : 'written',
      beganMs: this.#clock?.msAt(0),
    };
  }

  /** Nothing plays or is about to. */
  get isSilent(): boolean {
    return this.#voices.size === 0;
  }

  /** Plays a clip on a channel, so that it is heard at `atMs`, or as soon as it can be after that. */
  play(channel: number, name: string, clip: Clip, atMs: number): void {
    const clock = this.#clock;
    const startFrame = clock ? Math.max(clock.frameAt(atMs), this.#written) : 0;
    const heardMs = clock ? clock.msAt(startFrame) : atMs;
    const driftMs = clock?.driftMs ?? 0;
    const before = this.#voices.get(channel);
    if (before) this.#leaving.push(before);
    const voice = { channel, name, clip, startFrame, gain: 0, heardMs, driftMs, loudUntil: 0 };
    this.#voices.set(channel, voice);
    const lateMs = heardMs - atMs;
    if (lateMs > TOLERANCE_MS)
      this.#around.news(`${name} starts ${Math.round(lateMs)} ms late: it was asked for too late`);
  }

  /** Ends what a channel plays; what is in the device's buffer and can be heard is thrown away. */
  silence(channel: number): void {
    const voice = this.#voices.get(channel);
    this.#voices.delete(channel);
    // Where one of them can still be heard, all of the buffer goes.
    const before = this.#leaving.filter((one) => one.channel === channel);
    const loudUntil = Math.max(voice?.loudUntil ?? 0, ...before.map((one) => one.loudUntil));
    if (!this.#clock || loudUntil <= this.#heardFrame()) return;
    this.#kill();
    this.#start();
  }

  /** Up to where everything has been heard: a player that takes no data has the rest before it. */
  #heardFrame(): number {
    const nowMs = this.#around.nowMs();
    return this.#clock!.frameAt(Math.min(nowMs, this.#tookMs + 2 * TICK_MS));
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
    this.#leaving = [];
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
    this.#read = undefined;
    this.#startedMs = this.#around.nowMs();
    this.#tookMs = this.#startedMs;
    this.#partBytes = 0;
    this.#position =
      child.pid === undefined ? undefined : new DevicePosition(child.pid, this.#around.asound);
    this.#clock = new StreamClock(this.#startedMs);
    for (const voice of this.#voices.values()) voice.loudUntil = 0;
    this.#align(this.#clock);
  }

  /** The stream has had a gap, or is another: what plays goes on where it would be by now. */
  #align(clock: StreamClock): void {
    for (const voice of this.#voices.values()) {
      voice.startFrame = clock.frameAt(voice.heardMs);
      voice.driftMs = clock.driftMs;
    }
  }

  #ended(child: ChildProcess, problem: string): void {
    if (child !== this.#child || this.#closed) return;
    this.#child = undefined;
    this.#clock = undefined;
    this.#failed(problem);
  }

  #failed(problem: string): void {
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
    const nowMs = this.#around.nowMs();
    if (!child || !clock) {
      for (const [channel, { clip, heardMs }] of this.#voices)
        if (nowMs > heardMs + (clip.left.length * 1000) / PLAYED_HZ) this.#voices.delete(channel);
      return;
    }
    if (this.#isStalled(child, nowMs)) {
      this.#kill();
      this.#failed(`sound device ${this.#device} takes no sound; restart what plays there`);
      return;
    }
    // The device takes nothing: more would only come later.
    if (child.stdin!.writableLength > 0) return;
    this.#look(clock, nowMs);
    const playing = clock.frameAt(nowMs);
    if (playing > this.#written && this.#written > 0) {
      this.#broke(nowMs - clock.msAt(this.#written));
      clock.resume(this.#written, nowMs);
      this.#align(clock);
    }
    const count = clock.frameAt(nowMs + LEAD_MS) - this.#written;
    this.#partBytes = Math.max(0, count) * FRAME_BYTES;
    if (count <= 0) return;
    const voices = [...this.#voices.values(), ...this.#leaving];
    const gains = [
      ...[...this.#voices.keys()].map((channel) => this.#gains[channel] ?? 0),
      ...this.#leaving.map(() => 0),
    ];
    const { bytes, loud } = mix(voices, gains, this.#written, count);
    this.#written += count;
    for (const [i, voice] of voices.entries()) if (loud[i]) voice.loudUntil = this.#written;
    child.stdin!.write(bytes);
    const heard = this.#heardFrame();
    this.#leaving = this.#leaving.filter(({ loudUntil }) => loudUntil > heard);
    for (const [channel, voice] of this.#voices)
      if (isOver(voice, heard)) this.#over(channel, voice, clock);
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
  #look(clock: StreamClock, nowMs: number): void {
    const wasKnown = this.#position?.isKnown;
    const found = this.#position?.look();
    if (!found) return;
    const { frame, again } = found;
    if (!again) {
      clock.measured(frame, nowMs);
      return;
    }
    const lateMs = ((clock.frameAt(nowMs) - frame) * 1000) / PLAYED_HZ;
    if (wasKnown && lateMs > TOLERANCE_MS) this.#broke(lateMs);
    clock.resume(frame, nowMs);
    this.#align(clock);
  }

  #broke(gapMs: number): void {
    const wasHeard = [...this.#voices.values()].some(({ loudUntil }) => loudUntil > 0);
    if (wasHeard)
      this.#around.news(
        `the sound broke off for ${Math.round(gapMs)} ms: the machine was too busy`,
      );
  }

  /** Whether the player takes no data any more. */
  #isStalled(child: ChildProcess, nowMs: number): boolean {
    const read = child.pid === undefined ? undefined : bytesRead(child.pid);
    const before = this.#read;
    this.#read = read;
    const takes =
      read === undefined || before === undefined
        ? child.stdin!.writableLength === 0 && before === read
        : read - before >= Math.min(LEAST_READ, this.#partBytes);
    if (takes) this.#tookMs = nowMs;
    const isNew = nowMs - this.#startedMs < OPENING_MS;
    return nowMs - this.#tookMs > STALLED_MS && !isNew;
  }
}

function firstLine(text: string): string {
  const [line = 'no reason given'] = text.split('\n').filter((one) => one.trim() !== '');
  return line.replace(/^aplay: /, '').slice(0, 200);
}
