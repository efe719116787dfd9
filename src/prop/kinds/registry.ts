import type { Channel, ChannelKind } from './channel.ts';
import type { Kind } from './kind.ts';
import { lamp } from './lamp.ts';
import { relay } from './relay.ts';
import { rgb } from './rgb.ts';
import { servo } from './servo.ts';
import { sound } from './sound.ts';

/** What every kind answers. */
const KINDS: { [K in ChannelKind]: Kind<Extract<Channel, { kind: K }>> } = {
  servo,
  relay,
  rgb,
  lamp,
  sound,
};

/** The answers of a channel's kind. */
export function kindOf({ kind }: { kind: ChannelKind }): Kind {
  return KINDS[kind] as unknown as Kind;
}

/** Whether a channel is on or lit while it is parked. */
export function isUsedParked(channel: Channel): boolean {
  return kindOf(channel).usedAt(channel, channel.park.to);
}
