import { cpSync, mkdirSync, readFileSync, realpathSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import {
  Archive,
  furnish,
  type Image,
  installModules,
  kept,
  makeInitrd,
  needs,
  run,
} from '../emulated/debian.ts';

const here = fileURLToPath(new URL('.', import.meta.url));

const PACKAGES = [
  ...['qemu-system-x86', 'mmdebstrap', 'busybox-static', 'e2fsprogs', 'kmod', 'gcc', 'make'],
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
const DISK = '/dev/vda';
/** Without these the disk cannot be read. */
const EARLY_MODULES = ['virtio_pci', 'virtio_blk', 'crc32c_generic', 'ext4'];
const MODULES = ['virtio_console', 'i2c-dev', 'i2c-stub', 'header_board', 'autofs4'];
const FILES: Record<string, string> = {
  'etc/fstab': `${DISK} / ext4 rw 0 1\n`,
  'etc/modules-load.d/board.conf': 'virtio_console\ni2c-dev\ni2c-stub\nheader_board\n',
  // Two PCA9685, an INA226 and an ADS1115 as far as SMBus is concerned, and the stop button's closed
  // contact at line 4.
  'etc/modprobe.d/board.conf':
    'options i2c-stub chip_addr=0x40,0x41,0x45,0x48\noptions header_board grounded=0x10\n',
};

/** The image, as it was made before or made now. @throws Error when it cannot be made here */
export function image(): Image {
  needs(PACKAGES, COMMANDS);
  const archive = new Archive('amd64');
  const release = archive.kernelRelease();
  const from = {
    text: [release, process.version],
    files: ['image.ts', 'header_board.c'].map((file) => join(here, file)),
  };
  const files = ['vmlinuz', 'initrd.gz', 'disk.ext4'];
  const folder = kept('machine', from, files, (work) => make(work, archive, release));
  const [kernel, initrd, disk] = files.map((file) => join(folder, file)) as [
    string,
    string,
    string,
  ];
  return { kernel, initrd, disk };
}

function make(work: string, archive: Archive, release: string): void {
  const root = join(work, 'root');
  archive.bootstrap(root);
  const packages = join(work, 'packages');
  archive.download(packages, [
    `linux-image-${release}`,
    `linux-headers-${release}`,
    `linux-headers-${release.replace(/-[^-]+$/, '')}-common`,
    `linux-kbuild-${/^\d+\.\d+/.exec(release)![0]}`,
  ]);
  cpSync(join(packages, `boot/vmlinuz-${release}`), join(work, 'vmlinuz'));
  headerBoard(work, packages, release);
  const modules = installModules(root, packages, release, { all: MODULES, early: EARLY_MODULES });
  const busybox = realpathSync(run('sh', ['-c', 'command -v busybox']).trim());
  makeInitrd(work, { busybox, modules, disk: DISK });
  // A release brings Node for ARM boards; elsewhere it takes the machine's own.
  cpSync(realpathSync(process.execPath), join(root, 'usr/bin/node'));
  furnish(root, '/dev/virtio-ports/control', FILES);
  run('/sbin/mke2fs', ['-q', '-t', 'ext4', '-d', root, join(work, 'disk.ext4'), '1G']);
}

/** Compiles the GPIO and PWM chips for this kernel; Debian's has none for tests. */
function headerBoard(work: string, packages: string, release: string): void {
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
  const built = join(build, 'header_board.ko');
  run('strip', ['--strip-debug', built]);
  const extra = join(packages, 'lib/modules', release, 'extra');
  mkdirSync(extra, { recursive: true });
  cpSync(built, join(extra, 'header_board.ko'));
}
