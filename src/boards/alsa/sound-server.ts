import { stat } from 'node:fs/promises';
import { decodeSound, type Sound } from '../../sound/decode.ts';
import { MAX_SOUNDS_S } from '../../sound/limits.ts';
import { mustBeSoundFile, readSound, soundProblem } from '../../sound/read-sound.ts';
import { SoundError } from '../../sound/sound-error.ts';
import { CHIRP, type SoundFile } from '../board.ts';
import { type Clip, chirp, toClip } from './mix.ts';
import { type Around, Player } from './player.ts';
import { monotonicMs, type SoundCall, type SoundWork } from './sound-work.ts';

/** How often the files are looked at: one that was replaced is read again (ms). */
const LOOK_MS = 3000;

/** What is known of one file. */
interface Kept {
  file: SoundFile;
  /** Size and time of change of what was read. */
  stamp: string | undefined;
  clip: Clip | undefined;
  durationS: number;
  problem: string | undefined;
}

/** The thread of a sound card: decodes its sounds before they are asked for, and plays them. */
export class SoundServer {
  readonly #player: Player;
  readonly #work: SoundWork;
  readonly #around: Around;
  readonly #kept = new Map<string, Kept>();
  readonly #chirp = chirp();
  #reading: Promise<void>;
  #timer: NodeJS.Timeout | undefined;

  constructor(work: SoundWork, around: Around = { nowMs: monotonicMs, news: () => {} }) {
    this.#work = work;
    this.#around = around;
    for (const { files } of work.channels)
      for (const file of files)
        this.#kept.set(file.path, {
          file,
          stamp: undefined,
          clip: undefined,
          durationS: 0,
          problem: undefined,
        });
    this.#player = new Player(work.device, work.gains, around);
    this.#player.open();
    this.#reading = this.#readAll();
    this.#timer = setInterval(() => {
      this.#reading = this.#reading.then(() => this.#readAll());
    }, around.lookMs ?? LOOK_MS);
    this.#timer.unref();
  }

  serve(call: SoundCall): void {
    if (call.t === 'close') {
      clearInterval(this.#timer);
      this.#player.close();
      return;
    }
    const { channel } = call;
    if (call.t === 'silence') {
      this.#player.silence(channel);
      return;
    }
    if (call.sound === CHIRP) {
      this.#player.play(channel, 'the tone', this.#chirp, call.atMs);
      return;
    }
    const file = this.#work.channels[channel]?.files[call.sound - 1];
    const kept = file && this.#kept.get(file.path);
    if (!kept) return;
    if (kept.clip) {
      this.#player.play(channel, kept.file.name, kept.clip, call.atMs);
      return;
    }
    this.#player.silence(channel);
    this.#around.news(
      `${kept.file.name} is not heard: ${kept.problem ?? 'its file is still being read; ask again in a moment'}`,
    );
  }

  async #readAll(): Promise<void> {
    for (const kept of this.#kept.values()) {
      const was = kept.problem;
      try {
        await this.#read(kept);
      } catch (error) {
        kept.clip = undefined;
        kept.durationS = 0;
        kept.problem = problemText(kept.file, error as Error);
      }
      if (kept.problem !== undefined && kept.problem !== was)
        this.#around.news(`sound ${kept.file.name}: ${kept.problem}`);
    }
  }

  async #read(kept: Kept): Promise<void> {
    const { file } = kept;
    const stamp = await stampOf(file.path).catch((error) => {
      // The same file may come back.
      kept.stamp = undefined;
      throw error;
    });
    // Decoding takes long, and what plays must not break off meanwhile: it is read after that.
    if (stamp === kept.stamp || !this.#player.isSilent) return;
    kept.stamp = stamp;
    const sound: Sound = await decodeSound(await readSound(file.path));
    let othersS = 0;
    for (const other of this.#kept.values()) if (other !== kept) othersS += other.durationS;
    if (othersS + sound.durationS > MAX_SOUNDS_S)
      throw new SoundError(
        `all sounds together are longer than ${MAX_SOUNDS_S} s`,
        'make them shorter, or fewer',
      );
    kept.clip = toClip(sound.channels);
    kept.durationS = sound.durationS;
    kept.problem = undefined;
  }
}

/** Another one is another content. @throws SoundError where it is not a file, or is too large */
async function stampOf(path: string): Promise<string> {
  const stats = await stat(path);
  mustBeSoundFile(stats);
  return `${stats.size} ${stats.mtimeMs} ${stats.ino}`;
}

function problemText({ file }: SoundFile, error: Error): string {
  const { wrong, right } = soundProblem(error);
  return `${file}: ${wrong}; ${right}`;
}
