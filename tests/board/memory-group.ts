import { existsSync, mkdirSync, readFileSync, rmdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

const MIB = 2 ** 20;
let made = 0;

/** Names of one kernel interface's files: a limit, no swap, the peak, and where kills are counted. */
interface Files {
  limit: string;
  swap: [file: string, value: string];
  peak: string;
  kills: string;
}
const V1: Files = {
  limit: 'memory.limit_in_bytes',
  swap: ['memory.swappiness', '0'],
  peak: 'memory.max_usage_in_bytes',
  kills: 'memory.oom_control',
};
const V2: Files = {
  limit: 'memory.max',
  swap: ['memory.swap.max', '0'],
  peak: 'memory.peak',
  kills: 'memory.events',
};

/**
 * A memory cgroup (v2 or v1) with a limit: what is beyond it gets the process killed.
 *
 * What it counts, and what it does not (the kernel's admin-guide/cgroup-v2, "Memory Ownership"): heaps,
 * stacks, buffers of sockets and files in memory (tmpfs) count in full and cannot be given back. A page
 * of a file on disk counts for whoever read it first: node's own program text is mostly in the machine's
 * cache before the daemon starts, and is then not counted here, as on a board where it can be dropped and
 * read again. So a limit of 120 MB is one on what the daemon holds for itself; a board needs some 50 MB
 * more for node's text to stay in memory.
 */
export class MemoryGroup {
  readonly folder: string;
  readonly #files: Files;

  /** @throws Error that says why there can be none here */
  constructor(limitMiB: number) {
    const [mount, files] = where();
    this.#files = files;
    this.folder = join(mount, `sinew-board-${process.pid}-${made++}`);
    try {
      mkdirSync(this.folder);
      this.#write(files.limit, String(limitMiB * MIB));
      // Without swap the kernel may have no such file.
      if (existsSync(join(this.folder, files.swap[0]))) this.#write(...files.swap);
    } catch (error) {
      throw new Error(
        `no memory cgroup can be made in ${mount} (${(error as Error).message}). The slow board needs one: run as root, outside of a container that hides cgroups`,
      );
    }
    if (Number(this.#read(files.limit)) !== limitMiB * MIB)
      throw new Error(`the memory cgroup ${this.folder} did not take the limit of ${limitMiB} MiB`);
  }

  #write(name: string, text: string): void {
    writeFileSync(join(this.folder, name), text);
  }

  #read(name: string): string {
    return readFileSync(join(this.folder, name), 'utf8');
  }

  /** The most that was counted at once (MiB); what could be dropped is part of it. */
  get peakMiB(): number {
    return Number(this.#read(this.#files.peak)) / MIB;
  }

  /** How many processes were killed for want of memory. */
  get kills(): number {
    return Number(/^oom_kill (\d+)$/m.exec(this.#read(this.#files.kills))?.[1]);
  }

  /** Only after the last process in it has ended. */
  remove(): void {
    rmdirSync(this.folder);
  }
}

/** Where groups can be made. */
function where(): [mount: string, files: Files] {
  if (process.getuid?.() !== 0)
    throw new Error(
      'the slow board limits memory by a cgroup, which takes root. Type: sudo npm test',
    );
  // proc_pid_mountinfo(5): the fifth field is the mount point; after " - " type, source, options.
  const mounts = readFileSync('/proc/self/mountinfo', 'utf8')
    .trim()
    .split('\n')
    .map((line) => {
      const [place, system] = line.split(' - ');
      const [type, , options] = system!.split(' ');
      return { mount: place!.split(' ')[4]!, type, options: options!.split(',') };
    });
  const v1 = mounts.find(({ type, options }) => type === 'cgroup' && options.includes('memory'));
  if (v1) return [v1.mount, V1];
  const v2 = mounts.find(({ type }) => type === 'cgroup2');
  if (!v2)
    throw new Error(
      'the slow board limits memory by a cgroup, and no cgroup file system is mounted',
    );
  const enabled = join(v2.mount, 'cgroup.subtree_control');
  if (!readFileSync(enabled, 'utf8').split(/\s/).includes('memory'))
    try {
      writeFileSync(enabled, '+memory');
    } catch (error) {
      throw new Error(
        `the memory controller is not to be had in ${v2.mount} (${(error as Error).message}); the slow board needs it. In a container, start it with the host's cgroup namespace`,
      );
    }
  return [v2.mount, V2];
}
