import { Worker } from 'node:worker_threads';
import { endThread } from '../../shared/end-thread.ts';
import { type Driver, type Frame, type OutputSpec, SOUND_NUMBERS } from '../board.ts';
import type { AlsaBoard } from './facts.ts';
import { LEAD_MS, SLACK_MS } from './lead.ts';
import { monotonicMs, type SoundCall, type SoundReply, type SoundWork } from './sound-work.ts';

/** Old and young generation of the thread (MB); the samples themselves are outside of them. */
const OLD_MB = 96;
const YOUNG_MB = 4;
/** A thread that ended is started again after this (ms). */
const AGAIN_MS = 5000;
/** Reports that wait to be fetched. */
const MOST_NEWS = 20;

export function create({ device }: AlsaBoard): Driver {
  return new AlsaDriver(device);
}

/**
 * A sound card. Each channel has three outputs: the amplitude, the number of what is to play, and in how
 * many ms that is to be heard. Files, decoding and the device are in a thread of its own, and nothing here
 * waits for it; a card that is missing is reported, and never makes the prop faulted.
 */
export class AlsaDriver implements Driver {
  readonly pulseStepUs = 1;
  readonly leadS = (LEAD_MS + SLACK_MS) / 1000;
  readonly effectS = LEAD_MS / 1000;
  readonly #device: string;
  readonly #file: URL;
  #outputs: readonly OutputSpec[] = [];
  #values = new Float64Array(0);
  /** By output: its channel, or -1. */
  #channelOf = new Int16Array(0);
  /** By channel: its outputs. */
  #channels: { gain: number; play: number; in: number }[] = [];
  #gains: Float64Array = new Float64Array(0);
  #asked = new Uint8Array(0);
  #worker: Worker | undefined;
  #again: NodeJS.Timeout | undefined;
  readonly #news: string[] = [];

  constructor(device: string, file: URL = new URL('./sound-worker.js', import.meta.url)) {
    this.#device = device;
    this.#file = file;
  }

  async open(outputs: readonly OutputSpec[]): Promise<void> {
    await this.close();
    this.#outputs = outputs;
    this.#values = Float64Array.from(outputs, ({ safe }) => safe);
    const plays = outputs.flatMap(({ plant }, play) =>
      plant?.kind === 'sounds' ? [{ ...plant, play }] : [],
    );
    this.#channels = plays.map(({ gain, delay, play }) => ({ gain, play, in: delay }));
    this.#channelOf = new Int16Array(outputs.length).fill(-1);
    for (const [channel, { gain, play }] of this.#channels.entries()) {
      this.#channelOf[gain] = channel;
      this.#channelOf[play] = channel;
    }
    const count = this.#channels.length;
    this.#gains = new Float64Array(new SharedArrayBuffer(8 * Math.max(1, count)));
    this.#asked = new Uint8Array(count);
    if (count > 0) this.#begin();
  }

  write({ count, output, value }: Frame, nowMs: number): void {
    for (let i = 0; i < count; i++) {
      const at = output[i]!;
      this.#values[at] = value[i]!;
      const channel = this.#channelOf[at]!;
      if (channel < 0) continue;
      const { gain, play } = this.#channels[channel]!;
      if (at === gain) this.#gains[channel] = value[i]!;
      if (at === play) this.#asked[channel] = 1;
    }
    for (let channel = 0; channel < this.#asked.length; channel++) {
      if (this.#asked[channel] === 0) continue;
      this.#asked[channel] = 0;
      const { play, in: delay } = this.#channels[channel]!;
      const sound = this.#values[play]! % SOUND_NUMBERS;
      // The tick may have begun late; both clocks are the system's monotonic one.
      const agoMs = performance.now() - nowMs;
      const atMs = monotonicMs() - agoMs + this.#values[delay]!;
      this.#post(sound === 0 ? { t: 'silence', channel } : { t: 'play', channel, sound, atMs });
    }
  }

  /** It has no inputs; a sound card is never asked. */
  read(): 0 | 1 {
    throw new Error('a sound card has no inputs');
  }

  news(): string | undefined {
    return this.#news.shift();
  }

  async close(): Promise<void> {
    clearTimeout(this.#again);
    const worker = this.#worker;
    this.#worker = undefined;
    if (!worker) return;
    this.#gains.fill(0);
    await endThread(worker, () => worker.postMessage({ t: 'close' } satisfies SoundCall), 500);
  }

  #post(call: SoundCall): void {
    this.#worker?.postMessage(call);
  }

  #begin(): void {
    const channels = this.#outputs.flatMap(({ plant }) =>
      plant?.kind === 'sounds' ? [{ name: plant.channel, files: plant.files }] : [],
    );
    const worker = new Worker(this.#file, {
      name: `sound device ${this.#device}`,
      workerData: { device: this.#device, gains: this.#gains, channels } satisfies SoundWork,
      resourceLimits: { maxOldGenerationSizeMb: OLD_MB, maxYoungGenerationSizeMb: YOUNG_MB },
    });
    this.#worker = worker;
    worker.unref();
    let cause = 'it ended by itself';
    worker.on('message', ({ text }: SoundReply) => this.#tell(text));
    worker.on('error', (error) => {
      cause = error.message;
    });
    worker.on('exit', () => {
      if (worker !== this.#worker) return;
      this.#worker = undefined;
      this.#tell(
        `the thread of sound device ${this.#device} ended: ${cause}. The prop is silent; everything else goes on`,
      );
      this.#again = setTimeout(() => this.#begin(), AGAIN_MS);
      this.#again.unref();
    });
  }

  #tell(text: string): void {
    if (this.#news.length < MOST_NEWS) this.#news.push(text);
  }
}
