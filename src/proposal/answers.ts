import * as z from 'zod';
import { DRIVER_NAMES, setUpOf } from '../boards/registry.ts';
import { pathText } from '../prop/finding.ts';
import { MAX_PLACE, NAME } from '../prop/name.ts';
import { partsFor } from '../prop/parts.ts';
import { lazily } from '../shared/lazily.ts';
import { USUAL_LENGTH_M } from './usual-length.ts';

/** What a maker answers about a new prop: what is on the table, before any file. */

/** Drivers of a computer with a header: one of them is the board that everything starts from. */
export const COMPUTERS = DRIVER_NAMES.filter((driver) => setUpOf(driver).header);

/** What a relay switches, as a maker says it, and the part of the library for it. */
export const LOADS = {
  vapour: { part: 'piezo-disc-24v', about: 'a vapour unit' },
  fan: { part: 'fan-12v', about: 'a fan' },
  pump: { part: 'pump-5v', about: 'a pump' },
  solenoid: { part: 'solenoid-12v', about: 'a solenoid, for short strokes' },
  light: { part: undefined, about: 'a light that is only on or off' },
  sound: { part: undefined, about: 'a sound player or amplifier, powered while it is on' },
  other: { part: undefined, about: 'something else' },
} as const;
export type LoadWord = keyof typeof LOADS;
export const LOAD_WORDS = Object.keys(LOADS) as [LoadWord, ...LoadWord[]];

/** How a light is connected to its pins. */
export const WIRED = ['n-mosfet', 'driver board', 'pin'] as const;
export type Wired = (typeof WIRED)[number];

/** The lights of makers who name no part. */
export const USUAL_LIGHTS = { rgb: 'led-5mm', lamp: 'led-5mm-white' } as const;

/** Bounds of the answers. Above them a person should plan by hand. */
export const BOUNDS = {
  servos: 64,
  lights: 24,
  relays: 16,
  /** One sound card; several sounds play on it at once. */
  sounds: 1,
  supplies: 12,
  travelDeg: [5, 120],
  lengthM: [0.05, 10],
  /** Of what one relay switches (A): hobby modules switch little more for long (common practice). */
  loadA: [0.001, 5],
  volts: [3, 48],
  supplyA: [0.1, 40],
  capacityAh: [0.05, 500],
  tankMl: [1, 20_000],
  /** Letters of a name: there is room for `_left` and numbers behind it. */
  name: 48,
  /** Letters of a place. */
  place: MAX_PLACE,
} as const;

/** What is taken where a maker says nothing. */
export const USUAL = {
  name: 'My prop',
  computer: COMPUTERS[0]!,
  servo: 'servo-9g',
  travelDeg: 60,
  rests: 'end',
  wired: 'n-mosfet',
  closesOn: 'low',
  source: 'mains',
  lengthM: USUAL_LENGTH_M,
} as const;

function make() {
  const within = ([low, high]: readonly [number, number], unit: string) =>
    z
      .number({ error: `is not a number; give ${unit}` })
      .min(low, { error: `is below ${low}; give ${unit}, ${low} to ${high}` })
      .max(high, { error: `is above ${high}; give ${unit}, ${low} to ${high}` });
  const count = (most: number) =>
    z
      .int({ error: `is not a whole number; give how many, 1 to ${most}` })
      .min(1, { error: `is below 1; give how many, 1 to ${most}` })
      .max(most, { error: `is above ${most}; give how many, 1 to ${most}` })
      .default(1);
  const name = z
    .string({ error: 'is not a name; give a word such as claw' })
    .regex(NAME, { error: 'is not a name; use a letter, then letters, digits, _ or -' })
    .max(BOUNDS.name, { error: `is too long; use ${BOUNDS.name} characters or fewer` });
  const part = (kind: string) =>
    z.enum(partsFor(kind) as [string, ...string[]], {
      error: `is not a part for this; use one of ${partsFor(kind).join(', ')}`,
    });
  const lengthM = within(BOUNDS.lengthM, 'metres of cable from the board').default(USUAL.lengthM);
  const place = z
    .string({ error: 'is not text; say where it sits, such as left wing' })
    .trim()
    .min(1, { error: 'is empty; say where it sits, or leave it out' })
    .max(BOUNDS.place, { error: `is too long; use ${BOUNDS.place} characters or fewer` })
    .optional();
  const loadA = within(BOUNDS.loadA, 'amperes while it is on');
  const volts = within(BOUNDS.volts, 'volts');

  const move = z.strictObject({
    name,
    count: count(BOUNDS.servos),
    part: part('servo').default(USUAL.servo),
    travelDeg: within(BOUNDS.travelDeg, 'degrees from one end to the other').default(
      USUAL.travelDeg,
    ),
    rests: z
      .enum(['end', 'middle'], { error: 'is neither end nor middle; give one of them' })
      .default(USUAL.rests),
    lengthM,
    place,
  });

  const light = z
    .strictObject({
      name,
      count: count(BOUNDS.lights),
      kind: z.enum(['rgb', 'lamp'], { error: 'is neither rgb nor lamp; give one of them' }),
      part: z.string().optional(),
      wired: z
        .enum(WIRED, { error: `is not a way to wire a light; use one of ${WIRED.join(', ')}` })
        .default(USUAL.wired),
      lengthM,
      place,
    })
    .superRefine(({ kind, part: given }, context) => {
      if (given === undefined || partsFor(kind).includes(given)) return;
      context.addIssue({
        code: 'custom',
        path: ['part'],
        message: `is not a part for ${kind}; use one of ${partsFor(kind).join(', ')}`,
      });
    });

  const relay = z
    .strictObject({
      name,
      count: count(BOUNDS.relays),
      load: z.enum(LOAD_WORDS, {
        error: `is not known; use one of ${LOAD_WORDS.join(', ')}`,
      }),
      volts: volts.optional(),
      amps: loadA.optional(),
      tankMl: within(BOUNDS.tankMl, 'millilitres of water').optional(),
      closesOn: z
        .enum(['low', 'high'], { error: 'is neither low nor high; give one of them' })
        .default(USUAL.closesOn),
      lengthM,
      place,
    })
    .superRefine(({ load, volts: given, amps }, context) => {
      if (LOADS[load].part !== undefined) return;
      for (const [key, value] of [
        ['volts', given],
        ['amps', amps],
      ] as const)
        if (value === undefined)
          context.addIssue({
            code: 'custom',
            path: [key],
            message: `is missing; give the ${key} of what it switches`,
          });
    });

  const sound = z.strictObject({ name, count: count(BOUNDS.sounds), place });

  const supply = z.strictObject({
    volts,
    amps: within(BOUNDS.supplyA, 'amperes that it can give all the time'),
    source: z
      .enum(['mains', 'battery'], { error: 'is neither mains nor battery; give one of them' })
      .default(USUAL.source),
    capacityAh: within(BOUNDS.capacityAh, 'ampere-hours').optional(),
  });

  return z
    .strictObject({
      name: z.string().min(1).max(100).default(USUAL.name),
      computer: z
        .enum(COMPUTERS as [string, ...string[]], {
          error: `is not a driver for a computer; use one of ${COMPUTERS.join(', ')}`,
        })
        .default(USUAL.computer),
      moves: z.array(move).default([]),
      lights: z.array(light).default([]),
      relays: z.array(relay).default([]),
      sounds: z.array(sound).default([]),
      supplies: z
        .array(supply)
        .max(BOUNDS.supplies, { error: `is too long; give ${BOUNDS.supplies} supplies or fewer` })
        .default([]),
      stopButton: z.boolean({ error: 'is neither true nor false' }).default(true),
      wiring: z.boolean({ error: 'is neither true nor false' }).default(true),
      changes: z.record(z.string(), z.string()).default({}),
    })
    .superRefine(({ moves, lights, relays, sounds }, context) => {
      for (const [key, list, most] of [
        ['moves', moves, BOUNDS.servos],
        ['lights', lights, BOUNDS.lights],
        ['relays', relays, BOUNDS.relays],
        ['sounds', sounds, BOUNDS.sounds],
      ] as const) {
        const sum = (list as readonly { count: number }[]).reduce((all, one) => all + one.count, 0);
        if (sum > most)
          context.addIssue({
            code: 'custom',
            path: [key],
            message: `are ${sum} together; give ${most} or fewer, or write the file by hand`,
          });
      }
      if (moves.length + lights.length + relays.length + sounds.length === 0)
        context.addIssue({
          code: 'custom',
          path: [],
          message: 'name nothing that moves, lights, switches or sounds; give one such thing',
        });
    });
}

const schema = lazily(make);

export type Answers = z.output<ReturnType<typeof make>>;
/** As a person or a script gives them: what is left out has its default. */
export type GivenAnswers = z.input<ReturnType<typeof make>>;
export type Move = Answers['moves'][number];
export type LightAnswer = Answers['lights'][number];
export type RelayAnswer = Answers['relays'][number];
export type SoundAnswer = Answers['sounds'][number];
export type SupplyAnswer = Answers['supplies'][number];

/** Whether a light has red, green and blue, each on a pin of its own. */
export function isColoured({ kind }: Pick<LightAnswer, 'kind'>): boolean {
  return USUAL_LIGHTS[kind] === USUAL_LIGHTS.rgb;
}

/**
 * Answers from plain data, each with its default where it is left out.
 * @returns the answers, or what is wrong with them, a line each: `moves[0].count is below 1; give ...`
 */
export function readAnswers(raw: unknown): { answers: Answers } | { wrong: string[] } {
  const parsed = schema().safeParse(raw);
  if (parsed.success) return { answers: parsed.data };
  return {
    wrong: parsed.error.issues.map(({ path, message, code, ...rest }) => {
      const at = path.length === 0 ? 'the answers' : pathText(path as (string | number)[]);
      if (code === 'unrecognized_keys')
        return `${at}: ${(rest as { keys: string[] }).keys.join(', ')} is not known here; remove it`;
      return `${at} ${message}`;
    }),
  };
}
