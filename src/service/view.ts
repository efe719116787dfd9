import type { ChannelInfo } from '../core/requests.ts';

/** What `channel.list` tells of a channel, but for what changes from tick to tick. */
export type StaticInfo = Omit<ChannelInfo, 'value' | 'target' | 'flags' | 'pulseUs' | 'pushing'>;
