import { CHANNEL, COMMAND, FILE, INTERLOCK, LEASE, QUESTION } from '../errors.ts';
import type { Family } from '../method.ts';

/** Channels that play sounds. */
export const sounds = {
  'sound.play': {
    summary: 'Play a sound of the prop file on a channel of kind sound, from its beginning',
    example: {
      params: { channel: 'voice', sound: 'hoot', volume: 0.5 },
      result: { durationS: 1.8 },
    },
    by: 'core',
    lease: true,
    errors: [...COMMAND, ...CHANNEL, ...INTERLOCK, 'sound.unknown'],
    params: ({ z, text, channel, volume }) =>
      z.strictObject({ channel, sound: text('the name of a sound'), volume }),
    result: ({ z }) =>
      z.object({
        durationS: z.number().describe('how long it takes (s); 0 where it is not known'),
      }),
  },
  'sound.stop': {
    summary: 'Fade out what a channel of kind sound plays',
    example: { params: { channel: 'voice' }, result: { playing: null } },
    by: 'core',
    lease: true,
    whole: true,
    errors: [...LEASE, ...CHANNEL],
    params: ({ z, channel }) => z.strictObject({ channel }),
    result: ({ z }) => z.object({ playing: z.string().nullable() }),
  },
  'sound.read': {
    summary: 'How loud a sound is over time (ITU-R BS.1770), to see its waveform',
    example: {
      params: { sound: 'hoot' },
      result: {
        ...{ sound: 'hoot', durationS: 0.06, stepS: 0.02, lufs: [-100, -31.5, -24.2, -40] },
        ...{ loudestLufs: -26.3, wholeLufs: -27.1 },
      },
    },
    by: 'service',
    lease: false,
    errors: ['sound.unknown', 'sound.unreadable', 'service.dead', 'service.busy', 'service.memory'],
    params: ({ z, text }) => z.strictObject({ sound: text('the name of a sound') }),
    result: ({ z }) =>
      z.object({
        sound: z.string(),
        durationS: z.number().describe('how long it is (s)'),
        stepS: z.number().describe('time between two readings (s)'),
        lufs: z.array(z.number()).describe('short loudness at each step (LUFS), -100 for silence'),
        loudestLufs: z.number().describe('the loudest momentary loudness (0.4 s)'),
        wholeLufs: z.number().describe('the loudness of the whole, gated'),
      }),
  },
  'sound.follow': {
    summary:
      'Make a servo follow the loudness of a sound: a take beside the prop file, which lists it, in one change. A take that was made before is replaced unless it was edited since; then the new one gets a name of its own. A step of a cue that plays both plays them together',
    example: {
      params: {
        ...{ sound: 'hoot', channel: 'beak', shut: 'shut', open: 'open' },
        ...{ floorLufs: -45, rangeLu: 25, attackS: 0.04, releaseS: 0.12 },
      },
      result: {
        ...{ take: 'hoot_beak', file: 'hoot_beak.take', points: 31, durationS: 1.8 },
        ...{ version: '0123456789abcdef', pending: false },
      },
    },
    by: 'core',
    lease: true,
    errors: [
      ...FILE,
      ...(['sound.unknown', 'sound.unreadable', 'channel.wrong-kind', 'mark.unknown'] as const),
      ...(['limits.outside', 'take.not-saved', 'take.too-many', 'take.too-long'] as const),
      ...(['file.other-version', 'file.waits', 'service.busy', 'service.memory'] as const),
    ],
    params: (fields) => {
      const { z, text, channel, within, to } = fields;
      return z.strictObject({
        sound: text('the name of a sound'),
        channel,
        shut: to.describe('where it is in silence'),
        open: to.describe('where it is at full loudness'),
        floorLufs: within(-100, 0, 'what is softer counts as silence (LUFS)'),
        rangeLu: within(1, 80, 'how much louder than that opens it fully (LU)'),
        attackS: within(0, 2, 'time constant of opening (s)'),
        releaseS: within(0, 2, 'time constant of closing (s)'),
        version: fields.version.optional(),
      });
    },
    result: ({ z, version }) =>
      z.object({
        take: z.string(),
        file: z.string().describe('its file beside the prop file'),
        points: z.int().describe('points of the take'),
        durationS: z.number().describe('how long it is (s)'),
        version,
        pending: z.boolean().describe('in use only when the prop is parked'),
      }),
  },
  'sound.begin': {
    summary:
      'Begin to send a sound (WAV, FLAC, OGG or MP3), in parts; one at a time, within five minutes',
    example: { params: { bytes: 240_000 }, result: { upload: 1, partBytes: 45_000 } },
    by: 'core',
    lease: true,
    errors: [...LEASE, 'sound.too-large', 'sound.busy', 'session.gone', 'service.dead'],
    params: ({ z, uploadBytes }) => z.strictObject({ bytes: uploadBytes }),
    result: ({ uploadBegun }) => uploadBegun,
  },
  'sound.part': {
    summary: 'Send the next part of a sound',
    example: { params: { upload: 1, at: 0, data: 'UklGRg==' }, result: { received: 4 } },
    by: 'service',
    lease: false,
    errors: [...QUESTION, 'sound.no-upload', 'sound.wrong-part'],
    params: ({ uploadPart }) => uploadPart,
    result: ({ uploadReceived }) => uploadReceived,
  },
  'sound.add': {
    summary:
      'Check the sound that was sent, keep it beside the prop file, and list it there. It takes the place of another of this name only with `replace`',
    example: {
      params: { upload: 1, name: 'hoot' },
      result: {
        ...{ sound: 'hoot', file: 'hoot.wav', durationS: 1.8 },
        ...{ version: '0123456789abcdef', pending: true },
      },
    },
    by: 'core',
    lease: true,
    errors: [
      ...FILE,
      ...(['sound.no-upload', 'sound.wrong-part', 'sound.unreadable', 'sound.name-taken'] as const),
      ...(['sound.not-saved', 'sound.too-many', 'file.other-version', 'file.waits'] as const),
      ...(['service.busy', 'service.memory'] as const),
    ],
    params: ({ z, uploadId, name, flag, version }) =>
      z.strictObject({
        upload: uploadId,
        name: name.describe('the name of the sound'),
        replace: flag('take the place of the sound of this name').optional(),
        version: version.optional(),
      }),
    result: ({ z, version }) =>
      z.object({
        sound: z.string(),
        file: z.string().describe('its file beside the prop file'),
        durationS: z.number().describe('how long it is (s)'),
        version,
        pending: z.boolean().describe('in use only when the prop is parked'),
      }),
  },
  'sound.cancel': {
    summary: 'Give up the sound that this session sends',
    example: { params: {}, result: { cancelled: true } },
    by: 'service',
    lease: false,
    errors: QUESTION,
    params: ({ nothing }) => nothing,
    result: ({ uploadCancelled }) => uploadCancelled,
  },
  'sound.remove': {
    summary:
      'Take a sound off the list of the prop file; its file stays beside it. Refused while a cue plays it',
    example: {
      params: { sound: 'hoot' },
      result: { sound: 'hoot', version: '0123456789abcdef', pending: true },
    },
    by: 'core',
    lease: true,
    errors: [...FILE, 'sound.unknown', 'sound.in-use', 'file.other-version', 'file.waits'],
    params: ({ z, text, version }) =>
      z.strictObject({ sound: text('the name of a sound'), version: version.optional() }),
    result: ({ z, version }) =>
      z.object({
        sound: z.string(),
        version,
        pending: z.boolean().describe('in effect only when the prop is parked'),
      }),
  },
} as const satisfies Family;
