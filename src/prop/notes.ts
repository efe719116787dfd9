import type { BoardNotes, ReservedFor } from '../boards/facts.ts';
import { factsOf } from '../boards/registry.ts';
import { plain } from '../shared/plain.ts';
import { didYouMean, type Fix, listed, type Path, pathText, type Remark, show } from './finding.ts';
import type { Written } from './groups.ts';
import { servoOf } from './kinds/channel.ts';
import type { Prop } from './schema.ts';

/** What the file contained before its broken parts were cut out: no finding may follow from a cut. */
export interface Given {
  /** Whether the file gives a value here, valid or not. */
  has(path: Path): boolean;
  /** Whether the value here is broken, in part or as a whole. */
  broken(path: Path): boolean;
  /** Nothing is broken, and the prop equals the file except for defaults. */
  sound?: boolean;
}

/** The soft limits of every servo with valid limits (deg, low then high). */
export type Limits = Map<string, readonly [low: number, high: number]>;

/** Whether a value is suspect, within a suspect one, or contains one. */
function isSuspect(suspects: ReadonlySet<string>, path: Path): boolean {
  return suspects.size > 0 && suspects.has(pathText(path));
}

/** Collects the findings of lint. */
export class Notes implements BoardNotes {
  readonly remarks: Remark[] = [];
  readonly prop: Prop;
  readonly given: Given;
  readonly #written: Written | undefined;
  /** Values with a finding of their own: no other finding may follow from them. */
  readonly #suspects = new Set<string>();

  constructor(prop: Prop, given: Given, written?: Written) {
    this.prop = prop;
    this.#written = written;
    const suspects = this.#suspects;
    this.given = {
      has: (path) => given.has(path),
      broken: (path) => given.broken(path) || isSuspect(suspects, path),
      get sound() {
        return given.sound === true && suspects.size === 0;
      },
    };
  }

  /** Groups and park stages as written in the file; the prop has channels instead of groups. */
  get written(): Written {
    const { groups, park } = this.prop;
    return this.#written ?? { groups, stages: park.stages };
  }

  /** From now on, the value at `path` counts as broken. */
  suspect(path: Path): void {
    for (let i = 0; i <= path.length; i++) this.#suspects.add(pathText(path.slice(0, i)));
  }

  /** @param fix the only possible remedy, if there is one */
  error(path: Path, wrong: string, right: string, fix?: Fix): void {
    this.add({ severity: 'error', path, wrong, right, ...(fix && { fix }) });
  }

  /** An error in a name: points at the key. */
  keyError(path: Path, wrong: string, right: string): void {
    this.add({ severity: 'error', path, atKey: true, wrong, right });
  }

  /** Whether this part of the file has an error. */
  hasErrorIn(part: Path): boolean {
    return this.remarks.some(
      ({ severity, path }) => severity === 'error' && part.every((key, i) => path[i] === key),
    );
  }

  /** Something that is probably wrong, but does not block the daemon. */
  warning(path: Path, wrong: string, right: string): void {
    this.add({ severity: 'warning', path, wrong, right });
  }

  /** Something to know that is not wrong. */
  note(path: Path, wrong: string, right: string): void {
    this.add({ severity: 'note', path, wrong, right });
  }

  /** Names and roles out of the file must not write elsewhere on a terminal. */
  add(remark: Remark): void {
    this.remarks.push({ ...remark, wrong: plain(remark.wrong), right: plain(remark.right) });
  }

  /**
   * The entry called `name`. If there is none, returns undefined and reports an error at `path`, unless
   * it is broken.
   */
  find<
    S extends 'boards' | 'rails' | 'channels' | 'groups' | 'poses' | 'cues' | 'takes' | 'sounds',
  >(section: S, name: string, path: Path, atKey = false): Prop[S][string] | undefined {
    const entries: Prop[S] = this.prop[section];
    if (this.given.broken(path)) return undefined;
    if (Object.hasOwn(entries, name)) return entries[name] as Prop[S][string];
    if (this.given.has([section, name])) return undefined;
    const members = section === 'channels' ? this.#membersOf(name) : undefined;
    if (members) {
      const wrong = `${name} is a group, but a channel belongs here`;
      const right = `name ${members.length > 1 ? 'its channels' : 'its channel'}: ${listed(members)}`;
      this.add({ severity: 'error', path, atKey, wrong, right });
      return undefined;
    }
    const wrong = `there is no ${section.slice(0, -1)} ${name}`;
    this.add({
      severity: 'error',
      path,
      atKey,
      wrong,
      right: didYouMean(name, Object.keys(entries)),
    });
    return undefined;
  }

  /** The channels of a group that exists, or may exist. */
  #membersOf(name: string): readonly string[] | undefined {
    const { groups } = this.prop;
    return Object.hasOwn(groups, name) ? groups[name] : undefined;
  }

  /**
   * The channel called `name`. If there is none, returns undefined and reports an error at the key of
   * `path`.
   */
  channel(name: string, path: Path): Prop['channels'][string] | undefined {
    return this.find('channels', name, path, true);
  }

  /** The first board that uses this part of the header. */
  userOf(what: ReservedFor): string | undefined {
    return Object.entries(this.prop.boards).find(([, board]) => factsOf(board).uses === what)?.[0];
  }

  /** Checks that a servo may be sent to `to` (a mark or deg). */
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
