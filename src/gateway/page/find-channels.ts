import type { BoardInfo, ChannelInfo, ChannelState } from '../../api/types.ts';
import { slotsOf } from '../../drawings/pins.ts';
import type { FlagName } from '../../shared/telemetry.ts';
import { isUnknown, parkValue, SAME_DEG } from './standing.ts';

/** Finding channels of a large prop: by words, by what they do, and by group. */

/** A prop with more channels than this gets search, filters and short rows. */
const SMALL = 16;

/** Whether a prop has so many channels that they are listed in short rows. */
export const isBig = (channels: Record<string, ChannelInfo>): boolean =>
  Object.keys(channels).length > SMALL;

/** What each filter is called. */
export const FILTERS = {
  moving: 'Moving',
  refused: 'Refused',
  away: 'Away from park',
  lost: 'Limp or unknown',
} as const;
export type Filter = keyof typeof FILTERS;

/** What keeps a channel from doing what it is asked for. */
const HELD: readonly FlagName[] = ['interlocked', 'resting', 'flashHeld'];

/**
 * @param refused the last thing that was asked of it was refused
 * @param hexOf a CSS colour as `#rrggbb`, undefined where it cannot be told
 */
export function passes(
  filter: Filter,
  info: ChannelInfo,
  state: ChannelState,
  refused: boolean,
  hexOf: (css: string) => string | undefined,
): boolean {
  const { flags } = state;
  switch (filter) {
    case 'moving':
      return flags.includes('moving');
    case 'refused':
      return refused || HELD.some((flag) => flags.includes(flag));
    case 'away':
      return isAway(info, state, hexOf);
    case 'lost':
      return isUnknown(state) || flags.includes('released');
  }
}

/** It is known to stand, or to be lit or switched, otherwise than at park. */
function isAway(
  info: ChannelInfo,
  state: ChannelState,
  hexOf: (css: string) => string | undefined,
): boolean {
  if (isUnknown(state)) return false;
  const { value } = state;
  const at = parkValue(info);
  // A colour.
  const home = typeof value === 'string' ? hexOf(String(at)) : at;
  if (home === undefined) return false;
  return typeof home === 'number' ? Math.abs(Number(value) - home) >= SAME_DEG : value !== home;
}

/** Where each channel is connected, by its name: `GPIO 18`, `pin 12`, `board_1`. */
export function placesOf(boards: Record<string, BoardInfo>): Map<string, string[]> {
  const places = new Map<string, string[]>();
  for (const [board, info] of Object.entries(boards))
    for (const { number, name, use } of slotsOf(info)) {
      if (use === undefined) continue;
      // One colour of a light: `eye_left.red`.
      const channel = use.split('.')[0]!;
      const known = places.get(channel) ?? [board];
      places.set(channel, [...known, ...(name ? [name] : []), `pin ${number}`]);
    }
  return places;
}

/** What a channel is found by. */
interface Sought {
  name: string;
  info: ChannelInfo;
  /** Its kind, in words. */
  kind: string;
  places: readonly string[];
}

/**
 * Every word must occur in the name, a group, the kind, the wire, the rail or the board. `GPIO 4`,
 * `pin 7` and `output 3` name exactly that place.
 */
export function isFound(text: string, { name, info, kind, places }: Sought): boolean {
  const sought = text.toLowerCase().trim();
  const exact = [...sought.matchAll(PLACE)].map(([, what, number]) => `${what} ${number}`);
  const words = sought.replace(PLACE, ' ').split(/\s+/).filter(Boolean);
  const own = `${name}\n${info.wire ?? ''}`.toLowerCase();
  const all = [own, kind, info.rail ?? '', ...info.groups, ...places].join('\n').toLowerCase();
  return (
    // A number alone is meant for the name: every channel has some number somewhere.
    words.every((word) => (/^\d+$/.test(word) ? own : all).includes(word)) &&
    exact.every((place) => places.some((one) => one.toLowerCase() === place))
  );
}

const PLACE = /\b(gpio|pin|output)\s*(\d+)\b/g;

/** A part of the list that can be folded. */
export interface Section {
  title: string;
  /** Names of the channels that are listed in it. */
  names: string[];
  /** The group that it is of. */
  group?: string;
  /** Titles of the sections that list the other members of the group. */
  elsewhere: string[];
}

/**
 * Every channel once: in the smallest of its groups, otherwise with others of its sort.
 * @param sortOf the title of the section of those in no group, for a kind
 */
export function sectionsOf(
  channels: Record<string, ChannelInfo>,
  groups: Record<string, string[]>,
  sortOf: (kind: ChannelInfo['kind']) => string,
): Section[] {
  const homes = new Map<string, string>();
  const bySize = Object.entries(groups).sort(([, a], [, b]) => a.length - b.length);
  for (const [group, members] of bySize)
    for (const member of members) if (!homes.has(member)) homes.set(member, group);
  const sections: Section[] = Object.entries(groups).map(([group, members]) => ({
    title: group,
    group,
    names: members.filter((member) => homes.get(member) === group && channels[member]),
    elsewhere: [
      ...new Set(members.map((member) => homes.get(member)!).filter((home) => home !== group)),
    ],
  }));
  const others = new Map<string, string[]>();
  for (const [name, { kind }] of Object.entries(channels)) {
    if (homes.has(name)) continue;
    const title = sortOf(kind);
    others.set(title, [...(others.get(title) ?? []), name]);
  }
  for (const [title, names] of others) sections.push({ title, names, elsewhere: [] });
  return sections;
}
