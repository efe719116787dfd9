/** Where the kernel shows what the computer measures of itself. */
const HWMON = '/sys/class/hwmon';
/** So many are looked at. */
const MOST = 16;
/** The name of the one that watches the supply (drivers/hwmon/raspberrypi-hwmon.c, from memory). */
const NAME = 'rpi_volt';

/**
 * The file that reads 1 while the computer's own supply is too low, or was in the last seconds; undefined where
 * this computer does not watch that.
 * @param read the text of a file; undefined where it cannot be read
 */
export async function underVoltageFile(
  read: (path: string) => Promise<string | undefined>,
): Promise<string | undefined> {
  for (let i = 0; i < MOST; i++) {
    const name = await read(`${HWMON}/hwmon${i}/name`);
    if (name?.trim() === NAME) return `${HWMON}/hwmon${i}/in0_lcrit_alarm`;
  }
  return undefined;
}
