import type * as z from 'zod';
import type { PlannedBoard } from '../safe/plan.ts';
import { ads1115 } from './ads1115/facts.ts';
import { alsa } from './alsa/facts.ts';
import type { Driver } from './board.ts';
import type { Finding, Output, World } from './doctor.ts';
import type { BoardFacts, Lockable, SchemaParts, SetUp, Z } from './facts.ts';
import { ina219 } from './ina219/facts.ts';
import { ina226 } from './ina226/facts.ts';
import { linux } from './linux/facts.ts';
import type { SimulatedChips } from './on-i2c.ts';
import { pca9685 } from './pca9685/facts.ts';
import { pigpio } from './pigpio/facts.ts';
import type { Registers } from './sensing.ts';
import { sim } from './sim/facts.ts';

/** The facts of every driver, by its name in the prop file. */
const FACTS = { sim, pigpio, pca9685, linux, alsa, ina226, ina219, ads1115 } as const;

export type DriverName = keyof typeof FACTS;
type SchemaOf<D extends DriverName> = ReturnType<(typeof FACTS)[D]['schema']>;
type BoardOf<D extends DriverName> = z.output<SchemaOf<D>>;
/** An entry under `boards:` of a prop file. */
export type Board = { [D in DriverName]: BoardOf<D> }[DriverName];

/**
 * The driver and the doctor of each. Only the drivers that a prop uses are loaded; each program is one
 * file (build.mjs), so that nothing waits for the disk.
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
  alsa: {
    driver: () => import('./alsa/driver.ts'),
    doctor: () => import('./alsa/doctor.ts'),
  },
  ina226: {
    driver: () => import('./ina226/driver.ts'),
    doctor: () => import('./ina226/doctor.ts'),
  },
  ina219: {
    driver: () => import('./ina219/driver.ts'),
    doctor: () => import('./ina219/doctor.ts'),
  },
  ads1115: {
    driver: () => import('./ads1115/driver.ts'),
    doctor: () => import('./ads1115/doctor.ts'),
  },
} as const satisfies { [D in DriverName]: Parts<D> };

interface Parts<D extends DriverName> {
  driver(): Promise<{ create(board: BoardOf<D>): Driver }>;
  doctor(): Promise<{
    questions(
      world: World,
      board: BoardOf<D>,
      outputs: readonly Output[],
    ): Promise<readonly Finding[]>;
    /** Whether a chip on an I2C bus is such a board, by reading alone. */
    recognise?(chip: Registers): Promise<boolean>;
    /** What is on the I2C bus of a simulated board. */
    simulatedChips?: SimulatedChips;
  }>;
}

/** The facts of a driver; use them only for boards of that driver. */
export function factsOf({ driver }: { driver: DriverName }): BoardFacts<Board> {
  return FACTS[driver] as unknown as BoardFacts<Board>;
}

/** Identifies the physical pin of a board's pin: saved state is valid for that pin only. */
export function placeOf(name: string, board: Board, pin: number): string {
  return factsOf(board).placeOf(name, board, pin);
}

export const DRIVER_NAMES = Object.keys(FACTS) as DriverName[];

/** How a board of a driver is proposed for a new prop, and whether its pins are those of the header. */
export function setUpOf(driver: DriverName): SetUp<Board> & { header: boolean } {
  const { setUp, header } = FACTS[driver];
  return { ...(setUp as SetUp<Board>), header };
}

/** The schemas of the entries under `boards:`, one for each driver. */
export function boardSchemas(
  z: Z,
  parts: SchemaParts,
): [SchemaOf<DriverName>, ...SchemaOf<DriverName>[]] {
  const [first, ...others] = Object.values(FACTS).map(({ schema }) => schema(z, parts));
  return [first!, ...others];
}

/** The parts of a board in the safe plan that no other daemon may drive; none for an unknown driver. */
export function locksOf(board: PlannedBoard): Lockable[] {
  if (!Object.hasOwn(FACTS, board.driver)) return [];
  // The driver itself has written its entry in the plan.
  return FACTS[board.driver as DriverName].locks(board as never);
}

/**
 * The driver of a board in the prop file, not yet open.
 * @throws Refusal when the board cannot be set up as the file says
 */
export async function createDriver(board: Board): Promise<Driver> {
  const { create } = await DRIVERS[board.driver].driver();
  return create(board as never);
}

/** What a board needs from this machine, and whether it is there; changes nothing. */
export async function questionsOf(
  board: Board,
  world: World,
  outputs: readonly Output[],
): Promise<readonly Finding[]> {
  const { questions } = await DRIVERS[board.driver].doctor();
  return questions(world, board as never, outputs);
}

/** The chips of the simulated I2C bus, where a prop has a board with one. */
export async function simulatedChipsOf(
  boards: Readonly<Record<string, Board>>,
): Promise<SimulatedChips | undefined> {
  for (const { driver } of Object.values(boards)) {
    const doctor: Awaited<ReturnType<Parts<DriverName>['doctor']>> = await DRIVERS[driver].doctor();
    if (doctor.simulatedChips) return doctor.simulatedChips;
  }
  return undefined;
}

/** The drivers whose boards a chip on an I2C bus may be, by reading alone. */
export async function recognised(chip: Registers): Promise<DriverName[]> {
  const found: DriverName[] = [];
  for (const name of DRIVER_NAMES) {
    const { recognise }: Awaited<ReturnType<Parts<DriverName>['doctor']>> =
      await DRIVERS[name].doctor();
    if (await recognise?.(chip)) found.push(name);
  }
  return found;
}
