import { plain } from '../../shared/plain.ts';
import { tidy } from '../../shared/units.ts';
import { excerpt, type Finding, WHOLE_FILE } from '../finding.ts';
import { NAME } from '../name.ts';

/** The movement of one servo in a take. Between its points see sums/take-curve.ts; outside them it rests. */
export interface TakeServo {
  /** The channel. */
  name: string;
  /** s from the start of the take, each later than the one before. */
  timesS: number[];
  /** Where it is at each of these times (deg). */
  deg: number[];
}

/** A recorded, performed movement of one or more servos, each named once. */
export interface Take {
  servos: TakeServo[];
}

/** What became of the text of a take. */
export interface ReadTake {
  /** The plain name of its file. */
  file: string;
  /** Undefined when any finding is an error. */
  take: Take | undefined;
  findings: Finding[];
}

/** The plain name of a take beside the prop file: no folder. */
export const TAKE_NAME = /^[A-Za-z0-9_][A-Za-z0-9_-]{0,79}\.take$/;

/** The most that a take may have: characters, servos, points of all servos together, and seconds. */
export const MAX_TAKE_CHARS = 1024 * 1024;
export const MAX_TAKE_SERVOS = 64;
export const MAX_TAKE_POINTS = 30_000;
export const MAX_TAKE_S = 600;
/** No servo turns further (deg). */
const MAX_DEG = 36_000;

/** Decimals of times (s) and angles (deg): a millisecond and a thousandth of a degree. */
const DECIMALS = 3;
/** Findings of one file; a file of another kind has one in every line. */
const MAX_FINDINGS = 20;

const FIRST_LINE = /^sinew take (\S+)$/;
const SERVO_LINE = /^servo\s+(\S.*)$/;
const POINT_LINE = /^(\S+)\s+(\S+)$/;
const DECIMAL = /^[+-]?(?:\d+(?:\.\d*)?|\.\d+)$/;

/**
 * The text of a take:
 *
 *     sinew take 1
 *     # s deg
 *
 *     servo beak
 *     0 0
 *     0.42 17.5
 *
 * Times are rounded to ms, angles to 0.001 deg; of points that fall on the same ms the first stays.
 * @throws RangeError for a take that `parseTake` would not read, with what is wrong
 */
export function takeText({ servos }: Take): string {
  const lines = ['sinew take 1', '# s deg'];
  for (const { name, timesS, deg } of servos) {
    lines.push('', `servo ${name}`);
    let lastS = Number.NEGATIVE_INFINITY;
    for (const [i, atS] of timesS.entries()) {
      const roundedS = tidy(atS, DECIMALS);
      if (i > 0 && roundedS === lastS) continue;
      lastS = roundedS;
      lines.push(`${decimal(roundedS)} ${decimal(tidy(deg[i]!, DECIMALS))}`);
    }
  }
  const text = `${lines.join('\n')}\n`;
  const [first] = parseTake(text, '').findings;
  if (first) throw new RangeError(`line ${first.line}: ${first.wrong}; ${first.right}`);
  return text;
}

/** Without an exponent, and without a sign before 0. */
function decimal(value: number): string {
  return Math.abs(value) < 1e-6 ? '0' : String(value);
}

/** Reads the text of a take. Never throws: whatever is wrong with it is a finding, with its place. */
export function parseTake(text: string, file: string): ReadTake {
  return new Reader(text, file).read();
}

class Reader {
  readonly #text: string;
  readonly #file: string;
  readonly #findings: Finding[] = [];
  readonly #servos: TakeServo[] = [];
  readonly #names = new Set<string>();
  #points = 0;
  #line = 0;
  /** What follows belongs to a servo that is in the file already, or has no good name. */
  #ignores = false;
  /** The servo in hand has a line that was meant as a point. */
  #tried = false;

  constructor(text: string, file: string) {
    this.#text = text;
    this.#file = file;
  }

  read(): ReadTake {
    if (this.#text.length > MAX_TAKE_CHARS) {
      this.#line = 1;
      this.#say(0, 'the take is larger than 1 MiB', 'simplify it, or record a shorter one');
    } else this.#readLines();
    const failed = this.#findings.length > 0;
    return {
      file: this.#file,
      take: failed ? undefined : { servos: this.#servos },
      findings: this.#findings,
    };
  }

  #readLines(): void {
    const text = this.#text;
    let begun = false;
    for (let at = text.startsWith('\uFEFF') ? 1 : 0; at <= text.length; ) {
      const end = text.indexOf('\n', at);
      const line = text.slice(at, end < 0 ? text.length : end);
      at = end < 0 ? text.length + 1 : end + 1;
      this.#line++;
      const said = line.trim();
      if (said === '' || said.startsWith('#')) continue;
      if (begun) this.#readLine(line, said);
      else if (!this.#begins(line, said)) return;
      begun = true;
      if (this.#findings.length >= MAX_FINDINGS) return;
    }
    if (!begun) {
      this.#line = 1;
      this.#say(0, 'the file is empty', 'its first line is: sinew take 1');
      return;
    }
    this.#endServo();
    if (this.#servos.length === 0 && this.#findings.length === 0)
      this.#say(0, 'no servo is in the take', 'begin the points of each with: servo NAME');
  }

  /** Whether it is a take of a version that can be read. */
  #begins(line: string, said: string): boolean {
    const version = FIRST_LINE.exec(said)?.[1];
    if (version === '1') return true;
    if (version === undefined)
      this.#say(column(line), `${quoted(said)} does not begin a take`, 'write: sinew take 1');
    else
      this.#say(
        column(line),
        `version ${plain(excerpt(version))} of takes is not known`,
        'write: sinew take 1, or use a later Sinew',
      );
    return false;
  }

  #readLine(line: string, said: string): void {
    const servo = SERVO_LINE.exec(said);
    if (servo) this.#servo(line, servo[1]!.trim());
    else this.#point(line, said);
  }

  #servo(line: string, name: string): void {
    this.#endServo();
    const at = line.indexOf(name, column(line) + 5);
    this.#ignores = true;
    this.#tried = false;
    if (!NAME.test(name))
      this.#say(
        at,
        `${quoted(name)} is not the name of a channel`,
        'use letters, digits, _ and -, beginning with a letter',
      );
    else if (this.#names.has(name))
      this.#say(at, `servo ${name} is in the take already`, 'put all of its points in one place');
    else if (this.#servos.length >= MAX_TAKE_SERVOS)
      this.#say(at, `the take has more than ${MAX_TAKE_SERVOS} servos`, 'divide it into takes');
    else this.#ignores = false;
    this.#names.add(name);
    if (!this.#ignores) this.#servos.push({ name, timesS: [], deg: [] });
  }

  #endServo(): void {
    const servo = this.#servos.at(-1);
    if (servo && !this.#ignores && !this.#tried)
      this.#say(
        0,
        `servo ${servo.name}, before this line, has no points`,
        'give at least one, such as 0 0, or remove it',
      );
  }

  #point(line: string, said: string): void {
    this.#tried = true;
    const numbers = POINT_LINE.exec(said);
    const from = column(line);
    if (!numbers) {
      this.#say(
        from,
        `${quoted(said)} is not a point`,
        'give the time (s) and the angle (deg), such as 0.5 12',
      );
      return;
    }
    const degFrom = line.lastIndexOf(numbers[2]!);
    const atS = this.#number(numbers[1]!, from, 'a time', 'give seconds, such as 0.5');
    const deg = this.#number(numbers[2]!, degFrom, 'an angle', 'give degrees, such as 12.5');
    if (atS === undefined || deg === undefined || this.#ignores) return;
    const servo = this.#servos.at(-1);
    if (!servo) {
      this.#say(from, 'the point belongs to no servo', 'write before it: servo NAME');
      return;
    }
    const lastS = servo.timesS.at(-1);
    if (atS < 0) this.#say(from, `${atS} s is before the start`, 'times begin at 0');
    else if (atS > MAX_TAKE_S)
      this.#say(
        from,
        `${atS} s is later than ${MAX_TAKE_S} s`,
        'divide the take into shorter ones',
      );
    else if (lastS !== undefined && atS <= lastS)
      this.#say(
        from,
        `${atS} s is not later than ${lastS} s, the point before it`,
        'put the points in the order of their times, each time once',
      );
    else if (Math.abs(deg) > MAX_DEG)
      this.#say(degFrom, `${deg} deg is more than any servo turns`, 'give degrees');
    else if (this.#points >= MAX_TAKE_POINTS) {
      this.#say(
        from,
        `the take has more than ${MAX_TAKE_POINTS} points`,
        'simplify it, or record a shorter one',
      );
      this.#ignores = true;
    } else {
      this.#points++;
      servo.timesS.push(atS);
      servo.deg.push(deg);
    }
  }

  #number(word: string, at: number, what: string, right: string): number | undefined {
    // Some hundred digits are a number beyond any.
    const value = DECIMAL.test(word) ? Number(word) : Number.NaN;
    if (Number.isFinite(value)) return value;
    this.#say(at, `${quoted(word)} is not ${what}`, right);
    return undefined;
  }

  /** @param at where in the line, from 0 */
  #say(at: number, wrong: string, right: string): void {
    if (this.#findings.length >= MAX_FINDINGS) return;
    const place = { line: Math.max(1, this.#line), column: Math.max(0, at) + 1, path: WHOLE_FILE };
    this.#findings.push({ severity: 'error', ...place, wrong, right });
  }
}

/** Where in a line its text begins, from 0. */
function column(line: string): number {
  return line.length - line.trimStart().length;
}

function quoted(text: string): string {
  return JSON.stringify(plain(excerpt(text)));
}
