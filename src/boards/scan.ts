import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { type I2cBus, i2cErrorText, isSilent } from './i2c.ts';
import { chipAt, type I2cPlace, type SimulatedChips } from './on-i2c.ts';
import { type Board, type DriverName, recognised } from './registry.ts';
import type { Registers } from './sensing.ts';
import { STUCK_MS } from './stuck.ts';

/**
 * Looks for chips on an I2C bus by reading alone. To read a register, its number is written first, and
 * some chips take such a byte for a command: so it asks at the addresses of known boards only, and each
 * driver reads no more than it needs to tell its chip.
 */

/** The addresses that boards have as they are sold: meters, converters and chips with outputs. */
export const [FIRST_ADDRESS, LAST_ADDRESS] = [0x40, 0x4f];
/** The bus of the 40-pin header. */
export const HEADER_BUS = 1;

/** The bus's thread may first have to be loaded from a slow disk (ms). */
const OPENING_MS = 5000;
/** The time for all transfers of a bus (ms): at 100 kHz they take a tenth of a second. */
const LONGEST_MS = 5000;

/** What a scan needs of a bus. */
export type ScanLine = Pick<I2cBus, 'readWords' | 'close'>;

export interface ScanAround {
  /** Opens a bus in a thread that no board uses. */
  open(bus: number): Promise<ScanLine>;
  clock: Clock;
}

/** A chip that has answered. */
export interface FoundChip {
  address: number;
  /** Those whose board it may be; none where no driver knows it. */
  drivers: DriverName[];
  /** Why it could not be asked. */
  trouble?: string;
}

export interface ScannedBus {
  chips: FoundChip[];
  /** Why the bus was not scanned, or not to its end, with the remedy. */
  trouble?: string;
}

/** A board of a prop on an I2C bus. */
export interface PlacedBoard extends I2cPlace {
  name: string;
  board: Board;
}

/** The boards of a prop that are on I2C buses. */
export function placedBoards(boards: Readonly<Record<string, Board>>): PlacedBoard[] {
  return Object.entries(boards).flatMap(([name, board]) => {
    const { bus, address } = board as Partial<I2cPlace>;
    return bus === undefined || address === undefined ? [] : [{ name, board, bus, address }];
  });
}

/** The buses on which boards may be: those of a prop, and that of the header. */
export function busesOf(placed: readonly PlacedBoard[]): number[] {
  return [...new Set([...placed.map(({ bus }) => bus), HEADER_BUS])].sort((a, b) => a - b);
}

/**
 * Scans one bus. It ends at the first transfer that hangs, and waits for none.
 * @param skip addresses that are in use: they are not asked
 */
export async function scanBus(
  bus: number,
  skip: ReadonlySet<number>,
  around: ScanAround,
): Promise<ScannedBus> {
  const chips: FoundChip[] = [];
  const { clock } = around;
  let address = FIRST_ADDRESS;
  let line: ScanLine | undefined;
  let trouble: string | undefined;
  try {
    const opening = around.open(bus);
    line = await within(clock, OPENING_MS, opening, (late) => void late.close().catch(() => {}));
    const endMs = clock.nowMs() + LONGEST_MS;
    for (; address <= LAST_ADDRESS; address++) {
      if (skip.has(address)) continue;
      const chip = await look(line, { bus, address }, clock, endMs);
      if (chip) chips.push(chip);
    }
  } catch (error) {
    trouble = error instanceof Refusal ? error.message : i2cErrorText(error, bus, address);
  }
  // A bus that hangs is not waited for.
  if (line) await within(clock, STUCK_MS, line.close()).catch(() => {});
  return { chips, ...(trouble !== undefined && { trouble }) };
}

/** What is at an address. @throws Error when the bus hangs or cannot be used */
async function look(
  line: ScanLine,
  place: I2cPlace,
  clock: Clock,
  endMs: number,
): Promise<FoundChip | undefined> {
  const { bus, address } = place;
  const read = async (...registers: number[]) => {
    const words: number[] = [];
    for (const register of registers) {
      if (clock.nowMs() > endMs)
        throw new Error('the bus is too slow: check its speed and the pull-up resistors');
      words.push(...(await within(clock, STUCK_MS, line.readWords(address, [register]))));
    }
    return words;
  };
  const never = () => Promise.reject(new Error('a scan only reads'));
  const chip: Registers = { place: chipAt(place), read, write: never, wait: never };
  try {
    await read(0);
  } catch (error) {
    if (isSilent(error)) return undefined;
    if ((error as NodeJS.ErrnoException).code !== 'EBUSY') throw error;
    return { address, drivers: [], trouble: i2cErrorText(error, bus, address) };
  }
  try {
    return { address, drivers: await recognised(chip) };
  } catch (error) {
    if (isSilent(error)) return { address, drivers: [] };
    throw error;
  }
}

/**
 * Waits for something for so long (ms).
 * @param late takes what comes afterwards
 * @throws Error with the code of a bus that hangs
 */
function within<T>(
  clock: Clock,
  ms: number,
  promise: Promise<T>,
  late: (value: T) => void = () => {},
): Promise<T> {
  return new Promise((resolve, reject) => {
    let isOver = false;
    const cancel = clock.after(ms, () => {
      isOver = true;
      const error = new Error(`nothing got through for ${ms} ms`);
      reject(Object.assign(error, { code: 'ETIMEDOUT' }));
    });
    promise.then(
      (value) => {
        cancel();
        if (isOver) late(value);
        else resolve(value);
      },
      (error: Error) => {
        cancel();
        reject(error);
      },
    );
  });
}

/** A bus with simulated chips on it. */
export function simulatedLine(chips: SimulatedChips): ScanLine {
  return {
    async readWords(address, registers) {
      const chip = chips[address];
      if (!chip) throw Object.assign(new Error('nothing answers'), { code: 'EREMOTEIO' });
      return registers.map((register) => chip[register] ?? 0);
    },
    close: async () => {},
  };
}
