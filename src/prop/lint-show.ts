import { parseColour } from '../sums/light.ts';
import { switchWord } from './explain.ts';
import { didYouMean, type Path, show } from './finding.ts';
import type { Limits, Notes } from './notes.ts';
import { type Channel, type CueStep, longCue } from './schema.ts';

/** Groups, poses, cues and park stages: that they name what is there and ask for what it can do. */
export function lintShow(notes: Notes, limits: Limits): void {
  lintGroups(notes);
  lintPoses(notes, limits);
  for (const [name, cue] of Object.entries(notes.prop.cues)) {
    const at = Array.isArray(cue) ? ['cues', name] : ['cues', name, 'steps'];
    for (const [i, step] of longCue(cue).steps.entries()) lintStep(notes, step, [...at, i], limits);
  }
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
        notes.error(path, `${show(value)} is no level, and ${name} is a lamp`, 'give 0 to 1');
  }
}

export function checkColour(notes: Notes, value: number | string, path: Path): void {
  if (notes.given.broken(path) || parseColour(String(value))) return;
  notes.error(
    path,
    `${show(value)} is no colour`,
    'give a CSS colour in quotes, e.g. "#ff8800", "orange" or "oklch(75% 0.15 80)"',
  );
}

// --- cues ---------------------------------------------------------------------------------------

/** Which part of a cue step commands which kind of channel. */
const PART = { servo: 'move', relay: 'switch', rgb: 'colour', lamp: 'dim' } as const;
const KIND = { switch: 'relay', colour: 'rgb', dim: 'lamp' } as const;

function lintStep(notes: Notes, step: CueStep, at: Path, limits: Limits): void {
  const { move, pose, colour, dim, switch: switched } = step;
  if (pose !== undefined) notes.find('poses', pose, [...at, 'pose']);
  lintMoves(notes, move ?? {}, [...at, 'move'], limits);
  for (const part of ['colour', 'dim', 'switch'] as const) {
    for (const name of Object.keys(step[part] ?? {})) {
      const path = [...at, part, name];
      const channel = notes.find('channels', name, path, true);
      if (channel && channel.kind !== KIND[part])
        notes.keyError(path, `${name} is a ${channel.kind}`, `put it under ${PART[channel.kind]}`);
    }
  }
  for (const [name, value] of Object.entries(colour ?? {}))
    checkColour(notes, value, [...at, 'colour', name]);

  if (notes.given.broken(at)) return;
  const { until, cue, choose } = step;
  const acts = [move, pose, colour, dim, switched, until, cue, choose];
  if (acts.every((one) => one === undefined))
    notes.error(
      at,
      'this step does nothing',
      'give it a move, pose, colour, dim, switch, until, cue or choose',
    );
  lintTimes(notes, step, at);
}

function lintMoves(
  notes: Notes,
  move: NonNullable<CueStep['move']>,
  at: Path,
  limits: Limits,
): void {
  const { groups, channels } = notes.prop;
  const moved = new Map<string, string>();
  for (const [name, to] of Object.entries(move)) {
    const path = [...at, name];
    const members = Object.hasOwn(groups, name) ? groups[name]! : [name];
    if (!Object.hasOwn(groups, name)) {
      if (notes.given.has(['groups', name])) continue;
      if (!Object.hasOwn(channels, name) && !notes.given.has(['channels', name])) {
        const known = [...Object.keys(channels), ...Object.keys(groups)];
        notes.keyError(path, `there is no channel or group ${name}`, didYouMean(name, known));
        continue;
      }
      const kind = channels[name]?.kind ?? 'servo';
      if (kind !== 'servo')
        notes.keyError(path, `${name} is a ${kind}`, `put it under ${PART[kind]}`);
    }
    for (const member of members) {
      for (const end of typeof to === 'object'
        ? [to.around - to.spread, to.around + to.spread]
        : [to])
        notes.checkPosition(member, end, path, limits);
      const other = moved.get(member);
      if (other !== undefined && other !== name)
        notes.keyError(path, `${member} is moved by ${other} in this step, too`, 'move it once');
      moved.set(member, name);
    }
  }
}

/** Times that belong to nothing in their step, and closures longer than the duty guard allows. */
function lintTimes(notes: Notes, step: CueStep, at: Path): void {
  const { move, pose, colour, dim, switch: switched, overS, fadeS, forS } = step;
  const idle = (key: string, needs: string) =>
    notes.warning([...at, key], `${key} has no effect here`, `remove it, or add ${needs}`);
  if (overS !== undefined && !move && pose === undefined) idle('overS', 'a move or a pose');
  if (fadeS !== undefined && !colour && !dim) idle('fadeS', 'a colour or a dim');
  if (forS !== undefined && !switched) idle('forS', 'a switch');
  for (const [name, to] of Object.entries(switched ?? {})) {
    const { channels } = notes.prop;
    const channel = Object.hasOwn(channels, name) ? channels[name] : undefined;
    if (channel?.kind !== 'relay' || !channel.duty || to !== 'on') continue;
    const { maxOnS } = channel.duty;
    if (forS !== undefined && forS > maxOnS)
      notes.warning(
        [...at, 'forS'],
        `the duty guard of ${name} opens it after ${maxOnS} s, before these ${forS} s are over`,
        `give ${maxOnS} or less`,
      );
  }
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
