import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';
import { type LampChannel, lampSchema } from './lamp-schema.ts';
import { type RelayChannel, relaySchema } from './relay-schema.ts';
import { type RgbChannel, rgbSchema } from './rgb-schema.ts';
import { type ServoChannel, servoSchema } from './servo-schema.ts';
import { type SoundChannel, soundSchema } from './sound-schema.ts';

/**
 * The channels of the prop file. Code that uses one asks its kind (registry.ts). Only code that is just
 * for angles, contacts or fades uses the channel itself, from `servoOf`, `relayOf` or `lightOf`.
 */

export type Channel = ServoChannel | RelayChannel | RgbChannel | LampChannel | SoundChannel;
export type ChannelKind = Channel['kind'];

/** Every kind, by its name in the prop file, in the order used in messages. */
const SCHEMAS: { [K in ChannelKind]: (parts: Parts) => z.ZodObject<z.core.$ZodLooseShape> } = {
  servo: servoSchema,
  relay: relaySchema,
  rgb: rgbSchema,
  lamp: lampSchema,
  sound: soundSchema,
};

export const KIND_NAMES = /* @__PURE__ */ Object.keys(SCHEMAS) as [ChannelKind, ...ChannelKind[]];

/** The channel as a servo; undefined for other kinds. */
export function servoOf(channel: Channel | undefined): ServoChannel | undefined {
  return channel?.kind === 'servo' ? channel : undefined;
}

/** The channel as a relay; undefined for other kinds. */
export function relayOf(channel: Channel | undefined): RelayChannel | undefined {
  return channel?.kind === 'relay' ? channel : undefined;
}

/** A channel that fades. */
export type LightChannel = Extract<Channel, { fadeS: number }>;

/** A light that is dimmed. */
export type DimmedChannel = Extract<LightChannel, { park: { to: number } }>;

/** The channel as a light; undefined for other kinds. */
export function lightOf(channel: Channel | undefined): LightChannel | undefined {
  return channel && 'fadeS' in channel ? channel : undefined;
}

/** The channel as a loudspeaker; undefined for other kinds. */
export function soundOf(channel: Channel | undefined): SoundChannel | undefined {
  return channel && 'ceiling' in channel ? channel : undefined;
}

/** The schema of a channel of any kind. */
export function channelSchema(parts: Parts): z.ZodType<Channel> {
  const schemas = KIND_NAMES.map((name) => SCHEMAS[name](parts));
  const [last, ...others] = [...KIND_NAMES].reverse();
  return parts.z.discriminatedUnion('kind', schemas as [(typeof schemas)[number]], {
    error: `is not a kind of channel; use ${others.reverse().join(', ')} or ${last}`,
  }) as unknown as z.ZodType<Channel>;
}
