import type { Finding, World } from '../doctor.ts';
import { busQuestions } from '../doctor-i2c.ts';
import { METER } from '../meter-registers.ts';
import type { Registers } from '../sensing.ts';
import type { Ina226Board } from './facts.ts';
import { hasItsBits, ina226Chip } from './registers.ts';

/** What an INA226 needs from this machine: its bus, and the right to use it. */
export const questions = (world: World, { bus }: Ina226Board): Promise<Finding[]> =>
  busQuestions(world, bus, 'ina226');

/**
 * Whether a chip is an INA226, by reading alone. Its number is at 0xFE, a byte that resets humidity sensors
 * at 0x40 (HTU21D, Si7021) and switches on the output of a converter at 0x48 (PCF8591; data sheets, from
 * memory): it is read only where the configuration is that of an INA226.
 */
export async function recognise(chip: Registers): Promise<boolean> {
  const [configuration] = await chip.read(METER.configuration);
  return hasItsBits(configuration!) && ina226Chip(1).isIt(chip);
}
