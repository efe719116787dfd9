import type { Params, Result } from '../../api/methods.ts';
import { servoOf } from '../../prop/kinds/channel.ts';
import type { Channel } from '../../prop/schema.ts';
import type { Option } from './select.tsx';
import { typedNumber } from './typed-number.ts';

/** The form that adds a sense: what it offers, and the change that it asks for. Pure. */

type Change = Params<'prop.plan'>['change'];
type Data = Pick<Result<'prop.data'>, 'data' | 'places'>;
type Places = Data['places'];
export type SenseKind = keyof Places;
export type Values = Readonly<Record<string, string>>;

/** One field: a list to choose from where it has options, else a line to write on. */
export interface AddField {
  name: string;
  label: string;
  options?: readonly Option[];
  /** What holds where nothing is given. */
  hint?: string;
}

/** What can be added, in the words of the list. */
export const SENSE_WORDS: Readonly<Record<SenseKind, string>> = {
  volts: 'a measured voltage',
  current: 'a measured current',
  position: 'a measured angle',
  level: 'a measured level',
  contact: 'a contact',
};

export const isSense = (kind: string): kind is SenseKind => Object.hasOwn(SENSE_WORDS, kind);

const LIMITS = {
  volts: {
    warnBelow: 'Warn below (V)',
    parkBelow: 'Park below (V)',
    dipBelow: 'Report dips below (V)',
  },
  current: { warnAbove: 'Warn above (A)' },
  position: {},
  level: { warnBelow: 'Warn below (%)', warnAbove: 'Warn above (%)' },
  contact: {},
} as const satisfies Record<SenseKind, Record<string, string>>;

/** Why no board is offered, with the remedy. */
const NO_BOARD: Readonly<Record<SenseKind, string>> = {
  volts: 'none is free: add a meter or converter',
  current: 'none is free: add a meter',
  position: 'none is free: add a converter',
  level: 'none is free: add a converter',
  contact: 'no pin is free: add a board',
};

const keysOf = (section: unknown) => Object.keys((section as object | null | undefined) ?? {});

/** The servos whose angle nothing measures yet. */
export function servosUnmeasured({ channels, senses }: Data['data']): string[] {
  const all = Object.entries((channels ?? {}) as Record<string, Channel>);
  const there = Object.values((senses ?? {}) as Record<string, Record<string, unknown>>);
  const measured = new Set(there.flatMap((one) => (one?.kind === 'position' ? [one.channel] : [])));
  return all.flatMap(([name, one]) => (servoOf(one) && !measured.has(name) ? [name] : []));
}

/** The place that is chosen, or the only one that there is. */
function placeIn(kind: SenseKind, { places }: Pick<Data, 'places'>, { board }: Values) {
  const fit = places[kind];
  return board ? fit.find((one) => one.board === board) : fit.length === 1 ? fit[0] : undefined;
}

/** The name that is taken where none is given; undefined where nothing suggests one. */
function nameFor(kind: SenseKind, { channel, rail }: Values): string | undefined {
  if (kind === 'position') return channel ? `${channel}_angle` : undefined;
  if (!rail || (kind !== 'volts' && kind !== 'current')) return undefined;
  return `${rail}_${kind}`;
}

/** The fields for a kind of sense, with only what fits. */
export function senseFields(kind: SenseKind, data: Data, values: Values): AddField[] {
  const boards = data.places[kind].map(({ board }) => board);
  const { inputs, pins, direct } = placeIn(kind, data, values) ?? {};
  const numbered = (of: readonly number[]) => of.map(String);
  const servos = servosUnmeasured(data.data);
  return [
    ...(kind === 'position'
      ? [
          {
            ...{ name: 'channel', label: 'Servo', options: servos },
            hint: servos.length > 0 ? 'choose …' : 'the angle of each is measured',
          },
        ]
      : []),
    { name: 'name', label: 'Name', hint: nameFor(kind, values) ?? '' },
    {
      ...{ name: 'board', label: kind === 'contact' ? 'Board' : 'Measured by', options: boards },
      hint: boards.length > 1 ? 'choose …' : (boards[0] ?? NO_BOARD[kind]),
    },
    ...(inputs
      ? [
          {
            ...{ name: 'input', label: 'Input', options: numbered(inputs) },
            hint: direct ? 'none: it measures by itself' : `propose: ${inputs[0]}`,
          },
        ]
      : []),
    ...(pins ? [{ name: 'pin', label: 'Pin', options: numbered(pins), hint: 'propose' }] : []),
    ...(kind === 'volts' || kind === 'current'
      ? [{ name: 'rail', label: 'Rail', options: keysOf(data.data.rails), hint: 'none' }]
      : []),
    ...(kind === 'level'
      ? [
          { name: 'noneV', label: 'Volts at 0 %', hint: 'set later' },
          { name: 'allV', label: 'Volts at 100 %', hint: 'set later' },
        ]
      : []),
    ...Object.entries(LIMITS[kind]).map(([name, label]) => ({ name, label, hint: 'never' })),
    ...(kind === 'contact'
      ? [
          {
            ...{ name: 'warnWhen', label: 'Warn while it is', hint: 'never' },
            options: [
              ['open', 'open (one that is closed at rest)'],
              ['closed', 'closed (one that is open at rest)'],
            ] as const,
          },
        ]
      : []),
  ];
}

/** The values with another one. Another board has other inputs and pins. */
export function withValue(values: Values, name: string, value: string): Values {
  if (name !== 'board') return { ...values, [name]: value };
  const { input: _, pin: __, ...others } = values;
  return { ...others, board: value };
}

/** The change, or what is missing. */
export function senseChange(kind: SenseKind, data: Data, values: Values): Change | string {
  const fit = data.places[kind];
  const board = values.board || (fit.length === 1 ? fit[0]!.board : '');
  if (fit.length === 0) return `Nothing can measure it: ${NO_BOARD[kind]}.`;
  if (kind === 'position' && !values.channel) return 'Choose the servo whose angle it is.';
  const name = values.name?.trim() || nameFor(kind, values);
  if (!name) return 'Give it a name.';
  if (!board) return kind === 'contact' ? 'Choose a board.' : 'Choose what measures it.';
  const common = { do: 'add', what: 'sense', name, board } as const;
  if (kind === 'contact') {
    const { pin, warnWhen } = values;
    return {
      ...{ ...common, kind },
      ...(pin && { pin: Number(pin) }),
      ...(warnWhen && { warnWhen: warnWhen as 'open' | 'closed' }),
    };
  }
  const input = values.input ? { input: Number(values.input) } : {};
  if (kind === 'position') return { ...common, kind, ...input, channel: values.channel! };
  const number = (key: string) => typedNumber(values[key] ?? '');
  const given = Object.keys(LIMITS[kind]).filter((key) => values[key]?.trim());
  if (given.some((key) => !Number.isFinite(number(key)))) return 'Give limits as numbers.';
  const perUnit = kind === 'level' ? 100 : 1;
  const limits = {
    ...(given.length > 0 && {
      limits: Object.fromEntries(given.map((key) => [key, number(key) / perUnit])),
    }),
  };
  if (kind !== 'level')
    return {
      ...{ ...common, kind },
      ...input,
      ...(values.rail && { rail: values.rail }),
      ...limits,
    };
  const ends = [values.noneV, values.allV].filter((text) => text?.trim());
  const atV: [number, number] = [number('noneV'), number('allV')];
  if (ends.length === 1 || (ends.length === 2 && !atV.every(Number.isFinite)))
    return 'Give both voltages as numbers, or neither.';
  return { ...{ ...common, kind }, ...input, ...(ends.length === 2 && { atV }), ...limits };
}

/** Which point of a level's calibration stands for 0 or 1; undefined where none does. */
export function levelPoint(calibration: unknown, level: 0 | 1): number | undefined {
  if (!Array.isArray(calibration)) return undefined;
  const at = calibration.findIndex((point) => Array.isArray(point) && point[1] === level);
  return at < 0 ? undefined : at;
}
