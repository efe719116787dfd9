import * as z from 'zod';
import { NAME } from '../prop/name.ts';
import { schemas } from '../prop/schema.ts';
import { CONDITIONS } from '../shared/condition.ts';
import { lazily } from '../shared/lazily.ts';

/**
 * The file of a show: its props, the supplies that they share, one timeline for all of them, and when it
 * plays. Rules that need several places of it, or the prop files, are in `lint-show-file.ts`.
 */

/** A cue is sent so long before its time (s), where the file of the show does not say. */
export const LEAD_S = 8;
/** The longest timeline (s). */
const LONGEST_S = 24 * 3600;
const DAYS = ['sun', 'mon', 'tue', 'wed', 'thu', 'fri', 'sat'] as const;
export type Day = (typeof DAYS)[number];

function make() {
  const name = (what: string) =>
    z.string().regex(NAME, {
      error: `is not a name of a ${what}; use letters, digits, _ and -, and begin with a letter`,
    });
  const seconds = (about: string) =>
    z
      .number()
      .min(0)
      .max(LONGEST_S, { error: 'is longer than a day; give seconds' })
      .describe(about);
  const time = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, {
    error: 'is not a time of day; give HH:MM, quoted',
  });
  const target = name('prop or group');

  const prop = z.strictObject({
    file: z
      .string()
      .min(1)
      .max(500)
      .describe('its prop file, beside this one or by a path from here; for checks and rehearsals'),
    address: z
      .string()
      .regex(/^(\[[0-9A-Fa-f:]+\]|[A-Za-z0-9.-]+)(:\d{1,5})?$/, {
        error: 'is not an address; give HOST or HOST:PORT',
      })
      .optional()
      .describe('where its daemon listens, for sinew show pull'),
    tokenFile: z
      .string()
      .min(1)
      .max(500)
      .optional()
      .describe('file with the token of that daemon, by a path from here'),
  });

  const supply = z.strictObject({
    volts: z.number().positive().describe('voltage (V)'),
    limitA: z.number().positive().describe('the most current that it can give (A)'),
    efficiency: z
      .number()
      .gt(0)
      .max(1)
      .default(0.85)
      .describe('of the converters between it and rails of another voltage'),
    rails: z
      .record(name('prop'), z.array(name('rail')).min(1))
      .describe('the rails that it feeds, by prop'),
  });

  const only = z
    .strictObject({
      prop: name('prop'),
      is: z
        .enum(['here', 'armed', 'idle', ...CONDITIONS], {
          error: `is not a state; use here, armed, idle, ${CONDITIONS.join(', ')}`,
        })
        .optional()
        .describe('here: it answers; armed: the show may move it; idle: nothing of it runs'),
      runs: name('cue').optional().describe('a cue that runs'),
      not: z.boolean().default(false).describe('true turns it round'),
    })
    .refine(({ is, runs }) => (is === undefined) !== (runs === undefined), {
      error: 'needs one of is and runs; give exactly one',
    });

  const step = z
    .strictObject({
      at: seconds('when, from the start of the show (s)'),
      go: z.record(target, name('cue')).optional().describe('starts cues, by prop or group'),
      end: z.array(target).min(1).optional().describe('ends what the show has started there'),
      park: z.array(target).min(1).optional().describe('parks these'),
      only: z
        .array(only)
        .min(1)
        .optional()
        .describe(
          'it happens only if all of this holds when it is sent: a go, leadS before its time',
        ),
      otherwise: z
        .enum(['skip', 'end'], { error: 'is neither skip nor end; write skip or end' })
        .default('skip')
        .describe('if not: only this step is left out, or the show ends here'),
    })
    .refine(
      ({ go, end, park }) => [go, end, park].filter((one) => one !== undefined).length === 1,
      { error: 'needs one of go, end and park; give exactly one' },
    );

  const entry = z
    .strictObject({
      daily: time.describe('time of day at which it plays, local time'),
      days: z.array(z.enum(DAYS)).min(1).optional().describe('days of the week; default: all'),
      everyMin: z.number().min(1).max(1440).optional().describe('and again every so many minutes'),
      until: time.optional().describe('the last time of day at which it starts'),
    })
    .refine(({ everyMin, until }) => (everyMin === undefined) === (until === undefined), {
      error: 'everyMin and until go together; give both or neither',
    });

  const { broker } = schemas().propFile.shape.show.unwrap().shape;
  const showFile = z.strictObject({
    sinewShow: z.literal(1, {
      error: 'is not a known version of this file format; write sinewShow: 1',
    }),
    name: name('show').describe('the show; as in show: { name } of the prop files'),
    broker: broker.optional(),
    leadS: z
      .number()
      .min(1)
      .max(60)
      .default(LEAD_S)
      .describe('a cue is sent so long before its time (s); a parked prop must be awake by then'),
    props: z.record(name('prop'), prop).describe('the props, as in show: { prop } of their files'),
    groups: z
      .record(name('group'), z.array(name('prop')).min(1))
      .default({})
      .describe('props that are named together'),
    supplies: z
      .record(name('supply'), supply)
      .default({})
      .describe('power supplies that feed rails of several props'),
    timeline: z.array(step).min(1).describe('what happens when'),
    schedule: z.array(entry).default([]).describe('when sinew show run plays it'),
  });
  /** What commanding a show needs: a stop must not wait until the rest of the file is right. */
  const control = z.object({
    ...showFile.pick({ name: true, leadS: true, groups: true }).shape,
    broker,
    props: z.record(name('prop'), z.unknown()),
  });
  return { prop, supply, step, entry, showFile, control };
}

/** Made on demand. */
export const showSchemas = lazily(make);

type Schemas = ReturnType<typeof make>;
export type ShowFile = z.output<Schemas['showFile']>;
export type ShowControl = z.output<Schemas['control']>;
export type ShowStep = z.output<Schemas['step']>;
export type ShowCondition = NonNullable<ShowStep['only']>[number];
export type ScheduleEntry = z.output<Schemas['entry']>;

/** The props that a name means: a prop itself, the members of a group, or `all`. */
export function propsOf(
  show: { props: Readonly<Record<string, unknown>>; groups: ShowFile['groups'] },
  target: string,
): string[] {
  if (target === 'all') return Object.keys(show.props);
  if (Object.hasOwn(show.props, target)) return [target];
  return Object.hasOwn(show.groups, target) ? [...new Set(show.groups[target]!)] : [];
}

/**
 * Whether a condition holds. Of a prop that does not answer nothing is known, so only `here`, turned round,
 * holds for it.
 * @param status of the prop that it is about; undefined where it does not answer
 */
export function holds(
  status: { condition: string; armed: boolean; runs: readonly string[]; waits: number } | undefined,
  { is, runs, not }: ShowCondition,
): boolean {
  if (is === 'here') return (status !== undefined) !== not;
  if (!status) return false;
  const { condition, armed, runs: running, waits } = status;
  const so =
    runs !== undefined
      ? running.includes(runs)
      : is === 'armed'
        ? armed
        : is === 'idle'
          ? running.length === 0 && waits === 0
          : condition === is;
  return so !== not;
}

/** What a step asks of each prop; only a go has a cue. */
export function askedOf(
  show: Pick<ShowFile, 'props' | 'groups'>,
  { go, end, park }: ShowStep,
): { act: 'go' | 'end' | 'park'; prop: string; cue?: string }[] {
  const goes = Object.entries(go ?? {}).flatMap(([target, cue]) =>
    propsOf(show, target).map((prop) => ({ act: 'go' as const, prop, cue })),
  );
  const others = (['end', 'park'] as const).flatMap((act) =>
    ((act === 'end' ? end : park) ?? []).flatMap((target) =>
      propsOf(show, target).map((prop) => ({ act, prop })),
    ),
  );
  return [...goes, ...others];
}
