import fs from 'node:fs/promises';
import { dirname } from 'node:path';
import type { Params, Result } from '../api/methods.ts';
import type { TakeShown } from '../core/commands.ts';
import type { Recording } from '../core/recorder.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author } from '../prop/file/status.ts';
import { versionOf } from '../prop/file/version.ts';
import { didYouMean } from '../prop/finding.ts';
import { valueAt } from '../prop/schema-remarks.ts';
import { takeBytes, takesBeside } from '../prop/take/take-files.ts';
import type { Take } from '../prop/take/take-text.ts';
import { Refusal } from '../shared/errors.ts';
import { type BesideFs, diskRemedy, putUnderFreeName, removeBeside } from './beside-file.ts';
import type { Keeper } from './keeper.ts';
import type { PlannerPort } from './planner.ts';
import type { MadeTake } from './planner-take.ts';

/** Files of one take that are kept: the next one gets a number. */
const MAX_OF_A_NAME = 100;

/**
 * Makes takes of recordings, beside the prop file, which lists them. A take is never written over: an
 * earlier version of the prop file may name it, and comes back with it.
 */
export class Takes {
  readonly #keeper: Keeper;
  readonly #planner: PlannerPort;
  readonly #fs: BesideFs;
  /** The prop file, with all links followed. */
  #target = '';
  #queue: Promise<unknown> = Promise.resolve();

  constructor(keeper: Keeper, planner: PlannerPort, fileSystem: BesideFs = fs) {
    this.#keeper = keeper;
    this.#planner = planner;
    this.#fs = fileSystem;
  }

  /** @param target the prop file beside which they are */
  besides(target: string): void {
    this.#target = target;
  }

  /**
   * What would be saved of a recording, or of the take that is named.
   * @throws Refusal `take.unknown`, `take.unusable`, `take.trimmed-away`, `take.too-long`
   */
  read(
    recording: Recording | undefined,
    params: Params<'take.read'>,
    session: string,
  ): Promise<TakeShown> {
    // One at a time: whoever asks without end takes one place of the planner's, not all.
    return this.#inTurn(async () => {
      const made = await this.#make(recording, params, session);
      const { channels, wholeS: durationS, recorded, simplified, differenceDeg } = made;
      return { channels, durationS, recorded, simplified, differenceDeg };
    });
  }

  /**
   * @param more what else the same change of the prop file writes, by the digest of the take's text
   * @throws Refusal; neither the prop file nor what is beside it has changed then
   */
  save(
    recording: Recording | undefined,
    params: Params<'take.save'>,
    by: Author,
    more: (digest: string) => Edit[] = () => [],
  ): Promise<Result<'take.save'>> {
    return this.#inTurn(() => this.#save(recording, params, by, more));
  }

  /** Whether a take of the prop file is as it was when its text had this digest. */
  isAsMade(name: string, digest: string | undefined): boolean {
    const file = valueAt(this.#keeper.rawOnDisk, ['takes', name]);
    if (typeof file !== 'string' || digest === undefined) return false;
    const found = takeBytes(dirname(this.#target), file);
    return 'bytes' in found && versionOf(found.bytes.toString()) === digest;
  }

  #inTurn<T>(task: () => Promise<T>): Promise<T> {
    const result = this.#queue.then(task);
    this.#queue = result.catch(() => undefined);
    return result;
  }

  async #save(
    recording: Recording | undefined,
    params: Params<'take.save'>,
    by: Author,
    more: (digest: string) => Edit[],
  ): Promise<Result<'take.save'>> {
    const { name, replace = false } = params;
    this.#refuseTaken(name, replace);
    const { text, points, durationS } = await this.#make(recording, params, by.session);
    const { file, isNew } = await this.#write(name, text);
    try {
      this.#refuseTaken(name, replace);
      const edits = () => [{ path: ['takes', name], value: file }, ...more(versionOf(text))];
      const { version, pending } = await this.#list(params, edits, by);
      return { name, version, file, pending, points, durationS };
    } catch (error) {
      // The prop file may name it all the same, where only its durability is in doubt.
      if (isNew && !this.#names(name, file)) await removeBeside(this.#target, file, this.#fs);
      throw error;
    }
  }

  /** The prop file lists it. Without a version, what somebody else has changed meanwhile is no obstacle. */
  async #list(
    { name, version, replace = false }: Params<'take.save'>,
    edits: () => Edit[],
    by: Author,
  ): Promise<Result<'prop.apply'>> {
    const base = version ?? this.#keeper.presentVersion;
    try {
      return await this.#keeper.apply({ edits: edits() }, base, by);
    } catch (error) {
      const present = this.#keeper.presentVersion;
      const changed = error instanceof Refusal && error.word === 'file.other-version';
      if (version !== undefined || !changed || present === base) throw error;
      this.#refuseTaken(name, replace);
      return this.#keeper.apply({ edits: edits() }, present, by);
    }
  }

  /** @throws Refusal `take.name-taken` */
  #refuseTaken(name: string, replace: boolean): void {
    if (replace || valueAt(this.#keeper.rawOnDisk, ['takes', name]) === undefined) return;
    throw new Refusal(
      'take.name-taken',
      `there is a take ${name} already; give another name, or replace it on purpose (replace: true)`,
      { name },
    );
  }

  #names(name: string, file: string): boolean {
    return valueAt(this.#keeper.rawOnDisk, ['takes', name]) === file;
  }

  async #make(
    recording: Recording | undefined,
    params: Params<'take.read'>,
    session: string,
  ): Promise<MadeTake> {
    const of = recording ?? this.#take(params.take ?? '');
    return (await this.#planner.ask(session, { about: 'take', of, params })) as MadeTake;
  }

  /** A take that the prop file lists. @throws Refusal `take.unknown`, `take.unusable` */
  #take(name: string): Take {
    const takes = (valueAt(this.#keeper.rawOnDisk, ['takes']) ?? {}) as Record<string, unknown>;
    if (!Object.hasOwn(takes, name))
      throw new Refusal(
        'take.unknown',
        `there is no take ${name}; ${didYouMean(name, Object.keys(takes))}`,
        { take: name },
      );
    const read = takesBeside(this.#target)(String(takes[name]));
    if (read && 'take' in read) return read.take;
    const why = read ? `${read.wrong}; ${read.right}` : 'its file is not known';
    throw new Refusal('take.unusable', `take ${name} cannot be read: ${why}`, { take: name });
  }

  /** Under the first free name; the same take is not written twice. */
  async #write(name: string, text: string): Promise<{ file: string; isNew: boolean }> {
    const own = { stem: name, ending: 'take', most: MAX_OF_A_NAME };
    try {
      const put = await putUnderFreeName(this.#target, own, text, this.#fs);
      if (put) return put;
    } catch (error) {
      throw this.#trouble(error as NodeJS.ErrnoException, name);
    }
    throw new Refusal(
      'take.too-many',
      `${MAX_OF_A_NAME} files of take ${name} are beside the prop file; delete those that you no longer need, or give another name`,
      { name },
    );
  }

  #trouble(error: NodeJS.ErrnoException, file: string): Refusal {
    const { code = 'failed' } = error;
    return new Refusal(
      'take.not-saved',
      `the take cannot be saved (${code}); the prop file is as it was, and the recording is still there: ${diskRemedy(error, this.#target)}, then save it again`,
      { file, errno: code },
    );
  }
}
