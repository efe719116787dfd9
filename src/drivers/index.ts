import type { Board } from '../prop/schema.ts';
import type { Driver } from './driver.ts';
import { LinuxDriver } from './linux.ts';
import { Pca9685Driver } from './pca9685.ts';
import { PigpioDriver } from './pigpio.ts';
import { SimDriver } from './sim.ts';

/** The driver of a board in the prop file, not yet open. */
export async function createDriver(board: Board): Promise<Driver> {
  switch (board.driver) {
    case 'sim':
      return new SimDriver(board.plant);
    case 'pigpio':
      return new PigpioDriver(board.sampleUs);
    case 'pca9685':
      return new Pca9685Driver(board);
    case 'linux':
      return new LinuxDriver(board);
  }
}
