import type { Path } from '../prop/finding.ts';
import { flatGroups } from '../prop/groups.ts';
import type { ChannelKind } from '../prop/kinds/channel.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { COMMAND_PARTS } from '../prop/steps.ts';

/** Where a prop file names its own parts: channels, groups, rails, marks and poses. */

type Data = Record<string, unknown>;

/** What names it, so that a remedy can fit. */
export type Role =
  | 'plant'
  | 'requires'
  | 'carries'
  | 'wire'
  | 'member'
  | 'pose'
  | 'step'
  | 'until'
  | 'stage'
  | 'park'
  | 'rail'
  | 'picture'
  | 'follow'
  | 'sense'
  | 'led';

export interface Reference {
  what: 'channel' | 'group' | 'rail' | 'mark' | 'pose';
  name: string;
  /** Of a mark: the servos that have it. */
  of: readonly string[];
  path: Path;
  /** The name is the key at the end of `path`, not the value there. */
  atKey: boolean;
  role: Role;
  /** For a person: `cue wake, step 3`. */
  where: string;
}

const dataOf = (value: unknown): Data =>
  typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Data) : {};
const listOf = (value: unknown): unknown[] => (Array.isArray(value) ? value : []);
const entriesOf = (value: unknown) => Object.entries(dataOf(value));

/** Its positions may be marks. */
function hasAngles(channel: unknown): boolean {
  const { kind } = dataOf(channel);
  return kind !== undefined && kindOf({ kind: kind as ChannelKind }).value === 'deg';
}

/**
 * Every place that names a channel, group, rail, mark or pose.
 * @param raw the data of a valid prop file, as written
 */
export function referencesIn(raw: unknown): Reference[] {
  const found: Reference[] = [];
  const file = dataOf(raw);
  const channels = dataOf(file.channels);
  const groups = dataOf(file.groups) as Record<string, string[]>;
  const flat = flatGroups(groups).groups;
  const isGroup = (name: string) => Object.hasOwn(groups, name) && !Object.hasOwn(channels, name);
  const say = (
    what: Reference['what'],
    name: unknown,
    path: Path,
    role: Role,
    where: string,
    more: { atKey?: boolean; of?: readonly string[] } = {},
  ) => {
    if (typeof name !== 'string') return;
    found.push({ what, name, path, role, where, atKey: more.atKey ?? false, of: more.of ?? [] });
  };
  /** A channel or a group. */
  const either = (name: unknown, path: Path, role: Role, where: string, atKey = false) =>
    say(isGroup(String(name)) ? 'group' : 'channel', name, path, role, where, { atKey });

  for (const [board, entry] of entriesOf(file.boards))
    for (const servo of Object.keys(dataOf(dataOf(entry).plant)))
      say('channel', servo, ['boards', board, 'plant', servo], 'plant', `board ${board}`, {
        atKey: true,
      });
  for (const [name, entry] of entriesOf(channels)) {
    const at = ['channels', name];
    const { rail, contact, requires, load, park } = dataOf(entry);
    say('rail', rail, [...at, 'rail'], 'rail', `channel ${name}`);
    say('rail', dataOf(contact).rail, [...at, 'contact', 'rail'], 'rail', `contact of ${name}`);
    for (const [i, one] of listOf(requires).entries()) {
      const path = [...at, 'requires', i];
      const { channel, above, below } = dataOf(one);
      const where = `interlock of ${name}`;
      say('channel', channel, [...path, 'channel'], 'requires', where);
      const of = [String(channel)];
      say('mark', above, [...path, 'above'], 'requires', where, { of });
      say('mark', below, [...path, 'below'], 'requires', where, { of });
    }
    const { carries } = dataOf(dataOf(load).arm);
    say('channel', carries, [...at, 'load', 'arm', 'carries'], 'carries', `load of ${name}`);
    if (hasAngles(entry))
      say('mark', dataOf(park).to, [...at, 'park', 'to'], 'park', `park position of ${name}`, {
        of: [name],
      });
  }
  for (const [name, entry] of entriesOf(file.senses)) {
    const { rail, channel } = dataOf(entry);
    say('rail', rail, ['senses', name, 'rail'], 'sense', `sense ${name}`);
    say('channel', channel, ['senses', name, 'channel'], 'sense', `sense ${name}`);
  }
  for (const [i, wire] of listOf(file.wires).entries()) {
    const { label, rail, channel } = dataOf(wire);
    say('rail', rail, ['wires', i, 'rail'], 'wire', `wire ${label}`);
    say('channel', channel, ['wires', i, 'channel'], 'wire', `wire ${label}`);
  }
  for (const [group, members] of entriesOf(groups))
    for (const [i, member] of listOf(members).entries())
      either(member, ['groups', group, i], 'member', `group ${group}`);
  for (const [pose, values] of entriesOf(file.poses))
    for (const [name, value] of entriesOf(values)) {
      const path = ['poses', pose, name];
      say('channel', name, path, 'pose', `pose ${pose}`, { atKey: true });
      if (hasAngles(channels[name]))
        say('mark', value, path, 'pose', `pose ${pose}`, { of: [name] });
    }
  for (const { cue, step, path, data } of stepsIn(raw)) {
    const where = `cue ${cue}, step ${step + 1}`;
    for (const part of COMMAND_PARTS)
      for (const [name, to] of entriesOf(data[part])) {
        const at = [...path, part, name];
        if (part !== 'move') say('channel', name, at, 'step', where, { atKey: true });
        else {
          either(name, at, 'step', where, true);
          say('mark', to, at, 'step', where, { of: isGroup(name) ? flat[name]! : [name] });
        }
      }
    say('pose', data.pose, [...path, 'pose'], 'step', where);
    say('channel', dataOf(data.until).channel, [...path, 'until', 'channel'], 'until', where);
  }
  for (const [sound, entry] of entriesOf(file.sounds))
    for (const [name, how] of entriesOf(dataOf(entry).follow)) {
      const path = ['sounds', sound, 'follow', name];
      const where = `what follows sound ${sound}`;
      say('channel', name, path, 'follow', where, { atKey: true });
      for (const key of ['shut', 'open'])
        say('mark', dataOf(how)[key], [...path, key], 'follow', where, { of: [name] });
    }
  for (const [address, led] of entriesOf(dataOf(file.osc).perform)) {
    const path = ['osc', 'perform', address];
    const { channel } = dataOf(led);
    say('channel', channel, [...path, 'channel'], 'led', `OSC address ${address}`);
    for (const key of ['from', 'to'])
      say('mark', dataOf(led)[key], [...path, key], 'led', `OSC address ${address}`, {
        of: [String(channel)],
      });
  }
  for (const [name, led] of entriesOf(dataOf(file.e131).map)) {
    const path = ['e131', 'map', name];
    const where = `E1.31, ${name}`;
    say('channel', name, path, 'led', where, { atKey: true });
    for (const key of ['from', 'to'])
      say('mark', dataOf(led)[key], [...path, key], 'led', where, { of: [name] });
  }
  for (const name of Object.keys(dataOf(dataOf(file.picture).places)))
    say('channel', name, ['picture', 'places', name], 'picture', 'the picture', { atKey: true });
  for (const [i, stage] of listOf(dataOf(file.park).stages).entries())
    for (const [j, name] of listOf(stage).entries())
      either(name, ['park', 'stages', i, j], 'stage', `park stage ${i + 1}`);
  return found;
}

export interface Step {
  cue: string;
  /** From 0. */
  step: number;
  path: Path;
  data: Data;
}

/** The steps of all cues, of both forms that a cue may have. */
export function stepsIn(raw: unknown): Step[] {
  return entriesOf(dataOf(raw).cues).flatMap(([cue, entry]) => {
    const [at, steps] = Array.isArray(entry)
      ? [['cues', cue], entry]
      : [['cues', cue, 'steps'], listOf(dataOf(entry).steps)];
    return steps.map((data, step) => ({ cue, step, path: [...at, step], data: dataOf(data) }));
  });
}

/** What uses a cue, in words: other cues, idle behaviours and triggers. Its own steps do not count. */
export function cueUses(raw: unknown, cue: string): string[] {
  const file = dataOf(raw);
  const steps = stepsIn(raw)
    .filter(
      ({ cue: own, data }) =>
        own !== cue && (data.cue === cue || listOf(data.choose).includes(cue)),
    )
    .map(({ cue: own, step }) => `cue ${own}, step ${step + 1}`);
  const idle = entriesOf(file.idle)
    .filter(([, entry]) => listOf(dataOf(entry).plays).some((one) => dataOf(one).cue === cue))
    .map(([name]) => `idle behaviour ${name}`);
  const triggers = entriesOf(file.triggers)
    .filter(([, entry]) => dataOf(entry).cue === cue)
    .map(([name]) => `trigger ${name}`);
  return [...steps, ...idle, ...triggers];
}

/** A wire of the file: a channel's own, or one under `wires`. */
export interface WireEntry {
  label: string;
  path: Path;
  /** The channel whose own wire it is. */
  own?: string;
  cores: { role: string; colour: string; from: string; to: string }[];
}

/** All wires of a prop file: those of channels first, then those of `wires`. */
export function wiresIn(raw: unknown): WireEntry[] {
  const file = dataOf(raw);
  const wires: WireEntry[] = [];
  for (const [own, entry] of entriesOf(file.channels)) {
    const { wire } = dataOf(entry);
    if (wire !== undefined && wire !== null)
      wires.push({ ...(wire as WireEntry), path: ['channels', own, 'wire'], own });
  }
  for (const [i, wire] of listOf(file.wires).entries())
    wires.push({ ...(wire as WireEntry), path: ['wires', i] });
  return wires.map(({ label, path, own, cores }) => ({
    label,
    path,
    cores,
    ...(own !== undefined && { own }),
  }));
}
