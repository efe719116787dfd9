import { tidy } from '../shared/units.ts';
import { parseColour } from '../sums/light.ts';
import { switchWord } from './explain.ts';
import { type Path, show } from './finding.ts';
import type { Limits, Notes } from './notes.ts';
import type { Channel } from './schema.ts';

/**
 * Groups, poses and park stages: that they name what is there and ask for what it can do; and that
 * lights are weighed in one way.
 */
export function lintShow(notes: Notes, limits: Limits): void {
  lintLightWeights(notes);
  lintGroups(notes);
  lintPoses(notes, limits);
  lintStages(notes);
}

function lintGroups(notes: Notes): void {
  for (const [group, members] of Object.entries(notes.prop.groups)) {
    if (Object.hasOwn(notes.prop.channels, group))
      notes.keyError(
        ['groups', group],
        `${group} is the name of a channel, too`,
        'rename the group',
      );
    for (const [i, name] of members.entries()) {
      const path = ['groups', group, i];
      const channel = notes.find('channels', name, path);
      if (!channel) continue;
      if (channel.kind !== 'servo')
        notes.error(path, `${name} is a ${channel.kind}`, 'group servos only: they move together');
      if (members.indexOf(name) < i)
        notes.error(path, `${name} is in this group already`, 'name it once');
    }
  }
}

function lintPoses(notes: Notes, limits: Limits): void {
  for (const [pose, values] of Object.entries(notes.prop.poses)) {
    for (const [name, value] of Object.entries(values)) {
      const path = ['poses', pose, name];
      const channel = notes.find('channels', name, path, true);
      if (channel) lintPoseValue(notes, name, channel, value, path, limits);
    }
  }
}

function lintPoseValue(
  notes: Notes,
  name: string,
  channel: Channel,
  value: number | string,
  path: Path,
  limits: Limits,
): void {
  switch (channel.kind) {
    case 'servo':
      notes.checkPosition(name, value, path, limits);
      break;
    case 'relay':
      if (value !== 'on' && value !== 'off')
        notes.error(
          path,
          `${show(value)} is neither on nor off, and ${name} is a relay`,
          `write ${switchWord(value) ?? 'on or off'}`,
        );
      break;
    case 'rgb':
      checkColour(notes, value, path);
      break;
    case 'lamp':
      if (typeof value !== 'number' || value < 0 || value > 1)
        notes.error(path, `${show(value)} is not a level, and ${name} is a lamp`, 'give 0 to 1');
  }
}

export function checkColour(notes: Notes, value: number | string, path: Path): void {
  if (notes.given.broken(path) || parseColour(String(value))) return;
  notes.error(
    path,
    `${show(value)} is not a colour`,
    'give a CSS colour in quotes, e.g. "#ff8800", "orange" or "oklch(75% 0.15 80)"',
  );
}

// --- park ---------------------------------------------------------------------------------------

function lintStages(notes: Notes): void {
  const named = new Set<string>();
  for (const [i, stage] of notes.prop.park.stages.entries()) {
    for (const [j, name] of stage.entries()) {
      const path = ['park', 'stages', i, j];
      if (notes.given.broken(path)) continue;
      const { groups, channels } = notes.prop;
      if (Object.hasOwn(groups, name) && !Object.hasOwn(channels, name)) {
        const members = groups[name]!.join(', ');
        notes.error(path, `${name} is a group`, `name its channels: ${members}`);
        continue;
      }
      notes.find('channels', name, path);
      if (named.has(name))
        notes.error(path, `${name} parks in an earlier place already`, 'name it once');
      named.add(name);
    }
  }
}

// --- light --------------------------------------------------------------------------------------

/** How much each light counts for when flashes are judged: all by lumens, or by shares that add up. */
function lintLightWeights(notes: Notes): void {
  const lights = Object.entries(notes.prop.channels).flatMap(([name, channel]) => {
    if (channel.kind === 'servo' || (channel.kind === 'relay' && channel.light === undefined))
      return [];
    const { light } = channel;
    return [{ name, weight: light === true ? undefined : light }];
  });
  const at = (name: string) => ['channels', name, 'light'];
  const withLumens = lights.filter(({ weight }) => weight?.lumens !== undefined);
  const withShare = lights.filter(({ weight }) => weight?.share !== undefined);
  if (withLumens.length > 0) {
    for (const { name } of withShare)
      notes.error(
        [...at(name), 'share'],
        `${withLumens[0]!.name} is weighed by its lumens, and ${name} by its share`,
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
