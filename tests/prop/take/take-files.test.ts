import fs from 'node:fs';
import os from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { cuePlan } from '../../../src/prop/cue-plan.ts';
import { formatFinding } from '../../../src/prop/finding.ts';
import { parseProp } from '../../../src/prop/load.ts';

const HEAD = `sinew: 1
name: Waver
boards: { main: { driver: sim } }
channels:
  neck: { kind: servo, output: { board: main, pin: 18 }, calibration: [[1000, -45], [2000, 45]], limitsDeg: [-40, 40], speedDegS: 120, accelDegS2: 600, jerkDegS3: 6000, park: { to: 0 } }
  beak: { kind: servo, output: { board: main, pin: 19 }, calibration: [[1000, -45], [2000, 45]], limitsDeg: [-40, 40], speedDegS: 120, accelDegS2: 600, jerkDegS3: 6000, park: { to: 0 } }
`;
const WAVE = 'sinew take 1\nservo neck\n0 0\n0.5 10\n1 0\nservo beak\n0 5\n1 5\n2 0\n';

describe('the takes beside a prop file', () => {
  let folder: string;
  const file = () => join(folder, 'waver.yaml');
  beforeEach(() => {
    folder = fs.mkdtempSync(join(os.tmpdir(), 'takes-'));
  });
  afterEach(() => {
    fs.rmSync(folder, { recursive: true });
  });

  /** What is said of a prop file, and of its takes alone. */
  function said(rest: string, takes: Record<string, string> = {}) {
    for (const [name, text] of Object.entries(takes)) fs.writeFileSync(join(folder, name), text);
    const text = HEAD + rest;
    fs.writeFileSync(file(), text);
    const loaded = parseProp(text, file());
    const lines = loaded.findings.map((one) => formatFinding(one, 'waver.yaml'));
    return { prop: loaded.prop, lines: lines.filter((line) => /take|rate|times/.test(line)) };
  }

  it('are read with it, and a step can play them', () => {
    const rest = 'takes: { wave: wave.take }\ncues: { hello: [{ at: 0, take: wave, times: 2 }] }\n';
    const { prop, lines } = said(rest, { 'wave.take': WAVE });
    expect(lines).toEqual([
      expect.stringMatching(
        /^waver\.yaml:8:\d+: cues\.hello\[0\]\.take: note: beak is not where take wave begins/,
      ),
    ]);
    const [entryS, betweenS] = [0.29, 0.29];
    expect(cuePlan(prop!, 'hello').durationS).toBeCloseTo(entryS + 2 + betweenS + 2, 1);
  });

  it('may go on until stopped', () => {
    const rest =
      'takes: { wave: wave.take }\ncues: { hello: [{ at: 0, take: wave, times: until stopped }] }\n';
    expect(cuePlan(said(rest, { 'wave.take': WAVE }).prop!, 'hello').durationS).toBeNull();
  });

  it.each([
    [
      'a missing one',
      {},
      'hello.take is not beside the prop file; put it there, or remove the take',
    ],
    [
      'a bad one, with its place in it',
      { 'hello.take': 'sinew take 1\nservo neck\n0 zero\n' },
      'hello.take:3:3: "zero" is not an angle; give degrees, such as 12.5',
    ],
    [
      'another kind of file',
      { 'hello.take': '{ "take": 1 }\n' },
      'hello.take:1:1: "{ \\"take\\": 1 }" does not begin a take; write: sinew take 1',
    ],
  ])('%s is a warning: the prop is used all the same', (_, takes, wanted) => {
    const rest = 'takes: { hello: hello.take }\ncues: { hello: [{ at: 0, take: hello }] }\n';
    const { prop, lines } = said(rest, takes as Record<string, string>);
    expect(prop).toBeDefined();
    expect(lines).toEqual([
      expect.stringContaining(`takes.hello: warning: take hello cannot be played: ${wanted}`),
    ]);
  });

  it('a link that leads out of the folder is not followed', () => {
    const other = join(os.tmpdir(), `${folder.slice(-6)}.take`);
    fs.writeFileSync(other, WAVE);
    fs.symlinkSync(other, join(folder, 'hello.take'));
    const { lines } = said('takes: { hello: hello.take }\n');
    fs.rmSync(other);
    expect(lines).toEqual([expect.stringContaining('hello.take is a link')]);
  });

  it.each(['../wave.take', '/etc/passwd', 'wave', '.take', 'a/b.take', 'wave.take\\n'])(
    'a path such as %j is refused',
    (path) => {
      const { lines, prop } = said(`takes: { wave: ${JSON.stringify(path)} }\n`);
      expect(prop).toBeUndefined();
      expect(lines[0]).toMatch(/is not the name of a take beside this file/);
    },
  );

  it('says what a step asks of no take, or of too much', () => {
    const rest = `takes: { wave: wave.take }
cues:
  a:
    - { at: 0, take: wav }
    - { at: 0, take: wave, move: { neck: 3 } }
    - { at: 0, move: { neck: 3 }, rate: 2 }
    - { at: 0, take: wave, rate: 20 }
`;
    expect(said(rest, { 'wave.take': WAVE }).lines.join('\n')).toMatch(
      /rate: 20 is above 10|is above 10/,
    );
    const { lines } = said(rest.replace('rate: 20', 'rate: 2'), { 'wave.take': WAVE });
    expect(lines).toEqual(
      expect.arrayContaining([
        expect.stringContaining('there is no take wav; did you mean wave?'),
        expect.stringContaining('a take and a move, or a pose, are both given'),
        expect.stringContaining('rate has no effect here'),
      ]),
    );
  });

  it('says where and by how much a servo cannot follow, and at which rate it could', () => {
    const quick = 'sinew take 1\nservo neck\n0 0\n0.2 35\n0.4 0\n0.6 35\n0.8 0\n';
    const rest = 'takes: { wave: wave.take }\ncues: { hello: [{ at: 0, take: wave }] }\n';
    const { lines, prop } = said(rest, { 'wave.take': quick });
    expect(prop).toBeDefined();
    expect(lines).toHaveLength(1);
    expect(lines[0]).toMatch(
      /take: warning: neck cannot follow take wave within its limits: at 0\.\d+ s of it, it is [\d.]+ deg away.*; play it at rate 0\.\d, smooth the take/,
    );
    const rate = /at rate (0\.\d+)/.exec(lines[0]!)![1]!;
    expect(said(rest.replace('take: wave }', `take: wave, rate: ${rate} }`)).lines).toEqual([]);
  });

  it('says what leaves the soft limits, and what is no servo', () => {
    const far = 'sinew take 1\nservo neck\n0 0\n2 41\nservo tail\n0 0\n1 1\n';
    const rest = 'takes: { wave: wave.take }\ncues: { hello: [{ at: 0, take: wave }] }\n';
    const { lines, prop } = said(rest, { 'wave.take': far });
    expect(prop).toBeUndefined();
    expect(lines).toEqual([
      expect.stringContaining('take wave moves tail, which is no servo of this prop'),
      expect.stringContaining(
        'take wave brings neck to 41 deg, past its soft limits, -40 to 40 deg',
      ),
    ]);
  });

  it('are not known where the prop file is only proposed', () => {
    const rest = 'takes: { wave: wave.take }\ncues: { hello: [{ at: 0, take: wave }] }\n';
    const { findings, prop } = parseProp(HEAD + rest, join(folder, 'nowhere', 'waver.yaml'));
    expect(prop).toBeDefined();
    expect(findings.filter(({ wrong }) => /take/.test(wrong))).toEqual([]);
  });
});
