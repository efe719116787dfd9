import type { PromisifiedBus } from 'i2c-bus';
import { Refusal } from '../shared/errors.ts';

/** What drivers use of an I2C bus: the promises of the npm package i2c-bus. */
export type I2cBus = Pick<
  PromisifiedBus,
  'i2cFuncs' | 'i2cWrite' | 'readByte' | 'writeByte' | 'writeI2cBlock' | 'close'
>;

/**
 * Opens /dev/i2c-N; the device itself is touched with the first transfer.
 * @throws Refusal when i2c-bus is not installed
 */
export async function openI2c(bus: number): Promise<I2cBus> {
  let library: typeof import('i2c-bus');
  try {
    library = await import('i2c-bus');
  } catch (error) {
    throw new Refusal(
      'noSuchThing',
      `the npm package i2c-bus cannot be loaded (${(error as Error).message}); sudo sinew doctor says how to have it compiled here`,
    );
  }
  return library.openPromisified(bus);
}

/** What a failed transfer means, and what to do about it. */
export function explainI2c(error: unknown, bus: number, address: number): string {
  const { code, message } = error as NodeJS.ErrnoException;
  const at = `0x${address.toString(16)} on I2C bus ${bus}`;
  switch (code) {
    case 'ENOENT':
      return `there is no /dev/i2c-${bus}: switch the bus on (dtparam=i2c_arm=on in config.txt, module i2c-dev), or give another bus`;
    case 'EACCES':
    case 'EPERM':
      return `no permission to use /dev/i2c-${bus}: add this user to the group i2c`;
    case 'EBUSY':
      return `a kernel driver uses ${at}: remove its overlay, or set another address`;
    // A chip that does not acknowledge; which code it is depends on the bus driver.
    case 'EREMOTEIO':
    case 'ENXIO':
    case 'EIO':
      return `nothing answers at ${at}: check its supply, SDA, SCL, ground and the address (i2cdetect -y ${bus})`;
    case 'ETIMEDOUT':
    case 'EAGAIN':
      return `${at}: the bus is stuck: check SDA and SCL for a short, and the pull-up resistors`;
    default:
      return `${at}: ${message}`;
  }
}
