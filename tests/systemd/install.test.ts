import { type SpawnSyncReturns, spawnSync } from 'node:child_process';
import {
  appendFileSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { readTokenFile } from '../../src/gateway/token.ts';
import { needTools } from '../tools.ts';

const clone = fileURLToPath(new URL('../..', import.meta.url));
const { version } = JSON.parse(readFileSync(join(clone, 'package.json'), 'utf8'));

let folder: string;
let root: string;
let release: string;

function run(program: string, args: string[], env = {}): SpawnSyncReturns<string> {
  return spawnSync(program, args, { encoding: 'utf8', env: { ...process.env, ...env } });
}
/** The installer in an image that is being built. */
const install = (...args: string[]) => run(join(release, 'install.sh'), args, { DESTDIR: root });
const mode = (path: string) => (statSync(join(root, path)).mode & 0o777).toString(8);
const read = (path: string) => readFileSync(join(root, path), 'utf8');

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-install-'));
  root = join(folder, 'root');
  release = join(folder, `sinew-${version}`);
  const archive = join(folder, 'release.tgz');
  const packed = run('sh', [join(clone, 'systemd/package.sh'), archive]);
  expect(packed.stderr).toBe('');
  expect(run('tar', ['xzf', archive, '-C', folder]).status).toBe(0);
});
afterAll(() => rmSync(folder, { recursive: true }));

// Each goes on where the one before has ended.

it('a release holds what a board needs, and no tests or sources', () => {
  expect(readdirSync(release).toSorted()).toEqual([
    'README.md',
    'config',
    'dist',
    'install.sh',
    'package-lock.json',
    'package.json',
    'systemd',
  ]);
});

it('a first installation puts everything in its place', { timeout: 180_000 }, () => {
  const { status, stderr, stdout } = install('--listen', '0.0.0.0:7420', '--realtime');
  expect(status, stderr).toBe(0);
  expect(stdout).toContain(`Sinew ${version} is installed`);

  expect(mode('etc/sinew/token')).toBe('600');
  expect(readTokenFile(join(root, 'etc/sinew/token'))).toMatch(/^[0-9a-f]{64}$/);
  expect(read('etc/sinew/sinewd.env')).toMatch(
    /^SINEWD_ARGS=--listen 0\.0\.0\.0:7420 --token-file \/etc\/sinew\/token$/m,
  );
  expect(mode('var/lib/sinew')).toBe('750');
  expect(mode('var/lib/sinew/prop.yaml')).toBe('640');
  expect(mode('etc/systemd/system/sinewd.service')).toBe('644');
  expect(readdirSync(join(root, 'etc/systemd/system/sinewd.service.d'))).toContain('realtime.conf');
  expect(readdirSync(join(root, 'etc/systemd/system/sinewd.service.d'))).not.toContain(
    'pigpio.conf',
  );
  expect(mode('etc/udev/rules.d/60-sinew.rules')).toBe('644');
  expect(mode('opt/sinew/dist/safe-levels.js')).toBe('755');
  for (const [name, file] of [
    ['sinewd', 'daemon.js'],
    ['sinew', 'cli.js'],
    ['sinew-safe-levels', 'safe-levels.js'],
  ])
    expect(readlinkSync(join(root, 'usr/local/bin', name!))).toBe(`/opt/sinew/dist/${file}`);
});

it('what the unit names is there, and runs', () => {
  const unit = read('etc/systemd/system/sinewd.service');
  const files = [...unit.matchAll(/^Exec\w+=node (\S+)/gm)].map(([, file]) => file!);
  expect(files).toHaveLength(2);
  for (const file of files) {
    const { status, stderr } = run(process.execPath, [join(root, file), '--help']);
    expect(status, stderr).toBe(0);
  }
  const cli = join(root, 'opt/sinew/dist/cli.js');
  const checked = run(cli, ['check', join(root, 'var/lib/sinew/prop.yaml')]);
  expect(checked.status, checked.stdout + checked.stderr).toBe(0);
  expect(existsSync(join(root, 'opt/sinew/node_modules/typescript'))).toBe(false);
});

it('an upgrade keeps configuration, prop, state and edited options', { timeout: 180_000 }, () => {
  const kept = {
    'etc/sinew/token': read('etc/sinew/token'),
    'etc/sinew/sinewd.env': 'SINEWD_ARGS=--log debug\n',
    'var/lib/sinew/prop.yaml': 'mine\n',
    'var/lib/sinew/state.json': '{}',
    'etc/systemd/system/sinewd.service.d/realtime.conf': '[Service]\nCPUAffinity=1\n',
  };
  for (const [path, text] of Object.entries(kept)) writeFileSync(join(root, path), text);
  writeFileSync(join(root, 'opt/sinew/dist/old.js'), '');
  appendFileSync(join(release, 'systemd/sinewd.service'), '# newer\n');
  // The add-ons were compiled in the first installation; once is enough.
  process.env.npm_config_ignore_scripts = 'true';
  const { status, stderr } = install('--listen', '127.0.0.1:1', '--realtime');
  delete process.env.npm_config_ignore_scripts;
  expect(status, stderr).toBe(0);
  expect(stderr).toMatch(/--listen is not applied/);
  for (const [path, text] of Object.entries(kept)) expect(read(path), path).toBe(text);
  expect(existsSync(join(root, 'opt/sinew/dist/old.js'))).toBe(false);
  expect(readdirSync(join(root, 'opt'))).toEqual(['sinew']);
  expect(read('etc/systemd/system/sinewd.service')).toContain('# newer');
});

it('an uninstallation leaves configuration, prop and state, and nothing else', () => {
  const { status, stderr } = install('--uninstall');
  expect(status, stderr).toBe(0);
  const left = readdirSync(root, { recursive: true, withFileTypes: true })
    .filter((entry) => !entry.isDirectory())
    .map((entry) => join(entry.parentPath, entry.name).slice(root.length + 1));
  expect(left.toSorted()).toEqual([
    'etc/sinew/sinewd.env',
    'etc/sinew/token',
    'var/lib/sinew/prop.schema.json',
    'var/lib/sinew/prop.yaml',
    'var/lib/sinew/state.json',
  ]);
  expect(install('--uninstall', '--purge').status).toBe(0);
  expect(existsSync(join(root, 'etc/sinew'))).toBe(false);
  expect(existsSync(join(root, 'var/lib/sinew'))).toBe(false);
});

it('wrong usage changes nothing', () => {
  for (const args of [['--fast'], ['--listen'], ['--purge']])
    expect(install(...args).status, args.join(' ')).toBe(2);
  expect(existsSync(join(root, 'opt/sinew'))).toBe(false);
});

it('the scripts have no findings of shellcheck', () => {
  needTools('the check of the scripts', ['shellcheck'], () =>
    run('shellcheck', ['--version']).error ? ['shellcheck'] : [],
  );
  const { status, stdout } = run(
    'shellcheck',
    ['install.sh', 'package.sh'].map((name) => join(clone, 'systemd', name)),
  );
  expect(stdout).toBe('');
  expect(status).toBe(0);
});
