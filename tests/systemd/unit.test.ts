import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { needTools } from '../tools.ts';

const root = fileURLToPath(new URL('../..', import.meta.url));
const analyze = (...args: string[]) => spawnSync('systemd-analyze', args, { encoding: 'utf8' });
// A unit means nothing where there is no systemd to be had: on another system than Linux.
const elsewhere = process.platform !== 'linux';
if (elsewhere) console.warn('this is not Linux: the systemd unit is not checked here');

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-unit-'));
});
afterEach(() => rmSync(folder, { recursive: true }));

/** The unit with some of its options, its program where this clone has it. */
function unit(...options: string[]): string {
  const file = join(folder, 'sinewd.service');
  const text = readFileSync(join(root, 'systemd/sinewd.service'), 'utf8');
  writeFileSync(
    file,
    text.replaceAll('/opt/sinew/bin/node', process.execPath).replaceAll('/opt/sinew/', root),
  );
  mkdirSync(`${file}.d`);
  for (const option of options)
    cpSync(
      join(root, `systemd/sinewd.service.d/${option}.conf`),
      join(`${file}.d`, `${option}.conf`),
    );
  return file;
}

describe.skipIf(elsewhere)('the unit, by the judgement of systemd-analyze', () => {
  beforeAll(() =>
    needTools('the check of the unit', ['systemd'], () =>
      analyze('--version').error ? ['systemd-analyze'] : [],
    ),
  );

  it.each([[[]], [['pigpio']], [['realtime']], [['pigpio', 'realtime']]])(
    'with the options %j has no mistakes',
    (options) => {
      const { status, stderr } = analyze('verify', unit(...options));
      expect(stderr).toBe('');
      expect(status).toBe(0);
    },
  );

  it('has no mistakes with the longer and longer pauses, which systemd knows from 254 on', () => {
    const version = Number(/systemd (\d+)/.exec(analyze('--version').stdout)![1]);
    const { status, stderr } = analyze('verify', unit('backoff'));
    expect(status).toBe(0);
    const unknown = stderr.split('\n').filter((line) => line.includes('Unknown key'));
    expect(unknown).toHaveLength(version >= 254 ? 0 : 2);
    for (const line of unknown) expect(line).toMatch(/RestartSteps|RestartMaxDelaySec/);
  });

  it('the early one, which writes safe levels at boot, has no mistakes and is exposed little', () => {
    const file = join(folder, 'sinew-safe-levels.service');
    const text = readFileSync(join(root, 'systemd/sinew-safe-levels.service'), 'utf8');
    const here = text.replaceAll('/opt/sinew/dist', `${root}dist`);
    writeFileSync(file, here.replaceAll('/opt/sinew/bin/node', process.execPath));
    unit();
    const { status, stderr } = analyze('verify', file);
    expect(stderr).toBe('');
    expect(status).toBe(0);
    const judged = analyze('security', '--offline=true', '--threshold=40', file);
    expect(judged.status, judged.stdout.split('\n').at(-2)).toBe(0);
    for (const line of [
      'DefaultDependencies=no',
      'Before=network-pre.target sinewd.service',
      'RemainAfterExit=yes',
    ])
      expect(text.split('\n')).toContain(line);
  });

  it.each([
    // --threshold takes the exposure times ten.
    [[], 30],
    [['realtime'], 30],
    // It must be root and reach /dev/mem.
    [['pigpio'], 35],
  ])('with the options %j is exposed no more than %i tenths', (options, threshold) => {
    const { status, stdout } = analyze(
      ...['security', '--offline=true', `--threshold=${threshold}`, unit(...options)],
    );
    expect(status, stdout.split('\n').at(-2)).toBe(0);
  });
});
