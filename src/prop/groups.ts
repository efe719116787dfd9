import type { Prop } from './schema.ts';

/**
 * Groups and park stages that name groups. The file keeps them as written; in a prop they are replaced by
 * their channels, so that no other code has to look them up.
 */

/** Deepest nesting of groups: more is a mistake. */
export const MAX_GROUP_DEPTH = 8;
/** Most channels in all groups together, if any of them names a group. */
export const MAX_MEMBERS = 20_000;

type Groups = Readonly<Record<string, readonly string[]>>;

/** Groups and park stages as written in the file. */
export interface Written {
  groups: Groups;
  stages: readonly (readonly string[])[];
}

/** What is wrong with the groups as a whole. */
interface GroupProblem {
  group: string;
  /** Its index in that group. */
  at: number;
  /**
   * Groups that contain each other, with the first one again at the end; absent if they are nested too
   * deeply.
   */
  circle?: readonly string[];
}

interface Flat {
  /** The channels of every group, each once, in the order in which they are first named. */
  groups: Record<string, string[]>;
  problems: GroupProblem[];
  /** They have more than `MAX_MEMBERS` channels; `groups` is then as written. */
  tooMany: boolean;
}

const known = new WeakMap<object, Flat>();

/** Replaces groups within groups by their channels. Any other name is left as it is. */
export function flatGroups(groups: Groups): Flat {
  let flat = known.get(groups);
  if (!flat) {
    flat = flatten(groups);
    known.set(groups, flat);
  }
  return flat;
}

function flatten(groups: Groups): Flat {
  const done = new Map<string, string[]>();
  /** Depth of nesting of each group, including itself. */
  const depths = new Map<string, number>();
  const problems: GroupProblem[] = [];
  let count = 0;
  const visit = (group: string, way: readonly string[]): readonly string[] => {
    const found = done.get(group);
    if (found) return found;
    const here = [...way, group];
    const members = new Set<string>();
    let depth = 1;
    for (const [at, name] of groups[group]!.entries()) {
      // A group with the name of a channel is an error; if it names itself, it may mean the channel.
      if (!Object.hasOwn(groups, name)) {
        members.add(name);
      } else if (here.includes(name)) {
        problems.push({ group, at, circle: [...here.slice(here.indexOf(name)), name] });
      } else if (here.length >= MAX_GROUP_DEPTH) {
        problems.push({ group, at });
      } else {
        for (const member of visit(name, here)) members.add(member);
        const inner = depths.get(name) ?? 1;
        if (inner === MAX_GROUP_DEPTH) problems.push({ group, at });
        depth = Math.max(depth, inner + 1);
      }
      if (count + members.size > MAX_MEMBERS) break;
    }
    const list = [...members];
    count += list.length;
    done.set(group, list);
    depths.set(group, depth);
    return list;
  };
  const nested = Object.values(groups).some((members) =>
    members.some((name) => Object.hasOwn(groups, name)),
  );
  if (!nested) return { groups: groups as Record<string, string[]>, problems, tooMany: false };
  for (const group of Object.keys(groups)) {
    visit(group, []);
    if (count >= MAX_MEMBERS)
      return { groups: groups as Record<string, string[]>, problems, tooMany: true };
  }
  // In the order of the file.
  const flat = Object.fromEntries(Object.keys(groups).map((group) => [group, done.get(group)!]));
  return { groups: flat, problems, tooMany: false };
}

/** The stages with each group replaced by its channels. */
export function flatStages({ groups, stages }: Written): string[][] {
  const flat = flatGroups(groups).groups;
  return stages.map((stage) =>
    stage.flatMap((name) => (Object.hasOwn(flat, name) ? flat[name]! : [name])),
  );
}

/** The prop with only channels in its groups and park stages; the same object if nothing changes. */
export function withoutGroups(prop: Prop): Prop {
  const { groups } = flatGroups(prop.groups);
  const { stages } = prop.park;
  const named = stages.some((stage) =>
    stage.some((name) => Object.hasOwn(groups, name) && !Object.hasOwn(prop.channels, name)),
  );
  if (groups === prop.groups && !named) return prop;
  return {
    ...prop,
    groups,
    park: named ? { ...prop.park, stages: flatStages({ groups: prop.groups, stages }) } : prop.park,
  };
}

/** Groups and park stages in the plain data of a file that fits the schema. */
export function writtenIn(raw: unknown): Written {
  const { groups = {}, park } = (raw ?? {}) as {
    groups?: Groups;
    park?: { stages?: readonly (readonly string[])[] };
  };
  return { groups, stages: park?.stages ?? [] };
}
