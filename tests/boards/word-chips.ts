import type { I2cBus } from '../../src/boards/i2c.ts';
import { FakeBus } from './fake-bus.ts';

/**
 * Chips with registers of 16 bits, and the bus that they hang on. They share no code with the drivers. The
 * layout is that of the Linux kernel's drivers (drivers/hwmon/ina2xx.c, drivers/iio/adc/ti-ads1015.c);
 * single bits are those of TI's data sheets, from memory.
 */

export interface WordChip {
  read(register: number): number;
  write(register: number, word: number): void;
}

const word = (count: number) => Math.round(count) & 0xffff;
const limited = (count: number, lowest: number, highest: number) =>
  Math.min(highest, Math.max(lowest, Math.round(count)));

/** A chip with its registers; its analogue side, where it measures, is set by the test. */
abstract class Model implements WordChip {
  readonly registers: Map<number, number>;
  /** Every write, in order. */
  readonly writes: [register: number, word: number][] = [];
  /** It has power, but has stopped converting. */
  frozen = false;
  readonly #atPowerOn: readonly (readonly [register: number, word: number])[];

  /** @param atPowerOn the registers that are not 0 after power-on */
  constructor(atPowerOn: readonly (readonly [register: number, word: number])[]) {
    this.registers = new Map(atPowerOn);
    this.#atPowerOn = atPowerOn;
  }

  powerOn(): void {
    this.registers.clear();
    for (const [register, to] of this.#atPowerOn) this.registers.set(register, to);
  }

  read(register: number): number {
    return this.registers.get(register) ?? 0;
  }

  write(register: number, to: number): void {
    this.writes.push([register, to]);
    this.registers.set(register, to);
  }
}

/** TI INA226: continuous conversion; the ready flag is cleared by reading register 6. */
export class Ina226Model extends Model {
  /** Voltage at the shunt and at the bus input (V). */
  shuntV = 0;
  busV = 0;

  constructor() {
    super([
      [0, 0x4127],
      [0xfe, 0x5449],
      [0xff, 0x2260],
    ]);
  }

  convert(): void {
    if (this.frozen || (this.registers.get(0)! & 7) !== 7) return;
    const shunt = limited(this.shuntV / 2.5e-6, -0x8000, 0x7fff);
    this.registers.set(1, word(shunt));
    this.registers.set(2, limited(this.busV / 1.25e-3, 0, 0x7fff));
    // 1 of the current register is shunt × calibration / 2048 counts.
    this.registers.set(4, word((shunt * (this.registers.get(5) ?? 0)) / 2048));
    this.registers.set(6, (this.registers.get(6) ?? 0) | 8);
  }

  override read(register: number): number {
    const was = super.read(register);
    if (register === 6) this.registers.set(6, was & ~8);
    return was;
  }

  override write(register: number, to: number): void {
    if (register >= 0xfe || (register >= 1 && register <= 4)) return;
    super.write(register, to);
    // Bit 15 resets; bit 14 is always set. A new configuration begins a new conversion.
    if (register === 0 && to & 0x8000) this.powerOn();
    else if (register === 0) {
      this.registers.set(0, (to & 0x0fff) | 0x4000);
      this.registers.set(6, this.registers.get(6)! & ~8);
    }
  }
}

/** TI INA219: ready and overflow are bits of the bus register; reading the power register clears ready. */
export class Ina219Model extends Model {
  shuntV = 0;
  busV = 0;

  constructor() {
    super([[0, 0x399f]]);
  }

  convert(): void {
    const configuration = this.registers.get(0)!;
    if (this.frozen || (configuration & 7) !== 7) return;
    const most = [4000, 8000, 16000, 32000][(configuration >> 11) & 3]!;
    const shunt = limited(this.shuntV / 10e-6, -most, most);
    const bus = limited(this.busV / 4e-3, 0, configuration & 0x2000 ? 8000 : 4000);
    const current = Math.trunc((shunt * (this.registers.get(5) ?? 0)) / 4096);
    this.registers.set(1, word(shunt));
    this.registers.set(2, (bus << 3) | 2 | (Math.abs(current) > 0x7fff ? 1 : 0));
    this.registers.set(4, word(current));
    this.registers.set(3, word((Math.abs(current) * bus) / 5000));
  }

  override read(register: number): number {
    const was = super.read(register);
    if (register === 3) this.registers.set(2, (this.registers.get(2) ?? 0) & ~2);
    return was;
  }

  override write(register: number, to: number): void {
    if (register >= 1 && register <= 4) return;
    super.write(register, to);
    if (register === 5) this.registers.set(5, to & 0xfffe);
    if (register === 0 && to & 0x8000) this.powerOn();
    // A new configuration begins a new conversion.
    else if (register === 0) this.registers.set(2, (this.registers.get(2) ?? 0) & ~2);
  }
}

/** TI ADS1115 in single shot: a conversion begins with bit 15, and bit 15 is 1 again when it is done. */
export class Ads1115Model extends Model {
  /** Voltage at each input (V). */
  readonly inputV = [0, 0, 0, 0];
  /** Its time, which the test's waits advance (ms). */
  nowMs = 0;
  /** How fast its clock is. */
  clock = 1;
  #doneMs = 0;
  #pending = false;

  constructor() {
    super([
      [1, 0x8583],
      [2, 0x8000],
      [3, 0x7fff],
    ]);
  }

  override powerOn(): void {
    super.powerOn();
    this.#pending = false;
  }

  convert(): void {
    if (!this.#pending || this.frozen || this.nowMs < this.#doneMs) return;
    this.#pending = false;
    const configuration = this.registers.get(1)!;
    const mux = (configuration >> 12) & 7;
    const fullV = [6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256][
      (configuration >> 9) & 7
    ]!;
    const volts = mux >= 4 ? this.inputV[mux - 4]! : Number.NaN;
    this.registers.set(0, word(limited((volts / fullV) * 32768, -0x8000, 0x7fff)));
  }

  override read(register: number): number {
    this.convert();
    if (register === 1) {
      const configuration = super.read(1) & 0x7fff;
      return this.#pending ? configuration : configuration | 0x8000;
    }
    return super.read(register);
  }

  override write(register: number, to: number): void {
    if (register === 0) return;
    super.write(register, to);
    if (register !== 1 || !(to & 0x8000)) return;
    const rateHz = [8, 16, 32, 64, 128, 250, 475, 860][(to >> 5) & 7]!;
    this.#pending = true;
    this.#doneMs = this.nowMs + 1000 / rateHz / this.clock;
  }
}

/** MODE1 awake with auto-increment, MODE2, and the registers that follow (NXP rev. 4, 7.3, from memory). */
const PCA9685_BYTES = [0x20, 0x04, 0xe2, 0xe4, 0xe8, 0xe0, 0, 0, 0, 0x10];

/** A PCA9685 that somebody takes for a meter: what a word written would do to it is recorded. */
export class Pca9685Stranger extends Model {
  constructor() {
    super([
      ...PCA9685_BYTES.map((byte, at) => [at, (byte << 8) | (PCA9685_BYTES[at + 1] ?? 0)] as const),
      [0xfe, 0x7900],
    ]);
  }
}

/** The bus. */
export class WordBus extends FakeBus<WordChip> implements I2cBus {
  readonly chips: Map<number, WordChip>;
  /** Called before each transfer. */
  before: () => void = () => {};

  constructor(chips: Record<number, WordChip>) {
    super();
    this.chips = new Map(Object.entries(chips).map(([address, chip]) => [Number(address), chip]));
  }

  readWords(address: number, registers: readonly number[]): Promise<number[]> {
    return this.transfer(address, (chip) => registers.map((register) => chip.read(register)));
  }

  writeWord(address: number, register: number, to: number): Promise<void> {
    return this.transfer(address, (chip) => chip.write(register, to));
  }

  async i2cFuncs(): Promise<{ i2c: boolean }> {
    return { i2c: true };
  }

  i2cWrite(): Promise<never> {
    throw new Error('a board that measures writes words only');
  }
  readByte(): Promise<never> {
    throw new Error('a board that measures reads words only');
  }
  writeByte(): Promise<never> {
    throw new Error('a board that measures writes words only');
  }
  writeI2cBlock(): Promise<never> {
    throw new Error('a board that measures writes words only');
  }

  protected chipAt(address: number): WordChip | undefined {
    return this.chips.get(address);
  }

  protected override transfer<T>(address: number, act: (chip: WordChip) => T): Promise<T> {
    this.before();
    return super.transfer(address, act);
  }
}
