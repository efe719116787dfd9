import * as z from 'zod';
import type { Measurable } from '../shared/measured.ts';
import { didYouMean } from './finding.ts';
import { THROUGH } from './kinds/through-words.ts';
import { MAX_PLACE, NAME } from './name.ts';
import { PART_NAMES } from './parts.ts';

/** What maintenance may go by: its unit, and what it is. */
const MAINTAIN: Readonly<Record<MaintainKey, readonly [unit: string, doc: string]>> = {
  cycles: ['cycles', 'how many times it goes there and back'],
  starts: ['starts', 'how many times it begins to move'],
  closures: ['closures', 'how many times it closes'],
  hours: ['hours', 'time with pulses, closed or lit (h)'],
};
export type MaintainKey = 'cycles' | 'starts' | 'closures' | 'hours';
/** When to maintain a channel: at the first of these. */
export type MaintainEvery = { readonly [K in MaintainKey]?: number | undefined };

/**
 * The functions of zod that the schema uses, one by one: with the namespace as a value, a bundle would
 * contain all of zod, including its translations.
 */
const LENT = {
  array: z.array,
  boolean: z.boolean,
  discriminatedUnion: z.discriminatedUnion,
  enum: z.enum,
  int: z.int,
  literal: z.literal,
  number: z.number,
  record: z.record,
  strictObject: z.strictObject,
  string: z.string,
  tuple: z.tuple,
  union: z.union,
};

/**
 * What the sections of the prop file's schema share. A message continues after the value it is about: `is
 * not above 0; give volts`.
 */
export function makeParts() {
  const an = (what: string) => (/^[aeiou]/.test(what) ? `an ${what}` : `a ${what}`);

  const name = (what: string) =>
    z
      .string()
      .regex(NAME, {
        error: `is not ${an(what)} name; use a letter, then letters, digits, _ or - (64 at most)`,
      })
      .describe(`the name of ${an(what)}`);

  const positive = (unit: string, doc: string) =>
    z
      .number({ error: `is not a number; give ${unit} as a number above 0` })
      .positive({
        error: `is not above 0; give ${unit}`,
      })
      .describe(doc);

  const atLeast0 = (unit: string, doc: string) =>
    z
      .number({ error: `is not a number; give ${unit} as a number, 0 or more` })
      .nonnegative({
        error: `is negative; give ${unit}, 0 or more`,
      })
      .describe(doc);

  const pin = z
    .int({
      error:
        'is not a pin number; give a whole number, 0 to 63 (GPIO of the header, or output of the chip)',
    })
    .min(0)
    .max(63)
    .describe('GPIO number on the header, or output number of the chip');

  const onOff = z
    .enum(['on', 'off'], { error: 'is neither on nor off; write on or off' })
    .describe('the words on and off, quoted or not');

  const position = z.union([z.number(), name('mark')], {
    error: 'is not a position; give deg or the name of a mark',
  });

  const end = z
    .string()
    .regex(/^[A-Za-z][A-Za-z0-9_]*-[A-Za-z0-9]+$/, {
      error: 'is not an end of a wire; give connector and cavity, such as J1-12',
    })
    .describe('connector and cavity, such as J1-12');

  const core = z.strictObject({
    role: z.string().min(1).describe('signal, plus, return, ...'),
    colour: z.string().min(2).max(8).describe('IEC 60757 code, e.g. RD, GNYE'),
    from: z.string().min(1).describe('connector and cavity, e.g. J1-12'),
    to: z.string().min(1).describe('connector and cavity, e.g. SV3-1'),
  });

  const wire = z.strictObject({
    label: z.string().min(1).max(32).describe('the label on the wire'),
    gaugeAwg: z
      .number({ error: 'is not a number; give the American wire gauge, 0 to 40' })
      .min(0, { error: 'is not a gauge; give AWG 0 to 40, or sectionMm2 for thicker wire' })
      .max(40, { error: 'is not a gauge; give AWG 0 to 40' })
      .optional()
      .describe('American wire gauge'),
    sectionMm2: positive('mm2', 'cross-section (mm2), instead of a gauge').optional(),
    lengthM: positive('metres', 'length, one way (m)').optional(),
    cores: z.array(core).min(1).describe('the cores of this wire'),
  });

  const bound = (side: string) =>
    z
      .union([z.number(), name('mark')], {
        error:
          'is neither a number nor the name of a mark; give degrees, or a mark of that channel',
      })
      .describe(`the other servo is ${side} this (deg, or one of its marks)`);

  const whileMoving = z
    .literal('moving', { error: 'is not moving; write while: moving, or leave it out' })
    .optional()
    .describe(
      'binds the other channel only while this servo moves; without it, for as long as this channel is away from its park position or on',
    );

  const requirement = z
    .union(
      [
        z.strictObject({ channel: name('channel'), above: bound('above'), while: whileMoving }),
        z.strictObject({ channel: name('channel'), below: bound('below'), while: whileMoving }),
        z.strictObject({
          channel: name('channel'),
          is: z
            .enum(['on', 'off', 'parked'], {
              error: 'is neither on nor off nor parked; write on, off or parked',
            })
            .describe('on or off: a relay; parked: any channel, at rest at its park position'),
          while: whileMoving,
        }),
      ],
      {
        error:
          'is not an interlock; give { channel, above: deg }, { channel, below: deg } or { channel, is: on|off|parked }',
      },
    )
    .describe(
      'interlock: what must hold while this channel moves, is away from its park position, or is on; it binds the other channel too: what would break it is refused',
    );

  const part = z
    .enum(PART_NAMES, {
      error: ({ input }) => `is not a part; ${didYouMean(String(input), PART_NAMES)}`,
    })
    .describe(
      'a class of part from the library: gives typical values for what is not given here; sinew parts lists them',
    );

  const common = {
    part: part.optional(),
    rail: name('rail').optional().describe('the supply that this channel draws from'),
    place: z
      .string({ error: 'is not text; say where it sits, such as left wing' })
      .min(1, { error: 'is empty; say where it sits, such as left wing' })
      .max(MAX_PLACE, { error: `is too long; use ${MAX_PLACE} characters or fewer` })
      .optional()
      .describe(
        'where in the prop it sits, in words; the wires to one place run together as a bundle',
      ),
    requires: z.array(requirement).optional().describe('interlocks'),
    wire: wire.optional().describe('its own wire, from the board to the channel'),
  };

  const measurement = (doc: string) =>
    z
      .strictObject({
        date: z
          .string({ error: 'is not a date; write the day, such as 2026-11-26' })
          .regex(/^\d{4}-\d{2}-\d{2}$/, {
            error: 'is not a date; write the day, such as 2026-11-26',
          })
          .describe('the day on which it was measured'),
        of: z
          .string()
          .regex(/^m[0-9a-f]{8}$/, {
            error:
              'is not what the bench page writes here; remove this measurement, and measure again',
          })
          .describe('digest of what was measured: with another, the measurement is void'),
      })
      .optional()
      .describe(doc);

  /** What was measured of a channel on the prop itself: written by the bench page. */
  const measured = <K extends Measurable>(docs: Record<K, string>) => {
    const keys = Object.entries<string>(docs).map(([key, doc]) => [key, measurement(doc)]);
    return z
      .strictObject(Object.fromEntries(keys) as Record<K, ReturnType<typeof measurement>>)
      .optional()
      .describe('what was measured on the prop itself, and when: the bench page writes it');
  };

  const through = z
    .enum(THROUGH, {
      error:
        'is not something between a pin and its load; write npn, n-mosfet, driver board or nothing',
    })
    .optional()
    .describe(
      'what is between the pin and what it switches: npn or n-mosfet (a switch to ground, on while the pin is high), driver board (its input takes a signal only), nothing (the pin itself carries the current)',
    );

  const pull = z
    .enum(['up', 'down'], { error: 'is neither up nor down; write up or down' })
    .optional()
    .describe(
      'a resistor fitted from this pin (each of them) to its supply (up) or to ground (down), about 10 kohm: it decides the level while no program drives the pin',
    );

  /** One pin that switches something. */
  const switchedPin = z
    .strictObject({
      board: name('board'),
      pin,
      activeLow: z.boolean().default(false).describe('a low level switches it on'),
      pull,
    })
    .describe('the board and the pin that switch it');

  /** When to maintain a channel, of what is counted for its kind. */
  const maintainEvery = <K extends MaintainKey>(keys: readonly K[]) => {
    const docs = keys.map((key) => {
      const [unit, doc] = MAINTAIN[key];
      return [key, positive(unit, doc).optional()];
    });
    return z
      .strictObject(Object.fromEntries(docs) as Record<K, z.ZodOptional<z.ZodNumber>>)
      .optional()
      .describe(
        'when to maintain it, counted from the last time: the rated life in its data sheet, or what you know of it; sinew wear says when it is due',
      );
  };

  const flash = z
    .strictObject({
      unrestricted: z.literal(true),
      reason: z
        .string()
        .min(10, { error: 'is too short; say in a sentence why flashing is acceptable here' })
        .describe('why flashing is acceptable here, in a sentence'),
    })
    .describe('lifts the limit of three flashes a second (WCAG 2.2, 2.3.1); the reason is shown');

  const flicker = z
    .strictObject({
      accepted: z.literal(true),
      reason: z
        .string()
        .min(10, {
          error: 'is too short; say in a sentence why slow PWM is acceptable here',
        })
        .describe('why slow PWM is acceptable here, in a sentence'),
    })
    .describe('accepts PWM below 100 Hz, which flickers; the reason says why');

  const lightWeight = z
    .strictObject({
      share: z
        .number({ error: 'is not a number; give a share above 0, up to 1' })
        .positive({ error: 'is not above 0; give its share of all light of the prop, such as 0.3' })
        .max(1, { error: 'is above 1; give its share of all light of the prop, such as 0.3' })
        .optional()
        .describe(
          'share of all light of the prop at full; lights without one get equal parts of the rest',
        ),
      lumens: positive('lumens', 'luminous flux at full (lm)').optional(),
    })
    .refine(({ share, lumens }) => (share === undefined) !== (lumens === undefined), {
      error: 'needs one of share and lumens; give exactly one',
    })
    .describe('how much it counts when flashes are judged; without it, all count equally');

  const angle = (doc: string) =>
    z.number({ error: 'is not a number; give degrees as a number' }).describe(doc);

  return {
    z: LENT,
    name,
    positive,
    atLeast0,
    angle,
    pin,
    onOff,
    position,
    end,
    wire,
    requirement,
    common,
    measured,
    maintainEvery,
    through,
    switchedPin,
    pull,
    flash,
    flicker,
    lightWeight,
    part,
  };
}

/** Passed to each part of the schema, together with zod, which many programs never need. */
export type Parts = ReturnType<typeof makeParts>;
export type Requirement = z.output<Parts['requirement']>;
export type Wire = z.output<Parts['wire']>;
