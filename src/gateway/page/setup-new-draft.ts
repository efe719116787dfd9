import type { Params, Result } from '../../api/methods.ts';
import { typedNumber } from './typed-number.ts';

/** What a maker has filled in about a new prop: as text, as the fields have it. Pure. */

/** Everything that may be chosen, as the daemon tells it. */
export type Choices = Result<'proposal.ask'>['choices'];
type GivenAnswers = Params<'proposal.prop'>['answers'];

/** A thing on the table; fields that say nothing have their usual answer. */
export interface Thing {
  /** Stays the same when others are removed. */
  key: number;
  fields: Record<string, string>;
}

const LISTS = ['moves', 'lights', 'relays', 'sounds', 'supplies'] as const;
export type List = (typeof LISTS)[number];

export interface Draft {
  name: string;
  computer: string;
  lengthM: string;
  stopButton: boolean;
  things: Record<List, Thing[]>;
  /** What the maker wants instead of what is proposed, by the id of the decision. */
  changes: Record<string, string>;
}

/** The fields of each list that are numbers. */
const NUMBERS = new Set(['count', 'travelDeg', 'lengthM', 'volts', 'amps', 'tankMl', 'capacityAh']);

/** What a new thing of a list begins with: most makers need change nothing else. */
export const FIRST: Record<List, Record<string, string>> = {
  moves: { name: 'flap', count: '1' },
  lights: { name: 'eye', count: '1', kind: 'rgb' },
  relays: { name: 'mist', count: '1', load: 'vapour', tankMl: '100' },
  sounds: { name: 'voice' },
  supplies: { volts: '6', amps: '5', source: 'mains' },
};

export const EMPTY: Draft = {
  name: 'My prop',
  computer: '',
  lengthM: '',
  stopButton: true,
  things: {
    moves: [{ key: 1, fields: FIRST.moves }],
    lights: [],
    relays: [],
    sounds: [],
    supplies: [],
  },
  changes: {},
};

/** Keys of things start here and count up. */
export function nextKey({ things }: Draft): number {
  return 1 + Math.max(0, ...LISTS.flatMap((list) => things[list].map(({ key }) => key)));
}

/** Lists of things that do not hang on a cable from the board. */
const WITHOUT_CABLE: readonly List[] = ['sounds', 'supplies'];

/** A name as channels have it: `left claw` is left_claw. */
function asName(text: string): string {
  return text.trim().replaceAll(/\s+/g, '_');
}

/** A number as it is written here or there: `0,5 m` is 0.5; all else stays as it is. */
export function asNumber(text: string): number | string {
  const value = typedNumber(text.trim().replace(/\s*[A-Za-z]+$/, ''));
  return Number.isFinite(value) ? value : text;
}

/** What a relay switches is asked for voltage and current only where they are not known. */
function belongs(key: string, fields: Record<string, string>, { loads }: Choices): boolean {
  if (key === 'tankMl') return fields.load === 'vapour';
  if (key === 'capacityAh') return fields.source === 'battery';
  if ('load' in fields && (key === 'volts' || key === 'amps'))
    return loads.find(({ value }) => value === fields.load)?.rated === false;
  return true;
}

/** The answers that the fields stand for; empty ones are left out. */
export function answersOf(draft: Draft, choices: Choices, wiring = true): GivenAnswers {
  const cable = draft.lengthM.trim();
  const answer = (list: List, { fields }: Thing) => {
    const given = Object.entries(fields).filter(
      ([key, text]) => text.trim() !== '' && belongs(key, fields, choices),
    );
    const values = Object.fromEntries(
      given.map(([key, text]) => {
        if (NUMBERS.has(key)) return [key, asNumber(text)];
        return [key, key === 'name' ? asName(text) : text.trim()];
      }),
    );
    // One length for all parts on pins, where a thing has none of its own.
    if (!WITHOUT_CABLE.includes(list) && cable !== '' && !('lengthM' in values))
      values.lengthM = asNumber(cable);
    return values;
  };
  return {
    ...(draft.name.trim() && { name: draft.name.trim() }),
    ...(draft.computer && { computer: draft.computer }),
    ...Object.fromEntries(
      LISTS.map((list) => [list, draft.things[list].map((thing) => answer(list, thing))]),
    ),
    stopButton: draft.stopButton,
    wiring,
  };
}

const FIELD_WORDS: Record<string, string> = {
  name: 'name',
  count: 'how many',
  part: 'part',
  travelDeg: 'how far it moves',
  lengthM: 'cable',
  place: 'place',
  volts: 'voltage',
  amps: 'current',
  tankMl: 'water',
  capacityAh: 'capacity',
};
const LIST_WORDS: Record<List, string> = {
  moves: 'what moves',
  lights: 'lights',
  relays: 'what relays switch',
  sounds: 'loudspeakers',
  supplies: 'supplies',
};

/** What is wrong with an answer, in the words of the form: `moves[0].count is ...` is `flap, how many: is ...`. */
export function wrongText(line: string, { things }: Draft): string {
  const [, list, at, key, rest] =
    /^(moves|lights|relays|sounds|supplies)(?:\[(\d+)\])?(?:\.(\w+))?:? (.*)$/s.exec(line) ?? [];
  if (list === undefined) return line.replace(/^the answers name/, 'The list names');
  const thing = at === undefined ? undefined : things[list as List][Number(at)];
  const who = thing?.fields.name || LIST_WORDS[list as List];
  return [who, key && (FIELD_WORDS[key] ?? key)].filter(Boolean).join(', ').concat(`: ${rest}`);
}

/** The value of a decision, and the unit behind it: `7.5 A`. */
export function valueAndUnit(value: string): [value: string, unit: string] {
  const [, number, unit] = /^([\d./-]+) (A|deg|deg\/s|s)$/.exec(value) ?? [];
  return number === undefined ? [value, ''] : [number, unit!];
}

const isText = (value: unknown): value is string => typeof value === 'string';
const isTexts = (value: unknown): value is Record<string, string> =>
  typeof value === 'object' && value !== null && Object.values(value).every(isText);

/** A draft that was kept; undefined for anything else. */
export function readDraft(kept: unknown): Draft | undefined {
  const { name, computer, lengthM, stopButton, things, changes } = (kept ?? {}) as Partial<Draft>;
  if (![name, computer, lengthM].every(isText) || typeof stopButton !== 'boolean') return undefined;
  if (!isTexts(changes) || typeof things !== 'object' || things === null) return undefined;
  // One that was kept before a list was there lacks it.
  const whole = { ...EMPTY.things, ...things };
  for (const list of LISTS) {
    const some: unknown = whole[list];
    if (!Array.isArray(some)) return undefined;
    for (const one of some as Partial<Thing>[])
      if (typeof one?.key !== 'number' || !isTexts(one.fields)) return undefined;
  }
  return { ...(kept as Draft), things: whole };
}
