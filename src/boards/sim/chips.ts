import type { SimulatedChips } from '../on-i2c.ts';

/**
 * The chips of the simulated I2C bus, as a scan reads them after power-on. PCA9685: NXP rev. 4, 7.3, table
 * 4; INA226: TI SBOS547A, table 2; ADS1115: TI SBAS444D, 9.6; all from memory.
 */
export const SIMULATED_CHIPS: SimulatedChips = {
  // Registers of a byte, each read twice.
  64: { 0: 0x1111, 1: 0x0404, 2: 0xe2e2, 3: 0xe4e4, 4: 0xe8e8, 5: 0xe0e0 },
  69: { 0: 0x4127, 254: 0x5449, 255: 0x2260 },
  72: { 1: 0x8583, 2: 0x8000, 3: 0x7fff },
};
