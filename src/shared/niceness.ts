import { setPriority } from 'node:os';

/**
 * How far each thread stands back where several want the same processor (nice(1)). The core, and the threads
 * that write to boards, go first.
 */
export const NICENESS = { gateway: 5, show: 5, opening: 5, service: 10, planner: 15 };

/** From now on this thread stands back so far. It cannot be taken back without a privilege. */
export function standBack(niceness: number): void {
  try {
    // On Linux 0 stands for this thread alone (setpriority(2), notes); elsewhere for the whole process.
    if (process.platform === 'linux') setPriority(0, niceness);
  } catch {
    // Where that is forbidden, the scheduler is fair to all.
  }
}
