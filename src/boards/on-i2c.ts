import type { BoardFacts, BoardNotes, Z } from './facts.ts';
import { NO_PINS } from './no-pins.ts';

/** Where a chip is. */
export interface I2cPlace {
  /** Number of the bus. */
  bus: number;
  address: number;
}

/** Chips of a simulated bus: by address, their registers of 16 bits. */
export type SimulatedChips = Readonly<Record<number, Readonly<Record<number, number>>>>;

export const hex = (address: number) => `0x${address.toString(16)}`;

/** A chip, for messages: `the chip at 0x45 on I2C bus 1`. */
export const chipAt = ({ bus, address }: I2cPlace) =>
  `the chip at ${hex(address)} on I2C bus ${bus}`;

/** A register of 16 bits as a signed number (two's complement). */
export const signed = (word: number) => (word << 16) >> 16;

/** The keys of the place in a board's schema. */
export function placeKeys(z: Z, lowest: number, highest: number) {
  return {
    bus: z.int().min(0).describe('I2C bus number'),
    address: z
      .int()
      .min(lowest)
      .max(highest)
      .describe(`I2C address, ${hex(lowest)} to ${hex(highest)}`),
  };
}

/** Reports a board at an address that an earlier board has, whatever its driver. */
export function lintAddress(name: string, { bus, address }: I2cPlace, notes: BoardNotes): void {
  const same = Object.entries(notes.prop.boards).find(([, other]) => {
    const place = other as Partial<I2cPlace>;
    return place.bus === bus && place.address === address;
  })![0];
  // Only the later boards get the error.
  if (same === name) return;
  notes.error(
    ['boards', name, 'address'],
    `address ${hex(address)} on bus ${bus} is board ${same} already`,
    'set another address with the solder pads and give it here',
  );
}

/** The facts that all boards on an I2C bus share. */
export const ON_I2C = {
  uses: 'I2C',
  placeOf: (_name, { bus, address }, pin) => `i2c-${bus} ${hex(address)} ${pin}`,
  planned: ({ bus, address }) => ({ bus, address }),
  locks: ({ name, bus, address }) => [
    {
      key: `i2c-${bus}-${hex(address)}`,
      what: `board ${name} (address ${hex(address)} on I2C bus ${bus})`,
    },
  ],
} as const satisfies Partial<BoardFacts<I2cPlace, I2cPlace>>;

/** The facts that all boards share that only measure, on an I2C bus. */
export const SENSING = {
  ...NO_PINS,
  ...ON_I2C,
  lintPin({ boardPath }, _board, notes) {
    notes.error(boardPath, 'this board only measures, and has no pins', 'name a board that has');
  },
} as const satisfies Partial<BoardFacts<I2cPlace, I2cPlace>>;
