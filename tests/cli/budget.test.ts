import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { VirtualClock } from '../../src/shared/clock.ts';
import { OWL } from '../prop/helpers.ts';
import { run } from './fake-daemon.ts';

const nobody = { host: '127.0.0.1:1', clock: new VirtualClock() };
let folder: string;
let owl: string;
/** The owl with a fuse that is much too large. */
let fused: string;

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-'));
  owl = join(folder, 'owl.yaml');
  fused = join(folder, 'fused.yaml');
  await writeFile(owl, OWL);
  await writeFile(fused, OWL.replace(/fuse: \{ ratingA: [\d.]+/, 'fuse: { ratingA: 20'));
});
afterAll(() => rm(folder, { recursive: true }));

const budget = (...words: string[]) => run(['budget', ...words], nobody);

/** The cells of a table's row, by its first cell. */
function row(text: string, name: string): string[] {
  const line = text.split('\n').find((one) => one.startsWith(`${name} `))!;
  return line.split(/ {2,}/);
}

describe('text', () => {
  test('rails, cues, channels, wires, and the cautions at the foot', async () => {
    const { code, out, err } = await budget(owl);
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out).toMatch(/^Foyer owl: budget\n/);
    // Added up by hand: 0.25 + 6 x 0.2 + 3 x 0.6 A moving; 0.9 + 6 x 0.7 + 3 x 1.8 A stalled.
    expect(row(out, 'servo6v').slice(0, 6)).toEqual([
      'servo6v',
      '6.00',
      '5.00',
      '0.22',
      '3.25',
      '10.50',
    ]);
    for (const cue of ['wake', 'blink', 'glance', 'breath'])
      expect(row(out, cue)[2]).toBe('servo6v');
    // The lids move at the start of blink: 2 x 0.2 A, and eight others hold.
    expect(row(out, 'blink')[4]).toBe('1.60');
    expect(Number(row(out, 'beak')[3])).toBeLessThan(6);
    expect(row(out, 'W07').slice(0, 4)).toEqual(['W07', 'beak', '0.25', '4.36']);
    const foot = out.slice(out.indexOf('\nno findings\n'));
    for (const word of ['Local codes', 'licensed', 'battery', 'Mains', 'Bunched', 'fuse'])
      expect(foot).toContain(word);
    expect(out).toMatch(/^[\n\x20-\x7e]*$/);
  });

  test('findings are those of check, at their place', async () => {
    const { code, out } = await budget(fused);
    expect(code).toBe(1);
    const checked = await run(['check', fused], nobody);
    const line = out.split('\n').find((one) => one.startsWith(fused))!;
    expect(line).toMatch(
      /:\d+:\d+: rails\.servo6v\.fuse\.ratingA: warning: a fuse of 20 A does not/,
    );
    expect(checked.out.split('\n')).toContain(line);
    expect(out).toMatch(/\n1 finding\n/);
  });

  test('one cue alone', async () => {
    const { out } = await budget(owl, '--cue', 'wake');
    expect(row(out, 'wake')[2]).toBe('servo6v');
    expect(out).not.toMatch(/^blink /m);
  });

  test('the mechanics of a prop that gives them', async () => {
    const chest = fileURLToPath(new URL('../../config/lidded-chest.yaml', import.meta.url));
    const { code, out } = await budget(chest);
    expect(code).toBe(0);
    expect(out).toMatch(/^servo +needs N m/m);
    const result = JSON.parse((await budget(chest, '--json')).out);
    expect(result.mechanics.torque).toMatchObject([{ channel: 'lid' }]);
  });

  test('batteries, LEDs and coils where the file gives them', async () => {
    const file = join(folder, 'parts.yaml');
    await writeFile(
      file,
      `sinew: 1
name: Parts
boards: { main: { driver: sim } }
rails: { five: { volts: 5, limitA: 2, battery: { capacityAh: 2, ratedH: 20 } } }
channels:
  eye: { kind: lamp, output: { board: main, pin: 17 }, through: n-mosfet, rail: five, draw: { fullA: 0.1 }, led: { forwardV: 2, spreadV: 0, currentA: 0.02 } }
  horn: { kind: relay, output: { board: main, pin: 22 }, coil: { volts: 5, ohm: 70 } }
`,
    );
    const { code, out } = await budget(file);
    expect(code).toBe(0);
    // 2 Ah / 0.1 A; (5 - 2) V / 20 mA; 5 V / 70 ohm and 2.6 V / (3 x 0.714 mA).
    expect(out).toContain('five: for ever at rest, 20 h if everything moves all the time');
    expect(out).toContain('eye: 150 ohm, 0.125 W');
    expect(out).toMatch(/horn: coil 71\.4 mA, base resistor 1200 ohm .* diode for 10 V and 71 mA/);
  });
});

test('--json has everything but the values over time', async () => {
  const { code, out } = await budget(fused, '--json');
  expect(code).toBe(1);
  const result = JSON.parse(out);
  expect(result).toMatchObject({
    file: fused,
    rails: [
      { name: 'servo6v', fuse: { ratingA: 20, verdict: 'does not protect the wire' } },
      { name: 'logic5v', fuse: { verdict: 'fits' } },
    ],
    findings: [{ severity: 'warning', path: 'rails.servo6v.fuse.ratingA' }],
  });
  expect(result.channels).toHaveLength(15);
  const wake = result.cues.find(({ cue }: { cue: string }) => cue === 'wake');
  expect(wake.rails[0]).toEqual({
    name: 'servo6v',
    limitA: 5,
    peakA: expect.any(Number),
    peakAtS: expect.any(Number),
    worstA: expect.any(Number),
    worstAtS: expect.any(Number),
    meanA: expect.any(Number),
  });
  expect(result.cautions.join(' ')).toContain('Local codes');
});

describe('--svg', () => {
  test('a lane for each rail of each cue, findings beside it', async () => {
    const { code, out, err } = await budget(fused, '--svg');
    expect(code).toBe(1);
    expect(err).toMatch(/a fuse of 20 A does not protect/);
    expect(out).toMatch(/^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg" .* role="img"/);
    expect(out.match(/class="load"/g)).toHaveLength(4 * 2);
    expect(out.match(/class="limit"/g)).toHaveLength(4 * 2);
    expect(out).toMatch(/<desc id="desc">wake: servo6v peak 2\.98 A of 5 A .*worst 2\.98 A/);
    for (const tag of ['svg', 'text', 'path', 'style'])
      expect(out.split(`<${tag}`).length).toBeGreaterThan(1);
  });

  test('of one cue, into a file', async () => {
    const to = join(folder, 'wake.svg');
    const { code, out } = await budget(owl, '--svg', '--cue', 'wake', '--out', to);
    expect({ code, out }).toEqual({ code: 0, out: `written to ${to}\n` });
    expect((await readFile(to, 'utf8')).match(/class="load"/g)).toHaveLength(2);
  });
});

describe('refused', () => {
  test('a broken file is checked instead', async () => {
    const broken = join(folder, 'broken.yaml');
    await writeFile(broken, OWL.replace('volts: 6.0', 'volts: 0'));
    const { code, out } = await budget(broken);
    expect(code).toBe(1);
    expect(out).toMatch(/rails\.servo6v\.volts: .*is not above 0; give volts/);
  });

  test('a cue that is not there', async () => {
    const { code, err } = await budget(owl, '--cue', 'wkae');
    expect(code).toBe(1);
    expect(err).toBe('sinew: there is no cue wkae; did you mean wake?\n');
  });

  test('two forms at once', async () => {
    const { code, err } = await budget(owl, '--svg', '--json');
    expect(code).toBe(2);
    expect(err).toMatch(/--json is a form by itself/);
  });
});
