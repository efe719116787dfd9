import type { PlannedBoard, SafePlan } from '../safe/plan.ts';
import type { Tools } from '../safe/tools.ts';
import { safeAlsa } from './alsa/safe.ts';
import { safeLinux } from './linux/safe.ts';
import { safePca9685 } from './pca9685/safe.ts';
import { safePigpio } from './pigpio/safe.ts';
import type { DriverName } from './registry.ts';
import { safeSim } from './sim/safe.ts';

/**
 * How each driver makes its boards safe, by its name. Separate from the registry of the drivers, because
 * sinew-safe-levels must not depend on them.
 */
const WAYS = {
  sim: safeSim,
  pigpio: safePigpio,
  pca9685: safePca9685,
  linux: safeLinux,
  alsa: safeAlsa,
  ina226: onlyMeasures,
  ina219: onlyMeasures,
  ads1115: onlyMeasures,
} as const satisfies Record<DriverName, Way>;

/** Returns what was done, output by output. @throws Error when it is not certain that all outputs are safe */
type Way = (board: never, tools: Tools) => Promise<string[]>;

interface BoardReport {
  board: string;
  driver: string;
  /** What was done, output by output. */
  done: string[];
  /** Why it is not certain that this board is safe. */
  failure?: string;
}

/** It has no outputs. */
async function onlyMeasures(): Promise<string[]> {
  return [];
}

/** Makes all boards safe at the same time; a failure of one does not affect the others. */
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
  // The driver itself has written its entry in the plan.
  return WAYS[board.driver as keyof typeof WAYS](board as never, tools);
}
