import { readFile } from 'node:fs/promises';
import { describe, expect, test } from 'vitest';
import { formatFinding } from '../../src/prop/finding.ts';
import { loadShow } from '../../src/show/load-show.ts';
import { PROP, read, showText } from './birds.ts';

/** Findings as lines, without the note about props that hear nothing. */
async function findings(text: string, prop?: string): Promise<string[]> {
  const { findings: all, file } = await read(text, prop);
  return all.filter(({ severity }) => severity !== 'note').map((one) => formatFinding(one, file));
}

describe('the file of a show', () => {
  test('that is fine', async () => {
    const text = showText(
      'timeline: [{ at: 0, go: { birds: nod } }, { at: 5, go: { left: glow }, only: [{ prop: right, runs: nod, not: true }] }, { at: 9, end: [all] }]',
    );
    expect(await findings(text)).toEqual([]);
    const { show, props } = await read(text);
    expect([show?.leadS, [...props.keys()]]).toEqual([8, ['left', 'right']]);
  });

  test('and the example that ships', async () => {
    const file = new URL('../../config/show.yaml', import.meta.url).pathname;
    const { show, findings: found } = await loadShow(file);
    expect(found.map(({ severity }) => severity)).toEqual(['note']);
    expect(show?.timeline).toHaveLength(5);
    expect(await readFile(file, 'utf8')).toContain('sinew show rehearse config/show.yaml');
  });

  test('with many errors: all at once, each with place and remedy', async () => {
    const text = showText(
      `timline: []
leadS: 0
supplies: { psu: { volts: 6, limitA: 3, rails: { left: [servo7v], top: [servo6v] } } }
timeline:
  - { at: -1, go: { left: nod } }
  - { at: 1, go: { left: nob } }
  - { at: 2, go: { lift: nod }, park: [left] }
  - { at: 3, end: [nobody], only: [{ prop: upper, is: armed }] }
  - { at: 4, only: [{ prop: left, is: well }] }
schedule: [{ daily: "25:00" }, { daily: "10:00", everyMin: 5 }]`,
    );
    expect(await findings(text)).toEqual([
      expect.stringMatching(/^SHOW.yaml:5:1: timline: unknown key; remove it: timeline is given/),
      expect.stringMatching(/^SHOW.yaml:6:8: leadS: 0 is too low; give 1 or more/),
      expect.stringMatching(/^SHOW.yaml:7:\d+: .*left has no rail servo7v; did you mean servo6v/),
      expect.stringMatching(/^SHOW.yaml:7:\d+: .*there is no prop top; use one of left, right/),
      expect.stringMatching(/^SHOW.yaml:9:\d+: timeline\[0\].at: -1 is too low/),
      expect.stringMatching(/^SHOW.yaml:10:\d+: .*left has no cue nob; did you mean nod/),
      expect.stringMatching(/^SHOW.yaml:11:\d+: .*needs one of go, end and park; give exactly one/),
      expect.stringMatching(/^SHOW.yaml:12:\d+: .*no prop or group nobody; use one of/),
      expect.stringMatching(/^SHOW.yaml:12:\d+: .*there is no prop upper/),
      expect.stringMatching(/^SHOW.yaml:13:\d+: .*is not a state; use here, armed, idle/),
      expect.stringMatching(/^SHOW.yaml:14:\d+: .*is not a time of day; give HH:MM, quoted/),
      expect.stringMatching(/^SHOW.yaml:14:\d+: .*everyMin and until go together/),
    ]);
  });

  test.each([
    [
      'two times the same prop',
      'timeline: [{ at: 0, go: { birds: nod, left: blink } }]',
      /left is named more than once/,
    ],
    ['no end', 'timeline: [{ at: 0, go: { left: glow } }]', /warning: cue glow of left goes on/],
    [
      'one rail, two supplies',
      'supplies: { a: { volts: 6, limitA: 3, rails: { left: [servo6v] } }, b: { volts: 6, limitA: 3, rails: { left: [servo6v] } } }\ntimeline: [{ at: 0, go: { left: nod } }]',
      /supply a feeds this rail already/,
    ],
    ['YAML that is none', 'timeline: [', /^SHOW.yaml:\d+:\d+: /],
  ])('with %s', async (_what, rest, wrong) => {
    const found = await findings(showText(rest));
    expect(found[0]).toMatch(wrong);
  });

  test('whose prop files are wrong, or of another show', async () => {
    const timeline = 'timeline: [{ at: 0, go: { left: nod } }]';
    expect(await findings(showText(timeline), PROP.replace('limitA: 5', 'limitA: five'))).toEqual([
      expect.stringMatching(
        /props.left.file: bird.yaml: "five" is not a number in line 4; see sinew/,
      ),
      expect.stringMatching(/props.right.file: bird.yaml/),
    ]);
    const other = `${PROP}show: { name: garden, prop: left, broker: { url: "mqtt://127.0.0.1:1883" } }\n`;
    expect(await findings(showText(timeline), other)).toEqual([
      expect.stringContaining('bird.yaml takes part in show garden; name this show garden'),
      expect.stringContaining('bird.yaml takes part in show garden'),
      expect.stringContaining('bird.yaml is called left in the show; call it left here'),
    ]);
    const { findings: found } = await loadShow('/nowhere/SHOW.yaml');
    expect(formatFinding(found[0]!, 'SHOW.yaml')).toMatch(/there is no such file; check the path/);
  });
});
