import type { SenseSpec } from '../board.ts';
import { signed } from '../on-i2c.ts';
import { ChipFault, ChipReset, type Registers, type Round, type SensingChip } from '../sensing.ts';
import {
  COUNTS,
  configurationOf,
  fullScaleV,
  isAds1115,
  REGISTER,
  START,
  WAIT_MS,
} from './registers.ts';

/** Looks at a conversion before it counts as one that does not end. */
const ATTEMPTS = 3;

/**
 * Reads the inputs one after the other, each with a conversion of its own: input and range are read back
 * with the result, so that a value is never another input's.
 */
export class Ads1115 implements SensingChip {
  readonly everyMs = 10;
  readonly #vddV: number;

  /** @param vddV supply of the chip (V): nothing at its inputs is higher */
  constructor(vddV: number) {
    this.#vddV = vddV;
  }

  async start(chip: Registers): Promise<void> {
    if (!(await isAds1115(chip)))
      throw new ChipFault(
        `${chip.place} is not an ADS1115, or another program has set it up: give the address of the ADS1115; if it is one, switch its supply off and on`,
      );
  }

  async round(round: Round): Promise<void> {
    for (const [at, sense] of round.senses.entries()) await this.#read(round, at, sense);
  }

  async #read(round: Round, at: number, { input, maxV = this.#vddV }: SenseSpec): Promise<void> {
    const configuration = configurationOf(input, maxV);
    const atMs = round.nowMs();
    await round.write(REGISTER.configuration, configuration);
    for (let attempt = 1; ; attempt++) {
      await round.wait(WAIT_MS);
      const [got, word] = await round.read(REGISTER.configuration, REGISTER.conversion);
      if ((got! | START) !== configuration)
        throw new ChipReset(
          `${round.place} had lost its settings, as after a dip of its supply: check the supply and its wires`,
        );
      if (got! & START) {
        this.#put(round, at, word!, maxV, atMs);
        return;
      }
      if (attempt === ATTEMPTS)
        throw new ChipFault(
          `${round.place} does not measure any more: switch its supply off and on; if that does not help, replace it`,
        );
    }
  }

  #put(round: Round, at: number, word: number, maxV: number, atMs: number): void {
    const count = signed(word);
    const fullV = fullScaleV(maxV);
    if (count === COUNTS - 1 || count === -COUNTS) {
      const { name, input } = round.senses[at]!;
      const [sign, more] = count > 0 ? ['', 'more'] : ['-', 'less'];
      round.fail(
        at,
        `${name}: input ${input} of ${round.place} has ${sign}${fullV} V or ${more}: check its wires and its divider`,
      );
      return;
    }
    round.put(at, (count * fullV) / COUNTS, atMs);
  }
}
