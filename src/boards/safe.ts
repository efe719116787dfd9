import type { PlannedBoard, SafePlan } from '../safe/plan.ts';
import type { Tools } from '../safe/tools.ts';
import { safeLinux } from './linux/safe.ts';
import { safePca9685 } from './pca9685/safe.ts';
import { safePigpio } from './pigpio/safe.ts';
import type { DriverName } from './registry.ts';
import { safeSim } from './sim/safe.ts';

/**
 * The way to safe levels of every driver, by its name. Apart from the registry of the drivers, since
 * sinew-safe-levels must not depend on them.
 */
const WAYS = {
  sim: safeSim,
  pigpio: safePigpio,
  pca9685: safePca9685,
  linux: safeLinux,
} as const satisfies Record<DriverName, Way>;

/** Returns what was done, output by output. @throws Error when it is not sure that all are safe */
type Way = (board: never, tools: Tools) => Promise<string[]>;

interface BoardReport {
  board: string;
  driver: string;
  /** What was done, output by output. */
  done: string[];
  /** Why it is not sure that this board is safe. */
  failure?: string;
}

/** Makes every board safe, all at the same time; what fails on one does not keep another. */
export function makeSafe(plan: SafePlan, tools: Tools): Promise<BoardReport[]> {
  return Promise.all(
    plan.boards.map(async (board) => {
      const report = { board: board.name, driver: board.driver };
      try {
        return { ...report, done: await makeBoardSafe(board, tools) };
      } catch (error) {
        return { ...report, done: [], failure: (error as Error).message };
      }
    }),
  );
}

async function makeBoardSafe(board: PlannedBoard, tools: Tools): Promise<string[]> {
  if (board.outputs.length === 0) return [];
  if (!Object.hasOwn(WAYS, board.driver))
    throw new Error(`driver ${board.driver} is not known here`);
  // The driver itself has written its entry of the plan.
  return WAYS[board.driver as keyof typeof WAYS](board as never, tools);
}
