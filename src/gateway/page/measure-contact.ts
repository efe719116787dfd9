import type { ChannelInfo } from '../../api/types.ts';
import type { Edit } from './measured.ts';

/** What a person saw of a relay, what it means, and what the prop file gets. */

/** What its load did: while the relay should be off, while it should be on, and without its coil. */
export interface Seen {
  whileOff: boolean;
  whileOn: boolean;
  unplugged: boolean;
}

interface Verdict {
  /** In words, for a person. */
  says: string;
  /** Measured: all is as the file has it. */
  isRight: boolean;
  /** What would make the file right; empty where it is, or where only the wires can be. */
  edits: Edit[];
  /** What the edits do, in words. */
  fix?: string;
  /** The load is fed while nothing drives the coil: also with the daemon dead, and at power-on. */
  caution?: string;
}

const FED_WITHOUT =
  'It is fed while the coil has no current: also while the computer starts, and when the program has died. If that can hurt anybody, move its wire from NC (normally closed) to NO (normally open) instead, and measure again.';

/**
 * What follows from what was seen. Without its coil a contact rests: a load that is on then is on the
 * normally closed contact (NC). Which of the two commands has current in the coil follows from that, and
 * with it the level that switches it on.
 */
export function contactVerdict(channel: string, info: ChannelInfo, seen: Seen): Verdict {
  const { whileOff, whileOn, unplugged } = seen;
  if (whileOff === whileOn)
    return {
      says: whileOn
        ? 'What it feeds is on whether the relay is on or off. The contact is welded, bridged, or not in the circuit: cut the power and look before you use it.'
        : 'What it feeds is off whether the relay is on or off: look at its supply, its fuse and its wires.',
      isRight: false,
      edits: [],
    };
  const isOnNc = unplugged;
  const contact = isOnNc ? 'normally closed contact (NC)' : 'normally open contact (NO)';
  // The coil has current where the load is not as it is without it.
  const coilWhileOn = whileOn !== unplugged;
  const { terminals, output } = info;
  const fileSaysNc = terminals !== undefined && terminals.open === undefined;
  const fileSaysBoth = terminals?.open !== undefined && terminals.closed !== undefined;
  const edits: Edit[] = [];
  const fixes: string[] = [];
  const says: string[] = [];
  if (!coilWhileOn) {
    says.push('The coil has current while the relay should be off: the level is the wrong one.');
    const now = output?.activeLow === true;
    edits.push({ path: ['channels', channel, 'output', 'activeLow'], value: !now });
    fixes.push(`a ${now ? 'high' : 'low'} level switches it on`);
  }
  if (isOnNc !== fileSaysNc && !fileSaysBoth) {
    says.push(
      `What it feeds is on the ${contact}, and the file ${terminals ? `says ${fileSaysNc ? 'NC' : 'NO'}` : 'takes it to be on NO'}.`,
    );
    if (terminals) {
      const [was, is] = isOnNc ? (['open', 'closed'] as const) : (['closed', 'open'] as const);
      edits.push(
        { path: ['channels', channel, 'contact', is], value: terminals[was] },
        { path: ['channels', channel, 'contact', was], value: undefined },
      );
      fixes.push(`${terminals[was]} is its ${isOnNc ? 'NC' : 'NO'} terminal`);
    } else
      says.push(
        'Move its wire to NO. If it has to be NC, name the terminals of its contact in the file, then measure again.',
      );
  }
  const isRight = says.length === 0;
  return {
    says: isRight
      ? `It is as the file has it: the level is right, and what it feeds is on the ${contact}.`
      : says.join(' '),
    isRight,
    edits,
    ...(fixes.length > 0 && { fix: fixes.join(', and ') }),
    ...(isOnNc && { caution: FED_WITHOUT }),
  };
}

/** Two relays that have each other's wires: their pins are exchanged in the file. */
export function exchangedOutputs(
  [one, its]: readonly [string, ChannelInfo],
  [other, others]: readonly [string, ChannelInfo],
): Edit[] {
  const keys = ['board', 'pin', 'activeLow', 'pull'] as const;
  return keys.flatMap((key) => {
    const [a, b] = [its.output?.[key], others.output?.[key]];
    if (a === b) return [];
    return [
      { path: ['channels', one, 'output', key], value: b },
      { path: ['channels', other, 'output', key], value: a },
    ];
  });
}
