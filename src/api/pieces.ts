import * as zod from 'zod';
import { NAME } from '../prop/name.ts';
import { CONDITIONS } from '../shared/condition.ts';
import { plain } from '../shared/plain.ts';

/** What the records use of zod: as a whole, with all its languages, it would fill the bundle. */
const z = {
  array: zod.array,
  boolean: zod.boolean,
  enum: zod.enum,
  int: zod.int,
  literal: zod.literal,
  looseObject: zod.looseObject,
  null: zod.null,
  number: zod.number,
  object: zod.object,
  record: zod.record,
  strictObject: zod.strictObject,
  string: zod.string,
  templateLiteral: zod.templateLiteral,
  tuple: zod.tuple,
  union: zod.union,
  unknown: zod.unknown,
};

/**
 * What the records of the methods are put together from: zod, parameters and pieces of results that
 * several methods share. A schema gives the check, its message and the document; units are in the
 * descriptions.
 */
export function makePieces() {
  // --- parameters -------------------------------------------------------------------------------

  /** Error text of a parameter: what would be right. */
  const want = (right: string) => ({
    error: (issue: { input?: unknown }) =>
      issue.input === undefined ? `is missing; give ${right}` : `must be ${right}`,
  });

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

  const time = (doc: string) => {
    const say = want('a time such as 2026-05-04T10:15:00Z');
    return z
      .string(say)
      .max(40, say)
      .refine((given) => !Number.isNaN(Date.parse(given)), say)
      .describe(`${doc} than this (ISO 8601)`);
  };

  const to = z
    .union([z.number(), z.string().min(1).max(64)], want('an angle (deg) or the name of a mark'))
    .describe('angle (deg), or the name of a mark');

  const overS = duration('time for the move (s)').optional();

  const fadeS = within(0, LONGEST_S, 'time for the fade (s)').optional();

  // What is sent in parts.
  const uploadId = z.int(want('the number of the upload'));

  const uploadBytes = z.int(want('the size in bytes')).min(1, want('the size in bytes'));

  const uploadPart = z.strictObject({
    upload: uploadId,
    at: z.int(want('where the part begins (bytes)')).min(0, want('0 or more')),
    data: z
      .string(want('the part in base64'))
      .max(61_000, want('a part of at most 45,000 bytes'))
      .describe('the part, in base64 (RFC 4648, 4)'),
  });

  const uploadBegun = z.object({
    upload: z.int().describe('what the parts and the end of it name'),
    partBytes: z.int().describe('how many bytes a part may have'),
  });

  const uploadReceived = z.object({
    received: z.int().describe('bytes that have come so far'),
  });

  const uploadCancelled = z.object({
    cancelled: z.boolean().describe('whether there was one'),
  });

  const volume = within(0, 1, 'share of the ceiling of the channel')
    .optional()
    .describe('0 to 1 of the ceiling of the channel; 1 without it');

  const wait = flag('answer only when the motion has ended').optional();

  const nothing = z.strictObject({});

  /** Of anything in the prop file. */
  const name = z
    .string(want('a name'))
    .regex(NAME, want('a name: a letter, then letters, digits, _ or - (64 at most)'));

  const markName = z
    .string(want('the name of a mark'))
    .regex(NAME, want('the name of a mark: a letter, then letters, digits, _ or - (64 at most)'))
    .describe('the name of a mark');

  const clientName = z
    .string(want('a name for this client, 1 to 64 printable characters'))
    // Names go to logs and to other people's screens: no control, format or line-break characters.
    .overwrite((given) => plain(given, '').trim())
    .min(1, { error: 'must hold a printable character' })
    .max(64, { error: 'must be at most 64 characters' })
    .describe('who this is, as shown to others: 1 to 64 printable characters');

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

  const amps = (doc: string) => z.number().describe(`${doc} (A)`);

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

  const pinLevel = z.literal([0, 1], want('0 or 1'));

  const lockReason = z
    .string(want('a reason, 1 to 200 characters'))
    .min(1, want('a reason, 1 to 200 characters'))
    .max(200, want('a reason of at most 200 characters'))
    .describe('why, in words');

  return {
    z,
    want,
    text,
    within,
    duration,
    flag,
    time,
    channel,
    to,
    overS,
    fadeS,
    volume,
    uploadId,
    uploadBytes,
    uploadPart,
    uploadBegun,
    uploadReceived,
    uploadCancelled,
    wait,
    nothing,
    markName,
    from: z
      .enum(['command', 'measured'], want('command or measured'))
      .optional()
      .describe(
        'measured: where a limp servo that a hand turns is measured (teach.begin); otherwise where it is commanded to',
      ),
    name,
    clientName,
    condition,
    notParked,
    conditionResult,
    durationS,
    delayed,
    value,
    range,
    deg,
    pulseUs,
    amps,
    version,
    changed,
    propText,
    pinLevel,
    lockReason,
    LONGEST_S,
  };
}

export type Pieces = ReturnType<typeof makePieces>;
