import type { I2cBus } from '../../../src/boards/i2c.ts';
import { FakeBus } from '../fake-bus.ts';

/**
 * A PCA9685 as its data sheet describes it (NXP, rev. 4, from memory; sections are named), and a bus
 * that it hangs on. It shares no code with the driver.
 */

type Output = 'low' | 'high' | 'invalid' | { counts: number };

const LED0 = 6;
const LED15_OFF_H = 69;
const ALL_LED = 0xfa;
const PRE_SCALE = 0xfe;

export class Chip {
  /** Powered by a supply that may dip. */
  readonly registers = new Uint8Array(256);
  readonly address: number;
  readonly oscillatorHz: number;
  /** What the data sheet forbids or does not promise, as it happened. */
  readonly violations: string[] = [];
  /** Every state that an output had after a STOP, by output. */
  readonly history: Output[][] = Array.from({ length: 16 }, () => []);
  nowUs = 0;
  #steadyUs = 0;
  #pointer = 0;
  /** An orderly shutdown before sleep invalidates the PWM registers (7.3.1.1). */
  #invalid = false;

  constructor(address = 0x40, oscillatorHz = 25e6) {
    this.address = address;
    this.oscillatorHz = oscillatorHz;
    this.powerOn();
  }

  /** Power-on defaults, 7.3 table 4 to 7: asleep, answers to all-call, all outputs full off, 200 Hz. */
  powerOn(): void {
    this.registers.fill(0);
    this.registers[0] = 0x11;
    this.registers[1] = 0x04;
    for (let led = 0; led < 16; led++) this.registers[LED0 + 4 * led + 3] = 0x10;
    this.registers[PRE_SCALE] = 0x1e;
    this.#invalid = false;
    this.#pointer = 0;
  }

  get asleep(): boolean {
    return (this.registers[0]! & 0x10) !== 0;
  }

  get frequencyHz(): number {
    return this.oscillatorHz / (4096 * (this.registers[PRE_SCALE]! + 1));
  }

  /** One write transfer, from START to STOP; the first byte is the control register (7.2). */
  write(bytes: ArrayLike<number>): void {
    this.#pointer = bytes[0]!;
    let pwm = false;
    for (let i = 1; i < bytes.length; i++) {
      pwm ||= this.#isPwm(this.#pointer);
      this.#store(this.#pointer, bytes[i]!);
      this.#advance();
    }
    // Writing any PWM register, then STOP, clears RESTART while OCH is 0 (7.3.1.1).
    if (pwm && (this.registers[1]! & 0x08) === 0) this.registers[0]! &= 0x7f;
    for (let led = 0; led < 16; led++) this.history[led]!.push(this.output(led));
  }

  read(register: number): number {
    this.#pointer = register;
    // The ALL_LED registers are written only (7.3.4).
    return register >= ALL_LED && register < PRE_SCALE ? 0 : this.registers[register]!;
  }

  /** What a pin does now. Full off wins over full on; on after off wraps to the next period (7.3.3). */
  output(led: number): Output {
    const at = LED0 + 4 * led;
    const [onL, onH, offL, offH] = this.registers.subarray(at, at + 4) as unknown as number[];
    if (this.asleep || (this.registers[0]! & 0x80) !== 0) return this.#inverted('low');
    if (this.#invalid) return 'invalid';
    if (offH! & 0x10) return this.#inverted('low');
    if (onH! & 0x10) return this.#inverted('high');
    const on = onL! | ((onH! & 0x0f) << 8);
    const off = offL! | ((offH! & 0x0f) << 8);
    return { counts: (off - on + 4096) % 4096 };
  }

  /** Width of the pulse at a pin (us); 0 when there are none. */
  pulseUs(led: number): number {
    const output = this.output(led);
    if (typeof output === 'string') return output === 'low' ? 0 : Number.NaN;
    return (output.counts / 4096 / this.frequencyHz) * 1e6;
  }

  #inverted(level: 'low' | 'high'): 'low' | 'high' {
    if ((this.registers[1]! & 0x10) === 0) return level;
    return level === 'low' ? 'high' : 'low';
  }

  #isPwm(register: number): boolean {
    return (
      (register >= LED0 && register <= LED15_OFF_H) || (register >= ALL_LED && register < PRE_SCALE)
    );
  }

  /** Auto-increment past register 69 goes to 0; it works from 250 to 254, too (7.2). */
  #advance(): void {
    if ((this.registers[0]! & 0x20) === 0) return;
    this.#pointer = this.#pointer === LED15_OFF_H ? 0 : (this.#pointer + 1) & 0xff;
  }

  #store(register: number, byte: number): void {
    if (register === 0) this.#storeMode1(byte);
    else if (register === PRE_SCALE) {
      // Writes are blocked while awake (7.3.5); the hardware forces at least 3.
      if (this.asleep) this.registers[PRE_SCALE] = Math.max(byte, 3);
      else this.violations.push('PRE_SCALE written while awake');
    } else if (this.#isPwm(register)) {
      if (!this.asleep && this.nowUs < this.#steadyUs)
        this.violations.push('PWM register written before the oscillator is steady');
      if (register < ALL_LED) this.registers[register] = byte;
      else
        for (let led = 0; led < 16; led++)
          this.registers[LED0 + 4 * led + (register - ALL_LED)] = byte;
      this.#invalid &&= register !== LED15_OFF_H && register < ALL_LED;
    } else this.registers[register] = byte;
  }

  #storeMode1(byte: number): void {
    const before = this.registers[0]!;
    // RESTART is cleared by writing 1 while awake; writing 0 does nothing. EXTCLK sticks (7.3.1).
    let restart = before & 0x80;
    if (byte & 0x80 && restart && !(before & 0x10)) {
      if (this.nowUs < this.#steadyUs) this.violations.push('RESTART before 500 us have passed');
      restart = 0;
    }
    if (!(before & 0x10) && byte & 0x10) {
      const running = this.history.some((_, led) => this.output(led) !== 'low');
      restart = running ? 0x80 : 0;
      this.#invalid = !running;
    }
    if (before & 0x10 && !(byte & 0x10)) this.#steadyUs = this.nowUs + 500;
    this.registers[0] = restart | (before & 0x40) | (byte & 0x7f);
  }
}

/** The bus: transfers happen one after the other, each in a turn of the event loop. */
export class Wire extends FakeBus<Chip> implements I2cBus {
  readonly chip: Chip;
  readonly smbusOnly: boolean;
  /** Every write transfer that was acknowledged, control register first. */
  readonly writes: number[][] = [];

  constructor(chip: Chip, smbusOnly = false) {
    super();
    this.chip = chip;
    this.smbusOnly = smbusOnly;
  }

  async i2cFuncs() {
    this.failIfBroken();
    return { i2c: !this.smbusOnly } as Awaited<ReturnType<I2cBus['i2cFuncs']>>;
  }

  async i2cWrite(address: number, length: number, buffer: Buffer) {
    // Its code on an adapter that has no plain transfers (kernel, i2c-core).
    if (this.smbusOnly) throw Object.assign(new Error('not supported'), { code: 'EOPNOTSUPP' });
    await this.#write(address, () => [...buffer.subarray(0, length)]);
    return { bytesWritten: length, buffer };
  }

  async writeI2cBlock(address: number, command: number, length: number, buffer: Buffer) {
    if (length > 32) throw new Error('an SMBus block has 32 bytes at most');
    await this.#write(address, () => [command, ...buffer.subarray(0, length)]);
    return { bytesWritten: length, buffer };
  }

  async writeByte(address: number, command: number, byte: number): Promise<void> {
    await this.#write(address, () => [command, byte]);
  }

  readByte(address: number, command: number): Promise<number> {
    return this.transfer(address, (chip) => chip.read(command));
  }

  readWords(): Promise<never> {
    throw new Error('a PCA9685 has no words');
  }

  writeWord(): Promise<never> {
    throw new Error('a PCA9685 has no words');
  }

  protected chipAt(address: number): Chip | undefined {
    return address === this.chip.address ? this.chip : undefined;
  }

  /** The bytes are taken when the transfer takes place, as the addon does it. */
  #write(address: number, bytes: () => number[]): Promise<void> {
    return this.transfer(address, (chip) => {
      const written = bytes();
      chip.write(written);
      this.writes.push(written);
    });
  }
}
