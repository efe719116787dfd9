import { join } from 'node:path';
import type { Image } from '../emulated/debian.ts';
import { consoleLog, controlPort, Machine, type Pace } from '../emulated/machine.ts';

const PACE: Record<Pace, string[]> = {
  quick: ['-accel', 'tcg,thread=multi', '-smp', '2'],
  exact: ['-accel', 'tcg', '-smp', '1', '-icount', 'shift=0,sleep=on'],
};
const KERNEL_ARGS = 'console=ttyS0 quiet panic=-1 mitigations=off systemd.show_status=no';

/**
 * A PC with the disk and bag of its folder, which takes commands by a virtual serial port.
 * @param folder has `disk`, and `bag.tar`, which the machine sees as /dev/vdb
 */
export const bootPc = ({ kernel, initrd }: Image, folder: string, pace: Pace) =>
  Machine.boot(
    {
      program: 'qemu-system-x86_64',
      args: [
        ...['-M', 'pc', '-m', '768', '-nodefaults', '-no-user-config', '-display', 'none'],
        ...PACE[pace],
        ...['-no-reboot', '-kernel', kernel, '-initrd', initrd, '-append', KERNEL_ARGS],
        ...['-serial', `file:${consoleLog(folder)}`],
        ...['-drive', `if=virtio,format=raw,file=${join(folder, 'disk')}`],
        ...['-drive', `if=virtio,format=raw,readonly=on,file=${join(folder, 'bag.tar')}`],
        ...['-device', 'virtio-serial', ...controlPort(folder)],
        ...['-device', 'virtserialport,chardev=control,name=control'],
      ],
    },
    folder,
  );
