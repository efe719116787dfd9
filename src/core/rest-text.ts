import type { Actuator } from './actuators.ts';
import type { Body } from './body.ts';

/** How many channels are named. */
const NAMED = 4;

/** Why a prop at rest is not at its park position, in words; undefined where it is. */
export function notParkedText(body: Body): string | undefined {
  // As a rule it is: a tick then allocates nothing for this.
  if (body.channels.every(isParked)) return undefined;
  const away = body.channels.filter((channel) => !isParked(channel));
  const lost = away.filter((channel) => channel.moves && channel.isUnknown);
  const words = away.filter((channel) => !lost.includes(channel)).map(awayText);
  if (lost.length > 0)
    words.unshift(
      `nobody knows where ${list(lost.map(({ name }) => name))} stand${lost.length > 1 ? '' : 's'}`,
    );
  return words.length > NAMED
    ? `${words.slice(0, NAMED).join('; ')}; and ${words.length - NAMED} more`
    : words.join('; ');
}

function isParked(channel: Actuator): boolean {
  return !channel.isUnknown && channel.rests;
}

function awayText(channel: Actuator): string {
  return channel.isUnknown
    ? `${channel.name} may be on, as its board cannot be reached`
    : channel.awayText();
}

/** `a`, `a and b`, `a, b and 3 others`. */
function list(names: readonly string[]): string {
  const shown = names.slice(0, NAMED);
  const others = names.length - shown.length;
  if (others > 0) return `${shown.join(', ')} and ${others} other${others > 1 ? 's' : ''}`;
  return shown.length > 1 ? `${shown.slice(0, -1).join(', ')} and ${shown.at(-1)}` : shown[0]!;
}
