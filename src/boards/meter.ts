import { METER, type MeterChip } from './meter-registers.ts';
import { ChipFault, ChipReset, type Registers, type Round, type SensingChip } from './sensing.ts';

/** Rounds from one look at the settings to the next: every 100 ms. */
const LOOK_EVERY = 10;
/** Rounds without a finished conversion after which the chip does not convert. */
const MOST_UNFINISHED = 10;

/**
 * Reads current and voltage of one meter. The current follows from the shunt's voltage and the shunt in
 * the file: the chip's own current register is 0 after a reset, whatever flows. Its calibration register
 * is set all the same: it is 0 after a reset, which shows one, and a 0 is believed only after a look at it.
 */
export class Meter implements SensingChip {
  readonly everyMs: number;
  readonly #chip: MeterChip;
  readonly #shuntOhm: number;
  #unlooked = 0;
  #unfinished = 0;

  constructor(chip: MeterChip, shuntOhm: number) {
    this.everyMs = chip.everyMs;
    this.#chip = chip;
    this.#shuntOhm = shuntOhm;
  }

  async start(registers: Registers): Promise<void> {
    const { name, configuration, calibration, isIt, tidy } = this.#chip;
    if (!(await isIt(registers)))
      throw new ChipFault(
        `${registers.place} is not an ${name}, or another program has set it up: give the address of the ${name}; if it is one, switch its supply off and on`,
      );
    await tidy?.(registers);
    await registers.write(METER.calibration, calibration);
    await registers.write(METER.configuration, configuration);
    if (!(await this.#isSetUp(registers)))
      throw new ChipFault(
        `${registers.place} does not keep what it is told: is it an ${name}? If so, check SDA, SCL and the pull-up resistors`,
      );
    this.#unlooked = 0;
    this.#unfinished = 0;
  }

  async round(round: Round): Promise<void> {
    const atMs = round.nowMs();
    const { finished, shuntV, busV, beyond } = this.#chip.decode(
      await round.read(...this.#chip.registers),
    );
    if (!finished || shuntV === 0 || busV === 0 || ++this.#unlooked >= LOOK_EVERY) {
      if (!(await this.#isSetUp(round)))
        throw new ChipReset(
          `${round.place} had lost its settings, as after a dip of its supply: check the supply and its wires`,
        );
      this.#unlooked = 0;
    }
    if (!finished) {
      if (++this.#unfinished >= MOST_UNFINISHED)
        throw new ChipFault(
          `${round.place} does not measure any more: switch its supply off and on; if that does not help, replace it`,
        );
      return;
    }
    this.#unfinished = 0;
    const amps = shuntV / this.#shuntOhm;
    if (beyond)
      round.tell(
        `${round.place}: ${Math.abs(amps).toFixed(1)} A is the most that its shunt can show; the current may be higher`,
      );
    for (let i = 0; i < round.senses.length; i++)
      round.put(i, round.senses[i]!.quantity === 'current' ? amps : busV, atMs);
  }

  async #isSetUp(registers: Registers): Promise<boolean> {
    const [configuration, calibration] = await registers.read(
      METER.configuration,
      METER.calibration,
    );
    return configuration === this.#chip.configuration && calibration === this.#chip.calibration;
  }
}
