/**
 * The npm package `pigpio`, built from its own sources and untouched, against a stand-in for the C
 * library that checks and writes down every call (tests/native/recorder.c). Ranges, error numbers and
 * what the library does with signals: abyz.me.uk/rpi/pigpio/cif.html (from memory).
 */
import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { Bench, calls, drives, type Line, PRELOAD } from '../../native/stand-in.ts';

const EXERCISE = fileURLToPath(new URL('../../native/exercise.ts', import.meta.url));
const [SERVO, ACTIVE_LOW_RELAY, RELAY, ANODE, LAMP] = [18, 23, 24, 5, 12] as const;
const OUTPUT_PINS = [SERVO, ACTIVE_LOW_RELAY, RELAY, ANODE, LAMP];

let bench: Bench;
let folder: string;
// A plain script: a loader for TypeScript may start processes of its own, and the library's handler
// would hear of their end.
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-pigpio-exercise-'));
  const outfile = join(folder, 'exercise.mjs');
  await build({ entryPoints: [EXERCISE], outfile, bundle: true, platform: 'node', format: 'esm' });
  // The first one builds the package.
  await (await Bench.make()).cleanUp();
}, 120_000);
afterAll(() => rm(folder, { recursive: true, force: true }));
beforeEach(async () => {
  bench = await Bench.make();
});
afterEach(() => bench.cleanUp());

interface Ran {
  lines: Line[];
  code: number | null;
  err: string;
}

/** Runs one scene of exercise.ts; `signal` is sent as soon as it says that it is ready. */
async function run(
  scene: string,
  { env = {}, signal }: { env?: Record<string, string>; signal?: NodeJS.Signals } = {},
): Promise<Ran> {
  const child = spawn(
    process.execPath,
    ['--require', PRELOAD, join(folder, 'exercise.mjs'), scene],
    { env: { ...process.env, ...bench.env, ...env }, stdio: ['ignore', 'pipe', 'pipe'] },
  );
  let err = '';
  child.stderr.on('data', (data) => {
    err += data;
  });
  child.stdout.on('data', () => signal && child.kill(signal));
  const code = await new Promise<number | null>((resolve) => child.once('close', resolve));
  return { lines: await bench.lines(), code, err };
}

/** The lines between two marks; without `from` those before the first. */
function between(lines: Line[], from: string | undefined, to: string): Line[] {
  const start = from === undefined ? 0 : lines.findIndex(({ mark }) => mark === from) + 1;
  return lines.slice(
    start,
    lines.findIndex(({ mark }) => mark === to),
  );
}

const violations = (lines: Line[]) => lines.filter((line) => line.violation !== undefined);
const SAFE = { [SERVO]: '0', [ACTIVE_LOW_RELAY]: '1', [RELAY]: '0', [ANODE]: '1', [LAMP]: '0' };

/** What every output pin does in the end. */
function atTheEnd(lines: Line[]): Record<number, string | undefined> {
  return Object.fromEntries(OUTPUT_PINS.map((pin) => [pin, drives(lines, pin).at(-1)]));
}

const OPENING = [
  'gpioHardwareRevision',
  'gpioCfgClock 5 1 0', // 5 us, timed by the PCM peripheral
  'gpioCfgInterfaces 11', // no pipe (1), no socket (2), no alerts (8)
  'gpioInitialise',
  'gpioWrite 18 0',
  'gpioSetMode 18 1',
  'gpioWrite 23 1',
  'gpioSetMode 23 1',
  'gpioWrite 24 0',
  'gpioSetMode 24 1',
  'gpioWrite 5 1',
  'gpioSetMode 5 1',
  'gpioSetPWMfrequency 5 200',
  'gpioSetPWMrange 5 1000',
  'gpioGetPWMrealRange 5',
  'gpioWrite 12 0',
  'gpioSetMode 12 1',
  'gpioSetPWMfrequency 12 200',
  'gpioSetPWMrange 12 1000',
  'gpioGetPWMrealRange 12',
  'gpioSetMode 4 0',
  'gpioSetPullUpDown 4 2',
  'gpioSetMode 17 0',
  'gpioSetPullUpDown 17 2',
  'gpioSetMode 27 0',
  'gpioSetPullUpDown 27 1',
];
const CLOSING = [
  // Relays first, then pulses, then lamps.
  ...['gpioWrite 23 1', 'gpioWrite 24 0', 'gpioServo 18 0', 'gpioWrite 5 1', 'gpioWrite 12 0'],
  // After the last pulse has run out: all of it as plain levels.
  ...['gpioWrite 23 1', 'gpioWrite 24 0', 'gpioWrite 18 0', 'gpioWrite 5 1', 'gpioWrite 12 0'],
  'gpioTerminate',
];

describe('from open to close', () => {
  test('every call comes in order and in range, and none after the end', async () => {
    const { lines, code, err } = await run('show');
    expect(err).toBe('');
    expect(code).toBe(0);
    expect(violations(lines)).toEqual([]);
    expect(calls(between(lines, undefined, 'opened'))).toEqual(OPENING);
    expect(calls(between(lines, 'opened', 'written'))).toEqual([
      'gpioServo 18 1500',
      'gpioServo 18 500',
      'gpioWrite 23 0',
      'gpioServo 18 2500',
      'gpioWrite 24 1',
      'gpioPWM 5 750',
      'gpioPWM 12 1',
      'gpioPWM 12 1000',
      'gpioPWM 5 0',
      'gpioPWM 12 500',
    ]);
    expect(calls(between(lines, 'written', 'closed'))).toEqual(CLOSING);
    // Then it refuses, and opens and closes once more.
    const later = lines.slice(lines.findIndex(({ mark }) => mark === 'closed') + 1);
    expect(later[0]).toEqual({ mark: 'pigpio: the board is not open' });
    expect(calls(later)).toEqual([...OPENING, ...CLOSING]);
  });

  test('the pins do what was asked and nothing between', async () => {
    const { lines } = await run('show');
    const first = between(lines, undefined, 'closed');
    expect(drives(first, SERVO)).toEqual(['0', 'servo 1500', 'servo 500', 'servo 2500', '0']);
    expect(drives(first, ACTIVE_LOW_RELAY)).toEqual(['1', '0', '1']);
    expect(drives(first, RELAY)).toEqual(['0', '1', '0']);
    expect(drives(first, ANODE)).toEqual(['1', 'pwm 750/1000', '0', '1']);
    expect(drives(first, LAMP)).toEqual(['0', 'pwm 1/1000', '1', 'pwm 500/1000', '0']);
    // Opened again, nothing changes: the safe levels were kept.
    expect(atTheEnd(lines)).toEqual(SAFE);
    for (const pin of OUTPUT_PINS) expect(drives(lines, pin)).toEqual(drives(first, pin));
  });

  test('the last pulse has a whole period of 20 ms to run out', async () => {
    const { lines } = await run('show');
    const closing = between(lines, 'written', 'closed').filter(({ call }) => call);
    const stopped = closing.find(({ call }) => call === 'gpioServo')!;
    const cut = closing.find(({ call, args }) => call === 'gpioWrite' && args![0] === SERVO)!;
    expect(cut.ns! - stopped.ns!).toBeGreaterThanOrEqual(20e6);
  });

  test('inputs have their pulls; a spike is not a change, a broken wire is one at the next read', async () => {
    const { lines, code } = await run('inputs');
    expect(code).toBe(0);
    expect(violations(lines)).toEqual([]);
    expect(lines.flatMap(({ mark }) => mark ?? [])).toEqual([
      'closed contact: 010',
      'broken wire: 110',
      'spike: 110',
      'door and mat: 101',
    ]);
    // At rest a tick costs one register's read an input.
    const rest = between(lines, 'spike: 110', 'door and mat: 101');
    expect(rest.filter(({ call, args }) => call === 'gpioRead' && args![0] === 4)).toHaveLength(1);
  });

  test('two boards share one library, which ends with the second', async () => {
    const { lines, code } = await run('two');
    expect(code).toBe(0);
    expect(violations(lines)).toEqual([]);
    const all = calls(lines);
    expect(all.filter((call) => call === 'gpioInitialise')).toHaveLength(1);
    expect(all.filter((call) => call === 'gpioTerminate')).toHaveLength(1);
    expect(all.at(-1)).toBe('gpioTerminate');
    expect(calls(between(lines, undefined, 'one closed'))).not.toContain('gpioTerminate');
    expect(atTheEnd(lines)).toEqual(SAFE);
  });
});

describe('when things go wrong', () => {
  test('a call that the library refuses names the output, and all outputs are safe at once', async () => {
    const { lines, code } = await run('fault');
    expect(code).toBe(0);
    expect(violations(lines).map(({ violation }) => violation)).toEqual([
      'pulse is not 0 or 500 to 2500',
    ]);
    const text = 'pigpio: beak at GPIO 18: pigpio error -7 in gpioServo';
    const before = between(lines, undefined, text);
    expect(calls(before).slice(-6)).toEqual([
      'gpioServo 18 400',
      ...['gpioWrite 23 1', 'gpioWrite 24 0', 'gpioWrite 18 0', 'gpioWrite 5 1', 'gpioWrite 12 0'],
    ]);
    expect(atTheEnd(before)).toEqual(SAFE);
    // A reset opens it again, without another start of the library.
    expect(drives(lines, SERVO).slice(-2)).toEqual(['servo 1600', '0']);
    expect(calls(lines).filter((call) => call === 'gpioInitialise')).toHaveLength(1);
  });

  test('SIGTERM reaches the listeners of the process, older ones too; harmless signals end nothing', async () => {
    const { lines, code } = await run('signal', { signal: 'SIGTERM' });
    expect(lines.filter(({ signal }) => signal !== undefined)).toEqual([]);
    expect(code).toBe(0);
    expect(violations(lines)).toEqual([]);
    const heard = lines.findIndex(({ mark }) => mark === 'SIGTERM heard');
    expect(calls(lines.slice(heard))).toEqual(CLOSING);
    expect(atTheEnd(lines)).toEqual(SAFE);
  });

  test.each([
    ['exit', 3],
    ['crash', 1],
  ])('an end without a close (%s) still leaves every output safe', async (scene, expected) => {
    const { lines, code } = await run(scene);
    expect(code).toBe(expected);
    expect(violations(lines)).toEqual([]);
    expect(calls(lines).slice(-6)).toEqual([
      ...['gpioWrite 23 1', 'gpioWrite 24 0', 'gpioWrite 18 0', 'gpioWrite 5 1', 'gpioWrite 12 0'],
      'gpioTerminate',
    ]);
    expect(atTheEnd(lines)).toEqual(SAFE);
  });

  test('a library that does not start is told with the remedy, and no pin is touched', async () => {
    const { lines, code, err } = await run('open', { env: { PIGPIO_IN_USE: '1' } });
    expect(code).toBe(1);
    expect(err).toContain('pigpio error -1 in gpioInitialise');
    expect(err).toContain('sudo systemctl disable --now pigpiod');
    expect(calls(lines).at(-1)).toBe('gpioInitialise');
  });

  // Revision codes from the maker's table (from memory): d04170 is a BCM2712, 0 is no such board.
  test.each([
    ['d04170', 'this board is newer than pigpio; use driver: linux here'],
    ['0', 'this machine is not a board that pigpio knows'],
  ])('a board with the revision code %s is refused before the start', async (revision, text) => {
    const { lines, code, err } = await run('open', { env: { PIGPIO_REVISION: revision } });
    expect(code).toBe(1);
    expect(err).toContain(text);
    expect(calls(lines)).toEqual(['gpioHardwareRevision']);
  });
});
