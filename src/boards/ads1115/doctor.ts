import type { Finding, World } from '../doctor.ts';
import { busQuestions } from '../doctor-i2c.ts';
import type { Registers } from '../sensing.ts';
import type { Ads1115Board } from './facts.ts';
import { isAds1115 } from './registers.ts';

/** What an ADS1115 needs from this machine: its bus, and the right to use it. */
export const questions = (world: World, { bus }: Ads1115Board): Promise<Finding[]> =>
  busQuestions(world, bus, 'ads1115');

/** Whether a chip is an ADS1115, by reading alone. */
export const recognise = (chip: Registers): Promise<boolean> => isAds1115(chip);
