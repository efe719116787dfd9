import * as z from 'zod';
import { CONDITIONS } from '../core/condition.ts';
import type { Method, Params, Result } from '../core/requests.ts';
import { closest } from '../prop/finding.ts';
import { NAME } from '../prop/name.ts';
import { SYMPTOMS } from '../prop/trace.ts';
import { ASKED, type AskedMethod } from '../service/protocol.ts';
import { type ErrorName, Refusal } from '../shared/errors.ts';
import { lazily } from '../shared/lazily.ts';
import { plain } from '../shared/plain.ts';

/**
 * Every method of the API: one zod schema gives the check, the message and the OpenRPC document.
 * Units are in the descriptions.
 */
export interface MethodSpec {
  summary: string;
  params: z.ZodObject;
  result: z.ZodType;
  /** Errors of its own, besides those of every method. */
  errors: readonly ErrorName[];
}

function make() {
  // --- parameters -------------------------------------------------------------------------------

  /** Error text of a parameter: what would be right. */
  const want = (right: string) => ({
    error: (issue: { input?: unknown }) =>
      issue.input === undefined ? `is missing; give ${right}` : `must be ${right}`,
  });

  const markName = z
    .string(want('the name of a mark'))
    .regex(NAME, want('the name of a mark: a letter, then letters, digits, _ or - (64 at most)'))
    .describe('the name of a mark');

  const text = (right: string) => {
    const say = want(`${right} (1 to 64 characters)`);
    return z.string(say).min(1, say).max(64, say).describe(right);
  };

  const within = (low: number, high: number, right: string) => {
    const say = want(`${right}, ${low} to ${high}`);
    return z.number(say).min(low, say).max(high, say).describe(right);
  };

  const LONGEST_S = 3600;
  const duration = (right: string) => {
    const say = want(`${right} as a number above 0, at most ${LONGEST_S}`);
    return z.number(say).gt(0, say).max(LONGEST_S, say).describe(right);
  };

  const flag = (doc: string) => z.boolean(want('true or false')).describe(doc);

  const channel = text('the name of a channel');
  const to = z
    .union([z.number(), z.string().min(1).max(64)], want('an angle (deg) or the name of a mark'))
    .describe('angle (deg), or the name of a mark');
  const overS = duration('time for the move (s)').optional();
  const fadeS = within(0, LONGEST_S, 'time for the fade (s)').optional();
  const wait = flag('answer only when the motion has ended').optional();
  const nothing = z.strictObject({});

  const clientName = z
    .string(want('a name for this client, 1 to 64 printable characters'))
    // Names go to logs and to other people's screens: no control, format or line-break characters.
    .overwrite((given) => plain(given, '').trim())
    .min(1, { error: 'must hold a printable character' })
    .max(64, { error: 'must be at most 64 characters' })
    .describe('who this is, as shown to others: 1 to 64 printable characters');

  const jogParams = z
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
    });

  // --- results ----------------------------------------------------------------------------------

  const condition = z.enum(CONDITIONS).describe('condition of the whole prop');
  const notParked = z.string().optional().describe('at rest, but not parked: why');
  const conditionResult = z.object({ condition, notParked });
  const durationS = z.number().describe('time that the motion takes (s)');
  const delayed = z.string().optional().describe('why it starts later or runs slower than asked');
  const value = z
    .union([z.number(), z.string(), z.boolean()])
    .describe('servo: deg; relay: true when closed; lamp: lightness 0..1; rgb: #rrggbb');
  const range = (doc: string) => z.tuple([z.number(), z.number()]).describe(doc);
  const deg = z.number().describe('angle (deg)');
  const pulseUs = z.number().describe('pulse width (us)');

  const channelInfo = z.object({
    kind: z.enum(['servo', 'relay', 'rgb', 'lamp']),
    value: value.nullable().describe('null of a relay or light whose board cannot be reached'),
    target: value,
    flags: z.array(z.string()),
    rail: z.string().optional(),
    groups: z.array(z.string()),
    park: z.object({ to: value, then: z.enum(['hold', 'release']).optional() }),
    wire: z.string().optional().describe('label of its wire'),
    limitsDeg: range('soft limits (deg), low then high').optional(),
    envelopeUs: range('pulse envelope (us), low then high').optional(),
    calibration: z.array(range('[pulse us, angle deg]')).optional(),
    linkage: z
      .object({
        groundMm: z.number(),
        hornMm: z.number(),
        couplerMm: z.number(),
        flapMm: z.number(),
        hornZeroDeg: z.number(),
        flapZeroDeg: z.number().optional(),
        crossed: z.boolean(),
        hornSpeedDegS: z.number().optional(),
      })
      .optional()
      .describe('as in the prop file; the calibration then counts degrees of the horn'),
    linkageFigures: z
      .object({
        transmissionDeg: z.number().describe('least angle between rod and flap arm (deg)'),
        transmissionAtDeg: z.number().describe('where the flap is then (deg)'),
        hornSpeedDegS: z.number().describe('fastest turn of the horn at the speed limit (deg/s)'),
        advantage: range('torque on the flap for 1 N m on the horn, least and most'),
      })
      .optional(),
    torque: z
      .object({
        worstNm: z.number().describe('the most that the servo has to bring (N m)'),
        atDeg: z.number().describe('where that is (deg)'),
        accelerationNm: z.number().describe('the part of it that accelerates (N m)'),
        stallNm: z.number().optional().describe('stall torque of the servo (N m)'),
        margin: z.number().optional().describe('stall torque by worst torque'),
      })
      .optional(),
    marks: z.record(z.string(), z.number()).optional().describe('marks by name (deg)'),
    speedDegS: z.number().optional().describe('speed limit (deg/s)'),
    accelDegS2: z.number().optional().describe('acceleration limit (deg/s2)'),
    jerkDegS3: z.number().optional().describe('jerk limit (deg/s3)'),
    pulseUs: pulseUs.optional(),
    pushing: z.boolean().optional().describe('it pushes against something and buzzes'),
    duty: z.object({ maxOnS: z.number(), restS: z.number() }).optional().describe('seconds'),
    vapour: z
      .object({
        tankMl: z.number(),
        rateMlPerH: z.number(),
        runTimeS: z.number().describe('how long the tank lasts, on all the time (s)'),
        showTimeS: z.number().optional().describe('how long it lasts at full duty (s)'),
      })
      .optional(),
    fadeS: z.number().optional().describe('least time for a full-scale change (s)'),
  });

  const loomWire = z.object({
    label: z.string(),
    channel: z
      .string()
      .optional()
      .describe('absent for a wire that belongs to none, such as a feed'),
    rail: z.string().optional().describe('the rail that it carries'),
    gaugeAwg: z.number().optional().describe('American wire gauge'),
    sectionMm2: z.number().optional().describe('cross-section (mm2)'),
    lengthM: z.number().optional().describe('length, one way (m)'),
    cores: z.array(
      z.object({ role: z.string(), colour: z.string(), from: z.string(), to: z.string() }),
    ),
  });

  const boardInfo = z.object({
    driver: z.string(),
    pins: z.array(
      z.object({
        pin: z.number().describe('GPIO number on the header, or output number of the chip'),
        use: z.string().optional().describe('what hangs on it; absent when it is free'),
        reserved: z.string().optional().describe('what the board itself keeps it for'),
      }),
    ),
  });

  const trace = z.object({
    channel: z.string(),
    kind: z.enum(['servo', 'relay', 'rgb', 'lamp']),
    symptom: z.enum(SYMPTOMS),
    symptoms: z.array(z.enum(SYMPTOMS)).readonly().describe('all that its kind can have'),
    rail: z.string().optional(),
    fuse: z.string().optional().describe('connector of the fuse'),
    wires: z.array(z.string()).describe('labels, from the supply on'),
    connectors: z.array(z.string()),
    cautions: z.array(z.string()).readonly(),
    steps: z.array(
      z.object({
        power: z.enum(['on', 'off']),
        check: z.string(),
        expect: z.string(),
        reading: z
          .object({
            unit: z.enum(['V', 'ohm', 'A']),
            low: z.number(),
            high: z.number().nullable().describe('null where more is as good'),
            between: z.array(z.string()).describe('ends to measure between'),
          })
          .optional(),
        otherwise: z.string(),
      }),
    ),
    gaps: z.array(z.string()).describe('what the prop file would have to tell for more'),
  });

  const cueState = z.object({
    running: z.boolean(),
    durationS: z
      .number()
      .nullable()
      .describe(
        'longest time it takes if nothing delays it (s); null when it goes on until stopped',
      ),
  });

  const journalEntry = z.object({
    seq: z.number().describe('counts up from 1 within one run of the daemon'),
    time: z.string().describe('wall-clock time, ISO 8601'),
    who: z.string(),
    what: z.string(),
    text: z.string(),
    values: z.record(z.string(), z.unknown()).optional(),
    tick: z
      .number()
      .describe(
        'tick that carried it out, or in which it happened; "tick" in "state" counts the same',
      ),
    count: z
      .number()
      .optional()
      .describe('how many like it came at short intervals; this is the last'),
    ticks: z
      .array(z.number())
      .optional()
      .describe('the ticks of all that it stands for, where these are commands'),
  });

  const journalParams = z.strictObject({
    since: z
      .int(want('the seq of an entry, a whole number'))
      .min(0, want('the seq of an entry, 0 or more'))
      .optional()
      .describe('only entries with a seq above this'),
    limit: z
      .int(want('a whole number, 1 to 1000'))
      .min(1, want('1 to 1000'))
      .max(1000, want('1 to 1000'))
      .optional()
      .describe('at most so many entries, the newest'),
  });

  const version = z
    .string(want('a version, as prop.read or prop.history tells it'))
    .regex(/^[0-9a-f]{16}$/, want('a version: 16 hexadecimal digits'))
    .describe(
      'version of the prop file: the first 16 hexadecimal digits of the sha256 of its text',
    );
  const changed = z.array(z.string()).describe('what changes, in plain words');
  const propText = z
    .string(want('the text of a prop file'))
    .describe(
      'the whole text of a prop file. A frame holds 64 KiB: a larger file is changed with "edits", or on the disk',
    );
  const changeResult = z.object({
    version: z.string().describe('the version that was asked for'),
    changed,
    pending: z.boolean().describe('it waits until the prop is parked'),
  });

  const applyParams = z
    .strictObject({
      text: propText.optional(),
      edits: z
        .array(
          z.strictObject({
            path: z
              .array(
                z.union([z.string().min(1).max(64), z.int().min(0).max(10_000)]),
                want('a list of keys and indices'),
              )
              .min(1, want('a list of at least one key'))
              .max(16, want('a list of at most 16 keys'))
              .describe('place in the file, such as ["channels", "beak", "marks", "open"]'),
            value: z
              .unknown()
              .optional()
              .describe('what stands there from then on; none removes it'),
          }),
          want('a list of edits: { path, value }'),
        )
        .min(1, want('at least one edit'))
        .max(200, want('at most 200 edits'))
        .optional()
        .describe('changes of single values; comments and order are kept'),
      version,
    })
    .refine((params) => (params.text === undefined) !== (params.edits === undefined), {
      error: 'give exactly one of text and edits',
    });

  const lockReason = z
    .string(want('a reason, 1 to 200 characters'))
    .min(1, want('a reason, 1 to 200 characters'))
    .max(200, want('a reason of at most 200 characters'))
    .describe('why, in words');
  const lockInfo = z.object({
    by: z
      .string()
      .describe(
        'the client that has set it, the key switch, or "nobody knows who" where the saved state was damaged',
      ),
    reason: z.string(),
    time: z.string().describe('wall-clock time, ISO 8601'),
  });
  const lockoutResult = z.object({
    lockout: lockInfo
      .extend({ also: z.array(lockInfo).optional().describe('other locks') })
      .nullable()
      .describe('who has hands in the prop; null when nobody has'),
    unsaved: z.string().optional().describe('it holds now, but would not outlast a restart: why'),
  });

  const pinLevel = z.literal([0, 1], want('0 or 1'));

  // --- methods of the core: it carries them out, but for what the gateway knows itself ----------

  const commands = ['notHolder', 'condition'] as const;
  const motion = [...commands, 'noSuchThing', 'outOfLimits', 'interlock', 'railLimit'] as const;

  const core = {
    'lease.take': {
      summary: 'Take the control lease; observing needs none',
      params: nothing,
      result: z.object({ holder: z.string().describe('name of the client that holds the lease') }),
      errors: ['notHolder'],
    },
    'lease.release': {
      summary: 'Give the lease back: park at once, or after a time of grace for the next holder',
      params: z.strictObject({
        graceS: within(0, 300, 'time in which the prop stays live and still (s)').optional(),
      }),
      result: z.object({ holder: z.null() }),
      errors: ['notHolder'],
    },
    wake: {
      summary: 'Wake the parked prop, channel by channel',
      params: z.strictObject({
        wait,
        confirm: z
          .literal('unknown', want('the word unknown'))
          .optional()
          .describe(
            'needed while the position of a servo is unknown: a person has seen to it that all hands are clear, as they move one at a time, at their own speed, to their park position',
          ),
      }),
      result: conditionResult,
      errors: [...commands, 'railLimit'],
    },
    park: {
      summary: 'Bring every actuator to rest, in stages; from any session, lease or not',
      params: z.strictObject({ wait }),
      result: conditionResult,
      errors: ['condition'],
    },
    reset: {
      summary: 'Lift a latched stop or fault; moves nothing',
      params: z.strictObject({
        confirm: z
          .string(want('the name of whoever stopped the prop'))
          .max(200)
          .optional()
          .describe(
            'needed after the stop of somebody else: their name, as the refusal tells it; refused in the first 2 s',
          ),
      }),
      result: conditionResult,
      errors: commands,
    },
    stop: {
      summary: 'Stop; latches until reset. From any session, lease or not',
      params: z.strictObject({
        category: z
          .literal([0, 1, 2], want('0, 1 or 2'))
          .describe(
            'IEC 60204-1 stop category: 0 drop power, 1 decelerate then drop, 2 decelerate and hold',
          ),
      }),
      result: conditionResult,
      errors: [],
    },
    'lockout.set': {
      summary:
        '"Hands in the prop": stops what moves (category 1); nothing wakes or moves until it is cleared, across restarts. From any session',
      params: z.strictObject({
        reason: lockReason.optional(),
      }),
      result: lockoutResult,
      errors: ['tooMany'],
    },
    'lockout.clear': {
      summary: 'Clear the lockout that this client has set, or any by force; moves nothing',
      params: z.strictObject({
        force: flag("clear everybody's; needs a reason, which goes into the journal").optional(),
        reason: lockReason.optional(),
      }),
      result: lockoutResult,
      errors: ['condition'],
    },
    'channel.list': {
      summary: 'Every channel: kind, limits, marks, value, target, flags',
      params: nothing,
      result: z.object({
        channels: z.record(z.string(), channelInfo),
        groups: z.record(z.string(), z.array(z.string())).describe('members of every group'),
        poses: z.array(z.string()),
      }),
      errors: [],
    },
    'channel.move': {
      summary: 'Move a servo to an angle or a mark, within its limits',
      params: z.strictObject({ channel, to, overS, wait }),
      result: z.object({ target: deg, durationS, delayed }),
      errors: motion,
    },
    'channel.jog': {
      summary: 'Move a servo by a small amount from where it is; stops at the limit',
      params: jogParams,
      result: z.object({
        target: deg,
        pulseUs,
        limited: z.boolean().describe('the limit cut the step short'),
      }),
      errors: motion,
    },
    'channel.switch': {
      summary: 'Close or open a relay',
      params: z.strictObject({
        channel,
        on: flag('true closes the contact'),
        forS: duration('time after which it switches back (s)').optional(),
      }),
      result: z.object({ on: z.boolean(), delayed }),
      errors: [...commands, 'noSuchThing', 'interlock', 'dutyRest', 'railLimit'],
    },
    'channel.colour': {
      summary: 'Fade an rgb channel to a colour',
      params: z.strictObject({
        channel,
        to: z
          .string(want('a CSS colour, e.g. "#ff8800" or "oklch(75% 0.15 80)"'))
          .min(1, want('a CSS colour'))
          .max(100, want('a CSS colour of at most 100 characters'))
          .describe('CSS Color 4 string'),
        fadeS,
      }),
      result: z.object({ to: z.string().describe('#rrggbb') }),
      errors: [...commands, 'noSuchThing', 'interlock', 'railLimit'],
    },
    'channel.dim': {
      summary: 'Fade a lamp',
      params: z.strictObject({
        channel,
        to: z.number(want('a number')).describe('perceived lightness, 0 to 1'),
        fadeS,
      }),
      result: z.object({ to: z.number() }),
      errors: [...commands, 'noSuchThing', 'outOfLimits', 'interlock', 'railLimit'],
    },
    'channel.identify': {
      summary: 'A small wiggle or blink within every limit, to find a wire',
      params: z.strictObject({ channel }),
      result: z.object({ durationS }),
      errors: motion,
    },
    'group.move': {
      summary: 'Move the servos of a group together: they start and arrive at the same time',
      params: z.strictObject({ group: text('the name of a group'), to, overS, wait }),
      result: z.object({ durationS, delayed }),
      errors: motion,
    },
    'pose.go': {
      summary: 'Go to a pose',
      params: z.strictObject({ pose: text('the name of a pose'), overS, wait }),
      result: z.object({ durationS, delayed }),
      errors: motion,
    },
    'cue.list': {
      summary: 'Every cue and idle behaviour: whether it runs, and how long it takes',
      params: nothing,
      result: z.object({
        cues: z.record(z.string(), cueState),
        idle: z.record(z.string(), z.object({ running: z.boolean() })),
        triggers: z.object({
          names: z.array(z.string()),
          armed: z.boolean().describe('the holder lets them take effect'),
        }),
      }),
      errors: [],
    },
    'cue.run': {
      summary: 'Run a cue; its steps pass every limit, interlock and guard',
      params: z.strictObject({ cue: text('the name of a cue'), wait }),
      result: cueState,
      errors: [...commands, 'noSuchThing'],
    },
    'cue.stop': {
      summary: 'End a cue: its servos decelerate and hold, its relays open',
      params: z.strictObject({ cue: text('the name of a cue') }),
      result: cueState,
      errors: ['notHolder', 'noSuchThing'],
    },
    'idle.start': {
      summary:
        'Start an idle behaviour: small cues at random times that give way to everything else',
      params: z.strictObject({ idle: text('the name of an idle behaviour') }),
      result: z.object({ running: z.string() }),
      errors: [...commands, 'noSuchThing'],
    },
    'idle.stop': {
      summary: 'End the idle behaviour',
      params: nothing,
      result: z.object({ running: z.null() }),
      errors: ['notHolder'],
    },
    'trigger.arm': {
      summary: 'Let the triggers take effect while this session holds the lease, or no longer',
      params: z.strictObject({ armed: flag('true to arm, false to disarm') }),
      result: z.object({ armed: z.boolean() }),
      errors: ['notHolder'],
    },
    'mark.capture': {
      summary: 'Name the position where a servo is now; written to the prop file',
      params: z.strictObject({ channel, mark: markName }),
      result: z.object({ deg, pulseUs }),
      errors: [...commands, 'noSuchThing', 'outOfLimits'],
    },
    'limits.capture': {
      summary: 'Make the position where a servo is now a soft limit; written to the prop file',
      params: z.strictObject({
        channel,
        end: z.enum(['low', 'high'], want('low or high')).describe('which of the two limits'),
      }),
      result: z.object({ limitsDeg: range('soft limits (deg), low then high') }),
      errors: [...commands, 'noSuchThing', 'outOfLimits'],
    },
    'park.capture': {
      summary: 'Park a servo where it is now, or at one of its marks; written to the prop file',
      params: z.strictObject({ channel, mark: markName.optional() }),
      result: z.object({
        to: z.union([z.number(), z.string()]).describe('angle (deg), or the mark'),
        deg,
      }),
      errors: [...commands, 'noSuchThing', 'outOfLimits'],
    },
    'capture.undo': {
      summary: 'Put back what the last capture replaced; written to the prop file',
      params: nothing,
      result: z.object({ undone: z.string().describe('what was put back, in words') }),
      errors: commands,
    },
    'prop.apply': {
      summary:
        'Change the prop file: checked first, written, then in force; what is not safe while live waits until parked',
      params: applyParams,
      result: changeResult,
      errors: [...commands, 'noSuchThing'],
    },
    'prop.restore': {
      summary: 'Go back to an earlier version of the prop file, as prop.apply would',
      params: z.strictObject({ version }),
      result: changeResult,
      errors: [...commands, 'noSuchThing'],
    },
    'sim.set': {
      summary:
        'Press inputs of a sim board, or break it; only where the daemon listens on this machine alone',
      params: z.strictObject({
        board: text('the name of a board with the sim driver'),
        inputs: z
          .record(
            z.string().regex(/^\d{1,3}$/, want('the number of a pin')),
            pinLevel.nullable(),
            want('levels by pin: { "4": 1 }'),
          )
          .optional()
          .describe('levels of input pins, by pin: 0 or 1; null lets go'),
        fault: z
          .string(want('what is wrong, in words, or null'))
          .min(1, want('what is wrong, in words'))
          .max(200, want('what is wrong, in at most 200 characters'))
          .nullable()
          .optional()
          .describe('the board fails from now on with this message; null mends it'),
      }),
      result: z.object({
        board: z.string(),
        inputs: z.record(z.string(), pinLevel).describe('levels that are set, by pin'),
        fault: z
          .string()
          .nullable()
          .describe('the message that it fails with; null while it works'),
      }),
      errors: ['noSuchThing', 'condition', 'notAuthorised'],
    },
    'loom.find': {
      summary:
        'Wires that match a label, colour, end, role or channel; all of them for an empty text',
      params: z.strictObject({
        text: z.string(want('a text')).max(200, want('a text of at most 200 characters')),
      }),
      result: z.object({ wires: z.array(loomWire) }),
      errors: [],
    },
    'loom.trace': {
      summary: 'What to check when a channel fails: step by step, with what a meter should show',
      params: z.strictObject({
        channel,
        symptom: z
          .enum(SYMPTOMS, want(`one of ${SYMPTOMS.join(', ')}`))
          .optional()
          .describe('what is wrong with it; dead if not given'),
      }),
      result: trace,
      errors: ['noSuchThing'],
    },
    'board.list': {
      summary: 'Every board with its pins: used, free and reserved',
      params: nothing,
      result: z.object({ boards: z.record(z.string(), boardInfo) }),
      errors: [],
    },
    'journal.read': {
      summary: 'The last events: who asked, what moved, what was refused and why',
      params: journalParams,
      result: z.object({ entries: z.array(journalEntry) }),
      errors: [],
    },
  } satisfies {
    [M in Method]: MethodSpec & { params: z.ZodType<Params<M>>; result: z.ZodType<Result<M>> };
  };

  // --- methods that the gateway answers itself --------------------------------------------------

  const finding = z.object({
    severity: z.enum(['error', 'warning', 'note']),
    line: z.number(),
    column: z.number(),
    path: z.string(),
    wrong: z.string(),
    right: z.string(),
  });

  const amps = (doc: string) => z.number().describe(`${doc} (A)`);
  const budget = z.object({
    rails: z.array(
      z.looseObject({
        name: z.string(),
        volts: z.number().describe('nominal voltage (V)'),
        limitA: amps('what the supply may be asked for'),
        idleA: amps('all at rest'),
        movingA: amps('all moving or fully on'),
        stallA: amps('the same with every servo stalled'),
        peakA: amps('all moving, or what the daemon lets through'),
        wantedA: amps('the supply to look for'),
      }),
    ),
    channels: z.array(
      z.object({
        name: z.string(),
        rail: z.string(),
        movingA: amps('moving or fully on'),
        stallA: amps('stalled'),
        along: z
          .enum(['the loom', 'its own wire'])
          .optional()
          .describe('what the voltages are computed along; absent where the file does not tell'),
        movingV: z.number().optional().describe('voltage there while it moves (V)'),
        stallV: z.number().optional().describe('voltage there while it is stalled (V)'),
        dropV: z.number().optional().describe('lost on the way while it moves (V)'),
        dropShare: z.number().optional().describe("the same, as a share of the rail's voltage"),
      }),
    ),
    findings: z.array(finding),
  });
  const cueLoad = z.object({
    cue: z.string(),
    durationS: z.number().describe('s'),
    cutShort: z.boolean().describe('it goes on until stopped; only so much was computed'),
    rails: z.array(
      z.object({
        name: z.string(),
        limitA: amps('limit'),
        peakA: amps('peak'),
        peakAtS: z.number().describe('when (s)'),
        worstA: amps('if every servo that moves then were stalled'),
        worstAtS: z.number().describe('when (s)'),
        meanA: amps('mean'),
        amps: z
          .array(z.number())
          .describe('at the start, then the farthest value in each column of equal time (A)'),
      }),
    ),
  });

  const toldFinding = z.object({
    code: z.string().optional().describe('a stable dotted word'),
    level: z.enum(['error', 'warning', 'note']),
    line: z.number().describe('counts from 1'),
    column: z.number().describe('counts from 1'),
    path: z.string().describe('place in the file, such as channels.beak.marks'),
    message: z.string().describe('what is wrong; what would be right'),
  });

  /** How the prop file on the disk stands to the prop in force, where it is another one. */
  const fileNews = z.object({
    changed,
    pending: z
      .literal(true)
      .optional()
      .describe('the file on the disk is sound; it takes effect when the prop is parked'),
    problem: z
      .string()
      .optional()
      .describe('why the file on the disk is not in force, with the remedy'),
    findings: z
      .array(toldFinding)
      .optional()
      .describe('what is wrong with the file on the disk; the first of them'),
  });

  const openParams = z.strictObject({
    token: z
      .string(want('the token as a string'))
      .max(1024, want('the token, at most 1024 characters'))
      .optional()
      .describe('needed where the daemon was started with a token file'),
    client: clientName,
  });

  const followParams = z.strictObject({
    hz: z
      .int(want('a whole number of frames per second, 1 to 50'))
      .min(1, want('1 to 50'))
      .max(50, want('1 to 50'))
      .describe('frames per second'),
    journal: flag('also send every journal entry, as notification "event"').optional(),
  });

  const lifeParams = z.strictObject({
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
  });

  const own = {
    'session.open': {
      summary: 'Open the session: must be the first call, within 3 s of connecting',
      params: openParams,
      result: z.object({
        session: z.string(),
        condition,
        notParked,
        prop: z.string().describe('name of the prop'),
        protocol: z.number().describe('version of this API'),
        linkTimeoutMs: z.number().describe('silence that counts as a lost link (ms)'),
        version: z.string().describe('version of the prop file that is in force'),
        only: z
          .array(z.string())
          .readonly()
          .optional()
          .describe('every place is taken: this session may call these alone'),
        file: fileNews.optional().describe('only where the file on the disk is not in force'),
      }),
      errors: ['tooMany'],
    },
    'state.follow': {
      summary: 'Send "state" notifications from now on; again to change the rate',
      params: followParams,
      result: z.object({ hz: z.number().describe('frames per second') }),
      errors: [],
    },
    'state.unfollow': {
      summary: 'Send no more "state" and "event" notifications',
      params: nothing,
      result: z.object({ hz: z.literal(0) }),
      errors: [],
    },
    'session.life': {
      summary:
        'A sign of life of a page, best sent with every state that comes in; a browser answers pings even while the page hangs, so that its pongs are none',
      params: lifeParams,
      result: z.object({ t: z.number().describe('seconds since the daemon started') }),
      errors: [],
    },
    'rpc.discover': {
      summary: 'The OpenRPC document that describes this API',
      params: nothing,
      result: z.record(z.string(), z.unknown()).describe('OpenRPC document'),
      errors: [],
    },
  } satisfies Record<string, MethodSpec>;

  // --- methods of the prop-file service, past the core --------------------------------------------

  const asked = {
    'budget.read': {
      summary:
        'Currents of every rail and the voltage at every channel, worked out from the prop file',
      params: nothing,
      result: budget,
      errors: ['condition', 'tooMany'],
    },
    'budget.cue': {
      summary: 'The load of every rail during a cue, rehearsed without hardware',
      params: z.strictObject({ cue: text('the name of a cue') }),
      result: cueLoad,
      errors: ['noSuchThing', 'condition', 'tooMany'],
    },
    'prop.read': {
      summary:
        'The prop file in force. The answer may be larger than the 64 KiB that a client may send',
      params: nothing,
      result: z.looseObject({
        text: z.string().describe('the whole text of the file on the disk'),
        version: z.string().describe('the version that it is: what prop.apply asks for'),
        path: z.string().optional().describe("the file's name, without its folder"),
        inUse: z.string().optional().describe('the version in force, where that is another one'),
        pending: z.boolean().optional().describe('it waits until the prop is parked'),
        problem: z.string().optional().describe('why it is not in force, with the remedy'),
        findings: z.array(toldFinding).optional(),
      }),
      errors: ['condition'],
    },
    'prop.check': {
      summary: 'Check the text of a prop file; changes nothing',
      params: z.strictObject({ text: propText }),
      result: z.object({ findings: z.array(toldFinding) }),
      errors: [],
    },
    'prop.history': {
      summary: 'The versions of the prop file that are kept, newest first',
      params: nothing,
      result: z.looseObject({
        versions: z.array(
          z.looseObject({
            version: z.string(),
            time: z.string().describe('wall-clock time, ISO 8601'),
            who: z.string(),
            what: z.string().describe('what for, in words'),
            current: z.literal(true).optional().describe('it is the file on the disk'),
          }),
        ),
      }),
      errors: ['condition'],
    },
  } satisfies Record<Exclude<AskedMethod, Method>, MethodSpec>;

  return { core, own, asked, fileNews, journalParams, openParams, followParams, lifeParams };
}

/** Made when first asked for: the gateway listens before that. */
export const api = lazily(make);

export type OwnMethod = keyof ReturnType<typeof make>['own'];
export const isOwn = (method: string): method is OwnMethod => Object.hasOwn(api().own, method);

/** Methods that the gateway answers from what it knows of the core. */
const KNOWN = ['channel.list', 'cue.list', 'board.list', 'journal.read'] as const;
export type KnownMethod = (typeof KNOWN)[number];
export const isKnown = (method: string): method is KnownMethod =>
  (KNOWN as readonly string[]).includes(method);

export const isAsked = (method: string): method is AskedMethod =>
  (ASKED as readonly string[]).includes(method);

export const methods = lazily((): ReadonlyMap<string, MethodSpec> => {
  const { own, core, asked } = api();
  return new Map<string, MethodSpec>(Object.entries({ ...own, ...core, ...asked }));
});

// --- checks -----------------------------------------------------------------------------------

/** The method of that name. @throws Refusal that suggests the nearest name. */
export function methodNamed(name: string): MethodSpec {
  const spec = methods().get(name);
  if (spec) return spec;
  const shown = clip(name);
  const nearest = closest(shown, methods().keys());
  const advice = nearest
    ? `did you mean ${nearest}?`
    : 'rpc.discover lists the methods that there are';
  throw new Refusal('methodNotFound', `there is no method ${JSON.stringify(shown)}; ${advice}`, {
    method: shown,
    ...(nearest && { nearest }),
  });
}

/**
 * The checked parameters of a call.
 * @throws Refusal of kind `invalidParams` that names the parameter and what would be right.
 */
export function checkParams(method: string, spec: MethodSpec, given: object | undefined): object {
  if (Array.isArray(given)) {
    throw new Refusal(
      'invalidParams',
      `${method} takes its parameters by name: "params" must be an object, not an array`,
    );
  }
  const params = given ?? {};
  const checked = spec.params.safeParse(params);
  if (checked.success) return checked.data;

  const takes = Object.keys(spec.params.shape).join(', ') || 'no parameters';
  const issues = checked.error.issues.flatMap((issue) => {
    if (issue.code === 'unrecognized_keys') {
      return issue.keys.slice(0, 5).map((key) => ({
        parameter: clip(key),
        problem: `is unknown; ${method} takes ${takes}`,
      }));
    }
    const parameter = issue.path.join('.');
    return [{ parameter, problem: issue.message, ...got(params, issue.path[0]) }];
  });
  const first = issues[0]!;
  const reason = first.parameter
    ? `${method}: parameter "${first.parameter}" ${first.problem}`
    : `${method}: ${first.problem}`;
  throw new Refusal('invalidParams', reason, { issues });
}

/** The value that was given, shortened, where it can be shown. */
function got(params: object, key: PropertyKey | undefined): { got?: unknown } {
  const value = key === undefined ? undefined : (params as Record<PropertyKey, unknown>)[key];
  if (typeof value === 'string') return { got: key === 'token' ? '(not shown)' : clip(value) };
  // JSON has no word for what 1e999 reads as.
  if (typeof value === 'number') return { got: Number.isFinite(value) ? value : String(value) };
  if (value === undefined) return {};
  return { got: value === null || typeof value === 'boolean' ? value : typeof value };
}

function clip(given: string): string {
  return given.length > 64 ? `${given.slice(0, 64)}...` : given;
}
