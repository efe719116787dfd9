import type { BoardNotes, ReservedFor } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { didYouMean, type Path, type Remark, show } from './finding.ts';
import { servoOf } from './kinds/channel.ts';
import type { Prop } from './schema.ts';

/** What the file held before its broken parts were cut out: no finding may follow from a cut. */
export interface Given {
  /** Whether the file gives a value here, sound or not. */
  has(path: Path): boolean;
  /** Whether the value here is broken, in part or as a whole. */
  broken(path: Path): boolean;
  /** Nothing is broken, and the file gives just what the prop has, defaults aside. */
  sound?: boolean;
}

/** The soft limits of every servo whose limits are sound (deg, low then high). */
export type Limits = Map<string, readonly [low: number, high: number]>;

/** Collects what lint has to say. */
export class Notes implements BoardNotes {
  readonly remarks: Remark[] = [];
  readonly prop: Prop;
  readonly given: Given;

  constructor(prop: Prop, given: Given) {
    this.prop = prop;
    this.given = given;
  }

  error(path: Path, wrong: string, right: string): void {
    this.remarks.push({ severity: 'error', path, wrong, right });
  }

  /** An error in a name: points at the key. */
  keyError(path: Path, wrong: string, right: string): void {
    this.remarks.push({ severity: 'error', path, atKey: true, wrong, right });
  }

  /** Whether an error has been told of this part of the file. */
  hasErrorIn(part: Path): boolean {
    return this.remarks.some(
      ({ severity, path }) => severity === 'error' && part.every((key, i) => path[i] === key),
    );
  }

  warning(path: Path, wrong: string, right: string): void {
    this.remarks.push({ severity: 'warning', path, wrong, right });
  }

  /** Something to heed that is not wrong. */
  note(path: Path, wrong: string, right: string): void {
    this.remarks.push({ severity: 'note', path, wrong, right });
  }

  /** The entry called `name`; undefined (and an error at `path` unless it is broken) without one. */
  find<S extends 'boards' | 'rails' | 'channels' | 'groups' | 'poses' | 'cues'>(
    section: S,
    name: string,
    path: Path,
    atKey = false,
  ): Prop[S][string] | undefined {
    const entries: Prop[S] = this.prop[section];
    if (this.given.broken(path)) return undefined;
    if (Object.hasOwn(entries, name)) return entries[name] as Prop[S][string];
    if (this.given.has([section, name])) return undefined;
    const wrong = `there is no ${section.slice(0, -1)} ${name}`;
    this.remarks.push({
      severity: 'error',
      path,
      atKey,
      wrong,
      right: didYouMean(name, Object.keys(entries)),
    });
    return undefined;
  }

  /** The channel called `name`; undefined (and an error at the key of `path`) without one. */
  channel(name: string, path: Path): Prop['channels'][string] | undefined {
    return this.find('channels', name, path, true);
  }

  /** The first board that takes this of the header for itself. */
  userOf(what: ReservedFor): string | undefined {
    return Object.entries(this.prop.boards).find(([, board]) => factsOf(board).uses === what)?.[0];
  }

  /** Checks that a servo may be sent to `to`, a mark or deg. */
  checkPosition(channel: string, to: number | string, path: Path, limits: Limits): void {
    const { channels } = this.prop;
    const servo = servoOf(Object.hasOwn(channels, channel) ? channels[channel] : undefined);
    if (!servo || this.given.broken(path)) return;
    if (typeof to === 'string') {
      const marks = servo.marks ?? {};
      if (Object.hasOwn(marks, to) || this.given.has(['channels', channel, 'marks', to])) return;
      if (this.given.broken(['channels', channel, 'marks'])) return;
      this.error(path, `${channel} has no mark ${show(to)}`, didYouMean(to, Object.keys(marks)));
      return;
    }
    const limit = limits.get(channel);
    if (!limit || (to >= limit[0] && to <= limit[1])) return;
    this.error(
      path,
      `${to} deg is outside the soft limits of ${channel}`,
      `stay within ${limit[0]} to ${limit[1]} deg`,
    );
  }
}
