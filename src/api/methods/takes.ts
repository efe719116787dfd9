import { CHANNEL, COMMAND, FILE, INTERLOCK, LEASE, MOTION } from '../errors.ts';
import type { Fields } from '../fields.ts';
import type { Family } from '../method.ts';

/** What a recording itself may be refused for. */
const RECORDED = ['take.nothing', 'take.running', 'take.trimmed-away'] as const;

/** Servos that are recorded, or led, together at most. */
const MOST_RECORDED = 24;
const MOST_LED = 32;

/** The most that an angle of a take may be (deg). */
const MOST_DEG = 36_000;

/** What is saved, and what becomes of it before that: in this order. */
function changes({ z, want, within, name }: Fields) {
  const angle = (what: string) => within(-MOST_DEG, MOST_DEG, `${what} (deg)`).optional();
  const say = want('[from, to] in s from the beginning of the recording');
  return {
    take: name.describe('a take of the prop, in place of the recording').optional(),
    trim: z
      .tuple([z.number(say).min(0, say), z.number(say).min(0, say)], say)
      .refine(([fromS, toS]) => fromS < toS, want('two times, the first before the second'))
      .describe('what is kept: from and to (s from the beginning)')
      .optional(),
    smoothS: within(0, 10, 'time over which it is smoothed (s)').optional(),
    scale: within(0, 100, 'wider by this factor, or below 1 narrower, about aboutDeg').optional(),
    aboutDeg: angle('the angle that scale leaves; without it that where each servo begins'),
    mirrorDeg: angle('the other way round, about this angle'),
    shiftDeg: angle('higher by so much, or lower'),
    toleranceDeg: within(0, 10, 'how far points may be from what was recorded (deg)').optional(),
  };
}

const played = (z: Fields['z']) =>
  z
    .object({ channel: z.string(), sound: z.string() })
    .describe('the sound that plays, or played, meanwhile');

/** The recording under way, or the last one. */
function state({ z }: Fields) {
  return z.object({
    recording: z.boolean().describe('it goes on'),
    samples: z.int().describe('samples of each servo, 50 a second'),
    durationS: z.number().describe('how long it is (s)'),
    channels: z.array(z.string()),
    over: z.string().optional().describe('the cue that runs, or ran, meanwhile'),
    sound: played(z).optional(),
    ended: z.string().optional().describe('why it ended'),
    saved: z.string().optional().describe('the take that it was last saved as'),
  });
}

const curves = ({ z }: Fields) =>
  z.record(
    z.string(),
    z.array(z.tuple([z.number(), z.number()]).describe('time (s), angle (deg)')),
  );

/** Movement that is performed by hand, and recorded. */
export const takes = {
  'channel.perform': {
    summary:
      'Lead servos by hand: a stream of targets, 5 to 50 a second, of which the newest counts. What is left out, or has no news for 0.25 s, decelerates and holds',
    example: {
      params: { targets: { beak: 12.5, head_turn: -20 } },
      result: {
        channels: {
          beak: { value: 11.2, behindDeg: 1.3, behindS: 0.09 },
          head_turn: { value: -20, behindDeg: 0, behindS: 0 },
        },
      },
    },
    by: 'core',
    lease: true,
    streamed: true,
    errors: MOTION,
    params: ({ z, to, want }) => {
      const say = want(`the targets by channel, ${MOST_LED} at most`);
      return z.strictObject({
        targets: z
          .record(z.string().max(64), to, say)
          .refine((targets) => Object.keys(targets).length <= MOST_LED, say)
          .describe('everything that is led now, by channel; none to let go of all'),
      });
    },
    result: ({ z, deg }) =>
      z.object({
        channels: z.record(
          z.string(),
          z.object({
            value: deg.describe('where it is commanded to be now (deg)'),
            behindDeg: z.number().describe('from there to where it was asked to go (deg)'),
            behindS: z.number().describe('until it is where it was sent (s)'),
            delayed: z.string().optional().describe('why it waits'),
            refused: z
              .object({ code: z.string(), reason: z.string() })
              .optional()
              .describe('why it may not go there; it holds where it may'),
          }),
        ),
      }),
  },
  'take.begin': {
    summary:
      'Begin to record what servos are commanded to do, 50 times a second; the last recording is gone then. Over a cue: the cue runs meanwhile, and leaves these servos to you. Over a sound: it plays meanwhile, and the recording begins when it is heard',
    example: {
      params: { channels: ['beak'], over: 'glance' },
      result: { channels: ['beak'], over: 'glance', hz: 50, longestS: 300, beginsInS: 0 },
    },
    by: 'core',
    lease: true,
    errors: [
      ...COMMAND,
      ...CHANNEL,
      ...INTERLOCK,
      ...(['take.running', 'cue.unknown', 'cue.too-long', 'cue.clash', 'sound.unknown'] as const),
    ],
    params: ({ z, want, channel, text, volume }) =>
      z
        .strictObject({
          channels: z
            .array(channel, want('the names of servos'))
            .min(1, want('at least one servo'))
            .max(MOST_RECORDED, want(`${MOST_RECORDED} servos at most`))
            .describe('the servos to record'),
          over: text('the name of a cue').optional(),
          sound: z
            .strictObject({ channel, sound: text('the name of a sound'), volume })
            .optional()
            .describe('a sound that plays meanwhile, on a channel of kind sound'),
        })
        .refine(({ over, sound }) => over === undefined || sound === undefined, {
          error: 'give a cue (over) or a sound, not both',
        }),
    result: ({ z }) =>
      z.object({
        channels: z.array(z.string()),
        over: z.string().optional(),
        sound: played(z).optional(),
        beginsInS: z
          .number()
          .describe('when the recording begins (s): with what runs meanwhile, as it is heard'),
        hz: z.number().describe('samples a second'),
        longestS: z.number().describe('the recording ends by itself after this time (s)'),
      }),
  },
  'take.end': {
    summary:
      'End the recording, and the cue that was started for it. What was recorded stays until the next take.begin, or until the daemon ends',
    example: {
      params: {},
      result: {
        recording: false,
        samples: 246,
        durationS: 4.9,
        channels: ['beak'],
        over: 'glance',
        ended: 'desk ended it',
      },
    },
    by: 'core',
    lease: true,
    errors: [...LEASE, 'take.nothing'],
    params: ({ nothing }) => nothing,
    result: state,
  },
  'take.read': {
    summary:
      'The recording under way, or the last one, and as it would be saved; or a take of the prop, and what it would become',
    example: {
      params: { toleranceDeg: 0.5, trim: [0, 0.04] },
      result: {
        recording: false,
        samples: 4,
        durationS: 0.06,
        channels: ['beak'],
        ended: 'desk ended it',
        recorded: {
          beak: [
            [0, 0],
            [0.02, 0.12],
            [0.06, 1.08],
          ],
        },
        simplified: {
          beak: [
            [0, 0],
            [0.04, 0.48],
          ],
        },
        differenceDeg: { beak: 0.03 },
      },
    },
    by: 'core',
    lease: false,
    errors: [
      ...(['take.unknown', 'take.unusable', 'take.trimmed-away', 'take.too-long'] as const),
      'service.dead',
      'service.busy',
      'service.memory',
    ],
    params: (fields) => fields.z.strictObject(changes(fields)),
    result: (fields) =>
      state(fields).extend({
        recorded: curves(fields).optional().describe('once it has ended: for a drawing'),
        simplified: curves(fields).optional().describe('as it would be saved, by channel'),
        differenceDeg: fields.z
          .record(fields.z.string(), fields.z.number())
          .optional()
          .describe('the largest difference between the two, by channel (deg)'),
      }),
  },
  'take.save': {
    summary:
      'Keep the last recording, or a take of the prop with changes, as a take: a text file beside the prop file, which then lists it. It takes the place of another of this name only with `replace`',
    example: {
      params: { name: 'chatter', trim: [0.2, 4], toleranceDeg: 0.5 },
      result: {
        name: 'chatter',
        version: '0123456789abcdef',
        file: 'chatter.take',
        pending: false,
        points: 31,
        durationS: 3.8,
      },
    },
    by: 'core',
    lease: true,
    errors: [
      ...FILE,
      ...RECORDED,
      ...(['take.unknown', 'take.unusable'] as const),
      'take.name-taken',
      'take.not-saved',
      'take.too-many',
      'take.too-long',
      'file.other-version',
      'file.waits',
      'service.busy',
      'service.memory',
    ],
    params: (fields) =>
      fields.z.strictObject({
        name: fields.name.describe('the name of the take'),
        ...changes(fields),
        replace: fields.flag('take the place of the take of this name').optional(),
        version: fields.version.optional(),
      }),
    result: ({ z, version }) =>
      z.object({
        name: z.string(),
        version,
        file: z.string().describe('its file beside the prop file'),
        pending: z.boolean().describe('in use only when the prop is parked'),
        points: z.int().describe('points of all servos together'),
        durationS: z.number().describe('how long it is (s)'),
      }),
  },
} as const satisfies Family;
