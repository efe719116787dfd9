import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';

/** Resident memory of a process (MiB), from Linux's proc(5). */
export function residentMiB(pid: number): number {
  const status = readFileSync(`/proc/${pid}/status`, 'utf8');
  return Number(/^VmRSS:\s+(\d+) kB$/m.exec(status)![1]) / 1024;
}

/** The value below which a share of `values` lies. */
export function quantile(values: readonly number[], share: number): number {
  const rising = [...values].sort((a, b) => a - b);
  return rising[Math.min(rising.length - 1, Math.floor(share * rising.length))]!;
}

/**
 * Puts a daemon before everything else on this machine, as it is on a board of its own, and its core
 * before its other threads, as `install.sh --realtime` does. Only root may; returns whether it could be
 * done. Threads that start later, such as a new gateway's, are ordinary ones.
 */
export function ownTheBoard(pid: number): boolean {
  const fifo = (thread: number, priority: number) =>
    spawnSync('chrt', ['--fifo', '--reset-on-fork', '--pid', `${priority}`, `${thread}`]).status ===
    0;
  return readdirSync(`/proc/${pid}/task`).every((thread) =>
    fifo(Number(thread), Number(thread) === pid ? 50 : 10),
  );
}
