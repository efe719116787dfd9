import type * as z from 'zod';
import type { Path } from './finding.ts';
import type { Parts } from './schema-parts.ts';
import type { TakeFile } from './take/take-files.ts';
import type { Take } from './take/take-text.ts';

/**
 * The steps of a cue: their schema, the channels they touch, and the cues within them. Their times are
 * planned in plan-walk.ts; core/cues.ts runs them.
 */

/** The parts of a step that command channels by name, in the order in which they run. */
export const COMMAND_PARTS = ['move', 'dim', 'colour', 'switch', 'sound'] as const;
export type CommandPart = (typeof COMMAND_PARTS)[number];

/** What a step may do; it does at least one of these. */
export const ACTS = [
  'move',
  'pose',
  'take',
  'colour',
  'dim',
  'switch',
  'sound',
  'until',
  'cue',
  'choose',
] as const;

/** The schema of a step. */
export function cueStepSchema({ z, name, positive, atLeast0, onOff }: Parts) {
  /** Uniformly at random within `around` ± `spread`. */
  const spread = z
    .strictObject({
      around: z.number().describe('the middle (deg)'),
      spread: atLeast0('degrees', 'half of the width (deg)'),
    })
    .describe('somewhere within around ± spread (deg), chosen at random each time');

  const cueTarget = z.union([z.number(), name('mark'), spread], {
    error: 'is not a position; give degrees, a mark, or { around: deg, spread: deg }',
  });

  const ease = z
    .string()
    .max(1000)
    .describe(
      'CSS easing function, e.g. ease-in-out, cubic-bezier(0.4, 0, 0.2, 1) or linear(0, 0.7 40%, 1)',
    );

  const until = z
    .strictObject({
      channel: name('channel').describe('the channel that is waited for'),
      above: z.number().optional().describe('that servo is above this (deg)'),
      below: z.number().optional().describe('that servo is below this (deg)'),
      is: onOff.optional(),
      withinS: positive('seconds', 'how long to wait at most (s)'),
      otherwise: z
        .enum(['go on', 'end', 'park'], {
          error: 'is not one of go on, end and park; write one of them',
        })
        .default('end')
        .describe('what happens when the time runs out'),
    })
    .refine(
      ({ above, below, is }) => [above, below, is].filter((one) => one !== undefined).length === 1,
      {
        error: 'needs one of above (deg), below (deg) and is (on or off); give exactly one',
      },
    )
    .describe('the step ends when this holds');

  return z
    .strictObject({
      name: name('step').optional().describe('so that another step can come after this one'),
      at: atLeast0(
        'seconds',
        'start after the start of the cue, or after the end of the step in after (s)',
      ).optional(),
      after: name('step').optional().describe('starts when that step has ended'),
      spreadS: positive(
        'seconds',
        'starts up to this much later, chosen at random each time (s)',
      ).optional(),
      move: z
        .record(name('channel or group'), cueTarget)
        .optional()
        .describe('channels or groups, each to deg or a mark; they start and arrive together'),
      pose: name('pose').optional().describe('brings its channels to the values of this pose'),
      overS: positive(
        'seconds',
        'time for the move (s); default: as fast as the limits allow',
      ).optional(),
      ease: ease.optional(),
      take: name('take')
        .optional()
        .describe('plays a recorded movement: its servos move to where it begins, then follow it'),
      rate: z
        .number({ error: 'is not a number; give 1 for as performed, 0.5 for half as fast' })
        .min(0.1, { error: 'is below 0.1; give 0.1 to 10' })
        .max(10, { error: 'is above 10; give 0.1 to 10' })
        .optional()
        .describe('how much faster than performed the take plays; default: 1'),
      colour: z
        .record(name('channel'), z.string())
        .optional()
        .describe('rgb channels, each to a CSS colour'),
      dim: z
        .record(name('channel'), z.number().min(0).max(1))
        .optional()
        .describe('lamps, each to 0..1'),
      fadeS: atLeast0('seconds', 'time for the fade (s)').optional(),
      switch: z.record(name('channel'), onOff).optional().describe('relays, each on or off'),
      forS: positive('seconds', 'switch back after this time (s)').optional(),
      sound: z
        .record(name('channel'), name('sound'))
        .optional()
        .describe('sound channels, each to the name of a sound, or off: it is faded out'),
      volume: z
        .number({ error: 'is not a number; give 0 to 1' })
        .min(0, { error: 'is below 0; give 0 to 1' })
        .max(1, {
          error: 'is above 1; give 0 to 1. How loud 1 is, the ceiling of the channel says',
        })
        .optional()
        .describe('how loud its sounds are, 0 to 1 of the ceiling of their channel; default: 1'),
      until: until.optional(),
      cue: name('cue').optional().describe('runs another cue as part of this one'),
      choose: z
        .array(name('cue'))
        .min(2)
        .optional()
        .describe('runs one of these cues, chosen at random each time'),
      times: z
        .union([z.int().min(1).max(10_000), z.literal('until stopped')], {
          error: 'is not a number of times; give a whole number, or until stopped',
        })
        .optional()
        .describe('how often the cue in cue or choose runs, or the take plays'),
    })
    .refine(({ at, after }) => at !== undefined || after !== undefined, {
      error: 'does not say when; give at (s), or after and the name of a step',
    });
}

export type CueStep = z.output<ReturnType<typeof cueStepSchema>>;

/** A value that a step gives to channels. */
export interface Touch {
  /** One channel, or those of a group. */
  channels: readonly string[];
  to: NonNullable<CueStep['move']>[string];
  /** The part of the step. */
  part: CommandPart | 'pose' | 'take';
  /** Its path in the step. */
  at: Path;
}

/** What poses and groups mean, by their names. */
interface Named {
  poses: Readonly<Record<string, Readonly<Record<string, number | string>>>>;
  groups: Readonly<Record<string, readonly string[]>>;
  channels: Readonly<Record<string, unknown>>;
  performed?: Readonly<Record<string, TakeFile>>;
}

/** The take of a step; undefined where it has none, or none that can be read. */
export function takeOf(
  { performed = {} }: Pick<Named, 'performed'>,
  { take }: CueStep,
): Take | undefined {
  if (take === undefined || !Object.hasOwn(performed, take)) return undefined;
  const file = performed[take]!;
  return 'take' in file ? file.take : undefined;
}

/** Every value that a step gives to channels: first by its pose, then by its other parts. */
export function* touchesOf(named: Named, step: CueStep): Generator<Touch> {
  const { poses, groups } = named;
  const { pose } = step;
  if (pose !== undefined && Object.hasOwn(poses, pose))
    for (const [name, to] of Object.entries(poses[pose]!))
      yield { channels: [name], to, part: 'pose', at: ['pose'] };
  for (const part of COMMAND_PARTS)
    for (const [name, to] of Object.entries(step[part] ?? {})) {
      const isGroup = part === 'move' && Object.hasOwn(groups, name);
      yield { channels: isGroup ? groups[name]! : [name], to, part, at: [part, name] };
    }
  for (const { name, deg } of takeOf(named, step)?.servos ?? []) {
    if (!Object.hasOwn(named.channels, name)) continue;
    const low = deg.reduce((least, one) => Math.min(least, one));
    const high = deg.reduce((most, one) => Math.max(most, one));
    const to = { around: (low + high) / 2, spread: (high - low) / 2 };
    yield { channels: [name], to, part: 'take', at: ['take'] };
  }
}

/** Every value that a step gives to a single channel, except by `move` and `take`. */
export function* valuesOf(
  named: Named,
  step: CueStep,
): Generator<{ channel: string; to: number | string; part: Touch['part']; at: Path }> {
  for (const { channels, to, part, at } of touchesOf(named, step))
    if (part !== 'move' && part !== 'take')
      for (const channel of channels) yield { channel, to: to as number | string, part, at };
}

/** A cue within a step. */
interface Child {
  cue: string;
  /** Its path in the step. */
  at: Path;
}

/** The cues within a step; each time, one of them runs. */
export function childrenOf({ cue, choose = [] }: CueStep): Child[] {
  const chosen = choose.map((one, i): Child => ({ cue: one, at: ['choose', i] }));
  return cue === undefined ? chosen : [{ cue, at: ['cue'] }, ...chosen];
}

/** The fade time of a step (s): in a pose, lights take as long as servos. */
export function fadeOf({ fadeS, pose, overS = 0 }: CueStep): number {
  return fadeS ?? (pose === undefined ? 0 : overS);
}

/** The longest time that a step waits (s), besides its moves, fades and switches. */
export function waitsS({ until }: CueStep): number {
  return until?.withinS ?? 0;
}

/** What a step does, in words: `pose awake, lid_left, wait for beak`. */
export function stepWords(step: CueStep): string {
  const { pose, take, until, cue, choose } = step;
  const touched = (['move', 'colour', 'dim', 'switch'] as const).flatMap((part) =>
    Object.keys(step[part] ?? {}),
  );
  const sounds = Object.entries(step.sound ?? {}).map(([channel, sound]) => `${channel} ${sound}`);
  return [
    ...(pose === undefined ? [] : [`pose ${pose}`]),
    ...(take === undefined ? [] : [`take ${take}`]),
    ...touched,
    ...sounds,
    ...(until ? [`wait for ${until.channel}`] : []),
    ...(cue === undefined ? [] : [`cue ${cue}`]),
    ...(choose ? [`one of ${choose.join(', ')}`] : []),
  ].join(', ');
}
