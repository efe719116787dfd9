import { show, switchWord } from '../finding.ts';
import type { CommandPart } from '../steps.ts';
import type { ChannelKind } from './channel.ts';
import { kindOf } from './registry.ts';

/** The word for a kind's command, and an example of its value. */
const COMMANDS: Record<CommandPart, { done: string; example: string }> = {
  move: { done: 'moved', example: '20' },
  switch: { done: 'switched', example: 'on' },
  dim: { done: 'dimmed', example: '0.5' },
  colour: { done: 'given a colour', example: '"#ffcc00"' },
  sound: { done: 'given the name of a sound', example: 'hoot' },
};

/** The finding for a channel in the part of a step that is for another kind. */
export function wrongPart(
  name: string,
  kind: ChannelKind,
  value: unknown,
): [wrong: string, right: string] {
  const { part } = kindOf({ kind });
  const { done, example } = COMMANDS[part];
  return [
    `${name} is ${kind === 'rgb' ? 'an' : 'a'} ${kind}, which is ${done}`,
    `write ${part}: { ${name}: ${fitting(part, value) ?? example} }`,
  ];
}

/** The value as that part accepts it; undefined if it cannot. */
function fitting(part: CommandPart, value: unknown): string | undefined {
  if (part === 'switch') return switchWord(value);
  const isNumber = typeof value === 'number' && Number.isFinite(value);
  if (part === 'move')
    return isNumber || (typeof value === 'string' && /^[A-Za-z]/.test(value) && !switchWord(value))
      ? String(value)
      : undefined;
  if (part === 'sound') return undefined;
  if (part === 'dim') return isNumber && value >= 0 && value <= 1 ? String(value) : undefined;
  return typeof value === 'string' && value.startsWith('#') ? show(value) : undefined;
}
