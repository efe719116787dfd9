import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { needTools } from '../tools.ts';

/** A small Debian with a real Debian kernel, made for qemu to boot. */
export interface Image {
  kernel: string;
  initrd: string;
  /** An ext4 file system; to be copied, as a machine writes to it. */
  disk: string;
}

const here = fileURLToPath(new URL('.', import.meta.url));

/** What every machine has beside what every Debian has. */
const GUEST_PACKAGES = [
  ...['base-passwd', 'passwd', 'systemd-sysv', 'udev', 'dbus', 'kmod', 'procps'],
  ...['i2c-tools', 'gpiod', 'libstdc++6'],
];
/** Units that a machine of a few minutes has no use for. */
const IDLE_UNITS = [
  ...['apt-daily.timer', 'apt-daily-upgrade.timer', 'dpkg-db-backup.timer', 'fstrim.timer'],
  ...['e2scrub_all.timer', 'systemd-networkd.service', 'systemd-timesyncd.service'],
];

/** What a program prints. @throws Error when it fails, with what it says */
export const run = (program: string, args: string[], cwd?: string) =>
  execFileSync(program, args, {
    encoding: 'utf8',
    maxBuffer: 1 << 26,
    stdio: ['ignore', 'pipe', 'pipe'],
    ...(cwd && { cwd }),
  });

/**
 * Sees to it that this can be a maker of machines.
 * @param commands names of tools, and what to call them by
 * @throws Error when it is not root, or a tool cannot be had
 */
export function needs(packages: readonly string[], commands: Record<string, string>): void {
  if (process.platform !== 'linux' || process.getuid?.() !== 0)
    throw new Error('a Debian for the emulated machine is made as root, on a Debian: use sudo');
  needTools('the emulated machine', ['--no-install-recommends', ...packages], () =>
    Object.entries(commands).flatMap(([name, command]) => (found(command) ? [] : [name])),
  );
}

export function found(command: string): boolean {
  try {
    run('sh', ['-c', `command -v ${command}`]);
    return true;
  } catch {
    return false;
  }
}

/**
 * The folder with `files`, as an earlier run made it from the same things, or made now.
 * @param from what it depends on: text, and the content of files of the tests
 */
export function kept(
  name: string,
  from: { text: string[]; files: string[] },
  files: readonly string[],
  make: (work: string) => void,
): string {
  const hash = createHash('sha256');
  for (const text of from.text) hash.update(`${text}\0`);
  const own = ['debian.ts', 'guest/answer', 'guest/answer.service', 'guest/init'];
  for (const file of [...own.map((one) => join(here, one)), ...from.files])
    hash.update(readFileSync(file));
  const folder = join(tmpdir(), `sinew-${name}-${hash.digest('hex').slice(0, 16)}`);
  if (existsSync(folder)) return folder;
  const work = mkdtempSync(join(tmpdir(), `sinew-${name}-`));
  try {
    make(work);
    mkdirSync(join(work, 'done'));
    for (const file of files) renameSync(join(work, file), join(work, 'done', file));
    // Another run may have been quicker.
    if (!existsSync(folder)) renameSync(join(work, 'done'), folder);
  } finally {
    rmSync(work, { recursive: true });
  }
  return folder;
}

/** Debian's packages of one architecture, by lists of their own if it is not this machine's. */
export class Archive {
  readonly arch: string;
  readonly #options: string[];

  constructor(arch: string) {
    this.arch = arch;
    if (run('dpkg', ['--print-architecture']).trim() === arch) {
      this.#options = ['-o', 'APT::Sandbox::User=root'];
      return;
    }
    const folder = join(tmpdir(), `sinew-apt-${arch}`);
    for (const part of ['lists/partial', 'cache/archives/partial'])
      mkdirSync(join(folder, part), { recursive: true });
    writeFileSync(join(folder, 'status'), '');
    const settings = {
      'APT::Architecture': arch,
      'APT::Architectures': arch,
      'Dir::State::lists': join(folder, 'lists'),
      'Dir::State::status': join(folder, 'status'),
      'Dir::Cache': join(folder, 'cache'),
      'APT::Sandbox::User': 'root',
    };
    this.#options = Object.entries(settings).flatMap(([name, value]) => ['-o', `${name}=${value}`]);
  }

  /** Whether the archive has a package of this name. */
  has(name: string): boolean {
    return /^ {2}Candidate: (?!\(none\))/m.test(
      run('apt-cache', [...this.#options, 'policy', name]),
    );
  }

  /** The kernel that linux-image-ARCH stands for now, such as 6.1.0-50-amd64. */
  kernelRelease(): string {
    const name = `linux-image-${this.arch}`;
    const release = () => {
      try {
        const said = run('apt-cache', [...this.#options, '--no-all-versions', 'show', name]);
        return /^Depends:.*?linux-image-(\S+)/m.exec(said)?.[1];
      } catch {
        return undefined;
      }
    };
    let known = release();
    if (!known) {
      run('apt-get', [...this.#options, 'update']);
      known = release();
    }
    if (!known) throw new Error(`apt knows no ${name}; a Debian is needed`);
    return known;
  }

  /** Unpacks packages into `folder`; nothing is installed. */
  download(folder: string, names: string[]): void {
    mkdirSync(folder, { recursive: true });
    run('apt-get', ['download', ...this.#options, ...names], folder);
    for (const file of run('sh', ['-c', 'ls *.deb'], folder).trim().split('\n')) {
      run('dpkg-deb', ['--extract', file, '.'], folder);
      rmSync(join(folder, file));
    }
  }

  /** Installs the system of a machine into `root`. */
  bootstrap(root: string): void {
    const { VERSION_CODENAME: suite } = Object.fromEntries(
      readFileSync('/etc/os-release', 'utf8')
        .split('\n')
        .map((line) => line.split('=')),
    );
    run('mmdebstrap', [
      ...[`--architectures=${this.arch}`, '--variant=essential'],
      '--aptopt=Acquire::Languages "none"',
      '--dpkgopt=force-unsafe-io',
      ...['doc', 'man', 'locale'].map((name) => `--dpkgopt=path-exclude=/usr/share/${name}/*`),
      ...[`--include=${GUEST_PACKAGES.join(',')}`, suite!, root],
    ]);
  }
}

/**
 * Sets a system up to be a machine that runs what comes in at `port`.
 * @param files path and text, beside those that every machine has
 */
export function furnish(root: string, port: string, files: Record<string, string>): void {
  const service = readFileSync(join(here, 'guest/answer.service'), 'utf8')
    .replaceAll('PORT_UNIT', run('systemd-escape', ['--path', '--suffix=device', port]).trim())
    .replaceAll('PORT', port);
  const all = {
    'etc/hostname': 'board\n',
    'etc/hosts': '127.0.0.1 localhost board\n',
    'etc/systemd/system/answer.service': service,
    ...files,
  };
  for (const [path, text] of Object.entries(all)) {
    mkdirSync(dirname(join(root, path)), { recursive: true });
    writeFileSync(join(root, path), text);
  }
  cpSync(join(here, 'guest/answer'), join(root, 'usr/local/sbin/answer'));
  // By links alone, so that no program of another processor has to run.
  const units = join(root, 'etc/systemd/system');
  run('systemctl', ['--root', root, 'enable', 'answer.service']);
  for (const unit of IDLE_UNITS) run('ln', ['-sf', '/dev/null', join(units, unit)]);
}

/**
 * Copies modules of an unpacked kernel, and what they need, into the root.
 * @returns the files of those that are needed for the disk, in order
 */
export function installModules(
  root: string,
  packages: string,
  release: string,
  { all, early }: { all: readonly string[]; early: readonly string[] },
): string[] {
  const from = join(packages, 'lib/modules', release);
  const there = join(root, 'lib/modules', release);
  run('/sbin/depmod', ['--basedir', packages, release]);
  const needed = (modules: readonly string[]) => {
    const lines = modules.flatMap((module) =>
      run('/sbin/modprobe', [
        ...['--dirname', packages, '--set-version', release, '--show-depends', module],
      ]).split('\n'),
    );
    return [...new Set(lines.flatMap((line) => /^insmod (\S+)/.exec(line)?.[1] ?? []))];
  };
  for (const module of needed([...early, ...all])) {
    const target = join(there, module.slice(from.length));
    mkdirSync(dirname(target), { recursive: true });
    cpSync(module, target);
  }
  for (const list of ['modules.builtin', 'modules.builtin.modinfo', 'modules.order'])
    cpSync(join(from, list), join(there, list));
  run('/sbin/depmod', ['--basedir', root, release]);
  return needed(early);
}

/** Makes `work`/initrd.gz, which loads modules and goes on from the disk. */
export function makeInitrd(
  work: string,
  { busybox, modules, disk }: { busybox: string; modules: string[]; disk: string },
): void {
  const first = join(work, 'first');
  for (const folder of ['bin', 'lib', 'dev', 'disk'])
    mkdirSync(join(first, folder), { recursive: true });
  cpSync(busybox, join(first, 'bin/busybox'));
  for (const module of modules) cpSync(module, join(first, 'lib', basename(module)));
  const names = modules.map((module) => basename(module));
  const init = readFileSync(join(here, 'guest/init'), 'utf8')
    .replace('in MODULES;', `in ${names.join(' ')};`)
    .replace('ext4 DISK', `ext4 ${disk}`);
  writeFileSync(join(first, 'init'), init);
  chmodSync(join(first, 'init'), 0o755);
  const pack = 'find . | busybox cpio -o -H newc | gzip -1 >../initrd.gz';
  run('sh', ['-c', pack], first);
}
