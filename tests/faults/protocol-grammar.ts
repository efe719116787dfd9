import type { Dice } from './dice.ts';

/** JSON-RPC messages by the grammar of the API, and messages that are wrong in one place or in many. */

/** What the fuzzer knows of the API: its methods with the names of their parameters. */
export type Api = { name: string; params: string[] }[];

/** The API as its OpenRPC document has it. */
export function apiOf(document: object): Api {
  const { methods } = document as { methods: { name: string; params: { name: string }[] }[] };
  return methods
    .filter(({ name }) => name !== 'session.open')
    .map(({ name, params }) => ({ name, params: params.map((param) => param.name) }));
}

/**
 * Never asked for in a sound form: every session may park, stop or lock the prop, and the holder would be
 * refused then, or what moves would be no stray motion.
 */
export const HARMLESS_ONLY = new Set(['park', 'stop', 'lockout.set', 'lockout.clear']);

const WORDS = [
  'beak',
  'mist',
  'eye_left',
  'lantern',
  'tail',
  'asleep',
  'wake',
  'open',
  'shut',
  'low',
  'high',
  'red',
  '#ff8800',
  'oklch(75% 0.15 80)',
  '',
  ' ',
  'W07',
  '__proto__',
  'constructor',
  'toString',
  '../../etc/passwd',
  '\u0000',
  '\u001b[2J\u001b[31m',
  'a\r\nb',
  '\u202e',
  '\ud800',
  '💡'.repeat(20),
  'x'.repeat(65),
  'x'.repeat(3000),
] as const;

const NUMBERS = [
  '0',
  '-0',
  '1',
  '-1',
  '0.1',
  '5',
  '30',
  '1e308',
  '-1e308',
  '1e999',
  '1e-400',
  '9007199254740993',
  '123456789012345678901234567890',
  '1E+2',
] as const;

/** Text that is not JSON, or not what it looks like. */
const NOT_JSON = [
  'NaN',
  'Infinity',
  'undefined',
  "'a'",
  '01',
  '+1',
  '.5',
  '0x10',
  '1_000',
  '"\\x41"',
  '"\t"',
  '{"a":1,}',
  '[1,]',
  '/**/1',
] as const;

/** A JSON value, as text. */
export function value(dice: Dice, depth = 0): string {
  return dice.weighed<() => string>([
    [6, () => JSON.stringify(dice.pick(WORDS))],
    [5, () => dice.pick(NUMBERS)],
    [2, () => dice.pick(['true', 'false', 'null'])],
    [depth > 3 ? 0 : 1, () => `[${many(dice, 4, () => value(dice, depth + 1)).join()}]`],
    [depth > 3 ? 0 : 1, () => object(dice, depth)],
    [0.05, () => '['.repeat(900) + ']'.repeat(900)],
    [0.1, () => dice.pick(NOT_JSON)],
  ])();
}

function object(dice: Dice, depth: number): string {
  const members = many(
    dice,
    4,
    () => `${JSON.stringify(dice.pick(WORDS))}:${value(dice, depth + 1)}`,
  );
  return `{${members.join()}}`;
}

function many<T>(dice: Dice, most: number, make: () => T): T[] {
  return Array.from({ length: dice.whole(0, most) }, make);
}

export interface Message {
  text: string;
  /** The id that must be answered once, where it is a sound request by itself. */
  id?: string;
  /** How many requests it is to the rate limit. */
  requests: number;
}

/** One message: a request, a notification, a batch, or something that only looks like one. */
export function message(dice: Dice, api: Api, id: string): Message {
  if (dice.chance(0.08)) {
    const count = dice.chance(0.1) ? dice.whole(99, 130) : dice.whole(0, 8);
    const parts = Array.from({ length: count }, () => request(dice, api, anyId(dice)));
    return { text: broken(dice, `[${parts.join()}]`, 0.1), requests: Math.max(1, count) };
  }
  if (dice.chance(0.75)) {
    const text = request(dice, api, JSON.stringify(id));
    try {
      // Doubled members and what is not JSON at all may leave it without its id.
      const sound = (JSON.parse(text) as { id?: unknown }).id === id;
      return sound ? { text, id, requests: 1 } : { text, requests: 1 };
    } catch {
      return { text, requests: 1 };
    }
  }
  return { text: broken(dice, request(dice, api, anyId(dice)), 0.7), requests: 1 };
}

function anyId(dice: Dice): string | undefined {
  return dice.chance(0.3)
    ? undefined
    : dice.pick(['null', '0', '-1.5', '1e999', '"a"', '{}', '[]']);
}

function request(dice: Dice, api: Api, id: string | undefined): string {
  const { name, params } = dice.pick(api);
  let members = params
    .filter(() => dice.chance(0.8))
    .map((param) => `${JSON.stringify(param)}:${value(dice)}`);
  if (dice.chance(0.1)) members.push(`${JSON.stringify(dice.pick(WORDS))}:${value(dice)}`);
  if (dice.chance(0.05)) members.push(`"__proto__":{"isAdmin":true,"channel":"beak","to":5}`);
  if (HARMLESS_ONLY.has(name)) members = ['"category":7', '"surplus":1'];
  const method = dice.chance(0.04) ? value(dice) : JSON.stringify(name);
  const parts = [
    `"jsonrpc":${dice.chance(0.03) ? value(dice) : '"2.0"'}`,
    ...(id === undefined ? [] : [`"id":${id}`]),
    `"method":${method}`,
    `"params":${dice.chance(0.04) && !HARMLESS_ONLY.has(name) ? value(dice) : `{${members.join()}}`}`,
  ];
  if (dice.chance(0.2)) parts.reverse();
  if (dice.chance(0.02)) parts.push(parts[0]!);
  if (dice.chance(0.03)) parts.push(`"__proto__":${value(dice)}`);
  return `{${parts.join(dice.chance(0.1) ? ' ,\n\t' : ',')}}`;
}

/** Now and then a text that somebody has sat on. */
function broken(dice: Dice, text: string, share: number): string {
  if (!dice.chance(share) || text.length === 0) return text;
  // Damage to its wrong parameters could make it a sound one.
  if ([...HARMLESS_ONLY].some((name) => text.includes(`"${name}"`))) return text;
  const at = dice.whole(0, text.length - 1);
  return dice.weighed<() => string>([
    [2, () => text.slice(0, at)],
    [2, () => text.slice(0, at) + text.slice(at + 1)],
    [
      2,
      () =>
        text.slice(0, at) +
        dice.pick(['{', '}', '"', ',', '\u0000', '\\', '9', '[', ']']) +
        text.slice(at),
    ],
    [1, () => text.slice(at) + text.slice(0, at)],
    [1, () => text + text],
    [1, () => `\ufeff${text}`],
    [1, () => value(dice)],
    [1, () => dice.pick(NOT_JSON)],
  ])();
}
