import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { VirtualClock } from '../../src/shared/clock.ts';
import { run } from './fake-daemon.ts';

const PROP = `sinew: 1
name: "Gate & <lamp>"
boards: { main: { driver: sim } }
rails: { six: { volts: 6, limitA: 2 } }
channels:
  arm:
    kind: servo
    output: { board: main, pin: 17 }
    rail: six
    calibration: [[1000, -50], [2000, 50]]
    limitsDeg: [-10, 45]
    speedDegS: 100
    accelDegS2: 500
    draw: { idleA: 0.1, movingA: 0.5, stallA: 1 }
    marks: { down: 0, up: 40 }
    park: { to: down }
  still: { kind: lamp, output: { board: main, pin: 18 } }
  horn: { kind: relay, output: { board: main, pin: 22 }, rail: six, draw: { onA: 0.4 }, requires: [{ channel: arm, above: 20 }] }
  eye: { kind: rgb, output: { board: main, pins: [23, 24, 25] } }
cues:
  show:
    - { name: lift, at: 0, move: { arm: up }, overS: 1 }
    - { after: lift, at: 0.5, switch: { horn: on }, forS: 2 }
    - { at: 0.2, colour: { eye: "#ff8000" }, fadeS: 1 }
  rush:
    seed: 3
    steps:
      - { at: 0, switch: { horn: on }, forS: 1 }
      - { at: 0.5, move: { arm: up }, overS: 0.2 }
      - { at: 2, switch: { horn: on }, forS: 2 }
      - { name: high, at: 0, until: { channel: arm, above: 30, withinS: 9 } }
      - { after: high, at: 1.6, move: { arm: down } }
  forever:
    - { at: 0, cue: show, times: until stopped }
`;

const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
let folder: string;
let file: string;

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-'));
  file = join(folder, 'gate.yaml');
  await writeFile(file, PROP);
});
afterAll(() => rm(folder, { recursive: true }));

const rehearse = (cue: string, ...more: string[]) =>
  run(['rehearse', file, '--cue', cue, ...more], nobody);

describe('text', () => {
  test('a line with a plot for everything that changes', async () => {
    const { code, out, err } = await rehearse('show');
    expect({ code, err }).toEqual({ code: 0, err: '' });
    const lines = out.split('\n');
    expect(lines[0]).toMatch(/^Gate & <lamp>, cue show: 3\.\d+ s$/);
    // Without a locale that says otherwise, ASCII.
    expect(out).toMatch(/^[\n\x20-\x7e]*$/);
    const arm = /^arm {3}([_.,\-=+*#]{60}) {2}(.*)$/.exec(lines.find((l) => l.startsWith('arm'))!)!;
    expect(arm[1]).toMatch(/^_.*#$/);
    expect(arm[2]).toBe('0 -> 40 deg, between 0 and 40');
    expect(out).toMatch(/^horn .* closes once, 2 s in all$/m);
    expect(out).toMatch(/^eye .* #000000 -> #ff8000, no flash$/m);
    expect(out).toMatch(/^six .* peak 1 A of 2 A \(50 %\) at [\d.]+ s$/m);
    expect(out).toMatch(/^as they were: still$/m);
    expect(out).toMatch(/\nno findings\n$/);
  });

  test('in a UTF-8 locale the plots are blocks', async () => {
    const { out } = await run(['rehearse', file, '--cue', 'show'], nobody, { LC_CTYPE: 'C.utf8' });
    expect(out).toMatch(/^arm {3}▁[▁▂▃▄▅▆▇█]{58}█ {2}0 → 40 deg/m);
    const ascii = { LANG: 'de_DE.UTF-8', LC_ALL: 'C' };
    const overruled = await run(['rehearse', file, '--cue', 'show'], nobody, ascii);
    expect(overruled.out).not.toContain('█');
  });

  test('what comes in the way stands with its place in the file', async () => {
    const { code, out } = await rehearse('rush');
    expect(code).toBe(1);
    const lines = PROP.split('\n');
    const place = (text: string) => {
      const line = lines.findIndex((one) => one.includes(text));
      return `${file}:${line + 1}:${lines[line]!.indexOf('{') + 1}: `;
    };
    const printed = out.split('\n').filter((line) => line.startsWith(file));
    expect(printed).toEqual([
      `${place('at: 0, switch: { horn')}cues.rush.steps[0]: horn needs arm above 20 deg (at 0.005 s); start it when it is allowed, or change what it asks for`,
      // Trapezoid: 40 deg at 100 deg/s and 500 deg/s2 take 40/100 + 100/500 s.
      `${place('overS: 0.2')}cues.rush.steps[1]: warning: takes 0.6 s, not 0.2 s; the limits allow no more (at 0.5 s); give overS more time, or move less far`,
      expect.stringMatching(
        /cues\.rush\.steps\[4\]: arm may not go to 0 deg: horn is on and needs arm above 20 deg; switch horn off first \(at 2\.\d+ s\); /,
      ),
    ]);
    expect(out).toMatch(/\n3 findings\n$/);
  });

  test('flashes of all light together, as planned and as held', async () => {
    const strobe = Array.from(
      { length: 24 },
      (_, i) =>
        `    - { at: ${(i * 0.05).toFixed(2)}, ${i % 4 < 2 ? 'dim: { still' : 'colour: { eye'}: ${i % 2 ? 0 : 1} } }`,
    );
    const text = strobe.map((line) =>
      line.replace(/eye: [01]/, (found) => (found.endsWith('1') ? 'eye: white' : 'eye: black')),
    );
    const lit = join(folder, 'strobe.yaml');
    await writeFile(lit, `${PROP}  strobe:\n${text.join('\n')}\n`);
    const { code, out } = await run(['rehearse', lit, '--cue', 'strobe'], nobody);
    expect(code).toBe(1);
    expect(out).toMatch(
      /^all light together: 10 flashes in a second as planned, held to 3 flashes in a second$/m,
    );
    const printed = out
      .split('\n')
      .filter((line) => line.includes('cues.strobe[') && !line.includes('horn'));
    expect(printed.join('\n')).toMatch(
      /: warning: (still|eye) .*waits?, so that the prop does not flash more than three times in a second \(at 0\.\d+ s.*\); let lights change less often/,
    );
    const data = JSON.parse(
      (await run(['rehearse', lit, '--cue', 'strobe', '--json'], nobody)).out,
    );
    expect(data.light).toEqual({
      plannedFlashes: 10,
      plannedColourFlashes: 0,
      flashes: 3,
      colourFlashes: 0,
    });
  });

  test('a cue without an end is followed for ten minutes', async () => {
    const { code, out } = await rehearse('forever');
    expect(code).toBe(0);
    expect(out).toMatch(/cue forever: goes on until stopped: first 600 s\n/);
  });

  test('the same file gives the same bytes, in every form', async () => {
    for (const form of [[], ['--csv'], ['--svg'], ['--json']]) {
      const once = await rehearse('rush', ...form);
      expect(once.out.length).toBeGreaterThan(500);
      expect(await rehearse('rush', ...form)).toEqual(once);
    }
  });
});

describe('refused', () => {
  test('a broken file is checked instead', async () => {
    const broken = join(folder, 'broken.yaml');
    await writeFile(broken, PROP.replace('arm: up }, overS: 1 }', 'arm: upp }, overS: 1 }'));
    const { code, out, err } = await run(['rehearse', broken, '--cue', 'show'], nobody);
    expect({ code, err }).toEqual({ code: 1, err: '' });
    expect(out).toMatch(/broken\.yaml:22:\d+: cues\.show\[0\]\.move\.arm: .*did you mean up\?/);
  });

  test('a cue that is not there', async () => {
    const { code, out, err } = await rehearse('shwo');
    expect({ code, out }).toEqual({ code: 1, out: '' });
    expect(err).toBe('sinew: there is no cue shwo; did you mean show?\n');
  });

  test.each([
    [[], 'say which cue: --cue NAME'],
    [['--cue', 'show', '--csv', '--svg'], '--csv and --svg do not go together; choose one'],
  ])('%j is wrong usage', async (options, reason) => {
    const { code, err } = await run(['rehearse', file, ...options], nobody);
    expect(code).toBe(2);
    expect(err).toBe(`sinew: ${reason}\n`);
  });

  test('a file that cannot be written', async () => {
    const { code, err } = await rehearse('show', '--svg', '--out', join(folder, 'no', 'where.svg'));
    expect(code).toBe(1);
    expect(err).toMatch(/^sinew: cannot write .*where\.svg: ENOENT/);
  });
});

describe('--csv', () => {
  test('RFC 4180: CR LF, a heading, as many fields in every line', async () => {
    const { out } = await rehearse('show', '--csv');
    expect(out.endsWith('\r\n')).toBe(true);
    const rows = out.slice(0, -2).split('\r\n');
    expect(rows[0]).toBe('t_s,arm_deg,still_lightness,horn_on,eye_colour,six_A');
    for (const row of rows) expect(row.split(',')).toHaveLength(6);
    expect(out.replaceAll('\r\n', '')).not.toMatch(/[\r\n"]/);
  });

  test('a row every 20 ms, from the start to the rest', async () => {
    const [, ...rows] = (await rehearse('show', '--csv')).out.trim().split('\r\n');
    rows.forEach((row, i) => {
      expect(Number(row.split(',')[0])).toBeCloseTo(i * 0.02, 9);
    });
    expect(rows[0]).toBe('0.00,0,0,0,#000000,0.1');
    expect(rows.at(-1)).toMatch(/^3\.\d\d,40,0,0,#ff8000,0\.1$/);
    expect(rows.filter((row) => row.split(',')[3] === '1')).toHaveLength(2 / 0.02);
  });

  test('findings go where they do not spoil the data', async () => {
    const { code, out, err } = await rehearse('rush', '--csv');
    expect(code).toBe(1);
    expect(out).not.toContain('horn needs');
    expect(err).toMatch(/horn needs arm above 20 deg/);
  });
});

test('--json is the whole rehearsal, with its findings', async () => {
  const { code, out } = await rehearse('rush', '--json');
  expect(code).toBe(1);
  const printed = JSON.parse(out);
  expect(printed).toMatchObject({ file, cue: 'rush', cutShort: false });
  expect(printed.tracks.map(({ name }: { name: string }) => name)).toEqual([
    'arm',
    'still',
    'horn',
    'eye',
  ]);
  expect(printed.rails).toMatchObject([{ name: 'six', limitA: 2 }]);
  expect(printed.events).toHaveLength(3);
  expect(
    printed.findings.map(({ path, severity }: Record<string, string>) => [path, severity]),
  ).toEqual([
    ['cues.rush.steps[0]', 'error'],
    ['cues.rush.steps[1]', 'warning'],
    ['cues.rush.steps[4]', 'error'],
  ]);
});

describe('--svg', () => {
  /** Every text with its box, by the widest letters that 12 px type has on average. */
  function texts(svg: string) {
    return [...svg.matchAll(/<text x="([\d.]+)" y="([\d.]+)"([^>]*)>([^<]*)<\/text>/g)].map(
      ([, x, y, rest, text]) => {
        const width = text!.length * (rest!.includes('title') ? 11 : 6.2);
        const share = rest!.includes('"end"') ? 1 : rest!.includes('"middle"') ? 0.5 : 0;
        const left = Number(x) - share * width;
        return { text: text!, left, right: left + width, y: Number(y) };
      },
    );
  }

  test('a document of its own, told in words as well', async () => {
    const out = join(folder, 'show.svg');
    const { code, out: said } = await rehearse('show', '--svg', '--out', out);
    expect({ code, said }).toEqual({ code: 0, said: `written to ${out}\n` });
    const svg = await readFile(out, 'utf8');
    expect(svg).toMatch(/^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg" width="1200" /);
    expect(svg).toContain('<title id="title">Gate &amp; &lt;lamp>: cue show, rehearsed</title>');
    expect(svg).toMatch(/<desc id="desc">.*3 channels that change, and 1 rails/);
    expect(svg.match(/<\w+( [^>]*)?>/g)!.length).toBe(svg.match(/<\/\w+>/g)!.length);
    const shown = texts(svg).map(({ text }) => text);
    for (const text of ['arm', 'horn', 'eye', 'six', 'limit 2 A', 'up 40', 'down 0', '1 lift'])
      expect(shown).toContain(text);
    expect(shown).not.toContain('still');
    expect(shown).toContain('As they were: still');
    // The band is filled with the colour itself, from its start to its end.
    const fills = [...svg.matchAll(/fill="(#[0-9a-f]{6})"/g)].map(([, fill]) => fill);
    expect([fills[0], fills.at(-1)]).toEqual(['#000000', '#ff8000']);
  });

  test('events are marked and told', async () => {
    const svg = (await rehearse('rush', '--svg')).out;
    const shown = texts(svg).map(({ text }) => text);
    expect(shown).toContain('3');
    expect(shown.some((text) => /^3\. .*arm may not go to 0 deg: horn is on/.test(text))).toBe(
      true,
    );
  });

  test.each(['show', 'rush', 'forever'])('no text of %s runs into another', async (cue) => {
    const found = texts((await rehearse(cue, '--svg')).out);
    expect(found.length).toBeGreaterThan(15);
    for (const [i, one] of found.entries()) {
      expect(one.left).toBeGreaterThanOrEqual(0);
      expect(one.right).toBeLessThanOrEqual(1200);
      for (const other of found.slice(i + 1)) {
        const apart =
          Math.abs(one.y - other.y) >= 10 || one.right <= other.left || other.right <= one.left;
        expect(apart, `${one.text} and ${other.text}`).toBe(true);
      }
    }
  });
});
