import { InvalidArgumentError } from 'commander';
import { UsageError } from './output.ts';

/**
 * Reads the words of a command line. What reads a value throws InvalidArgumentError, which says what would be
 * right; whether the prop accepts a value (limits, names) is for the daemon to decide.
 */

const NUMBER = /^[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d+)?$/i;
const NAME = /^[A-Za-z][A-Za-z0-9_-]*$/;

function finite(text: string): number | undefined {
  const value = NUMBER.test(text) ? Number(text) : Number.NaN;
  return Number.isFinite(value) ? value : undefined;
}

/** A finite number, e.g. `-3`, `+1.5`, `.5`. */
export function number(text: string): number {
  const value = finite(text);
  if (value === undefined) throw new InvalidArgumentError('Give a number, e.g. 12 or -0.5.');
  return value;
}

/** A finite number from `low` to `high`. */
export function between(low: number, high: number, unit: string) {
  return (text: string): number => {
    const value = finite(text);
    if (value !== undefined && value >= low && value <= high) return value;
    throw new InvalidArgumentError(`Give ${unit} from ${low} to ${high}.`);
  };
}

/** A lightness, 0 to 1, also as 0% to 100%. */
export function lightness(text: string): number {
  const [, number, percent] = /^(.*?)(%?)$/.exec(text)!;
  const value = finite(number!);
  const level = value === undefined ? Number.NaN : percent ? value / 100 : value;
  if (level >= 0 && level <= 1) return level;
  throw new InvalidArgumentError('Give a lightness from 0 to 1, or from 0% to 100%.');
}

/** Seconds, above 0. */
export function seconds(text: string): number {
  const value = finite(text);
  if (value !== undefined && value > 0) return value;
  throw new InvalidArgumentError('Give seconds, more than 0.');
}

/** Seconds, 0 or more. */
export function secondsOrNone(text: string): number {
  const value = finite(text);
  if (value !== undefined && value >= 0) return value;
  throw new InvalidArgumentError('Give seconds, 0 or more.');
}

/** A whole number from `low` to `high`. */
export function whole(low: number, high: number) {
  return (text: string): number => {
    const value = /^\d+$/.test(text) ? Number(text) : Number.NaN;
    if (value >= low && value <= high) return value;
    throw new InvalidArgumentError(`Give a whole number from ${low} to ${high}.`);
  };
}

/** Degrees, or the name of a mark. */
export function degreesOrMark(text: string): number | string {
  const value = finite(text);
  if (value !== undefined) return value;
  if (NAME.test(text)) return text;
  throw new InvalidArgumentError("Give an angle in degrees, e.g. -3, or a mark's name.");
}

/** A version of a prop file, as `history` shows it. */
export function versionOfFile(text: string): string {
  if (/^[0-9a-f]{16}$/.test(text)) return text;
  throw new InvalidArgumentError(
    'Give a version, 16 hexadecimal digits; sinew history lists them.',
  );
}

export interface Address {
  host: string;
  port: number;
}

/** `HOST`, `HOST:PORT` or `[IPV6]:PORT`; the port is 7420 unless given. */
export function address(text: string): Address {
  const match = /^(?:\[([0-9a-f:.]+)\]|([^\s:/@[\]]+))(?::(\d{1,5}))?$/i.exec(text);
  const port = match?.[3] === undefined ? 7420 : Number(match[3]);
  if (!match || port < 1 || port > 65535) {
    throw new InvalidArgumentError('Give HOST or HOST:PORT, e.g. 192.168.1.20:7420.');
  }
  return { host: match[1] ? `[${match[1]}]` : match[2]!, port };
}

/**
 * Splits a line of the session's prompt into words, as a shell would: quotes keep spaces together.
 * A comment runs from a `#` at the start of the line, or from a `#` between spaces, to the end
 * (`#ff8800` is a colour).
 * @throws UsageError on an open quote.
 */
export function words(line: string): string[] {
  const found: string[] = [];
  let word: string | undefined;
  let quote = '';
  for (let at = 0; at < line.length; at++) {
    const letter = line[at]!;
    const space = /\s/.test(letter);
    if (quote) {
      if (letter === quote) quote = '';
      else word += letter;
    } else if (letter === '"' || letter === "'") {
      quote = letter;
      word ??= '';
    } else if (space) {
      if (word !== undefined) found.push(word);
      word = undefined;
    } else if (letter === '#' && word === undefined && beginsComment(line, at)) {
      break;
    } else {
      word = (word ?? '') + letter;
    }
  }
  if (quote) throw new UsageError(`the quote ${quote} is not closed`);
  if (word !== undefined) found.push(word);
  return found;
}

function beginsComment(line: string, at: number): boolean {
  return line.slice(0, at).trim() === '' || /^#(\s|$)/.test(line.slice(at));
}
