import type { Finding, World } from '../doctor.ts';
import { busQuestions } from '../doctor-i2c.ts';
import type { Registers } from '../sensing.ts';
import type { Ina219Board } from './facts.ts';
import { ina219Chip } from './registers.ts';

/** What an INA219 needs from this machine: its bus, and the right to use it. */
export const questions = (world: World, { bus }: Ina219Board): Promise<Finding[]> =>
  busQuestions(world, bus, 'ina219');

/** Whether a chip is an INA219, by reading alone. */
export const recognise = (chip: Registers): Promise<boolean> => ina219Chip(1, 1).isIt(chip);
