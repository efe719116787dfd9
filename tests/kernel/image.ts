import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  realpathSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { needTools } from '../tools.ts';

/** A small Debian with this machine's Node and a real Debian kernel, for qemu to boot. */
export interface Image {
  kernel: string;
  initrd: string;
  /** An ext4 file system; to be copied, as a machine writes to it. */
  disk: string;
}

const clone = fileURLToPath(new URL('../..', import.meta.url));
const here = fileURLToPath(new URL('.', import.meta.url));

const PACKAGES = [
  ...['--no-install-recommends', 'qemu-system-x86', 'mmdebstrap', 'busybox-static', 'e2fsprogs'],
  ...['kmod', 'gcc', 'make'],
];
const COMMANDS = {
  'qemu-system-x86_64': 'qemu-system-x86_64',
  mmdebstrap: 'mmdebstrap',
  busybox: 'busybox',
  mke2fs: '/sbin/mke2fs',
  depmod: '/sbin/depmod',
  gcc: 'gcc',
  make: 'make',
};
/** What the machine has beside what every Debian has. */
const GUEST_PACKAGES = [
  ...['base-passwd', 'passwd', 'systemd-sysv', 'udev', 'dbus', 'kmod', 'procps'],
  ...['i2c-tools', 'gpiod', 'libstdc++6'],
];
/** Without these the disk cannot be read. */
const EARLY_MODULES = ['virtio_pci', 'virtio_blk', 'crc32c_generic', 'ext4'];
const MODULES = [
  ...EARLY_MODULES,
  'virtio_console',
  'i2c-dev',
  'i2c-stub',
  'header_board',
  'autofs4',
];
/** Units that a machine of a few minutes has no use for. */
const IDLE_UNITS = [
  ...['apt-daily.timer', 'apt-daily-upgrade.timer', 'dpkg-db-backup.timer', 'fstrim.timer'],
  ...['e2scrub_all.timer', 'systemd-networkd.service', 'systemd-timesyncd.service'],
];
const FILES: Record<string, string> = {
  'etc/hostname': 'board\n',
  'etc/hosts': '127.0.0.1 localhost board\n',
  'etc/fstab': '/dev/vda / ext4 rw 0 1\n',
  'etc/modules-load.d/board.conf': 'virtio_console\ni2c-dev\ni2c-stub\nheader_board\n',
  // Two PCA9685 as far as SMBus is concerned, and the stop button's closed contact at line 4.
  'etc/modprobe.d/board.conf':
    'options i2c-stub chip_addr=0x40,0x41\noptions header_board grounded=0x10\n',
  // No network, and no compiler: the packages are there, the one add-on is compiled outside.
  'usr/lib/node_modules/npm/npmrc':
    'offline=true\ncache=/var/cache/npm\nignore-scripts=true\nupdate-notifier=false\n',
};

const run = (program: string, args: string[], cwd?: string) =>
  execFileSync(program, args, {
    encoding: 'utf8',
    maxBuffer: 1 << 26,
    stdio: ['ignore', 'pipe', 'pipe'],
    ...(cwd && { cwd }),
  });

/** The image, as it was made before or made now. @throws Error when it cannot be made here */
export function image(): Image {
  if (process.platform !== 'linux' || process.getuid?.() !== 0)
    throw new Error('a Debian for the emulated machine is made as root: sudo npm run test:kernel');
  needTools('the emulated machine', PACKAGES, () =>
    Object.entries(COMMANDS).flatMap(([name, command]) => (found(command) ? [] : [name])),
  );
  const release = kernelRelease();
  const hash = createHash('sha256').update(release + process.version);
  for (const file of [
    'image.ts',
    'header_board.c',
    'guest/answer',
    'guest/answer.service',
    'guest/init',
  ])
    hash.update(readFileSync(join(here, file)));
  hash.update(readFileSync(join(clone, 'package-lock.json')));
  const folder = join(tmpdir(), `sinew-machine-${hash.digest('hex').slice(0, 16)}`);
  if (!existsSync(folder)) {
    const work = mkdtempSync(join(tmpdir(), 'sinew-machine-'));
    try {
      make(work, release);
      mkdirSync(join(work, 'done'));
      for (const file of ['vmlinuz', 'initrd.gz', 'disk.ext4'])
        renameSync(join(work, file), join(work, 'done', file));
      // Another run may have been quicker.
      if (!existsSync(folder)) renameSync(join(work, 'done'), folder);
    } finally {
      rmSync(work, { recursive: true });
    }
  }
  const at = (file: string) => join(folder, file);
  return { kernel: at('vmlinuz'), initrd: at('initrd.gz'), disk: at('disk.ext4') };
}

function found(command: string): boolean {
  try {
    run('sh', ['-c', `command -v ${command}`]);
    return true;
  } catch {
    return false;
  }
}

/** The kernel that linux-image-amd64 stands for now, such as 6.1.0-50-amd64. */
function kernelRelease(): string {
  const depends = () => {
    try {
      return run('apt-cache', ['--no-all-versions', 'show', 'linux-image-amd64']);
    } catch {
      return '';
    }
  };
  const release = (text: string) => /^Depends:.*?linux-image-(\S+)/m.exec(text)?.[1];
  let known = release(depends());
  if (!known) {
    run('apt-get', ['update']);
    known = release(depends());
  }
  if (!known) throw new Error('apt knows no linux-image-amd64; a Debian for PCs is needed');
  return known;
}

function make(work: string, release: string): void {
  const root = join(work, 'root');
  const { VERSION_CODENAME: suite } = Object.fromEntries(
    readFileSync('/etc/os-release', 'utf8')
      .split('\n')
      .map((line) => line.split('=')),
  );
  run('mmdebstrap', [
    '--variant=essential',
    '--aptopt=Acquire::Languages "none"',
    '--dpkgopt=force-unsafe-io',
    ...['doc', 'man', 'locale'].map((name) => `--dpkgopt=path-exclude=/usr/share/${name}/*`),
    `--include=${GUEST_PACKAGES.join(',')}`,
    suite!,
    root,
  ]);
  const packages = join(work, 'packages');
  download(packages, [
    `linux-image-${release}`,
    `linux-headers-${release}`,
    `linux-headers-${release.replace(/-[^-]+$/, '')}-common`,
    `linux-kbuild-${/^\d+\.\d+/.exec(release)![0]}`,
  ]);
  cpSync(join(packages, `boot/vmlinuz-${release}`), join(work, 'vmlinuz'));
  const early = installModules(root, packages, release, headerBoard(work, packages, release));
  makeInitrd(work, early);
  installNode(root);
  for (const [path, text] of Object.entries(FILES)) writeFileSync(join(root, path), text);
  cpSync(join(here, 'guest/answer'), join(root, 'usr/local/sbin/answer'));
  cpSync(join(here, 'guest/answer.service'), join(root, 'etc/systemd/system/answer.service'));
  run('chroot', [root, 'systemctl', 'enable', 'answer.service']);
  run('chroot', [root, 'systemctl', 'mask', ...IDLE_UNITS]);
  run('/sbin/mke2fs', ['-q', '-t', 'ext4', '-d', root, join(work, 'disk.ext4'), '1G']);
}

/** Unpacks packages into `folder`; nothing is installed. */
function download(folder: string, names: string[]): void {
  mkdirSync(folder);
  run('apt-get', ['download', '-o', 'APT::Sandbox::User=root', ...names], folder);
  for (const file of run('sh', ['-c', 'ls *.deb'], folder).trim().split('\n'))
    run('dpkg-deb', ['--extract', file, '.'], folder);
}

/** Compiles the GPIO and PWM chips for this kernel; Debian's has none for tests. */
function headerBoard(work: string, packages: string, release: string): string {
  const build = join(work, 'module');
  mkdirSync(build);
  cpSync(join(here, 'header_board.c'), join(build, 'header_board.c'));
  writeFileSync(join(build, 'Makefile'), 'obj-m := header_board.o\n');
  const source = join(packages, 'usr/src');
  const headers = join(source, `linux-headers-${release}`);
  // It names the place where the package would have been installed.
  const makefile = join(headers, 'Makefile');
  writeFileSync(makefile, readFileSync(makefile, 'utf8').replaceAll('/usr/src', source));
  run('make', ['-C', headers, `M=${build}`, 'modules']);
  run('strip', ['--strip-debug', join(build, 'header_board.ko')]);
  return join(build, 'header_board.ko');
}

/** Copies the modules that are needed into the root; returns those for the disk, in order. */
function installModules(root: string, packages: string, release: string, own: string): string[] {
  const all = join(packages, 'lib/modules', release);
  const there = join(root, 'lib/modules', release);
  mkdirSync(join(all, 'extra'), { recursive: true });
  cpSync(own, join(all, 'extra', basename(own)));
  run('/sbin/depmod', ['--basedir', packages, release]);
  const needed = (modules: string[]) => {
    const lines = modules.flatMap((module) =>
      run('/sbin/modprobe', [
        ...['--dirname', packages, '--set-version', release, '--show-depends', module],
      ]).split('\n'),
    );
    return [...new Set(lines.flatMap((line) => /^insmod (\S+)/.exec(line)?.[1] ?? []))];
  };
  for (const module of needed(MODULES)) {
    const target = join(there, module.slice(all.length));
    mkdirSync(dirname(target), { recursive: true });
    cpSync(module, target);
  }
  for (const list of ['modules.builtin', 'modules.builtin.modinfo', 'modules.order'])
    cpSync(join(all, list), join(there, list));
  run('/sbin/depmod', ['--basedir', root, release]);
  return needed(EARLY_MODULES);
}

function makeInitrd(work: string, modules: string[]): void {
  const first = join(work, 'first');
  for (const folder of ['bin', 'lib', 'dev', 'disk'])
    mkdirSync(join(first, folder), { recursive: true });
  cpSync(realpathSync(run('sh', ['-c', 'command -v busybox']).trim()), join(first, 'bin/busybox'));
  for (const module of modules) cpSync(module, join(first, 'lib', basename(module)));
  const init = readFileSync(join(here, 'guest/init'), 'utf8');
  const names = modules.map((module) => basename(module));
  writeFileSync(join(first, 'init'), init.replace('in MODULES;', `in ${names.join(' ')};`));
  chmodSync(join(first, 'init'), 0o755);
  const pack = 'find . | busybox cpio -o -H newc | gzip -1 >../initrd.gz';
  run('sh', ['-c', pack], first);
}

/** This machine's Node and npm, and npm's cache with what a release needs. */
function installNode(root: string): void {
  cpSync(realpathSync(process.execPath), join(root, 'usr/bin/node'));
  const npm = join(run('npm', ['root', '--global']).trim(), 'npm');
  cpSync(npm, join(root, 'usr/lib/node_modules/npm'), { recursive: true, dereference: true });
  symlinkSync('../lib/node_modules/npm/bin/npm-cli.js', join(root, 'usr/bin/npm'));
  const scratch = mkdtempSync(join(tmpdir(), 'sinew-npm-'));
  try {
    for (const file of ['package.json', 'package-lock.json'])
      cpSync(join(clone, file), join(scratch, file));
    const cache = join(root, 'var/cache/npm');
    run('npm', ['ci', '--omit=dev', '--ignore-scripts', '--no-audit', '--cache', cache], scratch);
  } finally {
    rmSync(scratch, { recursive: true });
  }
}
