import { readFileSync } from 'node:fs';

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
