import { describe, expect, test } from 'vitest';
import { lineParser, promptParser } from '../../src/cli/program.ts';
import { sessionVerb } from '../../src/cli/session.ts';
import { VERBS } from '../../src/cli/table.ts';

const printed: string[] = [];
const line = lineParser([sessionVerb, ...VERBS], '1.2.3', (text) => printed.push(text));
const prompt = promptParser(VERBS, (text) => printed.push(text));

function inputs(...argv: string[]) {
  const chosen = line.parse(argv)!;
  return { verb: chosen.verb.name, ...chosen.inputs };
}

describe('parsing', () => {
  test('negative degrees are values, on the command line and at the prompt', () => {
    expect(inputs('move', 'beak', '-3')).toMatchObject({ target: 'beak', to: -3 });
    expect(inputs('move', 'beak', '-.5', '--over', '2')).toMatchObject({ to: -0.5, over: 2 });
    expect(inputs('jog', 'beak', '-0.5', '--us')).toMatchObject({ by: -0.5, us: true });
    expect(inputs('jog', 'beak', '+1.5', '--beyond-limits')).toMatchObject({
      by: 1.5,
      beyondLimits: true,
    });
    expect(prompt.parse(['move', 'beak', '-12.25'])!.inputs).toMatchObject({ to: -12.25 });
  });

  test('options of the whole command may stand before or after the verb', () => {
    for (const argv of [
      ['--json', '--grace', '5', 'move', 'beak', '-3'],
      ['move', 'beak', '-3', '--grace', '5', '--json'],
    ]) {
      expect(line.parse(argv)!.globals).toMatchObject({ json: true, grace: 5 });
    }
    const { globals } = line.parse(['park', '--host', 'owl:99', '--wake', '--name', 'ann'])!;
    expect(globals).toEqual({ host: { host: 'owl', port: 99 }, wake: true, name: 'ann' });
  });

  test('one parse leaves nothing behind for the next', () => {
    prompt.parse(['jog', 'beak', '1', '--us']);
    expect(prompt.parse(['jog', 'beak', '1'])!.inputs).toEqual({ channel: 'beak', by: 1 });
  });

  test('the rest of the line is one colour or one text', () => {
    expect(inputs('colour', 'eye', 'oklch(75%', '0.15', '80)', '--fade', '0')).toMatchObject({
      colour: 'oklch(75% 0.15 80)',
      fade: 0,
    });
    expect(inputs('find', 'J1', '12')).toMatchObject({ text: 'J1 12' });
  });

  test.each([
    [['mvoe', 'beak', '3'], /unknown command 'mvoe' \(Did you mean move\?\)/],
    [['move', 'beak'], /missing required argument 'to'/],
    [['move', 'beak', '1', '2'], /too many arguments/],
    [['move', 'beak', '12,5'], /angle in degrees/],
    [['move', 'beak', '1', '--over', '0'], /more than 0/],
    [['jog', 'beak', 'NaN'], /Give a number/],
    [['switch', 'mist', 'yes'], /Allowed choices are on, off/],
    [['limit', 'beak', 'middle'], /Allowed choices are low, high/],
    [['rest'], /missing required argument 'channel'/],
    [['undo', 'beak'], /too many arguments/],
    [['find'], /missing required argument 'text'/],
    [['stop', '3'], /Allowed choices are 0, 1, 2/],
    [['watch', '--hz', '51'], /from 1 to 50/],
    [['watch', '--hz', '2.5'], /from 1 to 50/],
    [['park', '--grace', '301'], /from 0 to 300/],
    [['park', '--host', 'a:b'], /HOST:PORT/],
    [['park', '--jsno'], /unknown option '--jsno' \(Did you mean --json\?\)/],
    [['check'], /missing required argument 'file'/],
    [['loom', 'a.yaml', '--format', 'pdf'], /Allowed choices are text, csv, html, svg/],
    [[], /no command given/],
  ])('wrong usage: %j', (argv, reason) => {
    expect(() => line.parse(argv)).toThrow(
      expect.objectContaining({ name: 'UsageError', message: expect.stringMatching(reason) }),
    );
  });

  test('help and version are printed, and nothing is chosen', () => {
    printed.length = 0;
    expect(line.parse(['--version'])).toBeUndefined();
    expect(line.parse(['move', '--help'])).toBeUndefined();
    expect(prompt.parse(['help'])).toBeUndefined();
    expect(printed[0]).toBe('1.2.3\n');
    expect(printed[1]).toMatch(/Usage: sinew move \[options\] <target> <to>/);
    expect(printed[1]).toMatch(/--over <S>[\s\S]*Global Options:[\s\S]*--grace <S>/);
    expect(printed[2]).toMatch(/\n {2}jog /);
    expect(printed[2]).not.toMatch(/--host/);
  });
});
