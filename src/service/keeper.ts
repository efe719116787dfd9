import fs from 'node:fs/promises';
import { basename } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import type { Result } from '../api/methods.ts';
import type { ChangeMessage, Outcome } from '../core/core-prop.ts';
import type { CueChange } from '../prop/cue-change.ts';
import type { Edit } from '../prop/edit-text.ts';
import { AcceptedCopy } from '../prop/file/accepted-copy.ts';
import { CompiledForm } from '../prop/file/compiled.ts';
import {
  edited,
  firstError,
  type Replaced,
  replacements,
  undoneText,
  valid,
} from '../prop/file/edit.ts';
import { History } from '../prop/file/history.ts';
import { type FileSystem, PropDisk, type Seen, type Written } from '../prop/file/prop-disk.ts';
import type { Author, FileStatus } from '../prop/file/status.ts';
import { versionOf } from '../prop/file/version.ts';
import { type Path, pathText, show } from '../prop/finding.ts';
import { findingInfos, placedFindings } from '../prop/finding-info.ts';
import { checkProp, editInParts, type Finding, type Loaded, parseProp } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { valueAt } from '../prop/schema-remarks.ts';
import { takesSignature } from '../prop/take/take-files.ts';
import { MAX_BYTES, readText } from '../prop/text.ts';
import { truncation } from '../prop/truncation.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { ReplacingFs } from '../shared/replace-file.ts';
import { seldom } from '../shared/seldom.ts';
import { changesBetween } from './changes.ts';
import { type Compiled, changeMessages } from './core-prop.ts';
import {
  type Guard,
  loadSeen,
  openProp,
  truncationText,
  type ValidFile,
  wasInUse,
} from './opening.ts';
import type { PropView } from './protocol.ts';
import { trialCapture } from './trial-capture.ts';
import { ViewMaker } from './view.ts';

export type KeeperFs = FileSystem & ReplacingFs;

/** What the keeper reports to its surroundings. */
interface KeeperEvents {
  change(message: ChangeMessage): void;
  status(status: FileStatus): void;
  journal(who: string, text: string, values?: Record<string, unknown>): void;
  /** Something that nobody asked for went wrong. */
  trouble(error: unknown, text: string): void;
  /** Nobody has asked for anything for a moment; the next request waits until this returns. */
  idle?(): void;
}

/** How often the file is looked at (ms). A change counts when two looks in a row agree. */
const LOOK_MS = 500;
/** Between two looks when somebody waits for the answer (ms). */
const AGAIN_MS = 100;
const LOOKS = 5;
/** How often a change starts over because the file was changed by hand in that very moment. */
const ATTEMPTS = 5;
/** How long after a start from what was worked out before the text is read (ms). */
const READ_TEXT_MS = 300;
/** Once no version has been accepted for this long (ms), what was worked out from the last is kept. */
const KEEP_FORM_MS = 3000;
/** As above, after a start: the next one may come soon. */
const KEEP_FIRST_FORM_MS = 500;
/** After so long (ms) without a request there is time for what can wait. */
const IDLE_MS = 200;
/** Captures that can be undone. */
const UNDO_KEPT = 20;

/** Trial captures after the start, and the pause before each (ms), so that the core goes first. */
const WARM_UP_TIMES = 24;
const WARM_UP_MS = 300;
/** One that takes longer (ms) is the last: such a file has to be read as a whole, and a capture would wait. */
const LONG_TRIAL_MS = 1000;

const BY_HAND = 'by hand';

/** One capture, kept to be undone. */
interface Done {
  before: Loaded;
  textAfter: string;
  replaced: Replaced[];
}

/** What was found on the disk at the last look. */
interface OnDisk {
  bytes: Buffer | undefined;
  signature: string;
  version: string | null;
  /** Valid and trusted. */
  compiled: Compiled | undefined;
  /** Why it is not in use and does not wait for it either. */
  problem: string | undefined;
  findings: Finding[];
  /** Its data, where it is valid. */
  raw: unknown;
  /** Its data, errors or not, where there is any. */
  named: unknown;
}

/**
 * The prop file and the prop in use: which is what the core uses, and differs from the file while
 * that is faulty, gone, or waits until the prop is parked.
 */
export class Keeper {
  readonly #file: string;
  readonly #fs: KeeperFs;
  readonly #guard: Guard | undefined;
  readonly #clock: Clock;
  readonly #events: KeeperEvents;
  readonly #disk: PropDisk;
  readonly #views = new ViewMaker();
  readonly #gone: { has(session: string): boolean };
  readonly #program: string | undefined;
  #known!: AcceptedCopy;
  #form: CompiledForm | undefined;
  /** Opened without reading its text, which somebody may need. */
  #unread: Compiled | undefined;
  #stopReading: () => void = () => {};
  /** To be kept as it was worked out, soon. */
  #unkept: Compiled | undefined;
  #stopKeeping: () => void = () => {};
  #history!: History;
  #inUse!: Compiled;
  #onDisk!: OnDisk;
  /** Sent to the core, which waits until it is parked. */
  #pending: { id: number; next: Compiled } | undefined;
  readonly #waiters = new Map<number, (outcome: Outcome) => void>();
  #ids = 0;
  #queue: Promise<unknown> = Promise.resolve();
  #chores: Promise<unknown> = Promise.resolve();
  #done: Done[] = [];
  #candidate: string | undefined;
  /** The signature of the takes at the last look, and when they were read. */
  #takes: string | undefined;
  #takesRead: string | undefined;
  /** Opened, but nothing uses it yet. */
  #opened: { copy: string | undefined; resumed: boolean } | undefined;
  #statusText = '';
  #stopLooking: () => void = () => {};
  #stopIdling: () => void = () => {};
  #closed = false;

  /** @param program the file of the program, by which it recognises what it has worked out itself */
  constructor(
    file: string,
    clock: Clock,
    events: KeeperEvents,
    gone: { has(session: string): boolean },
    fileSystem: KeeperFs = fs,
    guard?: Guard,
    program?: string,
  ) {
    this.#guard = guard;
    this.#file = file;
    this.#program = program;
    this.#fs = fileSystem;
    this.#clock = clock;
    this.#events = events;
    this.#gone = gone;
    this.#disk = new PropDisk(file, fileSystem);
  }

  /**
   * Opens the file, or what can be trusted in its place.
   * @param target the file with all links followed
   * @param stateDir where copy and history are kept
   * @param resumed the version that the core has
   * @returns why nothing can be started: the findings, and a sentence
   */
  async open(
    target: string,
    stateDir: string,
    resumed: string | undefined,
  ): Promise<{ findings: Finding[]; refused?: string }> {
    this.#known = new AcceptedCopy(target, stateDir, this.#fs);
    this.#history = new History(target, stateDir, this.#fs);
    if (this.#program !== undefined)
      this.#form = new CompiledForm(target, stateDir, this.#program, this.#fs);
    await this.#history.read();
    const opened = await openProp(
      this.#file,
      this.#disk,
      this.#known,
      this.#history,
      resumed,
      this.#guard,
      this.#form,
    );
    const { seen, loaded } = opened;
    if ('refused' in opened) return { findings: loaded.findings, refused: opened.refused };
    if (opened.view) {
      const version = versionOf(opened.inUse.text);
      this.#inUse = { version, loaded: opened.inUse, view: opened.view as PropView };
      this.#unread = this.#inUse;
    } else this.#inUse = this.#compile(opened.inUse);
    const same = opened.inUse.text === loaded.text;
    this.#onDisk = {
      bytes: seen.bytes,
      signature: seen.signature,
      version: seen.bytes ? versionOf(loaded.text || seen.bytes.toString('latin1')) : null,
      compiled: same ? this.#inUse : undefined,
      problem: opened.problem,
      findings: loaded.findings,
      raw: loaded.prop && loaded.raw,
      named: loaded.raw,
    };
    this.#statusText = JSON.stringify(this.status());
    this.#opened = { copy: opened.copy, resumed: resumed !== undefined };
    this.#takesRead = takesSignature(this.#file, this.#filesBeside());
    return { findings: loaded.findings };
  }

  /** From now on the prop uses what was opened: keeps that, and looks for changes by hand. */
  begin(): void {
    const opened = this.#opened;
    if (!opened) return;
    this.#opened = undefined;
    const { loaded, version } = this.#inUse;
    if (opened.copy !== loaded.text) this.#keepCopy(this.#inUse);
    if (!this.#unread) this.#keepForm(this.#inUse, KEEP_FIRST_FORM_MS);
    if (this.#unread)
      this.#stopReading = this.#clock.after(READ_TEXT_MS, () => {
        void this.#inTurn(() => this.#readText()).catch((error) =>
          this.#events.trouble(error, 'the prop file could not be read again'),
        );
      });
    if (this.#onDisk.version === version && !this.#history.find(version))
      this.#note(version, BY_HAND, 'edited while the daemon did not run');
    const first = async (): Promise<void> => {
      await this.#disk.tidy();
      if (!opened.resumed) return;
      // What was on its way to the core when the thread died.
      const { bytes, compiled, problem } = this.#onDisk;
      if (compiled || problem !== undefined || !bytes) return;
      const seen = await this.#disk.look();
      await this.#takeOver(seen, await loadSeen(this.#file, seen, this.#guard));
    };
    void this.#inTurn(first).catch(() => undefined);
    this.#watch();
  }

  /**
   * Works out captures that nobody has asked for, and forgets them. The first ones of each kind take several
   * times as long as later ones, until V8 has compiled all that they run, and nobody should wait for that.
   */
  async warmUp(): Promise<void> {
    let base: Compiled | undefined;
    for (let time = WARM_UP_TIMES; time > 0; time--) {
      await this.#pause(WARM_UP_MS);
      if (this.#closed) return;
      const { after, tookMs } = await this.#tryOut(time, base ?? this.#inUse);
      if (tookMs > LONG_TRIAL_MS) return;
      // A text that has been edited is another kind of object: every other trial edits one.
      base = base ? undefined : after;
    }
  }

  /**
   * In parts, so that a capture that somebody asks for meanwhile waits for one of them alone.
   * @returns nothing in `after` where the file cannot be edited
   */
  async #tryOut(
    time: number,
    before: Compiled,
  ): Promise<{ after: Compiled | undefined; tookMs: number }> {
    let tookMs = 0;
    const part = async <T>(work: () => T): Promise<T> => {
      await this.#pause(0);
      return this.#inTurn(async () => {
        const fromMs = this.#clock.nowMs();
        const result = seldom(work);
        tookMs += this.#clock.nowMs() - fromMs;
        return result;
      });
    };
    const whole = async (edit: Edit): Promise<Compiled> => {
      const parts = editInParts(before.loaded, [edit]);
      let next = await part(() => parts.next());
      while (!next.done) next = await part(() => parts.next());
      const loaded = valid(next.value);
      return part(() => {
        const compiled = this.#compile(loaded);
        const changes = changesBetween(before.loaded.raw, loaded.raw, [edit.path]);
        for (const _ of changeMessages(0, before, compiled, changes));
        return compiled;
      });
    };
    const edit = trialCapture(before.loaded.prop, time);
    const after = edit && (await whole(edit).catch(() => undefined));
    return { after, tookMs };
  }

  /** In place of `begin`: what was worked out from the file on the disk is kept for the next start. */
  async prepare(): Promise<void> {
    if (this.#onDisk.compiled && !this.#unread) this.#unkept = this.#onDisk.compiled;
    await this.flush();
  }

  /** The file's name without its folder. */
  get name(): string {
    return basename(this.#file);
  }

  get inUse(): Compiled {
    return this.#inUse;
  }

  /** The text on the disk as last seen, or the one in use when that cannot be read. */
  get text(): string {
    return this.#onDisk.bytes?.toString() ?? this.#inUse.loaded.text;
  }

  /** The data of the file on the disk, where it is valid, or of the one in use. */
  get rawOnDisk(): unknown {
    return this.#onDisk.raw ?? this.#inUse.loaded.raw;
  }

  /** Of the file on the disk, or what is in use when that cannot be read. */
  get presentVersion(): string {
    return this.#onDisk.version ?? this.#inUse.version;
  }

  /** @throws Refusal when it is not kept any more */
  async textOf(version: string): Promise<string> {
    const text = await this.#findText(version);
    if (text !== undefined) return text;
    throw new Refusal(
      'version.unknown',
      `there is no version ${version} any more; prop.history lists those that are kept`,
      { version },
    );
  }

  status(): FileStatus {
    const { version, problem, findings, raw } = this.#onDisk;
    const same = version === this.#inUse.version || raw === undefined;
    return {
      name: this.name,
      version: this.#inUse.version,
      onDisk: version,
      pending: this.#pending !== undefined,
      ...(problem !== undefined && { problem }),
      findings,
      changed: same ? [] : changesBetween(this.#inUse.loaded.raw, raw).list,
    };
  }

  #watch(): void {
    const look = async (): Promise<void> => {
      const signature = await this.#disk.signature();
      if (this.#closed) return;
      if (signature === this.#onDisk.signature) this.#candidate = undefined;
      else if (signature !== this.#candidate) this.#candidate = signature;
      else {
        this.#candidate = undefined;
        await this.#inTurn(async () => {
          const seen = await this.#disk.look();
          if (seen.signature === signature) await this.#found(seen);
        }).catch((error) => this.#events.trouble(error, 'a change of the prop file was not read'));
      }
      await this.#lookAtTakes();
      if (!this.#closed) this.#stopLooking = this.#clock.after(LOOK_MS, () => void look());
    };
    this.#stopLooking = this.#clock.after(LOOK_MS, () => void look());
  }

  /** As for the prop file: a change of its takes and sounds counts when two looks in a row agree. */
  async #lookAtTakes(): Promise<void> {
    const files = this.#filesBeside();
    if (files.length === 0 || this.#closed) return;
    const signature = takesSignature(this.#file, files);
    const before = this.#takes;
    this.#takes = signature;
    if (signature === this.#takesRead || signature !== before) return;
    this.#takesRead = signature;
    await this.#inTurn(() => this.#takesChanged()).catch((error) =>
      this.#events.trouble(error, 'a change of a take was not read'),
    );
  }

  /** Of a file with errors as well: what is wrong may be one of its takes. */
  #filesBeside(): string[] {
    return filesBeside(this.#onDisk.named ?? this.#inUse.loaded.raw);
  }

  /** Checks the prop file with its takes as they are now. */
  async #takesChanged(): Promise<void> {
    await this.#readText();
    const { bytes, signature, compiled, findings } = this.#onDisk;
    if (!bytes) return;
    const loaded = await loadSeen(this.#file, { bytes, signature }, this.#guard);
    const same =
      compiled && loaded.prop
        ? besideBetween(compiled.loaded.prop, loaded.prop).length === 0
        : !compiled && isDeepStrictEqual(findings, loaded.findings);
    if (same) return;
    await this.#takeOver({ bytes, signature }, loaded);
  }

  /** Resolves when everything asked for so far is on the disk. */
  async flush(): Promise<void> {
    await this.#queue;
    this.#keepFormNow();
    await this.#chores;
  }

  close(): void {
    this.#closed = true;
    this.#stopLooking();
    this.#stopReading();
    this.#stopKeeping();
    this.#stopIdling();
  }

  /** What became of a change that was sent to the core. */
  outcome(id: number, outcome: Outcome): void {
    const waiter = this.#waiters.get(id);
    if (waiter) {
      this.#waiters.delete(id);
      waiter(outcome);
      return;
    }
    const pending = this.#pending;
    if (pending?.id !== id) return;
    this.#pending = undefined;
    if (outcome === 'adopted') {
      this.#adopt(pending.next);
      this.#events.journal('prop', 'the prop is parked: the changed prop file is in use');
    } else if (typeof outcome === 'object') this.#reject(outcome.rejected);
    this.#report();
  }

  // --- requests -----------------------------------------------------------------------------------

  /** Writes what was captured; it takes effect at once. */
  capture(edits: readonly Edit[], by: Author): Promise<{ version: string }> {
    return this.#inTurn(async () => {
      this.#refuseGone(by);
      for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
        const base = await this.#usable();
        for (const { path } of edits) this.#refuseWaiting(path);
        const next = this.#edited(base.loaded, edits);
        if (next === base.loaded) return { version: base.version };
        const replaced = replacements(edits, base.loaded.raw, next.raw);
        const paths = edits.map(({ path }) => path);
        const written = await this.#put(base, next, edits, paths, by);
        if (!written) continue;
        this.#done = [
          ...this.#done.slice(1 - UNDO_KEPT),
          { before: base.loaded, textAfter: next.text, replaced },
        ];
        return this.#answer(written);
      }
      throw this.#restless();
    });
  }

  /** Puts back what the last capture replaced. */
  undo(by: Author): Promise<{ version: string; undone: string }> {
    return this.#inTurn(async () => {
      this.#refuseGone(by);
      const last = this.#done.at(-1);
      if (!last)
        throw new Refusal('capture.nothing', 'there is nothing to undo: nothing was captured');
      const edits = last.replaced.map(({ path, before }) => ({ path: [...path], value: before }));
      const undone = undoneText(last.replaced);
      for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
        const base = await this.#usable();
        for (const { path, after } of last.replaced) {
          const is = valueAt(base.loaded.raw, path);
          if (!isDeepStrictEqual(is, after)) throw this.#conflict(base.loaded, path, after, is);
          this.#refuseWaiting(path);
        }
        const next =
          base.loaded.text === last.textAfter ? last.before : this.#edited(base.loaded, edits);
        const paths = edits.map(({ path }) => path);
        const written = await this.#put(base, next, edits, paths, by);
        if (!written) continue;
        this.#done.pop();
        return { ...this.#answer(written), undone };
      }
      throw this.#restless();
    });
  }

  /** Replaces the file by a text, or edits it; refused when somebody else did so meanwhile. */
  apply(
    given: {
      text?: string | undefined;
      edits?: Edit[] | undefined;
      partly?: boolean | undefined;
    },
    version: string,
    by: Author,
  ): Promise<Result<'prop.apply'>> {
    return this.#inTurn(async () => {
      this.#refuseGone(by);
      const { text, edits, partly } = given;
      if ((text === undefined) === (edits === undefined))
        throw new Refusal('file.text-or-edits', 'give either the whole text or edits of it');
      await this.#fresh();
      await this.#refuseOther(version, text);
      if (edits) return this.#propose(this.#edited((await this.#usable()).loaded, edits), by);
      if (partly) {
        const next = parseProp(text!, this.#file);
        if (!next.prop && errorsIn(next.findings) < errorsIn(this.#onDisk.findings))
          return this.#improve(next, by);
      }
      return this.#propose(this.#checked(text!), by);
    });
  }

  /** Writes the steps of a cue, or removes it; refused when somebody else changed the file meanwhile. */
  cue(change: CueChange, version: string, by: Author): Promise<Result<'prop.apply'>> {
    return this.#inTurn(async () => {
      this.#refuseGone(by);
      await this.#fresh();
      await this.#refuseOther(version, undefined);
      const { loaded } = await this.#usable();
      // Few starts need it.
      const { cueChanged } = await import('../editing/cue-steps.ts');
      return this.#propose(valid(cueChanged(loaded, change)), by);
    });
  }

  /** Puts back a kept version. @param base the present one, as far as the asker knows */
  restore(version: string, base: string | undefined, by: Author): Promise<Result<'prop.apply'>> {
    return this.#inTurn(async () => {
      this.#refuseGone(by);
      await this.#fresh();
      if (version === this.#onDisk.version && !this.#onDisk.problem)
        throw new Refusal(
          'file.same-version',
          `version ${version} is the present one: nothing to do`,
          {
            version,
          },
        );
      const text = await this.textOf(version);
      if (base !== undefined) await this.#refuseOther(base, text);
      return this.#propose(this.#checked(text), by);
    });
  }

  // --- what is asked, past the core ---------------------------------------------------------------

  read(): object {
    const { version, onDisk, pending, problem, findings } = this.status();
    return {
      text: this.text,
      version: onDisk ?? version,
      path: this.name,
      ...(onDisk !== version && { inUse: version }),
      ...(problem !== undefined && { problem }),
      findings: findingInfos(findings),
      pending,
    };
  }

  /** All findings of the file, and of the version in use where that is another one. */
  findings(): object {
    const { version, onDisk, pending, problem, findings } = this.status();
    const isRead = onDisk !== null;
    const own = placedFindings(isRead ? findings : this.#inUse.loaded.findings);
    return {
      name: this.name,
      version: onDisk ?? version,
      ...own,
      pending,
      ...(problem !== undefined && { problem }),
      ...(isRead &&
        onDisk !== version && {
          inUse: { version, ...placedFindings(this.#inUse.loaded.findings) },
        }),
    };
  }

  /** The versions that are kept, the present one first. */
  async history(): Promise<object> {
    const kept = await this.#disk.versions();
    const present = this.#onDisk.version ?? undefined;
    const seen = new Set<string>();
    const versions: object[] = [];
    const add = (version: string, timeMs: number | undefined, current: boolean) => {
      if (seen.has(version)) return;
      seen.add(version);
      const made = this.#history.find(version);
      versions.push({
        version,
        time: made?.time ?? new Date(timeMs ?? this.#clock.wallMs()).toISOString(),
        who: made?.who ?? BY_HAND,
        what: made?.what ?? 'edited',
        ...(current && { current: true }),
        ...(version === this.#inUse.version && { inUse: true }),
      });
    };
    if (present !== undefined) add(present, undefined, true);
    add(this.#inUse.version, undefined, false);
    for (const { bytes, timeMs } of kept) add(versionOf(bytes.toString()), timeMs, false);
    return { versions };
  }

  // --- the file and the core ----------------------------------------------------------------------

  #inTurn<T>(task: () => Promise<T>): Promise<T> {
    this.#stopIdling();
    const result = this.#queue.then(task);
    const last = result.catch(() => undefined);
    this.#queue = last;
    void last.then(() => {
      if (this.#queue === last) this.#untilIdle();
    });
    return result;
  }

  #untilIdle(): void {
    const { idle } = this.#events;
    if (!idle || this.#closed) return;
    this.#stopIdling = this.#clock.after(IDLE_MS, () => {
      this.#queue = this.#queue
        .then(idle)
        .catch((error) => this.#events.trouble(error, 'what can wait was not done'));
    });
  }

  #edited(loaded: Loaded, edits: readonly Edit[]): Loaded {
    return seldom(() => edited(loaded, edits));
  }

  /** @param loaded a valid one */
  #compile(loaded: Loaded): Compiled {
    const sound = loaded as ValidFile;
    const version = versionOf(sound.text);
    return { version, loaded: sound, view: this.#views.view(sound.prop, version) };
  }

  /** Looks at the file, and takes over what was changed by hand. */
  async #fresh(): Promise<void> {
    let seen = await this.#disk.look();
    if (this.#isKnown(seen)) return;
    for (let looks = 0; looks < LOOKS; looks++) {
      await this.#pause(AGAIN_MS);
      const again = await this.#disk.look();
      const still = again.signature === seen.signature;
      seen = again;
      if (still) break;
    }
    await this.#found(seen);
  }

  #pause(ms: number): Promise<void> {
    return new Promise((resolve) => {
      this.#clock.after(ms, resolve);
    });
  }

  #isKnown({ bytes, signature }: Seen): boolean {
    const known = this.#onDisk;
    if (bytes && known.bytes) return bytes.equals(known.bytes);
    // Neither can be read: gone, too large and forbidden are different things to say.
    return bytes === known.bytes && signature === known.signature;
  }

  /** Something was found on the disk, by a routine look or because it was looked for. */
  async #found(seen: Seen): Promise<void> {
    if (this.#isKnown(seen)) {
      this.#onDisk.signature = seen.signature;
      return;
    }
    const loaded = await loadSeen(this.#file, seen, this.#guard);
    await this.#takeOver(seen, loaded);
  }

  async #takeOver({ bytes, signature }: Seen, loaded: Loaded): Promise<void> {
    const { text, findings } = loaded;
    const version = bytes ? versionOf(text || bytes.toString('latin1')) : null;
    this.#onDisk = {
      bytes,
      signature,
      version,
      compiled: undefined,
      problem: undefined,
      findings,
      raw: loaded.prop && loaded.raw,
      named: loaded.raw,
    };
    if (!loaded.prop) {
      await this.#hold(
        bytes || !isGone(this.#onDisk)
          ? `it has an error: ${firstError(loaded)}. The prop continues as before; fix the file`
          : `${this.#file} is gone. The prop continues as before; put the file back`,
      );
      return;
    }
    const cut = await this.#truncation(text, version!);
    if (cut !== undefined) {
      await this.#hold(truncationText(this.#file, cut, this.#known.path));
      return;
    }
    await this.#offer(this.#compile(loaded), BY_HAND, 'edited');
  }

  async #truncation(text: string, version: string): Promise<string | undefined> {
    const last = this.#pending?.next.loaded.text;
    const cut =
      truncation(text, this.#inUse.loaded.text) ??
      (last === undefined ? last : truncation(text, last));
    if (cut === undefined) return undefined;
    return (await wasInUse(text, version, this.#disk, this.#history)) ? undefined : cut;
  }

  /** The file on the disk is not what the prop uses. */
  async #hold(problem: string): Promise<void> {
    this.#onDisk.problem = problem;
    await this.#withdraw();
    this.#report();
    this.#events.journal('prop', `the prop file was changed and is not used: ${problem}`, {
      findings: this.#onDisk.findings.length,
    });
  }

  /** What waits for the prop to be parked is no longer on the disk. */
  async #withdraw(): Promise<void> {
    if (!this.#pending) return;
    this.#pending = undefined;
    await this.#install(this.#inUse, []);
  }

  /** The file on the disk is valid: offers it to the core, and reports what became of it. */
  async #offer(next: Compiled, who: string, what: string): Promise<void> {
    const before = this.#inUse;
    const list = [
      ...changesBetween(before.loaded.raw, next.loaded.raw).list,
      ...besideBetween(before.loaded.prop, next.loaded.prop),
    ];
    const outcome = await this.#install(next, []);
    if (typeof outcome === 'object') this.#reject(outcome.rejected);
    else {
      this.#onDisk.compiled = next;
      if (next.version !== before.version) this.#note(next.version, who, what);
    }
    this.#report();
    const sum = list.length > 0 ? list.join('; ') : 'nothing that the prop uses';
    if (outcome === 'adopted')
      this.#events.journal(who, `the prop file was changed and is in use: ${sum}`, {
        changed: list,
      });
    else if (outcome === 'waits')
      this.#events.journal(
        who,
        `the prop file was changed and takes effect when the prop is parked: ${sum}`,
        { changed: list },
      );
  }

  #reject(reason: string): void {
    this.#onDisk.problem = `the boards cannot do what it asks for: ${reason}. The prop continues as before; fix the file, or put the version before it back`;
    this.#onDisk.compiled = undefined;
    this.#events.journal('prop', `the changed prop file is not used: ${this.#onDisk.problem}`);
  }

  /** Sends a change to the core and waits for what becomes of it. */
  async #install(next: Compiled, captured: readonly Path[]): Promise<Outcome> {
    for (let attempt = 0; ; attempt++) {
      const before = this.#inUse;
      const changes = changesBetween(before.loaded.raw, next.loaded.raw, captured);
      const id = ++this.#ids;
      const answered = new Promise<Outcome>((resolve) => this.#waiters.set(id, resolve));
      const waiting = this.#pending;
      for (const message of changeMessages(id, before, next, changes)) this.#events.change(message);
      const outcome = await answered;
      // What waited until then was replaced, unless it took effect before.
      if (waiting && this.#pending === waiting) this.#pending = undefined;
      if (outcome === 'stale' && attempt < ATTEMPTS) continue;
      if (outcome === 'adopted') this.#adopt(next);
      if (outcome === 'waits') this.#pending = { id, next };
      return outcome;
    }
  }

  #adopt(next: Compiled): void {
    this.#inUse = next;
    this.#accept(next);
  }

  /** Another start can use this version from now on. */
  #accept(compiled: Compiled): void {
    this.#keepCopy(compiled);
    this.#keepForm(compiled, KEEP_FORM_MS);
  }

  #keepCopy({ loaded: { text } }: Compiled): void {
    this.#chore('no copy of the prop file could be kept', () => this.#known.keep(text));
  }

  /** The next start can do without reading the text. Not at once: captures come one after another. */
  #keepForm(compiled: Compiled, afterMs: number): void {
    if (!this.#form) return;
    this.#unkept = compiled;
    this.#stopKeeping();
    this.#stopKeeping = this.#clock.after(afterMs, () => this.#keepFormNow());
  }

  #keepFormNow(): void {
    const form = this.#form;
    const compiled = this.#unkept;
    if (!form || !compiled) return;
    this.#unkept = undefined;
    this.#stopKeeping();
    const { text, raw, prop, findings } = compiled.loaded;
    const { view } = compiled;
    this.#chore('what was worked out from the prop file could not be kept', () =>
      form.keep(text, { raw, prop, findings, view }),
    );
  }

  /** Reads the text that the start went without. Other work has its turn between its parts. */
  async #readText(): Promise<void> {
    const compiled = this.#unread;
    if (!compiled) return;
    this.#unread = undefined;
    this.#stopReading();
    const { text, raw, prop, findings } = compiled.loaded;
    const source = readText(text);
    await new Promise((resolve) => setImmediate(resolve));
    const loaded = checkProp(source, this.#file);
    const written = (one: unknown[]) => JSON.stringify(one);
    const same =
      written([loaded.raw, loaded.prop, loaded.findings]) === written([raw, prop, findings]);
    if (same && loaded.prop) {
      compiled.loaded = loaded as Compiled['loaded'];
      return;
    }
    await this.#form?.forget();
    const wrong = `${this.#form?.path} was not what the prop file says; it has been removed`;
    this.#events.trouble(new Error(wrong), 'restart the daemon, and report this fault');
  }

  #note(version: string, who: string, what: string): void {
    const time = new Date(this.#clock.wallMs()).toISOString();
    const added = this.#history.add({ version, time, who, what });
    this.#chore('the history of the prop file could not be kept', () => added);
  }

  /** Disk work that nobody waits for. */
  #chore(text: string, work: () => Promise<unknown>): void {
    this.#chores = this.#chores.then(work).catch((error) => this.#events.trouble(error, text));
  }

  #report(): void {
    const status = this.status();
    const text = JSON.stringify(status);
    if (text === this.#statusText) return;
    this.#statusText = text;
    this.#events.status(status);
  }

  // --- writing ------------------------------------------------------------------------------------

  /** The file as it is now, if the prop uses it, or will when parked. */
  async #usable(): Promise<Compiled> {
    await this.#readText();
    await this.#fresh();
    const { compiled, problem, findings } = this.#onDisk;
    if (compiled) return compiled;
    throw new Refusal('file.unusable', `nothing was written to the prop file: ${problem}`, {
      file: this.#file,
      findings: findingInfos(findings),
    });
  }

  /** Writes a file that was edited, and has the core adopt the same edits. */
  async #put(
    base: Compiled,
    next: Loaded,
    edits: readonly Edit[],
    captured: readonly Path[],
    by: Author,
  ): Promise<{ version: string; written: Written } | undefined> {
    const isInForce = base === this.#inUse;
    // While another version waits, the prop in use gets the edits alone.
    const force = isInForce ? next : this.#edited(this.#inUse.loaded, edits);
    const before = this.#onDisk;
    const written = await this.#disk.replace(before.bytes, next.text);
    if (!written) return undefined;
    const compiled = await this.#wrote(next);
    const outcome = await this.#install(isInForce ? compiled : this.#compile(force), captured);
    if (typeof outcome === 'object') throw await this.#takeBack(written, before, outcome.rejected);
    this.#note(compiled.version, by.client, by.what);
    if (!isInForce) {
      const again = await this.#install(compiled, []);
      if (typeof again === 'object') this.#reject(again.rejected);
    }
    this.#finish(by, compiled.version);
    return { version: compiled.version, written };
  }

  /** Writes a whole new version, and offers it to the core. */
  async #propose(next: Loaded, by: Author): Promise<Result<'prop.apply'>> {
    const before = this.#onDisk;
    if (!before.bytes && !isGone(before))
      throw new Refusal(
        'file.unusable',
        `nothing was written to the prop file: ${before.problem}`,
        {
          file: this.#file,
        },
      );
    const compiled = this.#compile(next);
    const changed = changesBetween(this.#inUse.loaded.raw, next.raw).list;
    let written: Written | undefined;
    if (before.bytes?.toString() !== next.text) {
      await this.#keepInUse();
      written = await this.#disk.replace(before.bytes, next.text);
      if (!written) throw this.#restless();
    }
    await this.#wrote(next, compiled);
    const outcome = await this.#install(compiled, []);
    if (typeof outcome === 'object') {
      if (written) throw await this.#takeBack(written, before, outcome.rejected);
      this.#reject(outcome.rejected);
      this.#report();
      throw new Refusal('file.boards-cannot', `the boards cannot do this: ${outcome.rejected}`);
    }
    this.#note(
      compiled.version,
      by.client,
      changed.length > 0 ? toldIn(by.what, changed) : by.what,
    );
    this.#finish(by, compiled.version);
    if (written?.unsure) throw written.unsure;
    return { version: compiled.version, changed, pending: outcome === 'waits' };
  }

  /** Writes a file with fewer errors over a faulty one; the prop uses neither. */
  async #improve(next: Loaded, by: Author): Promise<Result<'prop.apply'>> {
    await this.#keepInUse();
    const written = await this.#disk.replace(this.#onDisk.bytes, next.text);
    if (!written) throw this.#restless();
    await this.#takeOver(await this.#disk.look(), next);
    const version = versionOf(next.text);
    this.#note(version, by.client, `${by.what}; it still has errors`);
    this.#finish(by, version);
    if (written.unsure) throw written.unsure;
    return { version, changed: [], pending: false, problem: this.#onDisk.problem ?? '' };
  }

  /**
   * The version in use may be nowhere on the disk, once a hand has written over it: it is kept, so that
   * there is a way back to it.
   */
  async #keepInUse(): Promise<void> {
    const { version, loaded } = this.#inUse;
    if (version === this.#onDisk.version) return;
    const kept = await this.#disk.versions();
    if (kept.some(({ bytes }) => bytes.toString() === loaded.text)) return;
    await this.#disk.keepText(loaded.text);
  }

  async #wrote(
    next: Loaded,
    compiled: Compiled = seldom(() => this.#compile(next)),
  ): Promise<Compiled> {
    this.#onDisk = {
      bytes: Buffer.from(next.text),
      signature: await this.#disk.signature(),
      version: compiled.version,
      compiled,
      problem: undefined,
      findings: next.findings,
      raw: next.raw,
      named: next.raw,
    };
    return compiled;
  }

  /** The boards cannot do what was written: the file becomes what it was. */
  async #takeBack(written: Written, before: OnDisk, reason: string): Promise<Refusal> {
    const now = this.#onDisk.bytes!.toString();
    let state = 'the file is as it was before';
    try {
      if (await this.#disk.putBack(written, now))
        this.#onDisk = { ...before, signature: await this.#disk.signature() };
      else state = 'the file was changed by hand meanwhile and stays as it is';
    } catch (error) {
      state = (error as Error).message;
      this.#reject(reason);
    }
    // What waited until the prop is parked was replaced by what is gone again.
    const { compiled } = this.#onDisk;
    if (compiled && compiled !== this.#inUse && !this.#pending) await this.#install(compiled, []);
    this.#report();
    return new Refusal('file.boards-cannot', `the boards cannot do this: ${reason}; ${state}`, {
      boards: reason,
    });
  }

  /** Everything is written: nobody has to wait for the rest of the work. */
  #finish(by: Author, version: string): void {
    this.#report();
    this.#chore('old versions of the prop file are still there', () => this.#disk.trim());
    if (this.#gone.has(by.session))
      this.#events.journal(
        by.client,
        `${by.what} was written to the prop file, although ${by.client} was gone before the answer`,
        { version },
      );
  }

  #answer({ version, written }: { version: string; written: Written }): { version: string } {
    if (written.unsure) throw written.unsure;
    return { version };
  }

  // --- refusals -----------------------------------------------------------------------------------

  #refuseGone({ session }: Author): void {
    if (this.#gone.has(session))
      throw new Refusal(
        'session.gone',
        'the session was gone before its turn: nothing was written',
      );
  }

  #restless(): Refusal {
    return new Refusal(
      'file.restless',
      `${this.#file} keeps changing; try again when it is at rest`,
    );
  }

  #checked(text: string): Loaded {
    if (Buffer.byteLength(text) > MAX_BYTES)
      throw new Refusal(
        'file.too-large',
        'the text is larger than 1 MiB; a prop file is a few pages',
        { limitBytes: MAX_BYTES },
      );
    return valid(parseProp(text, this.#file));
  }

  /** An edit must not rest upon, or overwrite, what waits in the file until the prop is parked. */
  #refuseWaiting(path: Path): void {
    const file = this.#onDisk.compiled!.loaded;
    const { raw } = this.#inUse.loaded;
    if (file === this.#inUse.loaded) return;
    const places: Path[] = [path];
    const [section, channel] = path;
    // An angle means nothing without the calibration and linkage that it was measured with.
    if (section === 'channels' && channel !== undefined)
      places.unshift(['channels', channel, 'calibration'], ['channels', channel, 'linkage']);
    for (const place of places) {
      const [was, is] = [valueAt(raw, place), valueAt(file.raw, place)];
      if (isDeepStrictEqual(was, is)) continue;
      const { line, column } = placeOf(file, place);
      throw new Refusal(
        'file.waits',
        `${this.#file}:${line}:${column}: ${pathText(place)} was changed in the file${fromTo(was, is)}, which waits until the prop is parked, so nothing was written. Park first, then capture again`,
        { file: this.#file, line, path: pathText(place), was, is },
      );
    }
    if (section !== 'channels' || channel === undefined) return;
    if (valueAt(file.raw, ['channels', channel]) === undefined)
      throw new Refusal(
        'file.waits',
        `channel ${channel} is no longer in the prop file, which waits until the prop is parked, so nothing was written`,
        { file: this.#file, path: pathText(path) },
      );
  }

  #conflict(loaded: Loaded, path: Path, was: unknown, is: unknown): Refusal {
    const { line, column } = placeOf(loaded, path);
    return new Refusal(
      'file.changed-by-hand',
      `${this.#file}:${line}:${column}: ${pathText(path)} was changed since${fromTo(was, is)}, so nothing was undone. Put it back first, or edit the file`,
      { file: this.#file, line, path: pathText(path), was, is },
    );
  }

  /** @throws Refusal with the difference when `version` is not the one on the disk */
  async #refuseOther(version: string, text: string | undefined): Promise<void> {
    const present = this.presentVersion;
    if (version === present) return;
    const raw = (from: string) => readText(from).raw;
    const [base, now] = [await this.#findText(version), this.text];
    // Without the version that it was made from, all that can be said is what it would undo.
    const [from, to] = base === undefined ? [text ?? now, now] : [base, now];
    let changed: string[] = [];
    try {
      changed = changesBetween(raw(from), raw(to)).list;
    } catch {
      // One of them is not a prop file.
    }
    throw new Refusal(
      'file.other-version',
      'the prop file was changed by somebody else meanwhile, so nothing was written. Read it again (prop.read), and make your changes to that',
      { version: present, changed },
    );
  }

  async #findText(version: string): Promise<string | undefined> {
    const here = [this.text, this.#inUse.loaded.text].find((text) => versionOf(text) === version);
    if (here !== undefined) return here;
    const kept = await this.#disk.versions();
    return kept.map(({ bytes }) => bytes.toString()).find((text) => versionOf(text) === version);
  }
}

/** What the history says of a change: what for, and the first things that it changed. */
function toldIn(what: string, changed: readonly string[]): string {
  const [first, second] = changed;
  const more = changed.length > 2 ? `; and ${changed.length - 2} more` : '';
  return `${what}: ${[first, second].filter(Boolean).join('; ')}${more}`;
}

function errorsIn(findings: readonly Finding[]): number {
  return findings.filter(({ severity }) => severity === 'error').length;
}

/** The names of the takes and sounds beside the prop file, by its data, which may have errors. */
function filesBeside(raw: unknown): string[] {
  const entries = ['takes', 'sounds'].flatMap((part) => {
    const found = valueAt(raw, [part]);
    return typeof found === 'object' && found !== null ? Object.values(found) : [];
  });
  return entries.flatMap((entry: unknown) => {
    const name = typeof entry === 'string' ? entry : valueAt(entry, ['file']);
    return typeof name === 'string' && basename(name) === name ? [name] : [];
  });
}

/** The takes and sounds that have other content, in words. */
function besideBetween(before: Prop, after: Prop): string[] {
  const changed = <T>(was: Readonly<Record<string, T>> = {}, is: typeof was = {}) =>
    Object.entries(was)
      .filter(([name, one]) => Object.hasOwn(is, name) && !isDeepStrictEqual(is[name], one))
      .map(([name]) => name);
  return [
    ...changed(before.performed, after.performed).map(
      (name) => `take ${name}: performed otherwise`,
    ),
    ...changed(before.soundFiles, after.soundFiles).map((name) => `sound ${name}: another file`),
  ];
}

function isGone({ bytes, signature }: OnDisk): boolean {
  return bytes === undefined && signature === 'ENOENT';
}

function placeOf({ source }: Loaded, path: Path): { line: number; column: number } {
  return source!.place({ severity: 'error', path, wrong: '', right: '' });
}

function fromTo(was: unknown, is: unknown): string {
  return show(was) === show(is) ? '' : ` from ${show(was)} to ${show(is)}`;
}
