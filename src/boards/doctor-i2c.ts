import { CONFIG, type Finding, file, group, koffi, MISSING, type World } from './doctor.ts';
import { chipAt, hex, type I2cPlace } from './on-i2c.ts';
import type { Registers } from './sensing.ts';

/** What every driver of a chip needs of its bus: the bus itself, and the right to use it. */
export async function busQuestions(world: World, bus: number, driver: string): Promise<Finding[]> {
  return [
    await file(
      world,
      `/dev/i2c-${bus}`,
      `switch the bus on: dtparam=i2c_arm=on in ${CONFIG}, modprobe i2c-dev, then restart the board`,
    ),
    await group(world, 'i2c'),
    await koffi(world, driver),
  ];
}

/**
 * The registers of a chip for questions that only read. A transfer fails when nothing answers, or i2c-tools
 * is missing.
 */
export function readOnly({ run }: World, place: I2cPlace): Registers {
  const { bus, address } = place;
  const readWord = async (register: number): Promise<number> => {
    const said = await run('i2cget', '-y', String(bus), hex(address), hex(register), 'w');
    if (said === MISSING) throw new Error('i2c-tools is not installed');
    const word = Number(said);
    if (!Number.isInteger(word)) throw new Error(`i2cget: ${said.trim()}`);
    // An SMBus word has its low byte first.
    return ((word & 0xff) << 8) | (word >> 8);
  };
  return {
    place: chipAt(place),
    async read(...registers) {
      const words: number[] = [];
      for (const register of registers) words.push(await readWord(register));
      return words;
    },
    write: () => Promise.reject(new Error('a question writes nothing')),
    wait: () => Promise.reject(new Error('a question does not wait')),
  };
}
