import type { Family } from '../method.ts';

/** Sessions, and what they are sent without asking. */
export const session = {
  'session.open': {
    summary: 'Open the session: must be the first call, within 3 s of connecting',
    example: {
      params: { client: 'desk' },
      result: {
        session: '33eb966c-5db7-4749-be52-71e735db0597',
        condition: 'parked',
        prop: 'Foyer owl',
        protocol: 1,
        linkTimeoutMs: 500,
        version: '7c043d0ff5ca6974',
      },
    },
    by: 'gateway',
    lease: false,
    errors: [
      'invite.void',
      'session.already-open',
      'session.no-place',
      'token.missing',
      'token.wrong',
    ],
    params: ({ z, want, clientName }) =>
      z.strictObject({
        token: z
          .string(want('the token as a string'))
          .max(1024, want('the token, at most 1024 characters'))
          .optional()
          .describe('needed where the daemon was started with a token file'),
        invite: z
          .string(want('the code as a string'))
          .max(64, want('the code, at most 64 characters'))
          .optional()
          .describe('the code of a link made by "token.invite", in place of the token; works once'),
        client: clientName,
      }),
    result: ({ z, condition, notParked, fileNews }) =>
      z.object({
        session: z.string(),
        condition,
        notParked,
        prop: z.string().describe('name of the prop'),
        protocol: z.number().describe('version of this API'),
        linkTimeoutMs: z.number().describe('silence that counts as a lost link (ms)'),
        version: z.string().describe('version of the prop file that is in use'),
        only: z
          .array(z.string())
          .readonly()
          .optional()
          .describe('every place is taken: this session may call these alone'),
        token: z
          .string()
          .optional()
          .describe('with an invite: the token of this device from now on, until the daemon ends'),
        file: fileNews.optional().describe('only where the file on the disk is not in use'),
      }),
  },
  'token.invite': {
    summary:
      'A link that lets one more device in without the token: it works once, for a short time',
    example: { params: {} },
    by: 'gateway',
    lease: false,
    errors: ['invite.no-token', 'invite.not-yours'],
    params: ({ z, want }) =>
      z.strictObject({
        forS: z
          .int(want('a whole number of seconds, 30 to 900'))
          .min(30, want('30 to 900'))
          .max(900, want('30 to 900'))
          .default(300)
          .describe('how long it works (s)'),
      }),
    result: ({ z }) =>
      z.object({
        links: z
          .array(z.string())
          .describe('the page with the code, at each address of this machine; the best one first'),
        expiresInS: z.number().describe('how long it works (s)'),
      }),
  },
  'state.follow': {
    summary: 'Send "state" notifications from now on; again to change the rate',
    example: { params: { hz: 10 }, result: { hz: 10 } },
    by: 'gateway',
    lease: false,
    errors: [],
    params: ({ z, want, flag }) =>
      z.strictObject({
        hz: z
          .int(want('a whole number of frames per second, 1 to 50'))
          .min(1, want('1 to 50'))
          .max(50, want('1 to 50'))
          .describe('frames per second'),
        journal: flag('also send every journal entry, as notification "event"').optional(),
      }),
    result: ({ z }) => z.object({ hz: z.number().describe('frames per second') }),
  },
  'state.unfollow': {
    summary: 'Send no more "state" and "event" notifications',
    example: { params: {}, result: { hz: 0 } },
    by: 'gateway',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.object({ hz: z.literal(0) }),
  },
  'session.life': {
    summary:
      'A sign of life of a page, best sent with every state that comes in; a browser answers pings even while the page hangs, so that its pongs are none',
    example: { params: { t: 18.3 }, result: { t: 18.32 } },
    by: 'gateway',
    lease: false,
    errors: [],
    params: ({ z, want, flag }) =>
      z.strictObject({
        t: z
          .number(want('a number of seconds'))
          .min(0, want('a number of seconds, 0 or more'))
          .optional()
          .describe(
            '"t" of the last "state", or of the last answer to this: shows that it has come (s)',
          ),
        hidden: flag(
          'the page is out of sight: it keeps the lease only while nothing moves',
        ).optional(),
      }),
    result: ({ z }) => z.object({ t: z.number().describe('seconds since the daemon started') }),
  },
  'rpc.discover': {
    summary: 'The OpenRPC document that describes this API',
    example: { params: {} },
    by: 'gateway',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.record(z.string(), z.unknown()).describe('OpenRPC document'),
  },
} as const satisfies Family;
