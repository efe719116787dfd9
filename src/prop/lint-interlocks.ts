import type { Path } from './finding.ts';
import type { Limits, Notes } from './notes.ts';
import type { Requirement } from './schema.ts';

/** Interlocks: requirements that name the wrong thing, can never be met, or wait for each other. */
export function lintInterlocks(notes: Notes, limits: Limits): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const requires = channel.requires ?? [];
    for (const [i, requirement] of requires.entries()) {
      const path = ['channels', name, 'requires', i];
      if (notes.given.broken(path)) continue;
      if (requirement.channel === name)
        notes.error([...path, 'channel'], `${name} requires itself`, 'name another channel');
      else lintRequirement(notes, requirement, path, limits);
      lintContradiction(notes, requires, i, path);
    }
  }
  lintCircles(notes);
}

/** What is required must be there, be of a kind that can be asked this, and be possible. */
export function lintRequirement(
  notes: Notes,
  needs: Requirement,
  path: Path,
  limits: Limits,
): void {
  const other = notes.find('channels', needs.channel, [...path, 'channel']);
  if (!other) return;
  const name = needs.channel;
  if ('is' in needs) {
    if (other.kind !== 'relay')
      notes.error(
        [...path, 'is'],
        `${name} is a ${other.kind}, which is neither on nor off`,
        other.kind === 'servo' ? 'use above or below (deg)' : 'require a relay or a servo',
      );
    return;
  }
  const word = 'above' in needs ? 'above' : 'below';
  if (other.kind !== 'servo') {
    notes.error(
      [...path, word],
      `${name} is a ${other.kind}, which has no angle`,
      other.kind === 'relay' ? 'use is: on or is: off' : 'require a relay or a servo',
    );
    return;
  }
  const limit = limits.get(name);
  if (!limit) return;
  const never = 'above' in needs ? needs.above >= limit[1] : needs.below <= limit[0];
  if (!never) return;
  const deg = 'above' in needs ? needs.above : needs.below;
  notes.error(
    [...path, word],
    `${name} is never ${word} ${deg} deg: its limits are ${limit[0]} to ${limit[1]} deg`,
    `give an angle ${'above' in needs ? `below ${limit[1]}` : `above ${limit[0]}`} deg`,
  );
}

/** A requirement that rules out an earlier one of the same channel. */
function lintContradiction(notes: Notes, all: Requirement[], index: number, path: Path): void {
  const needs = all[index]!;
  const clash = all
    .slice(0, index)
    .some(
      (other) =>
        other.channel === needs.channel &&
        (('is' in other && 'is' in needs && other.is !== needs.is) ||
          ('above' in other && 'below' in needs && other.above >= needs.below) ||
          ('below' in other && 'above' in needs && needs.above >= other.below)),
    );
  if (clash)
    notes.error(
      path,
      `this and an earlier requirement of ${needs.channel} are never met together`,
      'remove one of them',
    );
}

/** Finds every requirement that closes a circle, by depth-first search (without recursion). */
function lintCircles(notes: Notes): void {
  const { channels } = notes.prop;
  const done = new Set<string>();
  for (const start of Object.keys(channels)) {
    /** The way from `start` to here: each channel, and how many of its requirements were followed. */
    const trail = new Map<string, number>();
    const step = [start];
    while (step.length > 0) {
      const name = step.at(-1)!;
      const i = trail.get(name) ?? 0;
      const next = done.has(name) ? undefined : channels[name]!.requires?.[i]?.channel;
      if (next === undefined) {
        done.add(name);
        trail.delete(name);
        step.pop();
        continue;
      }
      trail.set(name, i + 1);
      if (next === name || done.has(next) || !Object.hasOwn(channels, next)) continue;
      if (!trail.has(next)) {
        step.push(next);
        continue;
      }
      const circle = [...step.slice(step.indexOf(next)), next].join(' -> ');
      const path = ['channels', name, 'requires', i, 'channel'];
      notes.error(path, `the interlocks wait for each other: ${circle}`, 'remove one of them');
    }
  }
}
