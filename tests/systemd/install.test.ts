import { type SpawnSyncReturns, spawnSync } from 'node:child_process';
import {
  appendFileSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  unlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gunzipSync } from 'node:zlib';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { readTokenFile } from '../../src/gateway/token.ts';
import { Bench } from '../native/stand-in.ts';
import { needTools } from '../tools.ts';

const clone = fileURLToPath(new URL('../..', import.meta.url));
const { version } = JSON.parse(readFileSync(join(clone, 'package.json'), 'utf8'));

let folder: string;
let root: string;
let release: string;
/** What the packer says that is in it. */
let contents: string;
/** What the first installation said. */
let said: string;

function run(program: string, args: string[], env = {}): SpawnSyncReturns<string> {
  return spawnSync(program, args, { encoding: 'utf8', env: { ...process.env, ...env } });
}
/** The installer in an image that is being built. */
const install = (...args: string[]) => run(join(release, 'install.sh'), args, { DESTDIR: root });
const caches = (dist: string) =>
  readdirSync(dist)
    .filter((name) => name.endsWith('.cache'))
    .toSorted();
const mode = (path: string) => (statSync(join(root, path)).mode & 0o777).toString(8);
const read = (path: string) => readFileSync(join(root, path), 'utf8');

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-install-'));
  root = join(folder, 'root');
  release = join(folder, `sinew-${version}`);
  const archive = join(folder, 'release.tgz');
  const packed = run('sh', [join(clone, 'systemd/package.sh'), archive]);
  expect(packed.stderr).toBe('');
  contents = packed.stdout;
  expect(run('tar', ['xzf', archive, '-C', folder]).status).toBe(0);
}, 300_000);
afterAll(() => rmSync(folder, { recursive: true }));

// Each goes on where the one before has ended.

it('a release holds what a board needs, and no tests or sources', () => {
  expect(readdirSync(release).toSorted()).toEqual([
    'CONTENTS',
    'README.md',
    'THIRD-PARTY.txt',
    'config',
    'dist',
    'install.sh',
    'node_modules',
    'package.json',
    'runtime',
    'systemd',
  ]);
  expect(existsSync(join(release, 'node_modules/typescript'))).toBe(false);
  // They are of the Node that packed it.
  expect(existsSync(join(clone, 'dist/daemon.cache'))).toBe(true);
  expect(caches(join(release, 'dist'))).toEqual([]);
  expect(existsSync(join(release, 'dist/metafile.json'))).toBe(false);
  // Of its node_modules and of its bundles (third-party.test.ts).
  expect(readFileSync(join(release, 'THIRD-PARTY.txt'), 'utf8')).toMatch(
    /^koffi \d[\s\S]*^zod \d/m,
  );
});

/** The machine that an ELF file is for: e_machine of the System V ABI's object format. */
function machine(path: string): number {
  const file = readFileSync(join(release, path));
  return (path.endsWith('.gz') ? gunzipSync(file) : file).readUInt16LE(18);
}
const [EM_ARM, EM_AARCH64] = [40, 183];

it('a release has Node and koffi for 64-bit and 32-bit ARM, and says so', () => {
  for (const [arch, elf] of [
    ['arm64', EM_AARCH64],
    ['arm', EM_ARM],
  ] as const) {
    expect(contents).toMatch(new RegExp(`^Node 20\\.\\d+\\.\\d+ for ${arch}$`, 'm'));
    expect(contents).toMatch(new RegExp(`^koffi, compiled for linux-${arch}$`, 'm'));
    expect(machine(`runtime/${arch}/node.gz`)).toBe(elf);
    const koffi = readdirSync(join(release, `node_modules/@koromix/koffi-linux-${arch}`), {
      recursive: true,
      encoding: 'utf8',
    }).find((name) => name.endsWith('.node'));
    expect(machine(`node_modules/@koromix/koffi-linux-${arch}/${koffi}`)).toBe(elf);
  }
  expect(readFileSync(join(release, 'CONTENTS'), 'utf8')).toBe(
    `${contents.split('\n').slice(0, -2).join('\n')}\n`,
  );
});

it('a release has the versions that are tested', () => {
  const { dependencies } = JSON.parse(
    readFileSync(join(clone, 'systemd/native/package.json'), 'utf8'),
  );
  const { packages } = JSON.parse(readFileSync(join(clone, 'package-lock.json'), 'utf8'));
  for (const [name, wanted] of Object.entries(dependencies))
    if (!name.startsWith('node-linux-'))
      expect(wanted, name).toBe(packages[`node_modules/${name}`].version);
});

it('a first installation puts everything in its place', { timeout: 180_000 }, () => {
  const { status, stderr, stdout } = install('--listen', '0.0.0.0:7420', '--realtime');
  expect(status, stderr).toBe(0);
  expect(stdout).toContain(`Sinew ${version} is installed`);
  expect(stderr).toBe('');
  said = stdout;

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
  expect(mode('opt/sinew/THIRD-PARTY.txt')).toBe('644');
  for (const [name, file] of [
    ['sinewd', 'daemon.js'],
    ['sinew', 'cli.js'],
    ['sinew-safe-levels', 'safe-levels.js'],
  ]) {
    expect(readlinkSync(join(root, 'usr/local/bin', name!))).toBe(`/opt/sinew/bin/${name}`);
    expect(read(`opt/sinew/bin/${name}`)).toBe(
      `#!/bin/sh\nexec /opt/sinew/bin/node /opt/sinew/dist/${file} "$@"\n`,
    );
  }
});

it('it says which drivers are ready, and what the others lack', () => {
  expect(said).toMatch(/^ {2}linux: ready$/m);
  expect(said).toMatch(/^ {2}pca9685: ready$/m);
  // No computer that runs this has the C library of pigpio.
  expect(said).toMatch(
    /^ {2}pigpio: NOT ready; if your prop uses it: sudo apt install g\+\+ pigpio /m,
  );
});

it.each([
  ['that is too old', 'echo 18', /^install\.sh: Node 18 is too old; .*version 20 or later/m],
  ['that is not there', undefined, /^install\.sh: Node is missing; .*version 20 or later/m],
])('where it has no Node of its own, with one %s it names the way', (_, script, says) => {
  const bin = mkdtempSync(join(folder, 'bin-'));
  for (const tool of ['sh', 'dirname', 'uname', 'getconf', 'cat', 'id'])
    symlinkSync(run('sh', ['-c', `command -v ${tool}`]).stdout.trim(), join(bin, tool));
  if (script) writeFileSync(join(bin, 'node'), `#!/bin/sh\n${script}\n`, { mode: 0o755 });
  // As on a processor that the release has no Node for.
  unlinkSync(join(bin, 'uname'));
  writeFileSync(join(bin, 'uname'), '#!/bin/sh\necho riscv64\n', { mode: 0o755 });
  const { status, stderr } = run('/bin/sh', [join(release, 'install.sh')], {
    DESTDIR: join(folder, 'none'),
    PATH: bin,
  });
  expect(status).toBe(1);
  expect(stderr).toMatch(says);
  expect(stderr).toMatch(/The release carries Node for 64-bit and 32-bit ARM .*this is riscv64/);
  expect(existsSync(join(folder, 'none'))).toBe(false);
});

it('it makes the code caches for the Node of this machine, and anybody may read them', () => {
  const dist = join(root, 'opt/sinew/dist');
  expect(caches(dist)).toEqual(['cli.cache', 'daemon.cache', 'service.cache', 'worker.cache']);
  for (const name of caches(dist)) expect(mode(`opt/sinew/dist/${name}`)).toBe('644');
});

it('where a code cache cannot be made it says so in one line, and installs all the same', () => {
  const made = join(release, 'dist/make-cache.mjs');
  renameSync(made, `${made}.away`);
  writeFileSync(made, 'process.exit(1);\n');
  const { status, stderr, stdout } = install();
  renameSync(`${made}.away`, made);
  expect(status, stderr).toBe(0);
  expect(stderr).toBe(
    'install.sh: the code caches could not be made; Sinew starts slower, and is else the same\n',
  );
  expect(stdout).toContain(`Sinew ${version} is installed`);
  expect(caches(join(root, 'opt/sinew/dist'))).toEqual([]);
});

it("pigpio's add-on is compiled by the installer where it can be, or it says why not", async () => {
  const bin = mkdtempSync(join(folder, 'bin-'));
  writeFileSync(join(bin, 'g++'), '#!/bin/sh\necho no luck >&2\nexit 1\n', { mode: 0o755 });
  const without = run(join(release, 'install.sh'), [], {
    DESTDIR: root,
    PATH: `${bin}:${process.env.PATH}`,
  });
  expect(without.status, without.stderr).toBe(0);
  expect(without.stdout).toMatch(
    /^ {2}pigpio: NOT ready; if your prop uses it: .*; compiling it failed, see \S+pigpio\.log/m,
  );
  expect(read('opt/sinew/pigpio.log')).toBe('no luck\n');
  // As where the C library is: ours stands in for it.
  const bench = await Bench.make();
  const library = bench.env.LD_LIBRARY_PATH!;
  const withIt = run(join(release, 'install.sh'), [], {
    DESTDIR: root,
    CPATH: join(clone, 'tests/native'),
    LIBRARY_PATH: library,
    LD_LIBRARY_PATH: library,
  });
  await bench.cleanUp();
  expect(withIt.stdout, read('opt/sinew/pigpio.log')).toMatch(/^ {2}pigpio: ready$/m);
}, 300_000);

it('what the unit names is there, and runs', () => {
  const unit = read('etc/systemd/system/sinewd.service');
  const files = [...unit.matchAll(/^Exec\w+=\/opt\/sinew\/bin\/node (?:--\S+ )*(\S+)/gm)].map(
    ([, file]) => file!,
  );
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
  const { status, stderr } = install('--listen', '127.0.0.1:1', '--realtime');
  expect(status, stderr).toBe(0);
  expect(stderr).toMatch(/--listen is not applied/);
  for (const [path, text] of Object.entries(kept)) expect(read(path), path).toBe(text);
  expect(existsSync(join(root, 'opt/sinew/dist/old.js'))).toBe(false);
  expect(readdirSync(join(root, 'opt'))).toEqual(['sinew']);
  expect(read('etc/systemd/system/sinewd.service')).toContain('# newer');
});

it.each(['var/lib/sinew/prop.yaml', 'etc/sinew/token'])(
  'a symbolic link at %s is refused, and nothing is written through it',
  (place) => {
    const at = join(root, place);
    const kept = read(place);
    const elsewhere = join(folder, 'elsewhere');
    rmSync(at);
    symlinkSync(elsewhere, at);
    const { status, stderr } = install();
    expect(status).toBe(1);
    expect(stderr).toContain(`${place} is a symbolic link`);
    expect(existsSync(elsewhere)).toBe(false);
    rmSync(at);
    writeFileSync(at, kept, { mode: place.endsWith('token') ? 0o600 : 0o640 });
  },
);

it('an uninstallation leaves configuration, prop and state, and nothing else', () => {
  const { status, stderr } = install('--uninstall');
  expect(status, stderr).toBe(0);
  const left = readdirSync(root, { recursive: true, withFileTypes: true })
    .filter((entry) => !entry.isDirectory())
    .map((entry) => join(entry.parentPath, entry.name).slice(root.length + 1));
  expect(left.toSorted()).toEqual([
    'etc/sinew/sinewd.env',
    'etc/sinew/token',
    'var/lib/sinew/owl.svg',
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
    ['install.sh', 'package.sh', 'addon.sh'].map((name) => join(clone, 'systemd', name)),
  );
  expect(stdout).toBe('');
  expect(status).toBe(0);
});
