import type { Finding, World } from '../doctor.ts';
import { busQuestions } from '../doctor-i2c.ts';
import type { Registers } from '../sensing.ts';
import type { Ina226Board } from './facts.ts';
import { ina226Chip } from './registers.ts';

/** What an INA226 needs from this machine: its bus, and the right to use it. */
export const questions = (world: World, { bus }: Ina226Board): Promise<Finding[]> =>
  busQuestions(world, bus, 'ina226');

/** Whether a chip is an INA226, by reading alone. */
export const recognise = (chip: Registers): Promise<boolean> => ina226Chip(1).isIt(chip);
