import type * as z from 'zod';
import type { Fields } from './fields.ts';

/** What a session is sent without asking. */
interface NotificationRecord {
  summary: string;
  params: (fields: Fields) => z.ZodObject;
}

/** Every notification that the daemon sends. */
export const NOTIFICATIONS = {
  state: {
    summary:
      'Sent after state.follow. The first one holds every channel, later ones the channels that changed',
    params: ({
      z,
      condition,
      notParked,
      channelState,
      rail,
      senseState,
      cause,
      lockoutInfo,
      guardInfo,
    }) =>
      z.object({
        condition,
        notParked,
        t: z.number().describe('time since the daemon started (s)'),
        tick: z
          .number()
          .describe('number of the tick that is shown; entries of the journal tell theirs'),
        holder: z.string().nullable().describe('name of the client that holds the lease'),
        cause: cause.optional().describe('why the prop is in this condition, where that is known'),
        asks: z.array(z.string()).optional().describe('names of the clients that ask for control'),
        handover: z
          .object({
            by: z.string().describe('the client that has handed over'),
            untilS: z.number().describe('when the prop parks, as "t" counts (s)'),
          })
          .optional()
          .describe('nobody has control, and the prop waits for the next holder'),
        channels: z.record(z.string(), channelState),
        rails: z.record(z.string(), rail),
        senses: z
          .record(z.string(), senseState)
          .optional()
          .describe('what is measured; absent from a prop without senses'),
        lockout: lockoutInfo.optional().describe('absent while nobody has hands in the prop'),
        guards: z.array(guardInfo).optional().describe('those that are broken'),
        armedForShow: z
          .string()
          .optional()
          .describe('who has armed the prop for its show: it may wake and move at any moment'),
      }),
  },
  event: {
    summary: 'Sent after state.follow with journal: true; one journal entry',
    params: ({ z, journalEntry }) =>
      z.object({
        entry: journalEntry,
        again: z
          .literal(true)
          .optional()
          .describe('it takes the place of the entry with the same seq: more like it have come'),
      }),
  },
  'prop.changed': {
    summary:
      'Sent to every session when the prop file, or how it differs from the prop in use, changes. ' +
      'With neither pending nor problem the file is in use; read again what depends on it',
    params: ({ z, fileNews }) =>
      z.object({
        version: z.string().describe('version of the prop file that is in use'),
        prop: z.string().describe('name of the prop'),
        linkTimeoutMs: z.number().describe('silence that counts as a lost link (ms)'),
        ...fileNews.shape,
      }),
  },
  condition: {
    summary: 'Sent to every session when the condition of the prop changes',
    params: ({ z, condition, cause }) => z.object({ condition, cause }),
  },
} as const satisfies Record<string, NotificationRecord>;

type Notifications = typeof NOTIFICATIONS;
export type NotificationName = keyof Notifications;
/** The params of a notification. */
export type NoticeParams<N extends NotificationName> = z.output<
  ReturnType<Notifications[N]['params']>
>;
