import { cpSync, readFileSync } from 'node:fs';
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

/** A small Debian for 64-bit ARM, with the device trees of a single-board computer. */
export interface BoardImage extends Image {
  /** Debian's own device tree, and the same with the PWM on GPIO 12 and 13 of the header. */
  trees: { debian: string; header: string };
}

const here = fileURLToPath(new URL('.', import.meta.url));

export const PACKAGES = [
  ...['qemu-system-arm', 'qemu-user-static', 'arch-test', 'mmdebstrap', 'busybox-static'],
  ...['e2fsprogs', 'kmod', 'device-tree-compiler'],
];
const COMMANDS = {
  'qemu-system-aarch64': 'qemu-system-aarch64',
  'qemu-aarch64-static': 'qemu-aarch64-static',
  'qemu-arm-static': 'qemu-arm-static',
  'arch-test': 'arch-test',
  mmdebstrap: 'mmdebstrap',
  busybox: 'busybox',
  mke2fs: '/sbin/mke2fs',
  depmod: '/sbin/depmod',
  fdtput: 'fdtput',
};
const DISK = '/dev/mmcblk0';
/** The first UART; the kernel's console is the second, the small one. */
const PORT = '/dev/ttyAMA0';
const EARLY_MODULES = ['bcm2835', 'sdhci-iproc', 'crc32c_generic', 'ext4'];
const MODULES = ['pwm-bcm2835', 'bcm2835_wdt', 'autofs4'];
const FILES: Record<string, string> = {
  'etc/fstab': `${DISK} / ext4 rw 0 1\n`,
  // The emulator ends when somebody opens the watchdog, which systemd does for a restart.
  'etc/systemd/system.conf': '[Manager]\nRebootWatchdogSec=off\n',
  'etc/modules-load.d/board.conf': 'pwm-bcm2835\nbcm2835_wdt\n',
};

/** The image, as it was made before or made now. @throws Error when it cannot be made here */
export function image(): BoardImage {
  needs(PACKAGES, COMMANDS);
  const archive = new Archive('arm64');
  const release = archive.kernelRelease();
  const from = { text: [release, ...treeCommands()], files: [join(here, 'image.ts')] };
  const files = ['vmlinuz', 'initrd.gz', 'disk.ext4', 'debian.dtb', 'header.dtb'];
  const folder = kept('raspi', from, files, (work) => make(work, archive, release));
  const [kernel, initrd, disk, debian, header] = files.map((file) => join(folder, file)) as [
    string,
    string,
    string,
    string,
    string,
  ];
  return { kernel, initrd, disk, trees: { debian, header } };
}

function make(work: string, archive: Archive, release: string): void {
  const root = join(work, 'root');
  runsHere();
  archive.bootstrap(root);
  const packages = join(work, 'packages');
  archive.download(packages, [`linux-image-${release}`, 'busybox-static']);
  // Not compressed, as qemu wants it.
  run(
    'sh',
    [
      '-c',
      `gzip -dc boot/vmlinuz-${release} 2>/dev/null >"$1/vmlinuz" || cp boot/vmlinuz-${release} "$1/vmlinuz"`,
      '-',
      work,
    ],
    packages,
  );
  const modules = installModules(root, packages, release, { all: MODULES, early: EARLY_MODULES });
  makeInitrd(work, { busybox: join(packages, 'bin/busybox'), modules, disk: DISK });
  furnish(root, PORT, FILES);
  // A card's size must be a power of two.
  run('/sbin/mke2fs', ['-q', '-t', 'ext4', '-d', root, join(work, 'disk.ext4'), '2G']);
  trees(work, join(packages, `usr/lib/linux-image-${release}/broadcom/bcm2837-rpi-3-b.dtb`));
}

/** What the README has people type, so that the PWM comes out at GPIO 12 and 13. */
function treeCommands(): string[] {
  const readme = readFileSync(join(here, '../../README.md'), 'utf8');
  const commands = [...readme.matchAll(/^sudo fdtput (.*)$/gm)].map(([, words]) => words!);
  if (commands.length === 0) throw new Error('the README has no commands for the device tree');
  return commands;
}

/** Programs of the board run here, by qemu: the kernel asks for it. @throws Error */
function runsHere(): void {
  const at = '/proc/sys/fs/binfmt_misc';
  const works = 'arch-test arm64';
  const ask = `mountpoint -q ${at} || mount -t binfmt_misc binfmt_misc ${at}
[ -e ${at}/qemu-aarch64 ] || cat /usr/lib/binfmt.d/qemu-aarch64.conf >${at}/register`;
  run('sh', ['-c', `${works} || { ${ask}; ${works}; }`]);
}

function trees(work: string, original: string): void {
  const put = (...args: string[]) => run('fdtput', args);
  const [debian, header] = [join(work, 'debian.dtb'), join(work, 'header.dtb')];
  cpSync(original, debian);
  // Else the first UART belongs to a Bluetooth chip, and is not a terminal.
  put('-r', debian, '/soc/serial@7e201000/bluetooth');
  cpSync(debian, header);
  for (const command of treeCommands())
    put(...command.split(' ').map((word) => (word === '$tree' ? header : word)));
}
