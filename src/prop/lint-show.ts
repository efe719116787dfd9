import { tidy } from '../shared/units.ts';
import { listed } from './finding.ts';
import { flatGroups, MAX_GROUP_DEPTH, MAX_MEMBERS } from './groups.ts';
import { kindOf } from './kinds/registry.ts';
import type { Limits, Notes } from './notes.ts';

/**
 * Checks groups, poses and park stages: they must name what exists and ask for what it can do. Lights
 * must all be weighted in one way.
 */
export function lintShow(notes: Notes, limits: Limits): void {
  lintLightWeights(notes);
  lintGroups(notes);
  lintPoses(notes, limits);
  lintStages(notes);
}

function lintGroups(notes: Notes): void {
  const { groups } = notes.written;
  const { problems, tooMany } = flatGroups(groups);
  for (const { group, at, circle } of problems) {
    // A group with the name of a channel is reported below.
    if (circle?.some((name) => Object.hasOwn(notes.prop.channels, name))) continue;
    const path = ['groups', group, at];
    if (circle)
      notes.error(
        path,
        circle.length === 2
          ? `group ${group} contains itself`
          : `the groups contain each other: ${circle.join(' -> ')}`,
        'name channels here',
      );
    else
      notes.error(
        path,
        `here groups are nested more than ${MAX_GROUP_DEPTH} deep`,
        'name channels in some of them',
      );
  }
  if (tooMany)
    notes.error(
      ['groups'],
      `with the groups within them the groups have more than ${MAX_MEMBERS} channels`,
      'make fewer or smaller groups',
    );
  for (const [group, members] of Object.entries(groups)) {
    if (Object.hasOwn(notes.prop.channels, group))
      notes.keyError(
        ['groups', group],
        `${group} is the name of a channel, too`,
        'rename the group',
      );
    for (const [i, name] of members.entries()) {
      const path = ['groups', group, i];
      if (members.indexOf(name) < i) {
        notes.error(path, `${name} is in this group already`, 'name it once', {
          path: ['groups', group],
          value: [...new Set(members)],
        });
        continue;
      }
      if (Object.hasOwn(groups, name)) continue;
      const channel = notes.find('channels', name, path);
      if (!channel) continue;
      if (!kindOf(channel).moves)
        notes.error(path, `${name} is a ${channel.kind}`, 'group servos only: they move together');
    }
  }
}

function lintPoses(notes: Notes, limits: Limits): void {
  for (const [pose, values] of Object.entries(notes.prop.poses)) {
    for (const [name, value] of Object.entries(values)) {
      const path = ['poses', pose, name];
      const channel = notes.find('channels', name, path, true);
      if (channel) kindOf(channel).checkPose(notes, name, channel, value, path, limits);
    }
  }
}

// --- park ---------------------------------------------------------------------------------------

function lintStages(notes: Notes): void {
  const { groups, channels } = notes.prop;
  /** Where each channel was first named. */
  const named = new Map<string, string>();
  for (const [i, stage] of notes.written.stages.entries()) {
    for (const [j, name] of stage.entries()) {
      const path = ['park', 'stages', i, j];
      if (notes.given.broken(path)) continue;
      const isGroup = Object.hasOwn(groups, name) && !Object.hasOwn(channels, name);
      if (!isGroup) notes.find('channels', name, path);
      const again = (isGroup ? groups[name]! : [name]).filter((member) => named.has(member));
      if (again.length > 0)
        notes.error(
          path,
          `${listed(again)} ${again.length > 1 ? 'park' : 'parks'} in an earlier place already${within(named.get(again[0]!)!, again[0]!)}`,
          isGroup ? 'name each channel once, alone or in a group' : 'name it once',
        );
      for (const member of isGroup ? groups[name]! : [name]) named.set(member, name);
    }
  }
}

function within(place: string, channel: string): string {
  return place === channel ? '' : `, with ${place}`;
}

// --- light --------------------------------------------------------------------------------------

/** Checks the weights of lights for the flash guard: all by lumens, or by shares with a sum of at most 1. */
function lintLightWeights(notes: Notes): void {
  const lights = Object.entries(notes.prop.channels).flatMap(([name, channel]) => {
    const glow = kindOf(channel).glow(channel);
    return glow ? [{ name, weight: glow.weight }] : [];
  });
  const at = (name: string) => ['channels', name, 'light'];
  const withLumens = lights.filter(({ weight }) => weight?.lumens !== undefined);
  const withShare = lights.filter(({ weight }) => weight?.share !== undefined);
  if (withLumens.length > 0) {
    for (const { name } of withShare)
      notes.error(
        [...at(name), 'share'],
        `${withLumens[0]!.name} is weighted by its lumens, and ${name} by its share`,
        'give lumens to every light, or shares',
      );
    return;
  }
  const sum = withShare.reduce((all, { weight }) => all + weight!.share!, 0);
  const [first] = withShare;
  if (!first) return;
  const without = lights.length - withShare.length;
  if (sum > 1 + 1e-9)
    notes.error(
      [...at(first.name), 'share'],
      `the shares of all lights add up to ${tidy(sum)}`,
      'give shares that add up to 1 at most',
    );
  else if (without > 0 && sum > 1 - 1e-9)
    notes.error(
      [...at(first.name), 'share'],
      `the shares add up to 1, which leaves nothing for the ${without === 1 ? 'light' : `${without} lights`} without one`,
      'give every light a share, or smaller ones',
    );
}
