import { appendFileSync } from 'node:fs';
import { safeLinux } from './linux.ts';
import { safePca9685 } from './pca9685.ts';
import { safePigpio } from './pigpio.ts';
import type { PlannedBoard, SafePlan } from './plan.ts';
import type { Tools } from './tools.ts';

export interface BoardReport {
  board: string;
  driver: string;
  /** What was done, output by output. */
  done: string[];
  /** Why it is not sure that this board is safe. */
  failure?: string;
}

/** Makes every board safe, all at the same time; what fails on one does not keep another. */
export function makeSafe(plan: SafePlan, simLog: string, tools: Tools): Promise<BoardReport[]> {
  return Promise.all(
    plan.boards.map(async (board) => {
      const report = { board: board.name, driver: board.driver };
      try {
        return { ...report, done: await makeBoardSafe(board, simLog, tools) };
      } catch (error) {
        return { ...report, done: [], failure: (error as Error).message };
      }
    }),
  );
}

async function makeBoardSafe(board: PlannedBoard, simLog: string, tools: Tools): Promise<string[]> {
  if (board.outputs.length === 0) return [];
  switch (board.driver) {
    case 'pca9685':
      return safePca9685(board, tools);
    case 'linux':
      return safeLinux(board, tools);
    case 'pigpio':
      return safePigpio(board, tools);
    case 'sim': {
      // A simulated board died with the daemon; what would have been done is noted instead.
      const done = board.outputs.map(
        ({ name, kind, pin, safe }) =>
          `${name} (pin ${pin}) ${kind === 'pulse' ? 'no pulses' : safe ? 'high' : 'low'}`,
      );
      appendFileSync(simLog, done.map((line) => `${board.name}: ${line}\n`).join(''));
      return done;
    }
    default:
      throw new Error(`driver ${(board as PlannedBoard).driver} is not known here`);
  }
}
