import { readFile, stat } from 'node:fs/promises';
import { formatFinding } from '../prop/finding.ts';
import type { TakeServo } from '../prop/take/take-text.ts';
import { UsageError, writeOut } from './output.ts';
import { type Outcome, verb } from './verb.ts';

interface Inputs {
  take: string;
  trim?: readonly [number, number];
  smooth?: number;
  scale?: number;
  about?: number;
  mirror?: number;
  shift?: number;
  tolerance?: number;
  rename?: readonly [string, string];
  out?: string;
}

function number(what: string, low: number, high: number): (text: string) => number {
  return (text) => {
    const value = text.trim() === '' ? Number.NaN : Number(text);
    if (value >= low && value <= high) return value;
    throw new UsageError(`${text} is not ${what}; give ${low} to ${high}`);
  };
}

const angle = number('an angle', -36_000, 36_000);

function pair(text: string): [string, string] {
  const [from, to, more] = text.split(':');
  if (from && to && more === undefined) return [from, to];
  throw new UsageError(`${text} is not a pair; give two with a colon between them`);
}

function times(text: string): [number, number] {
  const [from, to] = pair(text).map(number('a time', 0, 600)) as [number, number];
  if (from < to) return [from, to];
  throw new UsageError(`${from} s is not before ${to} s; give from:to`);
}

/** `sinew take`: a take, changed. */
export const takeVerb = verb<Inputs>({
  name: 'take',
  summary:
    'change a recorded movement: trim, smooth, scale, mirror, shift, simplify, in this order',
  where: 'line',
  args: [{ name: 'take', doc: 'its file, such as wave.take' }],
  options: [
    { flags: '--trim <FROM:TO>', doc: 'keep this part (s)', parse: times },
    {
      flags: '--smooth <S>',
      doc: 'smooth over this time (s)',
      parse: number('a time', 0, 10),
    },
    {
      flags: '--scale <FACTOR>',
      doc: 'wider, or below 1 narrower, about --about',
      parse: number('a factor', 0, 100),
    },
    {
      flags: '--about <DEG>',
      doc: 'the angle that --scale leaves (default: where each servo begins)',
      parse: angle,
    },
    { flags: '--mirror <DEG>', doc: 'the other way round, about this angle', parse: angle },
    { flags: '--shift <DEG>', doc: 'higher by so much, or lower', parse: angle },
    {
      flags: '--tolerance <DEG>',
      doc: 'leave out points, so that it stays within this of the movement',
      parse: number('a tolerance', 0, 90),
    },
    { flags: '--rename <OLD:NEW>', doc: 'for another servo', parse: pair },
    { flags: '--out <FILE>', doc: 'write it to this file instead' },
  ],
  async run(inputs): Promise<Outcome> {
    const { MAX_TAKE_CHARS, parseTake, takeText } = await import('../prop/take/take-text.ts');
    const file = inputs.take;
    const failed = (text: string): Outcome => ({ result: { error: text }, text, exit: 1 });
    let text: string;
    try {
      // A device or a pipe may have no end.
      const found = await stat(file);
      if (!found.isFile() || found.size > MAX_TAKE_CHARS)
        return failed(`${file} is not a file of 1 MiB at most; give a take, such as wave.take`);
      text = await readFile(file, 'utf8');
    } catch (error) {
      return failed(`${file} cannot be read (${(error as NodeJS.ErrnoException).code}); check it`);
    }
    const { take, findings } = parseTake(text, file);
    if (!take) return failed(findings.map((one) => formatFinding(one, file)).join('\n'));
    const sums = await import('../sums/take-points.ts');
    const changed = (servo: TakeServo): TakeServo => {
      const { trim, smooth, scale, about, mirror, shift, tolerance } = inputs;
      const part = trim ? sums.trim(servo, ...trim) : servo;
      const all = sums.changed(part, {
        ...{ smoothS: smooth, scale, mirrorDeg: mirror, shiftDeg: shift },
        aboutDeg: about ?? servo.deg[0]!,
      });
      const points =
        tolerance === undefined ? all : sums.simplified(all, tolerance, Number.POSITIVE_INFINITY)!;
      const [from, to] = inputs.rename ?? [];
      const name = servo.name === from && to !== undefined ? to : servo.name;
      return { name, timesS: [...points.timesS], deg: [...points.deg] };
    };
    const next = { servos: take.servos.map(changed) };
    let written: string;
    try {
      written = takeText(next);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      return failed(`the result is not a take: ${error.message}`);
    }
    if (inputs.out === undefined) return { result: next, text: written.trimEnd() };
    await writeOut(inputs.out, written);
    return { result: { written: inputs.out }, text: `written to ${inputs.out}` };
  },
});
