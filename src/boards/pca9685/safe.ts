import type { PlannedOutput } from '../../safe/plan.ts';
import { MissingProgram, type Tools } from '../../safe/tools.ts';

/** Registers of the PCA9685, NXP data sheet rev. 4, 7.3. */
const MODE1 = 0x00;
/** Register auto-increment on, SLEEP off: outputs cannot change without the oscillator. */
const AWAKE = 0x20;
const LED0_ON_L = 0x06;
const REGISTERS_PER_OUTPUT = 4;
/** Bit 4 of LEDn_ON_H or LEDn_OFF_H: full on, or full off whatever else is set. */
const FULL = 0x10;
/** An SMBus block has at most 32 bytes, and each output 4. */
const OUTPUTS_PER_BLOCK = 8;
/**
 * Attempts for a transfer. The daemon has set the bus's timeout to 100 ms per transfer, which stays set
 * after it ends. Otherwise kernels wait for 1 s, and the deadline of the whole program ends it.
 */
const ATTEMPTS = 3;

/** What the safe plan says about such a board. */
export interface Pca9685Place {
  /** Number of the I2C bus. */
  bus: number;
  address: number;
}

/**
 * Sets every output of the chip that the plan names full on or full off. ALL_LED_OFF is not used: it
 * would close every relay that is active at a low level.
 */
export async function safePca9685(
  { bus, address, outputs }: Pca9685Place & { outputs: readonly PlannedOutput[] },
  { run }: Tools,
): Promise<string[]> {
  const set = async (register: number, ...rest: (number | string)[]) => {
    for (let attempt = 1; ; attempt++) {
      try {
        await run('i2cset', '-y', String(bus), hex(address), hex(register), ...rest.map(word));
        return;
      } catch (error) {
        if (attempt === ATTEMPTS || error instanceof MissingProgram) throw error;
      }
    }
  };
  await set(MODE1, AWAKE, 'b');
  const done: string[] = [];
  for (const block of blocks(outputs)) {
    const bytes = block.flatMap(({ safe }) => (safe ? [0, FULL, 0, 0] : [0, 0, 0, FULL]));
    await set(LED0_ON_L + REGISTERS_PER_OUTPUT * block[0]!.pin, ...bytes, 'i');
    for (const { name, pin, safe } of block)
      done.push(`${name} (output ${pin}) fully ${safe ? 'on' : 'off'}`);
  }
  return done;
}

const hex = (value: number) => `0x${value.toString(16).padStart(2, '0')}`;
const word = (value: number | string) => (typeof value === 'number' ? hex(value) : value);

/** Groups of outputs that can be written together: neighbours, and no more than fit into a block. */
function blocks(outputs: readonly PlannedOutput[]): PlannedOutput[][] {
  const all: PlannedOutput[][] = [];
  for (const output of outputs.toSorted((a, b) => a.pin - b.pin)) {
    const last = all.at(-1);
    if (last && last.length < OUTPUTS_PER_BLOCK && last.at(-1)!.pin === output.pin - 1)
      last.push(output);
    else all.push([output]);
  }
  return all;
}
