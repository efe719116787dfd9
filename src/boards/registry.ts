import type { Board } from '../prop/schema.ts';
import type { Driver } from './board.ts';
import type { Finding, Output, World } from './doctor.ts';

/**
 * Every driver, by its name in the prop file. Only a driver that a prop has is loaded; each program is
 * one file (build.mjs), so that no disk is waited for.
 */
const DRIVERS = {
  sim: {
    driver: () => import('./sim/driver.ts'),
    doctor: () => import('./sim/doctor.ts'),
  },
  pigpio: {
    driver: () => import('./pigpio/driver.ts'),
    doctor: () => import('./pigpio/doctor.ts'),
  },
  pca9685: {
    driver: () => import('./pca9685/driver.ts'),
    doctor: () => import('./pca9685/doctor.ts'),
  },
  linux: {
    driver: () => import('./linux/driver.ts'),
    doctor: () => import('./linux/doctor.ts'),
  },
} as const satisfies { [D in DriverName]: Parts<D> };

export type DriverName = Board['driver'];

interface Parts<D extends DriverName> {
  driver(): Promise<{ create(board: BoardOf<D>): Driver }>;
  doctor(): Promise<{
    questions(
      world: World,
      board: BoardOf<D>,
      outputs: readonly Output[],
    ): Promise<readonly Finding[]>;
  }>;
}

type BoardOf<D extends DriverName> = Extract<Board, { driver: D }>;

/**
 * The driver of a board in the prop file, not yet open.
 * @throws Refusal when the board cannot be what the file says
 */
export async function createDriver(board: Board): Promise<Driver> {
  const { create } = await DRIVERS[board.driver].driver();
  return create(board as never);
}

/** What a board needs of this machine, and whether it is there; nothing is changed. */
export async function questionsOf(
  board: Board,
  world: World,
  outputs: readonly Output[],
): Promise<readonly Finding[]> {
  const { questions } = await DRIVERS[board.driver].doctor();
  return questions(world, board as never, outputs);
}
