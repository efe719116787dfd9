import type { Path } from './finding.ts';
import { holdsParked, requirementText } from './interlock.ts';
import { relayOf, servoOf } from './kinds/channel.ts';
import { isUsedParked, kindOf } from './kinds/registry.ts';
import { degIn } from './kinds/servo.ts';
import type { Limits, Notes } from './notes.ts';
import type { Channel, Requirement } from './schema.ts';

/** Reports requirements that name the wrong thing, can never be met, or wait for each other. */
export function lintInterlocks(notes: Notes, limits: Limits): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const requires = channel.requires ?? [];
    for (const [i, requirement] of requires.entries()) {
      const path = ['channels', name, 'requires', i];
      if (notes.given.broken(path)) continue;
      if (requirement.channel === name)
        notes.error([...path, 'channel'], `${name} requires itself`, 'name another channel');
      else lintRequirement(notes, requirement, path, limits);
      if (requirement.while === 'moving' && !kindOf(channel).moves)
        notes.error(
          [...path, 'while'],
          `${name} is a ${channel.kind}, which does not move`,
          'remove while: it needs this for as long as it is on',
        );
      lintContradiction(notes, requires, i, path);
    }
    if (!notes.given.broken(['channels', name, 'park'])) lintAtRest(notes, name, channel);
  }
  lintCircles(notes);
  lintPoses(notes);
}

/** A pose must not have a channel in use without what it requires. */
function lintPoses(notes: Notes): void {
  const { channels, poses } = notes.prop;
  for (const [pose, values] of Object.entries(poses))
    for (const name of Object.keys(values)) {
      const channel = Object.hasOwn(channels, name) ? channels[name]! : undefined;
      if (!channel?.requires || !kindOf(channel).usedAt(channel, values[name]!)) continue;
      for (const needs of channel.requires) {
        if (needs.while === 'moving' || !Object.hasOwn(values, needs.channel)) continue;
        if (holdsAt(notes, needs, values[needs.channel]!) !== false) continue;
        notes.error(
          ['poses', pose, needs.channel],
          `${name} needs ${requirementText(needs)} in this pose`,
          `leave ${needs.channel} where it is needed, or park ${name}`,
        );
      }
    }
}

function holdsAt(notes: Notes, needs: Requirement, value: number | string): boolean | undefined {
  const { channels } = notes.prop;
  const other = Object.hasOwn(channels, needs.channel) ? channels[needs.channel]! : undefined;
  return other && kindOf(other).meets(other, needs, value);
}

/** A requirement must name a channel that exists, fit its kind, and be possible. */
export function lintRequirement(
  notes: Notes,
  needs: Requirement,
  path: Path,
  limits: Limits,
): void {
  const other = notes.find('channels', needs.channel, [...path, 'channel']);
  if (!other) return;
  const name = needs.channel;
  const { switches, words } = kindOf(other);
  if ('is' in needs) {
    if (needs.is !== 'parked' && !switches)
      notes.error(
        [...path, 'is'],
        `${name} is a ${other.kind}, which is neither on nor off`,
        words.requireInstead ?? 'use is: parked, or require a relay or a servo',
      );
    return;
  }
  const word = 'above' in needs ? 'above' : 'below';
  const servo = servoOf(other);
  if (!servo) {
    notes.error(
      [...path, word],
      `${name} is a ${other.kind}, which has no angle`,
      words.requireInstead ?? 'use is: parked, or require a servo',
    );
    return;
  }
  const bound = 'above' in needs ? needs.above : needs.below;
  if (typeof bound === 'string') notes.checkPosition(name, bound, [...path, word], limits);
  const deg = degIn(servo, bound);
  const limit = limits.get(name);
  if (!limit || deg === undefined) return;
  if (word === 'above' ? deg < limit[1] : deg > limit[0]) return;
  const text = typeof bound === 'string' ? `${bound}, ${deg} deg` : `${deg} deg`;
  notes.error(
    [...path, word],
    `${name} is never ${word} ${text}: its limits are ${limit[0]} to ${limit[1]} deg`,
    `give an angle ${word === 'above' ? `below ${limit[1]}` : `above ${limit[0]}`} deg`,
  );
}

/** Reports a requirement that excludes an earlier one of the same channel. */
function lintContradiction(notes: Notes, all: Requirement[], index: number, path: Path): void {
  const needs = all[index]!;
  const { channels } = notes.prop;
  const other = Object.hasOwn(channels, needs.channel) ? channels[needs.channel] : undefined;
  const clash = all
    .slice(0, index)
    .some((earlier) => earlier.channel === needs.channel && areOpposed(earlier, needs, other));
  if (clash)
    notes.error(
      path,
      `this and an earlier requirement of ${needs.channel} are never met together`,
      'remove one of them',
    );
}

function areOpposed(one: Requirement, two: Requirement, other: Channel | undefined): boolean {
  const [from, to] = [rangeOf(one, other), rangeOf(two, other)];
  if (from && to) {
    const low = Math.max(from.low, to.low);
    const high = Math.min(from.high, to.high);
    return low > high || (low === high && !(from.closed && to.closed) && Number.isFinite(low));
  }
  const relay = relayOf(other);
  if (!('is' in one && 'is' in two) || !relay) return false;
  const level = (is: string) => (is === 'parked' ? relay.park.to : is);
  return level(one.is) !== level(two.is);
}

/** The angles that meet a requirement; without its ends unless `closed`. */
function rangeOf(
  needs: Requirement,
  other: Channel | undefined,
): { low: number; high: number; closed: boolean } | undefined {
  const servo = servoOf(other);
  if (!servo) return undefined;
  if ('is' in needs) {
    const deg = needs.is === 'parked' ? degIn(servo, servo.park.to) : undefined;
    return deg === undefined ? undefined : { low: deg, high: deg, closed: true };
  }
  const deg = degIn(servo, 'above' in needs ? needs.above : needs.below);
  if (deg === undefined) return undefined;
  const [low, high] = 'above' in needs ? [deg, Infinity] : [-Infinity, deg];
  return { low, high, closed: false };
}

/**
 * A channel that is on or lit while parked must have what it requires then: no order of parking can
 * provide it.
 */
function lintAtRest(notes: Notes, name: string, channel: Channel): void {
  if (!isUsedParked(channel)) return;
  const { used, unused } = kindOf(channel).words;
  for (const [i, needs] of (channel.requires ?? []).entries()) {
    const path = ['channels', name, 'requires', i];
    if (notes.given.broken(path) || holdsParked(notes.prop, needs) !== false) continue;
    notes.error(
      path,
      `${name} parks ${used}, but needs ${requirementText(needs)}, which does not hold while everything is parked: no order of parking keeps this`,
      `let ${name} park ${unused}, or ${needs.channel} where it is needed`,
    );
  }
}

/**
 * Finds every requirement that closes a circle, by depth-first search (without recursion). Requirements
 * that the park positions meet do not count: two channels may exclude each other.
 */
function lintCircles(notes: Notes): void {
  const { channels } = notes.prop;
  const done = new Set<string>();
  const waits = new Map(
    Object.entries(channels).map(([name, { requires = [] }]) => [
      name,
      [...requires.entries()].filter(([, needs]) => holdsParked(notes.prop, needs) === false),
    ]),
  );
  for (const start of Object.keys(channels)) {
    /** The path from `start` to here: each channel, and how many of its requirements were followed. */
    const trail = new Map<string, number>();
    const step = [start];
    while (step.length > 0) {
      const name = step.at(-1)!;
      const followed = trail.get(name) ?? 0;
      const [i, needs] = (done.has(name) ? undefined : waits.get(name)![followed]) ?? [];
      const next = needs?.channel;
      if (next === undefined) {
        done.add(name);
        trail.delete(name);
        step.pop();
        continue;
      }
      trail.set(name, followed + 1);
      if (next === name || done.has(next) || !Object.hasOwn(channels, next)) continue;
      if (!trail.has(next)) {
        step.push(next);
        continue;
      }
      const circle = [...step.slice(step.indexOf(next)), next].join(' -> ');
      const path = ['channels', name, 'requires', i!, 'channel'];
      notes.error(
        path,
        `the interlocks wait for each other: ${circle}`,
        'remove one of them, or let the park positions meet one of them (is: parked)',
      );
    }
  }
  lintShutIn(notes, waits);
}

/**
 * If a channel needs another one away from its park position, but that one needs the first one parked,
 * the first can never leave its park position.
 */
function lintShutIn(notes: Notes, waits: ReadonlyMap<string, [number, Requirement][]>): void {
  for (const [name, { requires = [] }] of Object.entries(notes.prop.channels))
    for (const [i, needs] of requires.entries()) {
      if (!('is' in needs) || needs.is !== 'parked' || needs.channel === name) continue;
      const seen = new Set<string>();
      const todo = [needs.channel];
      for (let one = todo.pop(); one !== undefined; one = todo.pop()) {
        if (seen.has(one)) continue;
        seen.add(one);
        for (const [, further] of waits.get(one) ?? []) todo.push(further.channel);
      }
      if (!seen.has(name)) continue;
      notes.error(
        ['channels', name, 'requires', i],
        `${needs.channel} never leaves its park position: it needs ${name} away from its own, and ${name} needs ${needs.channel} parked`,
        'remove one of these requirements',
      );
    }
}
