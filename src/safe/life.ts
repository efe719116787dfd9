import { readFileSync } from 'node:fs';

/** Identifies one run of a process: ids are reused, and so are start times after a reboot. */
export interface Life {
  pid: number;
  /** Start time in clock ticks since boot: field 22 of /proc/PID/stat, proc(5). */
  startTicks: number;
  bootId: string;
}

/** The process that has this id now; undefined when there is none, or only a zombie. */
export function lifeOf(pid: number): Life | undefined {
  let stat: string;
  let bootId: string;
  try {
    stat = readFileSync(`/proc/${pid}/stat`, 'utf8');
    bootId = readFileSync('/proc/sys/kernel/random/boot_id', 'utf8').trim();
  } catch {
    return undefined;
  }
  // Field 2, the program's name, may contain spaces and brackets; field 3 follows the last bracket.
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  const [state] = fields;
  if (state === 'Z' || state === 'X') return undefined;
  return { pid, startTicks: Number(fields[22 - 3]), bootId };
}

/** Whether it is the same process still, and not a later one with its number. */
export function stillLives(life: Life): boolean {
  const now = lifeOf(life.pid);
  return now !== undefined && now.startTicks === life.startTicks && now.bootId === life.bootId;
}
