import { CHANNEL, COMMAND, INTERLOCK, MOTION } from '../errors.ts';
import type { Family } from '../method.ts';

/** Channels, one by one and several together. */
export const channels = {
  'channel.list': {
    summary: 'Every channel: kind, limits, marks, value, target, flags',
    example: {
      params: {},
      result: {
        channels: {
          lantern: {
            kind: 'lamp',
            groups: [],
            rail: 'logic5v',
            wire: 'W18',
            park: { to: 0 },
            output: { board: 'head', pin: 12 },
            measured: {},
            value: 0,
            target: 0,
            flags: [],
          },
        },
        groups: { lids: ['lid_left', 'lid_right'] },
        poses: ['asleep', 'alert'],
      },
    },
    by: 'view',
    lease: false,
    errors: ['core.no-tick'],
    params: ({ nothing }) => nothing,
    result: ({ z, channelInfo }) =>
      z.object({
        channels: z.record(z.string(), channelInfo),
        groups: z.record(z.string(), z.array(z.string())).describe('members of every group'),
        poses: z.array(z.string()),
      }),
  },
  'channel.move': {
    summary: 'Move a servo to an angle or a mark, within its limits',
    example: {
      params: { channel: 'beak', to: 'open', wait: true },
      result: { target: 30, durationS: 0.5583 },
    },
    by: 'core',
    lease: true,
    streamed: true,
    errors: MOTION,
    params: ({ z, channel, to, overS, wait }) => z.strictObject({ channel, to, overS, wait }),
    result: ({ z, deg, durationS, delayed }) => z.object({ target: deg, durationS, delayed }),
  },
  'channel.jog': {
    summary: 'Move a servo by a small amount from where it is; stops at the limit',
    example: {
      params: { channel: 'beak', byDeg: -4.5 },
      result: { target: 25.5, pulseUs: 1783, limited: false },
    },
    by: 'core',
    lease: true,
    streamed: true,
    errors: [...MOTION, 'jog.no-step', 'jog.too-far', 'jog.others-move', 'jog.moving'],
    params: ({ z, want, flag, channel }) =>
      z
        .strictObject({
          channel,
          byDeg: z.number(want('a finite number of deg')).describe('step (deg)').optional(),
          byUs: z.number(want('a finite number of us')).describe('step (us of pulse)').optional(),
          beyondLimits: flag(
            'may leave the soft limits, never the pulse envelope: to feel for the stop',
          ).optional(),
        })
        .refine((params) => (params.byDeg === undefined) !== (params.byUs === undefined), {
          error: 'give exactly one of byDeg and byUs',
        }),
    result: ({ z, deg, pulseUs }) =>
      z.object({
        target: deg,
        pulseUs,
        limited: z.boolean().describe('the limit cut the step short'),
      }),
  },
  'channel.switch': {
    summary: 'Close or open a relay',
    example: { params: { channel: 'mist', on: true, forS: 2 }, result: { on: true } },
    by: 'core',
    lease: true,
    errors: [
      ...COMMAND,
      ...CHANNEL,
      ...INTERLOCK,
      'board.unreachable',
      'duty.rest',
      'duty.unsaved',
      'rail.limit',
    ],
    params: ({ z, channel, flag, duration }) =>
      z.strictObject({
        channel,
        on: flag('true closes the contact'),
        forS: duration('time after which it switches back (s)').optional(),
      }),
    result: ({ z }) => z.object({ on: z.boolean() }),
  },
  'channel.colour': {
    summary: 'Fade an rgb channel to a colour',
    example: { params: { channel: 'eye_left', to: 'gold', fadeS: 0.5 }, result: { to: '#ffd700' } },
    by: 'core',
    lease: true,
    streamed: true,
    errors: [...COMMAND, ...CHANNEL, ...INTERLOCK, 'colour.unreadable', 'rail.limit'],
    params: ({ z, want, channel, fadeS }) =>
      z.strictObject({
        channel,
        to: z
          .string(want('a CSS colour, e.g. "#ff8800" or "oklch(75% 0.15 80)"'))
          .min(1, want('a CSS colour'))
          .max(100, want('a CSS colour of at most 100 characters'))
          .describe('CSS Color 4 string'),
        fadeS,
      }),
    result: ({ z }) => z.object({ to: z.string().describe('#rrggbb') }),
  },
  'channel.dim': {
    summary: 'Fade a lamp',
    example: { params: { channel: 'lantern', to: 0.6 }, result: { to: 0.6 } },
    by: 'core',
    lease: true,
    streamed: true,
    errors: [...COMMAND, ...CHANNEL, ...INTERLOCK, 'level.outside', 'rail.limit'],
    params: ({ z, want, channel, fadeS }) =>
      z.strictObject({
        channel,
        to: z.number(want('a number')).describe('perceived lightness, 0 to 1'),
        fadeS,
      }),
    result: ({ z }) => z.object({ to: z.number() }),
  },
  'channel.identify': {
    summary: 'A small wiggle or blink within every limit, to find a wire',
    example: { params: { channel: 'lid_left' }, result: { durationS: 1.2 } },
    by: 'core',
    lease: true,
    errors: [...MOTION, 'board.unreachable', 'duty.rest'],
    params: ({ z, channel }) => z.strictObject({ channel }),
    result: ({ z, durationS }) => z.object({ durationS }),
  },
  'group.move': {
    summary: 'Move the servos of a group together: they start and arrive at the same time',
    example: {
      params: { group: 'tail', to: 'open', overS: 2, wait: true },
      result: { durationS: 2 },
    },
    by: 'core',
    lease: true,
    streamed: true,
    errors: [...MOTION, 'group.unknown'],
    params: ({ z, text, to, overS, wait }) =>
      z.strictObject({ group: text('the name of a group'), to, overS, wait }),
    result: ({ z, durationS, delayed }) => z.object({ durationS, delayed }),
  },
  'pose.go': {
    summary: 'Go to a pose',
    example: { params: { pose: 'alert', overS: 1, wait: true }, result: { durationS: 1 } },
    by: 'core',
    lease: true,
    errors: [...MOTION, 'pose.unknown', 'board.unreachable', 'duty.rest'],
    params: ({ z, text, overS, wait }) =>
      z.strictObject({ pose: text('the name of a pose'), overS, wait }),
    result: ({ z, durationS, delayed }) => z.object({ durationS, delayed }),
  },
} as const satisfies Family;
