import fs from 'node:fs/promises';
import type { Params, Result } from '../api/methods.ts';
import type { Recording } from '../core/recorder.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author } from '../prop/file/status.ts';
import { didYouMean, listed } from '../prop/finding.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { degIn } from '../prop/kinds/servo.ts';
import { longCue } from '../prop/long-cue.ts';
import { softLimits } from '../prop/mechanics.ts';
import { freeName } from '../prop/name.ts';
import type { Cue } from '../prop/schema.ts';
import { valueAt } from '../prop/schema-remarks.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { soundKind } from '../sound/kind.ts';
import { MAX_SOUND_BYTES } from '../sound/limits.ts';
import { readSound, soundProblem, tooManyBytes } from '../sound/read-sound.ts';
import { type BesideFs, diskRemedy, putUnderFreeName, removeBeside } from './beside-file.ts';
import type { Keeper } from './keeper.ts';
import type { PlannerPort } from './planner.ts';
import type { Takes } from './takes.ts';
import { Uploads } from './upload.ts';

/** A saved point may be that far from the curve (deg). */
const TOLERANCE_DEG = 0.3;

/** Files of one sound that are kept: the next one gets a number. */
const MAX_OF_A_NAME = 30;

/** The take that was made of a sound's loudness. */
interface Followed {
  take?: string;
  digest?: string;
}

/** Answers about the sounds beside the prop file, and makes servos follow them. */
export class Sounds {
  readonly #keeper: Keeper;
  readonly #planner: PlannerPort;
  readonly #takes: Takes;

  readonly #uploads: Uploads;
  readonly #fs: BesideFs;
  /** The prop file, with all links followed. */
  #target = '';
  #queue: Promise<unknown> = Promise.resolve();

  constructor(
    keeper: Keeper,
    planner: PlannerPort,
    takes: Takes,
    clock: Clock,
    fileSystem: BesideFs = fs,
  ) {
    this.#keeper = keeper;
    this.#planner = planner;
    this.#takes = takes;
    this.#uploads = new Uploads('sound', clock);
    this.#fs = fileSystem;
  }

  /** @param target the prop file beside which they are */
  besides(target: string): void {
    this.#target = target;
  }

  // --- a new one ----------------------------------------------------------------------------------

  /** @throws Refusal `sound.too-large`, `sound.busy` */
  begin(bytes: number, session: string): { upload: number; partBytes: number } {
    if (bytes > MAX_SOUND_BYTES) {
      const { message, right } = tooManyBytes(bytes);
      throw new Refusal('sound.too-large', `the sound is too large: ${message}; ${right}`, {
        limitBytes: MAX_SOUND_BYTES,
      });
    }
    return this.#uploads.begin(bytes, session);
  }

  /** @throws Refusal `sound.no-upload`, `sound.wrong-part` */
  part(given: Params<'sound.part'>, session: string): { received: number } {
    return this.#uploads.part(given, session);
  }

  /** A session is gone, or gives up its sound. Returns whether it sent one. */
  gone(session: string): boolean {
    return this.#uploads.gone(session);
  }

  /** @throws Refusal; neither the prop file nor what is beside it has changed then */
  async add(params: Params<'sound.add'>, by: Author): Promise<Result<'sound.add'>> {
    const { upload, name, replace = false } = params;
    if (!replace) this.#refuseTaken(name);
    const bytes = this.#uploads.end(upload, by.session);
    const question = { about: 'loudness', name, bytes } as const;
    // Decoded whole: what is listed can be played.
    const { durationS } = (await this.#planner.ask(by.session, question)) as { durationS: number };
    const work = this.#queue.then(() => this.#keep(params, bytes, by));
    this.#queue = work.catch(() => undefined);
    return { sound: name, durationS, ...(await work) };
  }

  async #keep(
    { name, replace = false, version }: Params<'sound.add'>,
    bytes: Uint8Array,
    by: Author,
  ): Promise<{ file: string; version: string; pending: boolean }> {
    const { file, isNew } = await this.#write(name, bytes);
    try {
      if (!replace) this.#refuseTaken(name);
      const entry = valueAt(this.#keeper.rawOnDisk, ['sounds', name]);
      // What follows it stays.
      const path = typeof entry === 'object' ? ['sounds', name, 'file'] : ['sounds', name];
      const base = version ?? this.#keeper.presentVersion;
      const edits = [{ path, value: file }];
      const { version: next, pending } = await this.#keeper.apply({ edits }, base, by);
      return { file, version: next, pending };
    } catch (error) {
      if (isNew && !this.#names(file)) await removeBeside(this.#target, file, this.#fs);
      throw error;
    }
  }

  /** @throws Refusal `sound.unknown`, `sound.in-use` */
  async remove(params: Params<'sound.remove'>, by: Author): Promise<Result<'sound.remove'>> {
    const { sound, version = this.#keeper.presentVersion } = params;
    this.#entry(sound);
    const cues = this.#cuesThatPlay(sound);
    if (cues.length > 0)
      throw new Refusal(
        'sound.in-use',
        `sound ${sound} is played by ${cues.length > 1 ? 'cues' : 'cue'} ${listed(cues)}; remove those steps first`,
        { sound, cues },
      );
    const edits = [{ path: ['sounds', sound] }];
    const applied = await this.#keeper.apply({ edits }, version, by);
    return { sound, version: applied.version, pending: applied.pending };
  }

  #cuesThatPlay(sound: string): string[] {
    const { cues = {} } = this.#keeper.rawOnDisk as { cues?: Record<string, Cue> };
    const plays = (cue: Cue) =>
      longCue(cue).steps.some((step) => Object.values(step.sound ?? {}).includes(sound));
    return Object.keys(cues).filter((name) => plays(cues[name]!));
  }

  #refuseTaken(name: string): void {
    if (valueAt(this.#keeper.rawOnDisk, ['sounds', name]) === undefined) return;
    throw new Refusal(
      'sound.name-taken',
      `there is a sound ${name} already; give another name, or replace it on purpose (replace: true)`,
      { name },
    );
  }

  /** Whether the prop file lists a file. */
  #names(file: string): boolean {
    const sounds = valueAt(this.#keeper.rawOnDisk, ['sounds']) ?? {};
    return Object.keys(sounds).some((name) => this.#entry(name).file === file);
  }

  async #write(name: string, bytes: Uint8Array): Promise<{ file: string; isNew: boolean }> {
    const own = { stem: name, ending: soundKind(bytes)!, most: MAX_OF_A_NAME };
    try {
      const put = await putUnderFreeName(this.#target, own, bytes, this.#fs);
      if (put) return put;
    } catch (error) {
      const { code = 'failed' } = error as NodeJS.ErrnoException;
      const remedy = diskRemedy(error as NodeJS.ErrnoException, this.#target);
      throw new Refusal(
        'sound.not-saved',
        `the sound cannot be saved (${code}); the prop file and its sounds are as they were: ${remedy}, then try again`,
        { name, errno: code },
      );
    }
    throw new Refusal(
      'sound.too-many',
      `${MAX_OF_A_NAME} files of sound ${name} are beside the prop file; delete those that you no longer need, or give another name`,
      { name },
    );
  }

  // --- those that are listed ----------------------------------------------------------------------

  /** How loud a sound is over time. @throws Refusal `sound.unknown`, `sound.unreadable` */
  async read({ sound }: Params<'sound.read'>, session: string): Promise<object> {
    const bytes = await this.#bytes(sound);
    return this.#planner.ask(session, { about: 'loudness', name: sound, bytes });
  }

  /** @throws Refusal; neither the prop file nor what is beside it has changed then */
  async follow(params: Params<'sound.follow'>, by: Author): Promise<Result<'sound.follow'>> {
    const { sound, channel, shut, open, version } = params;
    const bytes = await this.#bytes(sound);
    const { channels } = this.#keeper.inUse.loaded.prop;
    const spec = servoOf(Object.hasOwn(channels, channel) ? channels[channel] : undefined);
    if (!spec)
      throw new Refusal('channel.wrong-kind', `${channel} is not a servo of the prop; name one`, {
        channel,
      });
    const limitsDeg = softLimits(spec);
    const at = (to: number | string): number => {
      const deg = degIn(spec, to);
      if (deg === undefined)
        throw new Refusal(
          'mark.unknown',
          `${channel} has no mark ${to}; give one of its marks, or degrees`,
          { channel, mark: to },
        );
      if (deg < limitsDeg[0] || deg > limitsDeg[1])
        throw new Refusal(
          'limits.outside',
          `${tidy(deg)} deg is outside the limits of ${channel}, ${tidy(limitsDeg[0])} to ${tidy(limitsDeg[1])} deg`,
          { channel, value: deg, limitsDeg: [...limitsDeg] },
        );
      return deg;
    };
    const { floorLufs, rangeLu, attackS, releaseS } = params;
    const how = {
      channel,
      shutDeg: at(shut),
      openDeg: at(open),
      floorLufs,
      rangeLu,
      attackS,
      releaseS,
    };
    const recording = (await this.#planner.ask(by.session, {
      about: 'follow',
      name: sound,
      bytes,
      how,
    })) as Recording;
    const { name, isOwn } = this.#takeFor(sound, channel);
    const kept = { shut, open, floorLufs, rangeLu, attackS, releaseS, take: name };
    const saved = await this.#takes.save(
      recording,
      {
        name,
        replace: isOwn,
        toleranceDeg: TOLERANCE_DEG,
        ...(version !== undefined && { version }),
      },
      by,
      (digest) => [this.#followEdit(sound, channel, { ...kept, digest })],
    );
    const { file, points, durationS, version: next, pending } = saved;
    return { take: name, file, points, durationS, version: next, pending };
  }

  /** The take that was made of this sound before, where nobody has changed it since; or another name. */
  #takeFor(sound: string, channel: string): { name: string; isOwn: boolean } {
    const before = this.#entry(sound).follow?.[channel];
    if (before?.take !== undefined && this.#takes.isAsMade(before.take, before.digest))
      return { name: before.take, isOwn: true };
    const takes = Object.keys(valueAt(this.#keeper.rawOnDisk, ['takes']) ?? {});
    return { name: freeName(`${sound}_${channel}`.slice(0, 60), new Set(takes)), isOwn: false };
  }

  #followEdit(sound: string, channel: string, value: object): Edit {
    const { file, follow } = this.#entry(sound);
    return { path: ['sounds', sound], value: { file, follow: { ...follow, [channel]: value } } };
  }

  /** What the prop file on the disk says of a sound. */
  #entry(sound: string): { file: string; follow?: Record<string, Followed> } {
    const entries = valueAt(this.#keeper.rawOnDisk, ['sounds']) ?? {};
    const entry = valueAt(entries, [sound]) as string | { file: string } | undefined;
    if (entry === undefined) throw unknownSound(sound, Object.keys(entries));
    return typeof entry === 'string' ? { file: entry } : entry;
  }

  /** @throws Refusal `sound.unknown`, `sound.unreadable` */
  async #bytes(sound: string): Promise<Uint8Array> {
    const { soundFiles = {} } = this.#keeper.inUse.loaded.prop;
    const found = Object.hasOwn(soundFiles, sound) ? soundFiles[sound] : undefined;
    if (!found) throw unknownSound(sound, Object.keys(soundFiles));
    const { path, file } = found;
    try {
      return Uint8Array.from(await readSound(path));
    } catch (error) {
      const { wrong, right } = soundProblem(error as Error);
      throw new Refusal('sound.unreadable', `${file}: ${wrong}; ${right}`, { sound });
    }
  }
}

function unknownSound(sound: string, names: readonly string[]): Refusal {
  const reason = `there is no sound ${sound}; ${didYouMean(sound, names)}`;
  return new Refusal('sound.unknown', reason, { sound });
}
